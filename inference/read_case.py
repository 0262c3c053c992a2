"""A case file read whole: YAML in, :class:`inference.case.Case` out, or every fault of it at once.

A fault says file:line, the field, what was read and what would be right. What stands in the file is never
executed, expanded or looked up anywhere; sizes are bounded (kb.yamlread, inference.read_fields).
"""

from __future__ import annotations

import re
from dataclasses import replace
from pathlib import Path
from typing import Any

from inference.carry import carry_forward
from inference.case import HAPPENINGS, Case, Event, Gearbox, Quantity
from inference.case_order import check_order
from inference.read_fields import Fields
from inference.read_round import MAX_KM, jobs_of, read_causes, read_round, read_usage
from kb.faults import Faults
from kb.model import Knowledge
from kb.yamlread import Document, parse_yaml, read_yaml

CASE_KEYS = (
    "case", "opened", "vehicle", "filter", "layout", "complaint", "usage", "history", "rounds", "confirmed",
    "notes",
)  # fmt: skip
MAX_ROUNDS = 100
# figures of vehicle: and filter: -> unit, least and most that can be true
FIGURES: dict[str, tuple[str, float, float]] = {
    "vehicle.engine_litres": ("l", 0.3, 20.0),
    "vehicle.odometer": ("km", 0.0, MAX_KM),
    "filter.fitted_at": ("km", 0.0, MAX_KM),
    "filter.volume": ("l", 0.3, 60.0),
    "filter.diameter": ("mm", 50.0, 500.0),
    "filter.length": ("mm", 50.0, 600.0),
    "filter.cells_per_square_inch": ("1", 50.0, 600.0),
    "filter.wall": ("mm", 0.1, 1.5),
    "filter.burn_limit": ("g/l", 1.0, 20.0),
}


def read_case(path: Path, knowledge: Knowledge, shown: str | None = None) -> Case:
    """Read a case file.

    Parameters
    ----------
    path : the file
    knowledge : readings, questions, causes, filters and layouts that a case may name
    shown : name of the file in faults; the path itself if not given

    Raises
    ------
    Faults : every fault of the file, sorted by line
    """
    return _case(read_yaml(path, shown), knowledge)


def parse_case(raw: bytes, name: str, knowledge: Knowledge) -> Case:
    """Read a case from the bytes of a file called ``name``; see :func:`read_case`."""
    return _case(parse_yaml(raw, name), knowledge)


def _case(doc: Document, knowledge: Knowledge) -> Case:
    fields = Fields(doc)
    if not isinstance(doc.data, dict):
        raise Faults([doc.fault("", f"a case begins with keys such as case: and rounds:, not with {_kind(doc.data)}")])
    at = fields.mapping("", doc.data, CASE_KEYS)
    name = fields.text("case", at.get("case"), 80, lines=False)
    if not name and at.get("case") in (None, ""):
        fields.fault("case", "the case has no name; write case: and a short name of your own")
    given, words = _vehicle_and_filter(fields, at, knowledge)
    usage = read_usage(fields, "usage", at.get("usage"), knowledge)
    rounds_raw = fields.listing("rounds", at.get("rounds"), "rounds, each with when: and what was read")
    if not rounds_raw and at.get("rounds") in (None, []):
        fields.fault("rounds", "the case has no round; write rounds: with one entry, when: arrival and what was read")
    if len(rounds_raw) > MAX_ROUNDS:
        fields.fault("rounds", f"{len(rounds_raw)} rounds stand here; at most {MAX_ROUNDS} are read")
        rounds_raw = []
    case = Case(
        name=name,
        file=doc.file,
        opened=fields.date("opened", at.get("opened")),
        complaint=fields.text("complaint", at.get("complaint")),
        notes=fields.text("notes", at.get("notes")),
        layout=fields.choice("layout", at.get("layout"), list(knowledge.layouts), unknown=True),
        usage=usage,
        history=_history(fields, at.get("history"), knowledge),
        history_given=isinstance(at.get("history"), list),
        rounds=tuple(read_round(fields, f"rounds.{i}", raw, i, usage, knowledge) for i, raw in enumerate(rounds_raw)),
        confirmed=read_causes(fields, "confirmed", at.get("confirmed"), knowledge),
        given=given,
        engine_litres=_value(given, "vehicle.engine_litres"),
        odometer_km=_value(given, "vehicle.odometer"),
        fitted_at_km=_value(given, "filter.fitted_at"),
        volume_l=_value(given, "filter.volume"),
        diameter_mm=_value(given, "filter.diameter"),
        length_mm=_value(given, "filter.length"),
        cells_per_square_inch=_value(given, "filter.cells_per_square_inch"),
        wall_mm=_value(given, "filter.wall"),
        burn_limit_g_l=_value(given, "filter.burn_limit"),
        **words,
    )
    check_order(fields, case)
    if fields.faults:
        raise Faults(fields.faults)
    return replace(carry_forward(case, knowledge), warnings=tuple(sorted(set(fields.warnings))))


