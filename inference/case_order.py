"""What cannot be true together in one case: backward time, a falling odometer, counts that disagree."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import date
from itertools import pairwise

from inference.case import Case
from inference.read_fields import Fields

TOP_SPEED_KM_H = 250.0  # no trip is faster on average
MOST_WALL = 0.5  # share of the cell spacing; real filters lie near 0.2 (from memory)
UNROUND = 1.25  # an oval filter has no one diameter, so volume and measures may differ by this much


@dataclass(frozen=True)
class _Point:
    """A moment the case speaks of, with what is known of its day and odometer."""

    what: str
    path: str
    day: date | None
    km: float | None


def check_order(fields: Fields, case: Case) -> None:
    """Add a fault for everything in ``case`` that cannot be true together."""
    rounds = [_Point(f"the round '{r.when}'", f"rounds.{r.index}", r.date, r.odometer_km) for r in case.rounds]
    events = [
        _Point(f"the event '{e.event}'", f"history.{i}", e.date, e.odometer_km) for i, e in enumerate(case.history)
    ]
    # where an entry of the history could not be read, places are off by one: compare only rounds
    if any(f.field.startswith("history") for f in fields.faults):
        events = []
    fitted = _Point("the fitting of the filter", "filter.fitted", case.fitted, case.fitted_at_km)
    for points in (rounds, events):
        _in_sequence(fields, points)
    _odometer_follows_date(fields, [fitted, *events, *rounds], {p.path for p in rounds})
    _within_the_case(fields, case, rounds, [*events, fitted])
    _geometry(fields, case)
    check_figures(fields, case)


def check_figures(fields: Fields, case: Case) -> None:
    """Add a fault for every reading, usage figure and answer that cannot be true together with the rest."""
    _driven_so_far(fields, case)
    _burns(fields, case)
    _filter_fitted(fields, case)
    _trips(fields, case)


def _in_sequence(fields: Fields, points: list[_Point]) -> None:
    """A list is written oldest first."""
    dated = [p for p in points if p.day is not None]
    for a, b in pairwise(dated):
        if a.day is not None and b.day is not None and b.day < a.day:
            says = f"{b.what} on {b.day} stands after {a.what} on {a.day}; write the oldest first"
            fields.fault(f"{b.path}.date", says)
    driven = [p for p in points if p.km is not None]
    for a, b in pairwise(driven):
        if a.km is not None and b.km is not None and b.km < a.km:
            says = f"the odometer falls from {a.km:g} km ({a.what}) to {b.km:g} km ({b.what}); mend one of them"
            fields.fault(f"{b.path}.odometer", says)


def _odometer_follows_date(fields: Fields, points: list[_Point], rounds: set[str]) -> None:
    """Between lists: what is later by date cannot be earlier by odometer."""
    known = [p for p in points if p.day is not None and p.km is not None]
    known.sort(key=lambda p: (p.day or date.min, p.km or 0.0))
    highest: _Point | None = None
    for p in known:
        same_list = highest is not None and (p.path in rounds) == (highest.path in rounds)
        same_list = same_list and "filter.fitted" not in (p.path, highest.path if highest else "")
        if highest is not None and highest.km is not None and p.km is not None and p.km < highest.km:
            if not same_list:
                says = (
                    f"{p.what} on {p.day} has {p.km:g} km, but {highest.what} on {highest.day} already had "
                    f"{highest.km:g} km; mend one of them"
                )
                fields.fault(p.path if p.path == "filter.fitted" else f"{p.path}.odometer", says)
        else:
            highest = p


def _within_the_case(fields: Fields, case: Case, rounds: list[_Point], others: list[_Point]) -> None:
    last_day = max((p.day for p in rounds if p.day is not None), default=None)
    last_km = max((p.km for p in rounds if p.km is not None), default=None)
    for p in rounds:
        if case.opened and p.day and p.day < case.opened:
            fields.fault(f"{p.path}.date", f"{p.what} on {p.day} lies before the case was opened on {case.opened}")
    today = last_day or case.opened
    for p in others:
        where = p.path if p.path.startswith("filter") else f"{p.path}.date"
        if today and p.day and p.day > today:
            says = f"{p.what} on {p.day} lies after the latest day of the case, {today}; mend the date"
            fields.fault(where, says)
    if last_km is not None and case.odometer_km is not None and case.odometer_km > last_km:
        says = f"{case.odometer_km:g} km is more than the latest round's {last_km:g} km; mend one of them"
        fields.fault("vehicle.odometer", says)
    now_km = _now_km(case)
    for p in others:
        if p.km is not None and now_km is not None and p.km > now_km:
            where = "filter.fitted_at" if p.path.startswith("filter") else f"{p.path}.odometer"
            fields.fault(where, f"{p.what} at {p.km:g} km lies beyond the odometer, {now_km:g} km")


def _now_km(case: Case) -> float | None:
    """Return what the odometer shows at the latest [km]."""
    return max((km for km in (*(r.odometer_km for r in case.rounds), case.odometer_km) if km is not None), default=None)


def _driven_so_far(fields: Fields, case: Case) -> None:
    """No count of kilometres is more than the vehicle has driven."""
    now_km = _now_km(case)
    for r in case.rounds:
        here = r.odometer_km if r.odometer_km is not None else now_km
        counted = {f"readings.{s}": r.number(s) for s in ("distance_since_burn", "burn_interval", "burns_counted_over")}
        counted["codes_cleared.distance"] = r.codes_cleared.distance_km
        for name, km in counted.items():
            if km is not None and here is not None and km > here:
                says = f"{km:g} km is more than the vehicle has driven, {here:g} km; check the figure"
                fields.fault(f"rounds.{r.index}.{name}", says)


def _burns(fields: Fields, case: Case) -> None:
    for r in case.rounds:
        started, completed = r.number("burns_started"), r.number("burns_completed")
        if started is not None and completed is not None and completed > started:
            says = f"{completed:g} burns completed are more than the {started:g} started; check both"
            fields.fault(f"rounds.{r.index}.readings.burns_completed", says)


def _filter_fitted(fields: Fields, case: Case) -> None:
    """The filter: section tells of the filter on the vehicle now; history and answers must agree with it."""
    replaced = [e for e in case.history if e.event == "filter replaced"]
    first = case.rounds[0].date if case.rounds else None
    told = any(f.field == "filter.fitted" for f in fields.faults)
    if case.fitted and first and case.fitted > first and not replaced and not told:
        says = (
            f"the filter was fitted on {case.fitted}, after the first round on {first}; add the event "
            "'filter replaced' to the history, or mend the date"
        )
        fields.fault("filter.fitted", says)
    for e in replaced:
        before_all = bool(case.rounds) and case.before(e, case.rounds[0]) is True
        if before_all and case.fitted and e.date and e.date > case.fitted:
            says = (
                f"the filter is said to be of {case.fitted}, but line {e.line} has it replaced on {e.date}; "
                "give the fitting of the filter now on the vehicle"
            )
            fields.warn("filter.fitted", says)
        for r in case.rounds:
            if case.before(e, r) is True and r.answers.get("filter_replaced") == "no":
                says = f"the answer is no, but line {e.line} has the filter replaced; mend one of them"
                fields.fault(f"rounds.{r.index}.answers.filter_replaced", says)


def _geometry(fields: Fields, case: Case) -> None:
    """The channels must be wider than nothing, and volume and outer measures belong to one filter."""
    if case.cells_per_square_inch is not None and case.wall_mm is not None:
        pitch = 25.4 / math.sqrt(case.cells_per_square_inch)
        if case.wall_mm > MOST_WALL * pitch:
            says = (
                f"walls of {case.wall_mm:g} mm leave hardly any channel with {case.cells_per_square_inch:g} cells per "
                f"square inch (one every {pitch:.2f} mm); check both"
            )
            fields.fault("filter.wall", says)
    if case.volume_l is not None and case.diameter_mm is not None and case.length_mm is not None:
        round_one = math.pi / 4 * case.diameter_mm**2 * case.length_mm * 1e-6
        if not 1 / UNROUND < round_one / case.volume_l < UNROUND:
            says = (
                f"{case.volume_l:g} l does not go with {case.diameter_mm:g} mm across and {case.length_mm:g} mm long, "
                f"which make {round_one:.2f} l; the volume is used, check the three"
            )
            fields.warn("filter.volume", says)


def _trips(fields: Fields, case: Case) -> None:
    minutes, km, trips = (case.number(s) for s in ("typical_trip", "typical_distance", "trips_per_week"))
    if minutes and km and km / (minutes / 60) > TOP_SPEED_KM_H:
        says = f"{km:g} km in {minutes:g} min would be {km / (minutes / 60):.0f} km/h; check both"
        fields.fault("usage.typical_distance", says)
    if minutes and trips and minutes * trips > 7 * 24 * 60:
        says = f"{trips:g} trips of {minutes:g} min are more than the hours of a week; check both"
        fields.fault("usage.trips_per_week", says)
