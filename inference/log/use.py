"""How the vehicle was driven in a recording: trips, long runs, idling, warmth, as figures of the round.

They tell of the recorded trips alone. What they say of the vehicle's usual use, and how surely, is worked out from
their number (inference/derive_usage.py); here nothing is made larger than it is.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inference.log.drive import ROAD, Drive, Trip

LONG_RUN = 20.0  # min at road speed in one trip; kb/readings.yaml, long_run_per_month
BURN_BEGINS = 70.0  # °C of the coolant, about which control units let a burn begin (60 to 75 °C, from memory)
WARM_EXHAUST = 250.0  # °C before the filter, from which soot burns on the way and a burn gets hot soon (from memory)
KNOWN = 0.8  # share of the running time in which a temperature must be known for a share of it


@dataclass(frozen=True)
class Use:
    """The trips of a recording put together; None is not known.

    Parameters
    ----------
    trips : how many
    minutes : running time, with gaps through which the engine ran on [min]
    trip_minutes, trip_km : of a trip on the mean, long runs aside (of all, where every one is a long run) [min], [km]
    longest : trip [min]
    long_runs : trips with twenty minutes or more at road speed
    mean_speed : distance over running time [km/h]
    idle_share : of the recorded running time [-]
    cold_share : of it with the coolant below BURN_BEGINS [-]
    hot_share : of it with the exhaust before the filter at WARM_EXHAUST or more [-]
    recorded : running time that was recorded [min]
    """

    trips: int
    minutes: float
    trip_minutes: float
    trip_km: float | None
    longest: float
    long_runs: int | None
    mean_speed: float | None
    idle_share: float | None
    cold_share: float | None
    hot_share: float | None
    recorded: float


def use_of(drive: Drive, trips: list[Trip]) -> Use | None:
    """Return how the vehicle was driven; None where no trip was recorded."""
    minutes = sum(t.minutes for t in trips)
    if not minutes:
        return None
    recorded = sum(t.recorded for t in trips)
    whole_km = all(t.km is not None for t in trips)
    long = [_is_long(drive, t) for t in trips] if drive.has("vehicle_speed") else None
    usual = [t for i, t in enumerate(trips) if long is None or not long[i]] or trips
    idle = [t.idle_minutes for t in trips if t.idle_minutes is not None]
    known_km = whole_km and len(idle) == len(trips)
    return Use(
        trips=len(trips),
        minutes=minutes,
        trip_minutes=sum(t.minutes for t in usual) / len(usual),
        trip_km=sum(t.km or 0.0 for t in usual) / len(usual) if known_km else None,
        longest=max(t.minutes for t in trips),
        long_runs=sum(long) if long is not None and known_km else None,
        mean_speed=sum(t.km or 0.0 for t in trips) / minutes * 60.0 if known_km else None,
        idle_share=sum(idle) / recorded if known_km else None,
        cold_share=_share(drive, trips, "coolant_temperature", BURN_BEGINS, below=True),
        hot_share=_share(drive, trips, "exhaust_temperature_before_filter", WARM_EXHAUST, below=False),
        recorded=recorded,
    )


def _is_long(drive: Drive, trip: Trip) -> bool:
    """Whether a trip held a long run; time in a gap counts where it was driven at road speed on both sides."""
    rows = slice(trip.first, trip.last)
    fast = drive.channels["vehicle_speed"][rows] >= ROAD
    seconds = drive.seconds[rows]
    if trip.gaps:
        steps = np.diff(drive.time[rows], append=drive.time[trip.last - 1] + drive.step)
        seconds = np.where(fast & np.append(fast[1:], False), steps, seconds)
    return float(seconds[fast].sum()) >= 60.0 * LONG_RUN


def _share(drive: Drive, trips: list[Trip], channel: str, limit: float, below: bool) -> float | None:
    """Share of the running time on one side of a limit; None where the channel is not known over most of it."""
    values = drive.get(channel)
    if values is None:
        return None
    rows = np.zeros_like(drive.running)
    for trip in trips:
        rows[trip.first : trip.last] = True
    rows &= drive.running
    known = rows & np.isfinite(values)
    seconds = drive.seconds
    if float(seconds[known].sum()) < KNOWN * float(seconds[rows].sum()):
        return None
    met = known & ((values < limit) if below else (values >= limit))
    return float(seconds[met].sum() / seconds[known].sum())
