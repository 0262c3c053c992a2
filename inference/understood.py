"""What was understood of a case, line by line, as data: for the person to see that it was read as it was meant.

Nothing is inferred here. ``explain`` makes tables and sentences of it.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

from inference.case import Case, Quantity, Round
from inference.facts import unused_codes
from kb.model import Knowledge


@dataclass(frozen=True)
class Understood:
    """One thing a case says.

    Parameters
    ----------
    section : "vehicle", "filter", "usage", "history", "round arrival (1)" and the like
    name : the title of what was read, or the question asked
    condition : the condition of a reading, "" where it has none
    value : number in ``unit``, or a word
    unit : shop unit; "" for words and for numbers without one
    given : what stood in the file; "" where it is the same
    note : what a person should know of it: carried from an earlier round, not used, unusual
    line : line of the file, 0 where there is none
    """

    section: str
    name: str
    condition: str
    value: float | str
    unit: str = ""
    given: str = ""
    note: str = ""
    line: int = 0

    @property
    def text(self) -> str:
        """The value as a person writes it, with its unit."""
        figure = f"{self.value:g}" if isinstance(self.value, float) else self.value
        return f"{figure} {self.unit}".strip()


FIGURE_TITLES = {
    "vehicle.engine_litres": "engine size",
    "vehicle.odometer": "odometer",
    "filter.fitted_at": "fitted at",
    "filter.volume": "volume",
    "filter.diameter": "diameter",
    "filter.length": "length",
    "filter.cells_per_square_inch": "cells per square inch",
    "filter.wall": "thickness of the walls",
    "filter.burn_limit": "most soot for a burn by the vehicle's maker",
}


def understood(case: Case, knowledge: Knowledge) -> list[Understood]:
    """Return everything the case says, in the order of the file, in shop units."""
    unusual = {w.line: w.says for w in case.warnings}
    return [
        *_head(case, knowledge, unusual),
        *(_figure("usage", knowledge.readings[id_].title, q, unusual) for id_, q in case.usage.items()),
        *_history(case),
        *(line for r in case.rounds for line in _round(case, r, knowledge, unusual)),
        *(Understood("confirmed", knowledge.causes[c].title, "", "found to be the cause") for c in case.confirmed),
    ]


def _figure(
    section: str, name: str, q: Quantity, unusual: dict[int, str], condition: str = "", note: str = ""
) -> Understood:
    unit = "" if q.unit == "1" else q.unit
    bare = q.given.removesuffix(unit).strip()  # "2.0 l" and "2.0" say no more than "2 l"
    same = re.fullmatch(r"[\d.]+", bare) is not None and bare.count(".") < 2 and float(bare) == q.value
    said = note or next((s for line, s in unusual.items() if line == q.line and f"'{q.given}'" in s), "")
    return Understood(section, name, condition, q.value, unit, "" if same else q.given, said, q.line)


def _head(case: Case, knowledge: Knowledge, unusual: dict[int, str]) -> Iterator[Understood]:
    words = [("case", "name", case.name), ("case", "complaint", case.complaint)]
    if case.opened:
        words.insert(1, ("case", "opened", case.opened.isoformat()))
    yield from (Understood(s, n, "", v) for s, n, v in words if v)
    vehicle = [("emission class", case.emission_class), ("gearbox", case.gearbox)]
    kind = knowledge.filter_types[case.filter_type].title if case.filter_type else ""
    filter_ = [("type", kind), ("filter body", case.substrate)]
    filter_.append(("fitted", case.fitted.isoformat() if case.fitted else ""))
    for section, texts in (("vehicle", vehicle), ("filter", filter_)):
        for path, q in case.given.items():
            if path.startswith(section):
                yield _figure(section, FIGURE_TITLES[path], q, unusual)
        yield from (Understood(section, n, "", v) for n, v in texts if v)
    if case.layout:
        yield Understood("filter", "sensors", "", knowledge.layouts[case.layout].title)


def _history(case: Case) -> Iterator[Understood]:
    for e in case.history:
        parts = [e.what, f"completed: {e.completed}" if e.completed != "unknown" else ""]
        at = [e.date.isoformat() if e.date else "", f"{e.odometer_km:,.0f} km" if e.odometer_km is not None else ""]
        note = "taken as repaired: " + ", ".join(e.repaired) if e.repaired else ""
        value = ", ".join(p for p in (*at, *parts) if p)
        yield Understood("history", e.event, "", value, note=note, line=e.line)


def _round(case: Case, r: Round, knowledge: Knowledge, unusual: dict[int, str]) -> Iterator[Understood]:
    section = f"round {r.when} ({r.index + 1})"
    if r.date:
        yield Understood(section, "date", "", r.date.isoformat(), line=r.line)
    if r.odometer_km is not None:
        yield Understood(section, "odometer", "", r.odometer_km, "km", line=r.line)
    for cause in r.repaired:
        yield Understood(section, "repaired before this round", "", knowledge.causes[cause].title, line=r.line)
    for job in r.jobs:
        yield Understood(section, "done before this round", "", knowledge.remedies[job].title, line=r.line)
    if r.burn_completed != "unknown":
        yield Understood(section, "burn before this round completed", "", r.burn_completed, line=r.line)
    for slot, q in {**r.readings, **r.carried_readings}.items():
        id_, _, condition = slot.partition(".")
        note = "" if slot in r.readings else _from(case, r, slot)
        yield _figure(section, knowledge.readings[id_].title, q, unusual, condition, note)
    for name, said in {**r.answers, **r.carried_answers}.items():
        note = "" if name in r.answers else _from(case, r, name)
        yield Understood(section, knowledge.questions[name].text, "", said, note=note, line=r.line)
    if r.codes is None:
        yield Understood(section, "trouble codes", "", "not read", line=r.line)
    elif not r.codes:
        yield Understood(section, "trouble codes", "", "read, none found", line=r.line)
    unused = set(unused_codes(case, knowledge))
    for code in r.codes or ():
        known = knowledge.codes.get(code.code)
        note = "kept, not used: no code of the list and no rule names it" if code.code in unused else ""
        note = "looked up: harmless" if code.harmless else note
        value = f"{code.status}: {known.meaning}" if known else code.status
        yield Understood(section, code.code, "", value, note=note, line=code.line)


def _from(case: Case, r: Round, slot: str) -> str:
    return f"still taken to be true from round {r.taken[slot] + 1} ({case.rounds[r.taken[slot]].when})"
