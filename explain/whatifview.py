"""What if: old and new side by side, what moved and why. ``answer`` makes it as data, ``show`` prints it."""

from __future__ import annotations

from collections.abc import Iterable

from pydantic import BaseModel
from rich.console import Console
from rich.text import Text

from explain.askwords import FactShape, StandingSpeaker, decision_word, reason_says, signed
from explain.jsonout import rounded
from explain.terminal import DECISION_STYLE, percent, print_block
from explain.words import phrases, quantity, say
from inference.questions.again import Standing
from inference.questions.change import NUMBERS, WORDS
from inference.questions.whatif import CauseMove, FactMove, FindingMove, WhatIf
from inference.read_case import FIGURES
from inference.understood import FIGURE_TITLES
from kb.model import Knowledge

MOST = 6  # lines of a kind before --all


class PushShape(BaseModel):
    """One finding behind the move of a cause: its sentence, and what it weighs before and after [dB]."""

    finding: str
    says: str
    before: float
    after: float


class CauseShape(BaseModel):
    """One cause that moved."""

    cause: str
    title: str
    before: float
    after: float
    level_before: str
    level_after: str
    place_before: int
    place_after: int
    because: list[PushShape]


class FindingShape(BaseModel):
    """One finding whose state moved, and what is said of it afterwards (or was before, where it is lost)."""

    finding: str
    round: str
    before: str
    after: str
    says: str
    by: list[str]


class WhatIfAnswer(BaseModel):
    """The whole answer."""

    case: str
    changes: list[FactShape]
    unchanged: list[FactShape]
    decision_before: str
    decision_after: str
    no_longer: list[str]
    newly: list[str]
    derived: list[FactShape]
    findings: list[FindingShape]
    causes: list[CauseShape]


def answer(knowledge: Knowledge, found: WhatIf, asked: Iterable[str] = ()) -> WhatIfAnswer:
    """Word a what-if; ``asked`` are the facts that were to be changed, so that one that is so already is named."""
    old, new = StandingSpeaker(knowledge, found.before), StandingSpeaker(knowledge, found.after)
    return WhatIfAnswer(
        case=found.before.case.name,
        changes=[
            *(_fact(old, m) for m in found.facts if m.slot.partition(".")[0] not in ("vehicle", "filter", "layout")),
            *_of_the_vehicle(old, new, asked),
        ],
        unchanged=[_fact(old, m) for m in _as_before(old, found, asked)],
        decision_before=found.before.gate.decision,
        decision_after=found.after.gate.decision,
        no_longer=[reason_says(knowledge, r) for r in found.reasons_gone],
        newly=[reason_says(knowledge, r) for r in found.reasons_new],
        derived=[_fact(old, m) for m in found.derived],
        findings=[_finding(old, new, m) for m in found.findings],
        causes=[_cause(knowledge, old, new, m) for m in found.causes],
    )


def _as_before(old: StandingSpeaker, found: WhatIf, asked: Iterable[str]) -> list[FactMove]:
    """Return the readings and answers asked to change that stand already as they were to become."""
    k, last = old.knowledge, len(found.before.case.rounds) - 1
    moved = {m.slot for m in found.facts}
    facts = found.before.facts[last]
    return [
        FactMove(slot, last, facts.get(slot), facts.get(slot))
        for slot in asked
        if slot not in moved and (slot.partition(".")[0] in k.readings or slot in k.questions)
    ]


def _of_the_vehicle(old: StandingSpeaker, new: StandingSpeaker, asked: Iterable[str]) -> list[FactShape]:
    """Return the facts of the vehicle and its filter that were asked to change, before and after."""
    cases = old.standing.case, new.standing.case
    titles = {id_: entry.title for id_, entry in old.knowledge.filter_types.items()}
    titles |= {id_: entry.title for id_, entry in old.knowledge.layouts.items()}
    out = []
    for slot in asked:
        if slot in NUMBERS:
            figures = [getattr(c, NUMBERS[slot]) for c in cases]
            told = [None if x is None else quantity(x, FIGURES[slot][0]) for x in figures]
        elif slot in WORDS:
            told = [titles.get(x, x) for x in (getattr(c, WORDS[slot]) for c in cases)]
        else:
            continue
        before, became = (say("value.unknown") if x is None else x for x in told)
        title = old.slot_title(slot) if slot in WORDS else FIGURE_TITLES[slot]
        when = _round(old.standing, len(cases[0].rounds) - 1)
        out.append(FactShape(slot=slot, title=title, round=when, before=before, after=became))
    return out


def _round(standing: Standing, index: int) -> str:
    return standing.case.rounds[index].when


def _fact(speaker: StandingSpeaker, move: FactMove) -> FactShape:
    return FactShape(
        slot=move.slot, title=speaker.slot_title(move.slot), round=_round(speaker.standing, move.round),
        before=speaker.value(move.slot, move.before), after=speaker.value(move.slot, move.after),
    )  # fmt: skip