def _kind(data: Any) -> str:
    return "a list" if isinstance(data, list) else f"'{str(data)[:40]}'"


def _value(given: dict[str, Quantity], path: str) -> float | None:
    return given[path].value if path in given else None


def _vehicle_and_filter(
    fields: Fields, at: dict[str, Any], knowledge: Knowledge
) -> tuple[dict[str, Quantity], dict[str, Any]]:
    """Return the figures by path and the words by their name in :class:`Case`."""
    vehicle = fields.mapping("vehicle", at.get("vehicle"), ("engine_litres", "odometer", "emission_class", "gearbox"))
    of_filter = ("type", "substrate", "fitted", "fitted_at", "volume", "diameter", "length")
    filter_ = fields.mapping("filter", at.get("filter"), (*of_filter, "cells_per_square_inch", "wall", "burn_limit"))
    given: dict[str, Quantity] = {}
    for path, (unit, low, high) in FIGURES.items():
        part, _, key = path.partition(".")
        value = (vehicle if part == "vehicle" else filter_).get(key)
        if path == "vehicle.engine_litres" and isinstance(value, (int, float)) and not isinstance(value, bool):
            if value > high:
                fields.fault(path, f"'{value}' litres is no engine; for cubic centimetres write '{value} cm³'")
                continue
            value = f"{value} l"
        if isinstance(value, str):  # as people write them
            value = re.sub(r"\s*cpsi$" if unit == "1" else r"\b(ccm|ccs)\b", "" if unit == "1" else "cm³", value)
        if (found := fields.quantity(path, value, unit, low, high)) is not None:
            given[path] = replace(found, given=str((vehicle if part == "vehicle" else filter_)[key]))
    gearboxes: tuple[Gearbox, ...] = ("manual", "automatic")
    words = {
        "emission_class": fields.text("vehicle.emission_class", vehicle.get("emission_class"), 40, lines=False),
        "gearbox": fields.choice("vehicle.gearbox", vehicle.get("gearbox"), gearboxes, unknown=True),
        "filter_type": fields.choice("filter.type", filter_.get("type"), list(knowledge.filter_types), unknown=True),
        "substrate": fields.choice(
            "filter.substrate", filter_.get("substrate"), list(knowledge.substrates), unknown=True
        ),
        "fitted": fields.date("filter.fitted", filter_.get("fitted")),
    }
    return given, words


def _history(fields: Fields, raw: Any, knowledge: Knowledge) -> tuple[Event, ...]:
    out: list[Event] = []
    for i, item in enumerate(fields.listing("history", raw, "events, each with event: and a date or odometer")):
        path = f"history.{i}"
        at = fields.mapping(path, item, ("date", "odometer", "event", "completed", "what"))
        event = fields.choice(f"{path}.event", at.get("event"), HAPPENINGS)
        if event is None and at.get("event") is None and (item is None or isinstance(item, dict)):
            fields.fault(path, f"this entry does not say what happened; write event: {', '.join(HAPPENINGS)}")
        odometer = fields.quantity(f"{path}.odometer", at.get("odometer"), "km", 0, MAX_KM)
        what = fields.text(f"{path}.what", at.get("what"))
        if event == "repair" and not what and at.get("what") is None:
            fields.fault(path, "this repair does not say what was repaired; write what: and a cause id or a few words")
        named = [word for word in re.findall(r"[a-z][a-z0-9_]*", what) if word in knowledge.causes]
        jobs = [word for word in re.findall(r"[a-z][a-z0-9-]*", what) if word in jobs_of(knowledge)]
        completed = fields.yes_no(f"{path}.completed", at.get("completed"))
        day = fields.date(f"{path}.date", at.get("date"))
        if event is None:
            continue
        out.append(
            Event(
                event=event,
                date=day,
                odometer_km=odometer.value if odometer else None,
                completed=completed,
                what=what,
                repaired=tuple(dict.fromkeys(named)) if event == "repair" else (),
                jobs=tuple(dict.fromkeys(jobs)) if event == "repair" else (),
                line=fields.doc.line(path),
            )
        )
    return tuple(out)
