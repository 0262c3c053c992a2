"""How far a figure may be off: one standard error of the instrument behind it, from readings.yaml."""

from __future__ import annotations

from inference.case import Case
from inference.derive_sheet import Sheet
from inference.values import Z10, Number, Spread, Value
from kb.model import Knowledge

WITHIN = 2.0  # errors: nineteen readings in twenty lie nearer to the truth than this


def error_of(case: Case, knowledge: Knowledge, slot: str, value: float) -> float | None:
    """Return one standard error of a reading [its unit]; None for what no instrument reads."""
    if slot.partition(".")[0] not in knowledge.readings:
        return None
    return Sheet(case, case.rounds[-1], knowledge).error(slot, value) or None


def spread_error(case: Case, knowledge: Knowledge, slot: str, value: Value | None) -> float | None:
    """Return one standard error of a number as read, or of a derived reading from its 10 to 90 % interval [unit]."""
    if isinstance(value, Number):
        return error_of(case, knowledge, slot, value.value)
    if isinstance(value, Spread):
        return (value.high - value.low) / (2 * Z10) or None
    return None
