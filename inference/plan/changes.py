"""What an outcome by itself changes in the decision on a burn: a finding that is a danger, a cause that holds it up."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache

from inference.diagnose import program_of
from inference.plan.outlook import Held
from inference.result import Decision
from inference.values import Word
from kb.model import Knowledge

DUE = 0.5  # a cause at least this likely holds a burn up (inference/gate.py)
RANK: tuple[Decision, ...] = ("clear", "not needed", "hold", "do not burn")


def decision_after(
    knowledge: Knowledge, now: Decision, said: Iterable[tuple[str, bool]], chances: Mapping[str, float]
) -> Decision | None:
    """Return the stricter decision that an outcome brings by itself, None where it brings none.

    Only what makes a burn less allowed is told: whether one becomes clear depends on every other need as well.
    """
    forbidding = forbids(Held(knowledge))
    if any((finding, holds) in forbidding for finding, holds in said):
        new: Decision = "do not burn"
    elif any(p >= DUE and knowledge.causes[c].holds_burn for c, p in chances.items()):
        new = "hold"
    else:
        return None
    return new if RANK.index(new) > RANK.index(now) else None


@lru_cache(maxsize=4)
def forbids(held: Held) -> frozenset[tuple[str, bool]]:
    """Return the findings, with the state, that are enough by themselves to forbid a burn.

    A danger is one; so is a finding set by answers each of which alone sets a danger as well (a core seen broken).
    """
    knowledge = held.knowledge
    dangers = {d.finding for d in knowledge.gate.dangers}
    set_by: dict[tuple[str, bool], set[tuple[str, str]]] = {}
    program = program_of(knowledge)
    for stage in (program.find, program.decide):
        for way in stage.ways:
            then = stage.rules[way.rule].then
            needs = [n for n in way.needs if n.part != "unless"]
            slots = {stage.literals[n.literal].slot for n in needs}
            if then.finding is None or len(slots) != 1 or not slots <= knowledge.questions.keys():
                continue
            slot = slots.pop()
            for word in knowledge.questions[slot].options:
                if all(stage.serves(n, {slot: Word(word)}) for n in needs):
                    set_by.setdefault((then.finding, then.state == "holds"), set()).add((slot, word))
    grave = {answer for danger in dangers for answer in set_by.get((danger, True), ())}
    by_answer = {said for said, answers in set_by.items() if answers <= grave}
    return frozenset({(d, True) for d in dangers} | by_answer)