def _finding(old: StandingSpeaker, new: StandingSpeaker, move: FindingMove) -> FindingShape:
    lost = move.after == "unknown"
    says = (old if lost else new).finding_says(move.finding, move.round)
    if move.after == "conflict":
        says = new.knowledge.findings[move.finding].title
    return FindingShape(
        finding=move.finding, round=_round(new.standing, move.round), before=move.before, after=move.after, says=says,
        by=list(move.by_before if lost else move.by_after),
    )  # fmt: skip


def _cause(knowledge: Knowledge, old: StandingSpeaker, new: StandingSpeaker, move: CauseMove) -> CauseShape:
    return CauseShape(
        cause=move.cause, title=knowledge.causes[move.cause].title, before=rounded(move.before.probability),
        after=rounded(move.after.probability), level_before=move.before.level, level_after=move.after.level,
        place_before=move.place_before, place_after=move.place_after,
        because=[
            PushShape(
                finding=p.finding,
                says=(old if not p.after else new).finding_says(p.finding, p.round),
                before=rounded(p.before),
                after=rounded(p.after),
            )
            for p in move.because
        ],
    )  # fmt: skip


def show(found: WhatIfAnswer, out: Console, everything: bool = False) -> None:
    """Print the answer: what was changed, the decision, the causes that moved and why, the findings that moved."""
    same = [Text(say("whatif.as_before", title=f.title, value=f.before)) for f in found.unchanged]
    print_block(out, say("whatif.heading"), [*map(_moved, found.changes), *same])
    if not found.changes and same:
        return
    if not (found.causes or found.findings or found.decision_before != found.decision_after):
        out.print(Text(say("whatif.nothing")))
        return
    print_block(out, say("whatif.decision"), _decision(found, everything))
    lines: list[tuple[str, Text] | Text] = []
    for cause in found.causes if everything else found.causes[:MOST]:
        lines += _cause_lines(cause, everything)
    print_block(out, say("whatif.causes"), lines or [Text(say("whatif.no_cause"))])
    findings = [("· ", Text(_finding_line(f))) for f in found.findings if everything or _worth(f)]
    if findings:
        shown = findings if everything else findings[:MOST]
        if len(findings) > len(shown):
            shown = [*shown, ("  ", Text(say("ask.on_request"), style="dim"))]
        print_block(out, say("whatif.found"), shown)
    if found.derived and everything:
        print_block(out, say("whatif.derived"), [_moved(f) for f in found.derived])


def _worth(finding: FindingShape) -> bool:
    """Needs and dangers of the decision are told with the decision already."""
    return not finding.finding.startswith(("need_", "danger_"))


def _moved(fact: FactShape) -> Text:
    moved = say("ask.moved", before=fact.before, after=fact.after)
    return Text(say("ask.fact", title=fact.title, value=moved))


def _decision(found: WhatIfAnswer, everything: bool) -> list[tuple[str, Text] | Text]:
    before, after = decision_word(found.decision_before), decision_word(found.decision_after)
    style = DECISION_STYLE[found.decision_after]
    if before == after:
        lines: list[tuple[str, Text] | Text] = [Text(say("whatif.same", decision=after), style=style)]
    else:
        lines = [Text(say("whatif.changed", before=before, after=after), style=style)]
    for heading, reasons in (("whatif.gone", found.no_longer), ("whatif.new", found.newly)):
        shown = reasons if everything else reasons[:MOST]
        if shown:
            lines.append(Text(say(heading), style="italic"))
            lines += [("· ", Text(r)) for r in shown]
        if len(shown) < len(reasons):
            lines.append(("  ", Text(say("ask.on_request"), style="dim")))
    return lines


def _cause_lines(cause: CauseShape, everything: bool) -> list[tuple[str, Text] | Text]:
    key = "whatif.cause" if cause.level_before == cause.level_after else "whatif.cause_level"
    level = phrases()["level"]
    head = Text(
        say(
            key, title=cause.title, before=percent(cause.before), after=percent(cause.after),
            level_before=level[cause.level_before], level_after=level[cause.level_after],
        ),
        style="bold" if max(cause.before, cause.after) >= 0.5 else "",
    )  # fmt: skip
    if (cause.place_before == 1) != (cause.place_after == 1):
        head.append(f" ({say('whatif.now_first' if cause.place_after == 1 else 'whatif.was_first')})", style="dim")
    lines: list[tuple[str, Text] | Text] = [head]
    for push in cause.because if everything else cause.because[:2]:
        key = "push_new" if not push.before else "push_gone" if not push.after else "push"
        text = say(f"whatif.{key}", says=push.says, before=signed(push.before), after=signed(push.after))
        lines.append(("  · ", Text(text, style="dim")))
    return lines


def _finding_line(finding: FindingShape) -> str:
    key = {"unknown": "finding_lost", "conflict": "finding_conflict"}.get(finding.after, "finding_new")
    return say(f"whatif.{key}", says=finding.says)
