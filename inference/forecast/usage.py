"""How the vehicle is used, as samples in base SI: told where it was told, else recorded, else usual (and said so).

What was recorded stands in for what was not told, with the error of a mean over so few trips; of fewer than five
nothing is taken. Where both are there and plainly differ, what was recorded goes before it, as in the rules.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inference.case import Case, Round
from inference.forecast import balance
from inference.forecast.sample import drawn, normal
from inference.log.notes import Note, note
from inference.physics import heat
from inference.physics.calibration import Parameter
from inference.physics.sampling import Z10
from inference.physics.usage import LEAST_TRIPS, recorded_error
from inference.physics.valid import Array

WEEKS_A_MONTH = 4.345
TRIPS = Parameter(6.0, 12.0, 22.0, "1", True, "trips a week where none are told; from memory")
TRIP = Parameter(600.0, 1100.0, 1900.0, "s", True, "about the mean of 21 min of s25-travel-survey-england-2022")
LONG_RUNS = Parameter(0.2, 0.6, 1.5, "1", True, "long runs a week where none are told; from memory")
IDLE = Parameter(0.0, 1800.0, 7200.0, "s", False, "idling a week where none is told; from memory")
# of the running time at a stop in mixed driving: 13.4 % of the world harmonised cycle, class 3 (secondary)
TRAFFIC = 0.13
TOLD_ERROR = (2.0, 0.2)  # min, and share of a trip's time as told, whichever is more (kb/readings.yaml)
LIKE_ENOUGH = 0.262  # logarithm of 1.3: kb/rules/usage_recorded.yaml, trips told of plainly longer or shorter
AMBIENT = Parameter(273.0, 283.0, 293.0, "K", False, "outside temperature where it was not read; from memory")


@dataclass(frozen=True)
class Usage:
    """Trips and long runs a week [-], time [s] and distance [m] of each, idling a week [s], time to get warm [s]."""

    trips: Array
    time: Array
    distance: Array
    long_runs: Array
    long_time: Array
    long_distance: Array
    idle: Array
    warm_up: Array
    notes: tuple[Note, ...]

    @property
    def weekly_distance(self) -> Array:
        """Distance a week [m]."""
        return self.trips * self.distance + self.long_runs * self.long_distance


def usage_of(case: Case) -> Usage:
    """Return the usage of a case; figures told carry a fifth of error, recorded ones more, usual ones most."""
    notes: list[Note] = []
    seen = _Recorded(case.rounds[-1])
    told_time = case.number("typical_trip")
    differs = told_time is not None and seen.time is not None and seen.differs(told_time)
    if differs and told_time is not None and seen.time is not None:
        notes.append(note("not_as_told", told=told_time, recorded=seen.time, trips=int(seen.trips)))

    def told(slot: str, scale: float, column: str, usual: Parameter, instead: Array | None = None) -> Array:
        value = None if differs and slot == "typical_trip" else case.number(slot)
        if value is not None:
            return np.asarray(value * scale * np.exp(0.15 * normal(column)))
        if instead is not None:
            if slot != "typical_trip" or not differs:
                notes.append(note("recorded_instead", slot=slot, trips=int(seen.trips)))
            return instead
        notes.append(_not_told(slot, usual, scale))
        return np.maximum(drawn(usual, column), 0.0)

    trips = told("trips_per_week", 1.0, "trips", TRIPS)
    time = told("typical_trip", 60.0, "trip", TRIP, seen.sample(seen.time, 60.0))
    speed = drawn(balance.TRIP_SPEED, "speed")
    known = None if differs else case.number("typical_distance")
    if known is not None:
        # the error of the distance goes with that of the time: the driver thinks of the same trip
        distance = known * 1e3 * np.exp(0.15 * normal("trip"))
        if told_time is None and seen.time is None:
            time = distance / speed
    elif (driven := seen.sample(seen.km, 1e3)) is not None:
        if not differs:
            notes.append(note("recorded_instead", slot="typical_distance", trips=int(seen.trips)))
        distance = driven
    else:
        notes.append(_not_told("typical_distance", balance.TRIP_SPEED, 1.0 / 3.6))
        distance = time * speed
    long_runs = told("long_run_per_month", 1.0 / WEEKS_A_MONTH, "long_count", LONG_RUNS, seen.long_runs(trips))
    idle = told("idle_hours_per_week", 3600.0, "idle", IDLE, seen.idle(trips * time))
    long_time = np.maximum(drawn(balance.LONG_RUN, "long"), 1200.0)
    latest = case.rounds[-1]
    ambient = latest.number("ambient_temperature")
    kelvin = drawn(AMBIENT, "ambient") if ambient is None else np.full_like(time, ambient + 273.15)
    if ambient is None:
        coldest, warmest = (round(k - 273.0) for k in (AMBIENT.low, AMBIENT.high))
        notes.append(note("not_told", slot="ambient_temperature", low=coldest, high=warmest))
    low, mid, high = (np.asarray(t) for t in heat.warm_up_time(kelvin))
    z = normal("warm_up") / Z10
    warm_up = mid + np.where(z < 0, mid - low, high - mid) * z
    read = latest.number("coolant_warm_up_time")
    if read is not None:
        warm_up = np.full_like(time, read * 60.0)
    return Usage(
        trips, time, distance, long_runs, long_time, long_time * drawn(balance.LONG_SPEED, "speed"), idle,
        np.maximum(warm_up, 120.0), tuple(notes),
    )  # fmt: skip


@dataclass(frozen=True)
class _Recorded:
    """What recorded trips tell; nothing where they are too few."""

    round: Round

    @property
    def trips(self) -> float:
        count = self.round.number("recorded_trips") or 0.0
        return count if count >= LEAST_TRIPS else 0.0

    def figure(self, slot: str) -> float | None:
        return self.round.number(slot) if self.trips else None

    @property
    def time(self) -> float | None:
        return self.figure("recorded_trip_time") or None

    @property
    def km(self) -> float | None:
        return self.figure("recorded_trip_distance") or None

    def differs(self, told: float) -> bool:
        """Whether a trip as told [min] differs plainly from the recorded ones, as the rules have it."""
        assert self.time is not None
        error = float(np.hypot(recorded_error(self.trips), max(TOLD_ERROR[0] / told, TOLD_ERROR[1])))
        return abs(float(np.log(told / self.time))) > LIKE_ENOUGH + Z10 * error

    def sample(self, value: float | None, scale: float) -> Array | None:
        """Return a mean of the recorded trips as a sample [base SI]; the errors of time and distance go together."""
        if value is None:
            return None
        return np.asarray(value * scale * np.exp(float(recorded_error(self.trips)) * normal("trip")))

    def long_runs(self, trips: Array) -> Array | None:
        """Return long runs a week by their share among the recorded trips."""
        runs = self.figure("recorded_long_runs")
        if runs is None:
            return None
        # a count that is small says little of what it counts: half a run more, and its own error (Jeffreys)
        error = float(np.hypot(recorded_error(self.trips), 1.0 / np.sqrt(runs + 0.5)))
        return np.asarray((runs + 0.5) / (self.trips + 1.0) * trips * np.exp(error * normal("long_count")))

    def idle(self, running: Array) -> Array | None:
        """Return idling a week [s] beyond what driving in traffic holds, of so much running time a week [s]."""
        share = self.figure("recorded_idle_share")
        if share is None:
            return None
        beyond = max(share / 100.0 - TRAFFIC, 0.0)
        return np.asarray(beyond * running * np.exp(float(recorded_error(self.trips)) * normal("idle")))


def _not_told(slot: str, usual: Parameter, scale: float) -> Note:
    """Say what was taken for a figure of usage, in the unit of its slot."""
    low, high = (float(f"{x / scale:.2g}") for x in (usual.low, usual.high))
    return note("not_told", slot=slot, low=low, high=high)
