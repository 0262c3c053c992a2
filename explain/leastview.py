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

SHORT = 3  # facts up to which another set is told whole


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
    """Return what the case says of a fact; where its rounds differ, what each says, since all of them carry it."""
    told: list[tuple[str, str]] = []
    for round_ in case.rounds:
        value = speaker.standing.facts[round_.index].get(slot)
        if slot == "codes":
            says = say("least.codes_read") if round_.codes is not None else ""
        elif any(c.code == slot for c in round_.codes or ()):
            says = str(phrases()["code"]["present"])
        else:
            says = speaker.value(slot, value) if value is not None else ""
        if says:
            told.append((says, round_.when))
    if len({says for says, _ in told}) < 2:
        return told[0][0] if told else say("value.unknown")
    return ", ".join(say("least.in_round", value=says, round=when) for says, when in told)


def _facts(facts: list[FactInSet]) -> list[tuple[str, Text] | Text]:
    return [("· ", Text(say("ask.fact", title=f.title, value=f.value))) for f in facts]


def _instead(first: list[FactInSet], other: list[FactInSet]) -> list[tuple[str, Text] | Text]:
    """Return another set: whole where it is short or shares little, else by what stands in place of what."""
    here, there = {f.slot for f in first}, {f.slot for f in other}
    gone, come = [f for f in first if f.slot not in there], [f for f in other if f.slot not in here]
    if len(other) <= SHORT or len(gone) + len(come) >= len(other):
        return [Text(say("least.or"), style="italic"), *_facts(other)]
    lead = say("least.instead", gone="; ".join(f.title for f in gone))
    return [Text(lead, style="italic"), *_facts(come)]


def show(found: LeastAnswer, out: Console) -> None:
    """Print the answer: each goal and the sets that carry it."""
    for one in found.carried:
        lines: list[tuple[str, Text] | Text] = []
        for i, facts in enumerate(one.sets):
            lines += _facts(facts) if not i else _instead(one.sets[0], facts)
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
