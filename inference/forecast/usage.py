"""How the vehicle is used, as samples in base SI: told where it was told, usual (and said so) where it was not."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inference.case import Case
from inference.forecast import balance
from inference.forecast.sample import drawn, normal
from inference.log.notes import Note, note
from inference.physics import heat
from inference.physics.calibration import Parameter
from inference.physics.sampling import Z10
from inference.physics.valid import Array

WEEKS_A_MONTH = 4.345
TRIPS = Parameter(6.0, 12.0, 22.0, "1", True, "trips a week where none are told; from memory")
TRIP = Parameter(600.0, 1100.0, 1900.0, "s", True, "about the mean of 21 min of s25-travel-survey-england-2022")
LONG_RUNS = Parameter(0.2, 0.6, 1.5, "1", True, "long runs a week where none are told; from memory")
IDLE = Parameter(0.0, 1800.0, 7200.0, "s", False, "idling a week where none is told; from memory")
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
    """Return the usage of a case; figures told carry a fifth of error, those not told are usual ones."""
    notes: list[Note] = []

    def told(slot: str, scale: float, column: str, usual: Parameter) -> Array:
        value = case.number(slot)
        if value is None:
            notes.append(_not_told(slot, usual, scale))
            return np.maximum(drawn(usual, column), 0.0)
        return np.asarray(value * scale * np.exp(0.15 * normal(column)))

    trips = told("trips_per_week", 1.0, "trips", TRIPS)
    time = told("typical_trip", 60.0, "trip", TRIP)
    speed = drawn(balance.TRIP_SPEED, "speed")
    known = case.number("typical_distance")
    if known is None:
        notes.append(_not_told("typical_distance", balance.TRIP_SPEED, 1.0 / 3.6))
        distance = time * speed
    else:
        # the error of the distance goes with that of the time: the driver thinks of the same trip
        distance = known * 1e3 * np.exp(0.15 * normal("trip"))
        if case.number("typical_trip") is None:
            time = distance / speed
    long_runs = told("long_run_per_month", 1.0 / WEEKS_A_MONTH, "long_count", LONG_RUNS)
    idle = told("idle_hours_per_week", 3600.0, "idle", IDLE)
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


def _not_told(slot: str, usual: Parameter, scale: float) -> Note:
    """Say what was taken for a figure of usage, in the unit of its slot."""
    low, high = (float(f"{x / scale:.2g}") for x in (usual.low, usual.high))
    return note("not_told", slot=slot, low=low, high=high)
