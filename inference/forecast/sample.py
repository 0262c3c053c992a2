"""What the forecast does not know, as one fixed sample shared by all outlooks, and quantiles of a weighted sample.

Columns are Kronecker sequences (fractions of i times the square root of a prime) turned into ranks, so that each
column holds every quantile once; there are more of them than the lattice of :mod:`inference.physics.sampling` has. The
primes were picked in turn so that no two columns correlate above 0.16, nor their squares above 0.24 (checked in the
tests): unknowns that hang together by accident make a band too narrow or too wide.
"""

from __future__ import annotations

from functools import lru_cache
from statistics import NormalDist

import numpy as np

from inference.physics.calibration import Parameter
from inference.physics.sampling import N, between
from inference.physics.valid import Array

UNKNOWNS = (
    "soot", "idle_soot", "cold", "long", "heat", "warm_up", "asks", "refuses", "inlet", "minutes", "until_hot",
    "dioxide", "trips", "trip", "distance", "long_count", "idle", "limit", "driving", "speed", "ash", "ambient",
    "begins", "success",
)  # fmt: skip


PRIMES = (
    2, 3, 5, 7, 11, 13, 17, 19, 23, 29, 31, 37, 41, 43, 53, 59, 61, 67, 71, 73, 79, 89, 103, 107, 131, 149, 151,
    157, 163, 193, 211, 227, 239, 241, 251, 257, 277, 293, 307, 359, 383, 397, 421, 457, 467, 499, 503, 547,
    569, 571, 659, 661, 673, 821, 827, 839, 857, 859, 911, 947, 967, 977, 1109, 1123, 1153, 1297, 1307, 1381,
    1447, 1451, 1523, 1723, 1823, 1973, 2089, 2203, 2281, 2399, 2441, 2647, 2939, 3137, 3229, 3373, 3491, 3541,
    3719, 4357, 4789, 4813, 4987, 5059, 6263, 6547, 6983, 7229, 7517, 8179, 8263, 8501, 8647, 9103, 10067,
    11503, 12203, 12451, 13613, 13931, 14081, 14447, 16451, 17713, 18127, 18481, 20089, 20593, 25117, 25577,
    28513, 31769,
)  # fmt: skip


@lru_cache(maxsize=130)
def places(column: int) -> Array:
    """Return the even quantiles (0 to 1) of a column [-], each of the N once."""
    turned = np.modf((np.arange(N) + 0.5) * np.sqrt(PRIMES[column]))[0]
    out = (np.argsort(np.argsort(turned, kind="stable"), kind="stable") + 0.5) / N
    out.flags.writeable = False
    return np.asarray(out)


@lru_cache(maxsize=64)
def normal(name: str) -> Array:
    """Return the standard normal quantiles [-] of one of the unknowns."""
    quantile = NormalDist().inv_cdf
    return np.array([quantile(p) for p in places(UNKNOWNS.index(name))])


def drawn(parameter: Parameter, name: str) -> Array:
    """Return a parameter's sample [its unit] along a column."""
    return parameter.at(normal(name))


def factor(three: list[float] | None, place: int) -> Array | None:
    """Return three figures of kb/effects.yaml as a sample [-; K for heat] along the column of a place; None if none."""
    if three is None:
        return None
    quantile = NormalDist().inv_cdf
    z = np.array([quantile(p) for p in places(len(UNKNOWNS) + 36 + place % 60)])
    return between(z.clip(-2.0, 2.0), *three)  # no further than the figures were meant to reach


def present(chance: float, place: int) -> Array:
    """Return, member by member, whether a cause of this probability [-] is there (1.0) or not (0.0)."""
    return np.asarray(places(len(UNKNOWNS) + place) < chance, dtype=float)


def quantiles(values: Array, weights: Array, points: tuple[float, ...] = (0.1, 0.5, 0.9)) -> tuple[float, ...]:
    """Return quantiles of a weighted sample [its unit]; a member at infinity stays there."""
    order = np.argsort(values, kind="stable")
    heaped = np.cumsum(weights[order]) - 0.5 * weights[order]
    sorted_values = values[order]
    places_at = np.searchsorted(heaped / weights.sum(), points)
    out = []
    for point, at in zip(points, places_at, strict=True):
        low, high = sorted_values[max(at - 1, 0)], sorted_values[min(at, values.size - 1)]
        if not np.isfinite(high):
            out.append(float("inf"))
            continue
        below, above = heaped[max(at - 1, 0)], heaped[min(at, values.size - 1)]
        share = (point * weights.sum() - below) / (above - below) if above > below else 1.0
        out.append(float(low + min(max(share, 0.0), 1.0) * (high - low)))
    return tuple(out)
