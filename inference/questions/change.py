"""Changes as a person writes them on one line ("coolant_temperature.road=88°C") made into a changed case.

Figures and words are read by the code that reads a case file, so a change that cannot be is told in the same words.
"unknown" leaves a fact out. A case is never changed in place.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace
from typing import Any

from inference.case import Case
from inference.change import changed, slots_that_change, without
from inference.read_case import FIGURES
from inference.read_fields import Fields
from kb.faults import Fault, Faults, nearest
from kb.model import Knowledge
from kb.yamlread import Document

WHERE = "what if"
# facts of the vehicle and its filter, and the field of Case that holds each
WORDS = {"filter.type": "filter_type", "filter.substrate": "substrate", "layout": "layout"}
NUMBERS = {
    "vehicle.engine_litres": "engine_litres", "vehicle.odometer": "odometer_km", "filter.fitted_at": "fitted_at_km",
    "filter.volume": "volume_l", "filter.diameter": "diameter_mm", "filter.length": "length_mm",
    "filter.cells_per_square_inch": "cells_per_square_inch", "filter.wall": "wall_mm",
    "filter.burn_limit": "burn_limit_g_l",
}  # fmt: skip


def parse_changes(words: Sequence[str]) -> dict[str, Any]:
    """Return slot to what would stand in the file; None for "unknown", a list for codes ("none": read, none there).

    Raises
    ------
    Faults : a word without an equals sign, or a slot named twice
    """
    out: dict[str, Any] = {}
    faults: list[Fault] = []
    for word in words:
        slot, equals, value = (part.strip() for part in word.partition("="))
        if not equals or not slot or not value:
            example = "coolant_temperature.road=88°C, egr_valve_moves_freely=yes or codes=P0128"
            faults.append(
                Fault(WHERE, 0, "", f"'{word}' is no change; write a name, '=' and a value, such as {example}")
            )
        elif slot in out:
            faults.append(Fault(WHERE, 0, slot, "is changed twice; keep one"))
        elif value.lower() == "unknown":
            out[slot] = None
        elif slot == "codes":
            out[slot] = [] if value.lower() in ("none", "[]") else [c.strip() for c in value.strip("[]").split(",")]
        else:
            out[slot] = value
    if faults:
        raise Faults(faults)
    return out


def apply(case: Case, knowledge: Knowledge, new: Mapping[str, Any]) -> Case:
    """Return ``case`` with the changes written into its latest round; usage and the vehicle belong to the whole case.

    Raises
    ------
    Faults : every slot that is not known and every figure or word that cannot be read there
    """
    frame = {slot: value for slot, value in new.items() if slot in WORDS or slot in NUMBERS}
    gone = [slot for slot, value in new.items() if value is None and slot not in frame]
    rest = {slot: value for slot, value in new.items() if value is not None and slot not in frame}
    _check_names(knowledge, [*gone, *rest], case)
    fields = Fields(Document(WHERE, None, {"": 0}))
    case = _framed(fields, case, knowledge, frame)
    if fields.faults:
        raise Faults(replace(f, field=f.field.removeprefix(f"{WHERE}.")) for f in fields.faults)
    if gone:
        case = without(case, knowledge, gone)
    return changed(case, knowledge, rest, where=WHERE, whole=bool(frame))


def _check_names(knowledge: Knowledge, slots: Sequence[str], case: Case) -> None:
    """A slot that is nothing at all is a fault with the nearest name; conditions are checked where they are read."""
    known = [*slots_that_change(knowledge), *WORDS, *NUMBERS]
    bare = {s.partition(".")[0] for s in known}
    faults = []
    for slot in slots:
        is_code = len(slot) == 5 and slot[0].upper() in "PBCU" and slot[1].isdigit()
        if slot.partition(".")[0] not in bare and not is_code:
            near = nearest(slot, known)
            kind = _other_kind(knowledge, slot)
            says = f"'{slot}' is {kind or 'no reading, usage figure, question, code or fact of the filter'}{near}"
            faults.append(Fault(WHERE, 0, slot, says))
    if faults:
        raise Faults(faults)


def _other_kind(knowledge: Knowledge, slot: str) -> str:
    derived = knowledge.derived.get(slot.partition(".")[0])
    if derived is not None:
        return f"worked out from other readings; change one of {', '.join(derived.inputs)}"
    if slot in knowledge.findings:
        return "a finding, which the rules set; change what it is found from"
    return "a cause; change what speaks for or against it" if slot in knowledge.causes else ""


def _framed(fields: Fields, case: Case, knowledge: Knowledge, new: Mapping[str, Any]) -> Case:
    options = {
        "filter.type": list(knowledge.filter_types),
        "filter.substrate": list(knowledge.substrates),
        "layout": list(knowledge.layouts),
    }
    found: dict[str, Any] = {}
    for slot, value in new.items():
        if slot in WORDS:
            found[WORDS[slot]] = fields.choice(slot, value, options[slot], unknown=True)
        else:
            unit, low, high = FIGURES[slot]
            quantity = fields.quantity(slot, value, unit, low, high)
            found[NUMBERS[slot]] = quantity.value if quantity else None
    return replace(case, **found)
