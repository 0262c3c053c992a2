"""How the vehicle is used, and what its history says: distances, blockings, burns."""

from __future__ import annotations

from itertools import pairwise

import numpy as np

from inference.derive_sheet import EventView, RoundView, Sheet
from inference.physics import heat, usage
from inference.physics.sampling import between, exact, log_spread, normal_spread, vehicle
from inference.physics.valid import outside
from inference.steps import step

BLOCKINGS = ("blocked", "forced regeneration")
SAME_KM = 150.0  # a filter reported blocked and then burnt within this distance is one blocking, not two
SAME_DAYS = 14


def odometer(sheet: Sheet) -> float | None:
    """Return the odometer [km] in this round: its own, else the last one known before it."""
    known = [r.odometer_km for r in sheet.case.rounds if r.index <= sheet.round.index and r.odometer_km is not None]
    return known[-1] if known else sheet.case.odometer_km


def before(event: EventView, round_: RoundView) -> bool:
    """Say whether an event lies before (or at) a round; an undated one does."""
    if event.date is not None and round_.date is not None:
        return event.date <= round_.date
    if event.odometer_km is not None and round_.odometer_km is not None:
        return event.odometer_km <= round_.odometer_km
    return True


def events(sheet: Sheet, *kinds: str) -> list[EventView]:
    """Return the events of these kinds before this round, in the order they happened as far as known."""
    found = [e for e in sheet.case.history if e.event in kinds and before(e, sheet.round)]
    if all(e.odometer_km is not None for e in found):
        return sorted(found, key=lambda e: e.odometer_km or 0.0)
    if all(e.date is not None for e in found):
        return sorted(found, key=lambda e: str(e.date))
    return found


def distance_on_filter(sheet: Sheet) -> float | None:
    """Return the distance [km] on the filter that is now on the vehicle; None if not known."""
    now = odometer(sheet)
    since = sheet.case.fitted_at_km
    fitted = sheet.case.fitted
    changes = [
        e for e in events(sheet, "filter replaced") if not (fitted and e.date and e.date <= fitted)
    ]  # a change up to the day the filter was fitted is that fitting itself
    if changes:
        last = changes[-1].odometer_km
        if last is None:
            return None  # changed at a distance nobody wrote down
        since = last if since is None else max(since, last)
    if now is None or since is None or now < since:
        return None
    return now - since


@step
def derive_usage(sheet: Sheet) -> None:
    """Write usage, history and burn counts down."""
    _trips(sheet)
    _recorded(sheet)
    _burns(sheet)
    on_filter = distance_on_filter(sheet)
    if on_filter is not None:
        sheet.put("distance_on_filter", exact(on_filter), ("odometer", "filter", "history"))
        stored = sheet.read("filter_distance_stored")
        if stored is not None:
            spread = normal_spread(stored - on_filter, sheet.error("filter_distance_stored", stored))
            sheet.put("stored_distance_excess", spread, ("filter_distance_stored", "distance_on_filter"))
    if sheet.case.history:
        _blockings(sheet)


@step
def _trips(sheet: Sheet) -> None:
    trip, distance = sheet.read("typical_trip"), sheet.read("typical_distance")
    if trip and distance is not None:
        speed = usage.mean_speed(distance * 1e3, trip * 60.0) * 3.6
        sheet.put("mean_trip_speed", exact(float(speed)), ("typical_distance", "typical_trip"))
    count = sheet.read("trips_per_week")
    if count is not None and distance is not None:
        sheet.put("weekly_distance", exact(count * distance), ("trips_per_week", "typical_distance"))
    if trip:
        ambient = sheet.read("ambient_temperature")
        inputs: tuple[str, ...] = ("typical_trip",)
        notes: tuple[str, ...] = ("The outside temperature was not read; 10 °C was taken.",)
        if ambient is not None:
            inputs, notes = (*inputs, "ambient_temperature"), ()
        kelvin = (10.0 if ambient is None else ambient) + 273.15
        low, mid, high = heat.warm_up_time(kelvin)
        warm_up = np.maximum(between(vehicle("breathing"), float(low), float(mid), float(high)), 0.0)
        share = np.asarray(heat.hot_share(trip * 60.0, warm_up))
        sheet.put_share("hot_share", share, inputs, notes, outside(heat.warm_up_time, ambient=kelvin))


@step
def _recorded(sheet: Sheet) -> None:
    """What recorded trips say of the usual ones, and how what was told stands to it; nothing from a few trips."""
    trips = sheet.read("recorded_trips")
    if trips is None or trips < usage.LEAST_TRIPS:
        return
    error = float(usage.recorded_error(trips))
    for slot, made, told in (
        ("usual_trip_by_recording", "recorded_trip_time", "typical_trip"),
        ("usual_distance_by_recording", "recorded_trip_distance", "typical_distance"),
    ):
        if not (mean := sheet.read(made)):
            continue
        sheet.put(slot, log_spread(mean, error), (made, "recorded_trips"))
        said = sheet.read(told)
        if said and told == "typical_trip":
            both = float(np.hypot(error, sheet.error(told, said) / said))
            sheet.put("told_over_recorded", log_spread(said / mean, both), (told, made, "recorded_trips"))


@step
def _burns(sheet: Sheet) -> None:
    started, completed = sheet.read("burns_started"), sheet.read("burns_completed")
    if started and completed is not None:
        share = float(usage.burn_completion(completed, started))
        odd = outside(usage.burn_completion, result=share)
        sheet.put("burn_completion", exact(100.0 * share), ("burns_completed", "burns_started"), (), odd)
    over = sheet.read("burns_counted_over")
    if started is not None and over:
        rate = float(usage.burn_rate(started, over))
        sheet.put("burns_per_1000km", exact(rate * 1e3), ("burns_started", "burns_counted_over"))
    interval = sheet.read("burn_interval")
    if interval:
        ratio = float(usage.interval_over_usual(interval))
        error = sheet.error("burn_interval", interval) / usage.USUAL_INTERVAL
        sheet.put("interval_over_usual", normal_spread(ratio, error), ("burn_interval",))


@step
def _blockings(sheet: Sheet) -> None:
    found = events(sheet, *BLOCKINGS)
    groups: list[EventView] = []
    for event in found:
        if not groups or not _same(groups[-1], event):
            groups.append(event)
    sheet.put("blockings", exact(float(len(groups))), ("history",))
    forced = [e.odometer_km for e in events(sheet, "forced regeneration") if e.odometer_km is not None]
    now = odometer(sheet)
    if forced and now is not None and now >= forced[-1]:
        sheet.put("distance_since_forced", exact(now - forced[-1]), ("history", "odometer"))
    at = [e.odometer_km for e in groups if e.odometer_km is not None]
    if len(at) < len(groups):
        return  # a blocking at an unknown distance leaves the intervals unknown
    arrived = sheet.round.when == "arrival" and now is not None and at and now - at[-1] > SAME_KM
    if arrived and now is not None:
        at.append(now)
    steps = [b - a for a, b in pairwise(at) if b >= a]
    if steps:
        inputs = ("history", "odometer") if arrived else ("history",)
        sheet.put("blocking_interval", exact(min(steps)), inputs)


def _same(earlier: EventView, later: EventView) -> bool:
    """Say whether a report and the burn that followed it are one blocking."""
    if (earlier.event, later.event) != ("blocked", "forced regeneration"):
        return False
    if earlier.odometer_km is not None and later.odometer_km is not None:
        return later.odometer_km - earlier.odometer_km <= SAME_KM
    if earlier.date is not None and later.date is not None:
        return (later.date - earlier.date).days <= SAME_DAYS
    return False
