"""What changed from one round to a later one: the index before and after, and what a completed burn left behind."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from inference.derive_pressure import reference_of
from inference.derive_sheet import CaseView, EventView, RoundView, Sheet
from inference.physics import calibration
from inference.physics.sampling import middle
from inference.physics.valid import Array
from inference.steps import step

SLOT = "restriction_index.fast_idle"
BURNS = ("forced regeneration", "driven regeneration")
FRESH_KM = 50.0  # soot of 50 mg/km, the most that is usual, makes 1 g/l of a 2.5 l filter in this distance


@step
def derive_between(sheet: Sheet, earlier: Sequence[Sheet]) -> None:
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
    if middle(last) > 0.2:  # below that the earlier reading itself says nothing
        change = now / np.maximum(last, 0.05)
        sheet.put("index_change.fast_idle", change, (SLOT, *here.inputs), notes)
    since = since_burn(sheet.case, before.round, sheet.round)
    if since is not None:
        left = now
        more: tuple[str, ...] = ()
        if since > FRESH_KM:
            left = np.minimum(now, np.maximum(now - _gathered(sheet, since), 1.0))  # never freer than clean by it
            more = (f"Soot that may have gathered on the {since:.0f} km since the burn was taken off.",)
        inputs = (SLOT, "history", *here.inputs)
        sheet.put("index_left_after_burn.fast_idle", left, inputs, (*more, *here.notes))


def _gathered(sheet: Sheet, distance: float) -> Array:
    """Return what the soot gathered on a distance [km] adds to the index of a clean filter [-]."""
    ref = reference_of(sheet, "fast_idle")
    assert ref is not None  # or there were no index
    rate = calibration.SOOT_GATHERED.of_vehicle("ash_distance").clip(0.0)
    most = 0.9 * np.asarray(ref.terms.square / ref.terms.shrink)
    soot = np.minimum(rate * distance * 1e3 / ref.housing.body.volume, most)
    return (np.asarray(ref.terms.drop(soot)) - ref.clean) / ref.clean


def since_burn(case: CaseView, earlier: RoundView, later: RoundView) -> float | None:
    """Return the distance [km] from a completed burn to the later round; None if no such burn is known between.

    The last burn of the history that lies between the rounds decides; with none noted, a round called "after burn"
    does, unless it says itself that its burn was not completed. Without odometers a burn counts as just done up to
    the next day, and in a round called "after burn".
    """
    noted = [e for e in case.history if e.event in BURNS and lies_between(e, earlier, later)]
    if not noted:
        own = getattr(later, "burn_completed", None)
        return 0.0 if own == "yes" or (later.when == "after burn" and own != "no") else None
    burn = noted[-1]
    if burn.completed != "yes":
        return None
    if burn.odometer_km is not None and later.odometer_km is not None:
        return later.odometer_km - burn.odometer_km
    if burn.date is not None and later.date is not None and (later.date - burn.date).days <= 1:
        return 0.0
    return 0.0 if later.when == "after burn" else None


def lies_between(event: EventView, earlier: RoundView, later: RoundView) -> bool:
    """Say whether an event is known to lie after one round and not after another, by odometer and date.

    On the day of the earlier round it lies after it, unless that round was itself read after a burn.
    """
    odometers = (earlier.odometer_km, event.odometer_km, later.odometer_km)
    if None not in odometers:
        first, at, last = (km or 0.0 for km in odometers)
        if not first <= at <= last:
            return False
        if first < at:
            return True
    if event.date is None or earlier.date is None or later.date is None:
        return None not in odometers and earlier.when != "after burn"
    if event.date == earlier.date:
        return earlier.when != "after burn"
    return earlier.date < event.date <= later.date
