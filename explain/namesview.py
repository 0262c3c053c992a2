"""How a case file names things: every key, reading, answer, cause and job with what it is, or those that fit words.

Made from the knowledge itself, so that nothing can be read that is not listed here.
"""

from __future__ import annotations

from collections.abc import Iterator

from pydantic import BaseModel
from rich.console import Console
from rich.table import Table
from rich.text import Text

from explain.words import phrases, say
from inference.case import HAPPENINGS, WHENS
from inference.read_case import FIGURES
from inference.read_round import ROUND_KEYS, jobs_of
from inference.understood import FIGURE_TITLES
from kb.model import Knowledge


class NameShape(BaseModel):
    """One name: where it stands in the file, how its value is written, and what it is."""

    section: str
    name: str
    written: str
    title: str


class NamesShape(BaseModel):
    """The whole answer of ``clogwise names``."""

    names: list[NameShape]


def names(knowledge: Knowledge) -> list[NameShape]:
    """Return all names in the order of a case file."""
    return [NameShape(section=s, name=n, written=w, title=t) for s, n, w, t in _all(knowledge)]


def _all(k: Knowledge) -> Iterator[tuple[str, str, str, str]]:
    titles, written = {**FIGURE_TITLES, **phrases()["names"]["key"]}, phrases()["names"]["written"]
    for path, (unit, _, _) in FIGURES.items():
        part, _, key = path.partition(".")
        if part == "vehicle":
            yield part, key, _number(unit), titles[path]
    yield "vehicle", "emission_class", "Euro 5", titles["vehicle.emission_class"]
    yield "vehicle", "gearbox", "manual | automatic", titles["vehicle.gearbox"]
    yield "filter", "type", " | ".join(k.filter_types), titles["filter.type"]
    yield "filter", "substrate", " | ".join(k.substrates), titles["filter.substrate"]
    yield "filter", "fitted", "2026-03-02", titles["filter.fitted"]
    for path, (unit, _, _) in FIGURES.items():
        part, _, key = path.partition(".")
        if part == "filter":
            yield part, key, _number(unit), titles[path]
    for layout in k.layouts.values():
        yield "layout", layout.id, "", layout.title
    for reading in k.readings.values():
        if reading.group == "usage":
            yield "usage", reading.id, _number(reading.unit), reading.title
    for event in HAPPENINGS:
        yield "history", event, "", ""
    for key in ROUND_KEYS:
        if key not in ("readings", "answers"):
            yield "round", key, " | ".join(WHENS) if key == "when" else written[key], titles[key]
    for reading in k.readings.values():
        if reading.group != "usage":
            at = f"{{{', '.join(reading.conditions)}}} " if len(reading.conditions) > 1 else ""
            yield "readings", reading.id, f"{at}{_number(reading.unit)}", reading.title
    for question in k.questions.values():
        yield "answers", question.id, " | ".join(question.options), question.text
    for cause in k.causes.values():
        yield "repaired", cause.id, "", cause.title
    for job in sorted(jobs_of(k)):
        yield "repaired", job, "", k.remedies[job].title


def _number(unit: str) -> str:
    return say("names.bare") if unit == "1" else say("names.in_unit", unit=unit)


def show(found: list[NameShape], out: Console) -> None:
    """Print the names, each section under its heading."""
    for section, heading in phrases()["names"]["section"].items():
        rows = [n for n in found if n.section == section]
        if not rows:
            continue
        out.print(Text(heading, style="bold"))
        table = Table(box=None, pad_edge=False, show_header=False, padding=(0, 2, 0, 2))
        for share in (None, None, 1):
            table.add_column(overflow="fold", ratio=share)
        for row in rows:
            table.add_row(Text(row.name), Text(row.written, style="dim"), Text(row.title))
        out.print(table)


def none_of(words: str) -> str:
    """Return the sentence for words that nothing fits."""
    return say("names.none", words=words)
