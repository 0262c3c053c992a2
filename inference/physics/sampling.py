"""One fixed sample of normal quantiles that every derived reading shares, so that they stay correlated.

A rank-1 lattice (Korobov 1959; Niederreiter 1992, chapter 5; both from memory): column k runs through
``i * g_k + shift_k mod N``. Each column visits each of the N quantiles exactly once, so a single uncertain
parameter gives exact percentage points. No random generator is used, since its stream may change between
versions of numpy. The multipliers were picked in turn so that no two columns, nor their squares, correlate
above 0.12 (checked in the tests).
"""

from __future__ import annotations

from array import array
from functools import lru_cache
from statistics import NormalDist

import numpy as np

from inference.physics.valid import Array, Numeric
from inference.values import Spread

N = 257  # prime, so that every multiplier runs through all places
MULTIPLIERS = (
    1, 4, 7, 9, 10, 11, 13, 15, 17, 19, 23, 25, 29, 31, 37, 41, 42, 43, 52, 53, 56, 59, 63, 73, 81, 91, 127,
    142, 210, 225,
)  # fmt: skip
SHIFT = 101  # keeps the columns from sharing their lowest corner

# What varies from vehicle to vehicle, and is the same in every round of a case.
VEHICLE = (
    "permeability", "cake", "deep_bed", "volume", "wall", "downstream",
    "breathing", "oil_use", "sulphated_ash", "capture", "ash_bed", "ash_distance",
)  # fmt: skip
# What varies from one round of readings to the next.
ROUND = ("gas_temperature", "egr_idle", "egr_fast_idle", "engine_speed", "gauge", "sensor")

ROUNDS = (len(MULTIPLIERS) - len(VEHICLE)) // len(ROUND)  # rounds with columns of their own; then they repeat
Z10 = 1.2815515655446004  # standard deviations from the median to the 10 % or 90 % point


@lru_cache(maxsize=1)
def _quantiles() -> Array:
    normal = NormalDist()
    return np.array([normal.inv_cdf((i + 0.5) / N) for i in range(N)])


@lru_cache(maxsize=64)
def column(place: int) -> Array:
    """Return column ``place`` of the lattice, N standard normal quantiles [-] (read only)."""
    walk = (np.arange(N) * MULTIPLIERS[place] + SHIFT * place) % N
    out: Array = _quantiles()[walk]
    out.flags.writeable = False
    return out


def vehicle(name: str) -> Array:
    """Return the quantiles [-] of a parameter of the vehicle, the same in all rounds."""
    return column(VEHICLE.index(name))


def of_round(name: str, index: int) -> Array:
    """Return the quantiles [-] of something read or set anew in round ``index``; they repeat after three."""
    return column(len(VEHICLE) + len(ROUND) * (index % ROUNDS) + ROUND.index(name))


def between(z: Numeric, low: float, mid: float, high: float) -> Array:
    """Return values with 10, 50 and 90 % points ``low``, ``mid``, ``high`` [their unit]: two half-normals joined."""
    z = np.asarray(z, dtype=float)
    return mid + np.where(z < 0, mid - low, high - mid) * (z / Z10)


def between_log(z: Numeric, low: float, mid: float, high: float) -> Array:
    """Return positive values with these 10, 50 and 90 % points [their unit]: two half-lognormals joined."""
    z = np.asarray(z, dtype=float)
    return mid * np.exp(np.where(z < 0, np.log(mid / low), np.log(high / mid)) * (z / Z10))


def middle(values: Array) -> float:
    """Return the median of a sample [its unit]; of its N members, an odd number, the one in the middle."""
    return float(np.partition(values, N // 2)[N // 2])


def spread(values: Array) -> Spread:
    """Return the 10, 50 and 90 % points of a sample [its unit], with the sorted sample behind them."""
    ordered = array("d")
    ordered.frombytes(np.sort(values).tobytes())
    low, mid, high = (ordered[i] + part * (ordered[j] - ordered[i]) for i, j, part in _places(len(ordered)))
    return Spread(low, mid, high, ordered)


@lru_cache(maxsize=8)
def _places(count: int) -> tuple[tuple[int, int, float], ...]:
    """Return where the 10, 50 and 90 % points lie in a sorted sample: between which two members, and how far."""
    out = []
    for share in (0.1, 0.5, 0.9):
        place = min(max(share * count - 0.5, 0.0), count - 1.0)  # each member stands mid in its N-th
        below = int(place)
        out.append((below, min(below + 1, count - 1), place - below))
    return tuple(out)


def normal_spread(value: float, error: float) -> Spread:
    """Return the spread of ``value`` with one standard error ``error`` [both in one unit], without a sample."""
    return Spread(value - Z10 * error, value, value + Z10 * error)


def log_spread(value: float, error: float) -> Spread:
    """Return the spread of a positive ``value`` [its unit], ``error`` one deviation of its logarithm [-], no sample."""
    factor = float(np.exp(Z10 * error))
    return Spread(value / factor, value, value * factor)


def exact(value: float) -> Spread:
    """Return a spread of no width [the unit of the value], for counts and distances taken as told."""
    return Spread(value, value, value)
