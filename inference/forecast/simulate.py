"""Soot in the filter week by week, for many vehicles and outlooks at once: gained, burnt on the way, burnt in burns."""

from __future__ import annotations

from dataclasses import dataclass, fields

import numpy as np

from inference.burn.kinetics import share_burnt
from inference.physics.valid import Array

SHORT = 1e-12
MOST_STEPS = 4000  # a burn of 300 km and more still takes several, at 2,000 km a week for two years
POINTS = 150  # of the track
LEAST_STEPS = 14  # a week, so that a step holds a trip or two
LEAST_TAKEN = 0.05  # share that a burn takes at least, where hardly more is there than counts as done


@dataclass(frozen=True)
class Week:
    """What a week does; every field a sample, with the outlooks (if any) as the first axis.

    Parameters
    ----------
    distance : driven in a week [m]
    gained : soot that comes in a week, in a volume of filter [kg/m^3]
    passive : natural logarithm of the share that a week's hot driving leaves [-], not above 0
    active : the same of a week in which a burn is asked for [-]
    asks, enough, refuses : loads at which a burn is asked for, counts as done, needs the workshop [kg/m^3]
    ash_distance : after which ash alone fills the filter [m]
    """

    distance: Array
    gained: Array
    passive: Array
    active: Array
    asks: Array
    enough: Array
    refuses: Array
    ash_distance: Array


@dataclass(frozen=True)
class Path:
    """How it went.

    Parameters
    ----------
    blocked_after : distance after which the filter is blocked, infinite where not within the horizon [m]
    burns : burns begun [-]; distance : driven until blocked or the horizon [m]
    burnt : soot burnt, gained : soot that came, held : soot left at the end, start : soot at the beginning [kg/m^3]
    at : times of the track [week], track : soot then, over what needs the workshop [-], one more axis first
    by_ash : whether it was ash that blocked it
    """

    blocked_after: Array
    burns: Array
    distance: Array
    burnt: Array
    gained: Array
    held: Array
    start: Array
    at: Array
    track: Array
    by_ash: Array


def simulate(week: Week, start: Array, weeks: float, stride: float = 12e3, most: int = MOST_STEPS) -> Path:
    """Go through the weeks until every member is blocked or the horizon is reached.

    Parameters
    ----------
    start : soot to begin with [kg/m^3]
    weeks : horizon [week]
    stride : distance of a step at the median [m]
    most : steps, beyond which the stride is made longer

    Returns
    -------
    Path
    """
    shape = np.broadcast_shapes(*(getattr(week, f.name).shape for f in fields(week)), start.shape)
    typical = max(float(np.median(week.distance)), 1.0)
    steps_a_week = int(np.clip(np.ceil(typical / stride), LEAST_STEPS, max(most / weeks, LEAST_STEPS)))
    steps = round(weeks * steps_a_week)
    gained, passive, active, km = (
        np.broadcast_to(x / steps_a_week, shape) for x in (week.gained, week.passive, week.active, week.distance)
    )
    leaves = np.exp(passive)
    # A wanted burn gets through on some trips, down to what counts as done, and on the others hardly begins (from
    # memory): by chance, and right on the mean
    wanted, done = -np.expm1(active), 0.999 * week.enough
    # what comes within a step burns for half of it on the mean
    fresh = gained * np.exp(passive / 2.0)
    load = np.array(np.broadcast_to(start, shape), dtype=float)
    asked = np.zeros(shape, dtype=bool)
    alive = np.ones(shape, dtype=bool)
    begun, burnt, came, gone = (np.zeros(shape) for _ in range(4))
    blocked = np.full(shape, np.inf)
    every = max(steps // POINTS, 1)
    at, track = [0.0], [np.minimum(load / week.refuses, 1.0)]
    by_ash = np.zeros(shape, dtype=bool)
    heaped = np.zeros(shape)  # a point of the track is the mean of its stretch, so that no burn stands out by chance
    for i in range(steps):
        after = load * leaves + fresh
        taken = np.maximum(1.0 - done / np.maximum(after, SHORT), LEAST_TAKEN)
        through = asked & (dice(i, shape[-1]) * taken < wanted)
        after = np.where(through, after * (1.0 - taken), after)
        burnt += np.where(alive, load + gained - after, 0.0)
        came += np.where(alive, gained, 0.0)
        gone += np.where(alive, km, 0.0)
        load = np.where(alive, after, load)
        wants = alive & ~asked & (load >= week.asks)
        begun += wants
        asked = (asked | wants) & (load > week.enough)
        by_ash |= alive & (gone >= week.ash_distance)
        full = alive & ((load >= week.refuses) | by_ash)
        blocked = np.where(full, gone, blocked)
        alive &= ~full
        heaped += np.minimum(load / week.refuses, 1.0)
        if (i + 1) % every == 0:
            at.append((i + 1 - every / 2.0) / steps_a_week)
            track.append(heaped / every)
            heaped[:] = 0.0
            if not alive.any():
                break
    return Path(
        blocked, begun, gone, burnt, came, load, np.broadcast_to(start, shape), np.array(at), np.array(track), by_ash
    )


def dice(step: int, count: int) -> Array:
    """Return even chances [-], one for each of ``count`` vehicles, the same on every machine for the same step.

    The mixing function of splitmix64 (Steele, Lea and Flood 2014; from memory); all outlooks meet the same luck.
    """
    with np.errstate(over="ignore"):
        x = (np.arange(1, count + 1, dtype=np.uint64) + np.uint64(step * count)) * np.uint64(0x9E3779B97F4A7C15)
        x = (x ^ (x >> np.uint64(30))) * np.uint64(0xBF58476D1CE4E5B9)
        x = (x ^ (x >> np.uint64(27))) * np.uint64(0x94D049BB133111EB)
    return np.asarray((x ^ (x >> np.uint64(31))) >> np.uint64(11), dtype=float) * 2.0**-53


def shares(times: Array, warm_up: Array, until_hot: Array, until_done: Array) -> Array:
    """Share of the soot that a burn on a trip burns.

    Equation: kinetics.share_burnt(max(t - t_warm, 0), t_hot, t_done)

    Parameters
    ----------
    times : of the trips [s]
    warm_up : until a burn may begin [s]
    until_hot : from its beginning until the filter is hot [s]
    until_done : from its beginning until four fifths are burnt [s]

    Returns
    -------
    share, none on a trip that ends before it is warm [-]

    Raises
    ------
    ValueError : never; times are taken as they are

    Valid range: a burn that begins as soon as it may and is not broken off before the trip ends.

    References
    ----------
    First-order burning, see inference.burn.kinetics.share_burnt.

    Examples
    --------
    >>> shares(np.array([300.0, 1800.0]), np.array(600.0), np.array(120.0), np.array(900.0)).round(2).tolist()
    [0.0, 0.89]
    """
    return np.asarray(share_burnt(np.maximum(times - warm_up, 0.0), until_hot, until_done))


def log_left(share: Array, count: Array) -> Array:
    """Soot left after several trips that each burn the same share of what is there.

    Equation: ln(s / s0) = n ln(1 - x)

    Parameters
    ----------
    share : of the soot that a trip burns [-]
    count : trips [-]

    Returns
    -------
    natural logarithm of the share left, not above 0 [-]

    Raises
    ------
    ValueError : never; a share of 1 leaves a millionth of a millionth

    Valid range: shares of 0 to 1.

    References
    ----------
    Conservation of mass.

    Examples
    --------
    >>> round(float(np.exp(log_left(np.array(0.5), np.array(3.0)))), 3)
    0.125
    """
    return count * np.log(np.maximum(1.0 - share, SHORT))
