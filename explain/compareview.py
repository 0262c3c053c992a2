"""Two rounds side by side on a terminal, and as JSON."""

from __future__ import annotations

from pydantic import BaseModel
from rich.console import Console
from rich.table import Table
from rich.text import Text

from explain.forecastview import small, tell
from explain.jsonout import rounded
from explain.terminal import percent, print_block
from explain.words import ends, figure, phrases, round_names, say
from inference.compare import Comparison
from inference.log.notes import Note
from inference.result import Result
from inference.values import Number, Spread, Value
from kb.model import Knowledge

STYLE = {"held": "bold green", "did not hold": "bold red", "cannot tell": "bold yellow"}


class RowShape(BaseModel):
    """One slot in both rounds: a number, or low, middle and high, or null."""

    slot: str
    unit: str
    first: float | list[float] | None
    last: float | list[float] | None


class CompareShape(BaseModel):
    """What ``clogwise compare CASE --json`` prints."""

    first_round: int
    last_round: int
    driven_km: float | None
    equal_flow_g_per_s: float | None
    gauge_at_equal_flow_mbar: list[list[float]] | None
    rows: list[RowShape]
    verdict: str
    because: list[str]


def shape(knowledge: Knowledge, c: Comparison) -> CompareShape:
    """Return the comparison as it leaves the program; rounds are counted from 1."""
    equal = c.equal_flow
    return CompareShape(
        first_round=c.first + 1,
        last_round=c.last + 1,
        driven_km=c.driven,
        equal_flow_g_per_s=rounded(equal.flow) if equal else None,
        gauge_at_equal_flow_mbar=[_list(equal.first), _list(equal.last)] if equal else None,
        rows=[RowShape(slot=r.slot, unit=r.unit, first=_plain(r.first), last=_plain(r.last)) for r in c.rows],
        verdict=c.verdict,
        because=[reason(knowledge, n) for n in c.because],
    )


def reason(knowledge: Knowledge, note: Note) -> str:
    """Return a reason of the verdict as a sentence."""
    slots: dict[str, object] = dict(note.slots)
    if "cause" in slots:
        slots["cause"] = knowledge.causes[str(slots["cause"])].title
    if "finding" in slots:
        finding = knowledge.findings[str(slots["finding"])]
        slots["finding"] = small(finding.title if slots["state"] == "holds" else finding.fails)
    if "chance" in slots:
        slots["chance"] = percent(float(note.slots["chance"]))
    return tell("compared", note.kind, **slots)


def _list(spread: Spread) -> list[float]:
    return [rounded(spread.low), rounded(spread.mid), rounded(spread.high)]


def _plain(value: Value | None) -> float | list[float] | None:
    if isinstance(value, Number):
        return rounded(value.value)
    return _list(value) if isinstance(value, Spread) else None


def show(knowledge: Knowledge, result: Result, c: Comparison, out: Console) -> None:
    """Print the verdict and the table."""
    names = round_names(result)
    first, last = (_dated(result, i, names[i]) for i in (c.first, c.last))
    out.print(Text(tell("compare", "title", case=result.case.name, first=first, last=last), style="bold"))
    verdict = Text(tell("compare", c.verdict), style=STYLE[c.verdict])
    print_block(out, tell("compare", "verdict"), [verdict, *(("· ", Text(reason(knowledge, n))) for n in c.because)])
    out.print(Text(tell("compare", "rows"), style="bold"))
    table = Table(box=None, padding=(0, 0, 0, 2))
    table.add_column("", overflow="fold")
    table.add_column(names[c.first], justify="right")
    table.add_column(names[c.last], justify="right")
    if c.equal_flow is not None:
        label = Text(tell("compare", "equal", flow=figure(c.equal_flow.flow)), style="bold")
        table.add_row(label, _said(c.equal_flow.first, "mbar"), _said(c.equal_flow.last, "mbar"))
    for row in c.rows:
        table.add_row(_title(knowledge, row.slot), _said(row.first, row.unit), _said(row.last, row.unit))
    out.print(table)


def _dated(result: Result, index: int, name: str) -> str:
    day = result.case.rounds[index].date
    return f"{name} ({day})" if day else name


def _title(knowledge: Knowledge, slot: str) -> str:
    name, _, condition = slot.partition(".")
    entry = knowledge.readings.get(name) or knowledge.derived[name]
    at = str(phrases()["condition"][condition]) if condition else ""
    title = f"{entry.title}, {at}" if at and not entry.title.endswith(at) else entry.title
    return title[:1].upper() + title[1:]


def _said(value: Value | None, unit: str) -> str:
    shown = "" if unit == "1" else f" {unit}"
    if isinstance(value, Number):
        return f"{figure(value.value)}{shown}"
    if isinstance(value, Spread):
        low, high = ends(value.low, value.high)
        told = figure(value.low) if value.low == value.high else say("value.spread", low=low, high=high)
        return f"{told}{shown}"
    return tell("compare", "missing")
