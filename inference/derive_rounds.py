"""What changed from one round to a later one: the index before and after, and what a completed burn left behind."""

from __future__ import annotations

import numpy as np

from inference.derive_sheet import CaseView, EventView, RoundView, Sheet

SLOT = "restriction_index.fast_idle"
BURNS = ("forced regeneration", "driven regeneration")


def derive_between(sheet: Sheet, earlier: list[Sheet]) -> None:
    """Write down how this round's index stands to the last round that had one.

    The filter's own unknowns are the same sample in both rounds and so fall out of the ratio.
    """
    now = sheet.samples.get(SLOT)
    before = next((s for s in reversed(earlier) if SLOT in s.samples), None)
    if now is None or before is None:
        return
    here = sheet.done[SLOT]
    notes = (f"Held against the round '{before.round.when}'.", *here.notes)
    last = before.samples[SLOT]
    if float(np.median(last)) > 0.2:  # below that the earlier reading itself says nothing
        change = now / np.maximum(last, 0.05)
        sheet.put("index_change.fast_idle", change, (SLOT, *here.inputs), notes)
    if burn_between(sheet.case, before.round, sheet.round):
        sheet.put("index_left_after_burn.fast_idle", now, (SLOT, "history", *here.inputs), here.notes)


def burn_between(case: CaseView, earlier: RoundView, later: RoundView) -> bool:
    """Say whether a burn is known to have been completed between two rounds.

    The last burn of the history that lies between them decides; with none noted, a round called "after burn" does,
    unless it says itself that its burn was not completed.
    """
    noted = [e for e in case.history if e.event in BURNS and lies_between(e, earlier, later)]
    if noted:
        return noted[-1].completed == "yes"
    own = getattr(later, "burn_completed", None)
    return own == "yes" or (later.when == "after burn" and own != "no")


def lies_between(event: EventView, earlier: RoundView, later: RoundView) -> bool:
    """Say whether an event is known to lie after one round and not after another, by date, else by odometer."""
    km = (earlier.odometer_km, event.odometer_km, later.odometer_km)
    if (km[0] or 0.0) > (km[1] if km[1] is not None else 1e9) or (km[1] or 0.0) > (km[2] or 1e9):
        return False  # the odometer speaks against it
    if event.date and earlier.date and later.date and earlier.date != later.date:
        return earlier.date <= event.date <= later.date
    if event.odometer_km is not None and earlier.odometer_km is not None and later.odometer_km is not None:
        return earlier.odometer_km <= event.odometer_km <= later.odometer_km
    return False
