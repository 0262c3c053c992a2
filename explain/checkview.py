"""What was understood of a case, in shop units, what is unusual in it, and which missing facts would help most."""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import BaseModel
from rich.console import Console
from rich.table import Table
from rich.text import Text

from explain.terminal import Line, print_block
from explain.words import figure, phrases, say
from inference.result import Result
from inference.understood import Understood, understood
from kb.model import Knowledge

MOST = 8  # missing facts told


class Row(BaseModel):
    """One thing that was understood; ``given`` is what stood in the file where that differs."""

    section: str
    name: str
    value: str
    given: str
    note: str


class Missing(BaseModel):
    """A missing fact: what would give it, in how many minutes, and why it matters."""

    gives: list[str]
    how: str
    minutes: float
    why: str


class Check(BaseModel):
    """The whole answer of ``clogwise check``."""

    case: str
    understood: list[Row]
    warnings: list[str]
    missing: list[Missing]


def as_shape(knowledge: Knowledge, result: Result) -> Check:
    """Return what was understood and what is missing, as data."""
    conditions = phrases()["condition"]
    rows = [
        Row(
            section=u.section, name=_name(u, conditions),
            value=_value(u), given="" if u.given == _value(u) else u.given, note=u.note,
        )
        for u in understood(result.case, knowledge)
    ]  # fmt: skip
    return Check(
        case=result.case.name,
        understood=rows,
        warnings=[str(w) for w in result.case.warnings],
        missing=missing(knowledge, result),
    )


def _name(u: Understood, conditions: Mapping[str, str]) -> str:
    """Return what was read, with the condition it was taken at where its title does not end on it already."""
    at = conditions[u.condition] if u.condition else ""
    return u.name if u.name.endswith(at) else f"{u.name} {at}"


def _value(u: Understood) -> str:
    """Return a value as exact as it can have been read: four figures, whole thousands with a mark between them."""
    if not isinstance(u.value, float):
        return u.text
    figures = f"{u.value:,.0f}" if abs(u.value) >= 1000 else f"{u.value:.4g}"
    return f"{figures} {u.unit}".strip()


def missing(knowledge: Knowledge, result: Result) -> list[Missing]:
    """Return the missing facts that would help most: what the gate lacks first, then the most telling tests."""
    known = set(result.latest.facts)
    out: list[Missing] = []
    set_up = knowledge.gate.set_up
    for reason in sorted(result.gate.missing, key=lambda r: r.finding in set_up):
        out.append(Missing(gives=_gives(knowledge, reason.finding, known), how=reason.says, minutes=reason.minutes,
                           why=str(phrases()["heading"]["decision"])))  # fmt: skip
    for test in result.next_tests:
        entry = knowledge.tests[test.test]
        gives = [slot for slot in entry.gives if slot not in known]
        if gives:
            out.append(Missing(gives=gives, how=entry.title, minutes=test.minutes,
                               why=str(phrases()["heading"]["causes"])))  # fmt: skip
    told: set[tuple[str, ...]] = set()
    unique = []
    for item in out:
        if item.gives and tuple(item.gives) not in told:
            told.add(tuple(item.gives))
            unique.append(item)
    return unique


def _gives(knowledge: Knowledge, finding: str, known: set[str]) -> list[str]:
    """The slots that the rules read that bring a need to its good state, and that nobody has given yet."""
    from kb.slots import slot_of

    wanted = next((n.state for n in knowledge.gate.needs if n.finding == finding), "holds")
    slots: list[str] = []
    for rule in knowledge.rules.values():
        if rule.then.finding == finding and rule.then.state == wanted:
            slots += [slot_of(t) for t in (*rule.when.all, *rule.when.any)]
    slots = [s for slot in slots for s in (slot, *_read_for(knowledge, slot))]
    askable = set(knowledge.questions) | {s for s in slots if s.partition(".")[0] in knowledge.readings}
    names = ["codes" if s.startswith("role_") else s for s in slots if s in askable or s.startswith("role_")]
    return [s for s in dict.fromkeys(names) if s not in known]


def _in_file(slot: str) -> str:
    """Return a slot as a case file has it: the condition of a reading in braces behind it."""
    name, _, condition = slot.partition(".")
    return f"{name}: {{{condition}}}" if condition else name


def _read_for(knowledge: Knowledge, slot: str) -> list[str]:
    """Return the readings that something worked out is made of, if it is made of readings alone."""
    derived = knowledge.derived.get(slot.partition(".")[0])
    inputs = derived.inputs if derived else []
    return inputs if all(i.partition(".")[0] in knowledge.readings for i in inputs) else []


def show(knowledge: Knowledge, result: Result, out: Console) -> None:
    """Print the answer as one table and two short lists."""
    answer = as_shape(knowledge, result)
    out.print(Text(answer.case, style="bold"))
    table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 0), expand=True)
    for share in (None, 3, 2):
        table.add_column(overflow="fold", ratio=share)
    section = ""
    for row in answer.understood:
        shown = row.section if row.section != section else ""
        section = row.section
        value = Text(f"{row.value} ({row.given})" if row.given else row.value)
        if row.note:
            value.append(f" – {row.note}", style="yellow")
        table.add_row(Text(shown, style="bold"), Text(row.name), value)
    out.print(table)
    if answer.warnings:
        print_block(out, str(phrases()["heading"]["warnings"]), [("· ", Text(w)) for w in answer.warnings])
    set_up = {n.finding for n in knowledge.gate.needs if n.set_up}
    at_the_end = {tuple(_gives(knowledge, f, set())) for f in set_up}
    lines: list[Line] = []
    for item in [m for m in answer.missing if tuple(m.gives) not in at_the_end][:MOST]:
        line = Text(item.how)
        line.append(f" ({say('why.minutes', minutes=figure(item.minutes))})", style="dim")
        if item.gives:
            line.append(f" → {', '.join(_in_file(name) for name in item.gives[:3])}", style="dim")
        lines.append(("· ", line))
    lit = [name for m in answer.missing if tuple(m.gives) in at_the_end for name in m.gives]
    if lit:
        lines.append(("· ", Text(say("check.to_light", names=", ".join(lit)), style="dim")))
    if lines:
        print_block(out, str(phrases()["heading"]["missing"]), lines)
        out.print(Text(say("check.names"), style="dim"))
