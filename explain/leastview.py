"""The least proof: the smallest sets of facts that carry the decision and the most probable cause, in words."""

from __future__ import annotations

from pydantic import BaseModel
from rich.console import Console
from rich.text import Text

from explain.askwords import StandingSpeaker, decision_word
from explain.terminal import print_block
from explain.words import phrases, say
from inference.case import Case
from inference.questions.again import Standing
from inference.questions.least import Carried, LeastProof
from kb.model import Knowledge


class FactInSet(BaseModel):
    """One fact of a set, with its value in words (of the latest round that has it)."""

    slot: str
    title: str
    value: str


class CarriedShape(BaseModel):
    """One goal and the sets that carry it; ``needs_none``: it stands with nothing known."""

    kind: str
    id: str
    says: str
    sets: list[list[FactInSet]]
    needs_none: bool
    truncated: bool
    tested: int


class LeastAnswer(BaseModel):
    """The whole answer; ``facts`` are all facts of the case by name."""

    case: str
    facts: list[str]
    carried: list[CarriedShape]


def answer(knowledge: Knowledge, standing: Standing, found: LeastProof) -> LeastAnswer:
    """Word a least proof."""
    speaker = StandingSpeaker(knowledge, standing)
    return LeastAnswer(
        case=standing.case.name,
        facts=list(found.facts),
        carried=[_carried(knowledge, speaker, c) for c in found.carried],
    )


def _carried(knowledge: Knowledge, speaker: StandingSpeaker, one: Carried) -> CarriedShape:
    goal = one.goal
    if goal.kind == "decision":
        says = say("least.decision", decision=decision_word(goal.id))
    elif goal.kind == "reason":
        says = say("least.reason", says=goal.says)
    else:
        says = say("least.cause", title=knowledge.causes[goal.id].title)
    sets = [[_fact(speaker, slot) for slot in sorted(s)] for s in one.sets]
    return CarriedShape(
        kind=goal.kind, id=goal.id, says=says, sets=sets, needs_none=one.needs_none, truncated=one.truncated,
        tested=one.tested,
    )  # fmt: skip


def _fact(speaker: StandingSpeaker, slot: str) -> FactInSet:
    return FactInSet(slot=slot, title=speaker.slot_title(slot), value=value_of(speaker, speaker.standing.case, slot))


def value_of(speaker: StandingSpeaker, case: Case, slot: str) -> str:
    """Return what the case says of a fact, from the latest round that does."""
    for round_ in reversed(case.rounds):
        if slot == "codes" and round_.codes is not None:
            return ", ".join(sorted({c.code for c in round_.codes})) or say("tipping.codes")
        if any(c.code == slot for c in round_.codes or ()):
            return str(phrases()["value"]["present"])
        value = speaker.standing.facts[round_.index].get(slot)
        if value is not None:
            return speaker.value(slot, value)
    return say("value.unknown")


def show(found: LeastAnswer, out: Console) -> None:
    """Print the answer: each goal and the sets that carry it."""
    for one in found.carried:
        lines: list[tuple[str, Text] | Text] = []
        for i, facts in enumerate(one.sets):
            if i:
                lines.append(Text(say("least.or"), style="italic"))
            lines += [("· ", Text(say("ask.fact", title=f.title, value=f.value))) for f in facts]
        if one.sets:
            alone = all(len(s) == 1 for s in one.sets)
            lines.append(Text(say("least.alone_one" if alone else "least.alone"), style="dim"))
        if one.needs_none:
            lines.append(Text(say("least.none_needed")))
        elif not one.sets:
            lines.append(Text(say("least.stopped", tested=one.tested)))
        elif one.truncated:
            lines.append(Text(say("least.truncated", tested=one.tested), style="dim"))
        print_block(out, one.says, lines)
    out.print(Text(say("least.whole", count=len(found.facts)), style="dim"))
