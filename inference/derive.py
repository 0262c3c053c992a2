"""From what was read to what it means: the derived readings of every round of a case.

Pure: no clock, no file, no state. One fixed sample of the unknown parameters is shared by all of them, so that two
derived readings of one round move together. A reading that cannot be derived is absent, never zero.
"""

from __future__ import annotations

from collections.abc import Collection

from inference.derive_air import derive_air
from inference.derive_burn import derive_burn
from inference.derive_cross import derive_cross
from inference.derive_heat import derive_heat
from inference.derive_load import derive_load
from inference.derive_pressure import derive_pressure
from inference.derive_rounds import SLOT, derive_between
from inference.derive_sheet import CaseView, DerivedReading, EventView, RoundView, Sheet
from inference.derive_split import derive_left, derive_split
from inference.derive_usage import derive_usage
from inference.steps import Journal
from kb.model import Knowledge

# derived readings of which others take over the words or the middle: they are written down whatever is asked for
BUILT_ON = ("ash_load", "index_left_after_burn.fast_idle", "soot_load", SLOT)

__all__ = ["CaseView", "DerivedReading", "EventView", "RoundView", "derive"]


def derive(
    case: CaseView, knowledge: Knowledge, journal: Journal | None = None, moved: Collection[str] | None = None
) -> list[dict[str, DerivedReading]]:
    """Work out the derived readings of every round.

    Parameters
    ----------
    case : the case
    knowledge : readings.yaml (instrument errors), derived.yaml (formulas in words), layouts, substrates
    journal : of a case that differs from this one in readings, answers and usage alone; what they have in common
        is taken from it
    moved : names of all facts that may differ from the journal's first case, where that is known

    Returns
    -------
    one dictionary a round, slot to derived reading, in the order of the case's rounds

    Raises
    ------
    ValueError : a figure that cannot be (a wall thicker than its cell)
    """
    sheets = (
        [Sheet(case, round_, knowledge) for round_ in case.rounds]
        if journal is None
        else _turned(case, knowledge, journal, moved)
    )
    for place, sheet in enumerate(sheets):
        earlier = tuple(sheets[:place])
        derive_usage(sheet)
        derive_air(sheet)
        derive_heat(sheet)
        derive_cross(sheet)
        derive_pressure(sheet)
        derive_load(sheet)
        derive_split(sheet)
        derive_between(sheet, earlier)
        derive_left(sheet, earlier)
        derive_burn(sheet)
    return [dict(sheet.done) for sheet in sheets]


def _turned(case: CaseView, knowledge: Knowledge, journal: Journal, moved: Collection[str] | None) -> list[Sheet]:
    """Return the journal's sheets, wiped for this case; new ones the first time."""
    if not journal.sheets:
        journal.sheets = [Sheet(case, round_, knowledge, journal) for round_ in case.rounds]
    for sheet, round_ in zip(journal.sheets, case.rounds, strict=True):
        sheet.turn_to(case, round_)
    journal.begin(moved)
    return journal.sheets
