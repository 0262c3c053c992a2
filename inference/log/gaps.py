"""Gaps in a recording: whether the engine evidently ran on while nothing was recorded: a trip or burn goes on.

A logger that stops for some minutes on the road leaves a gap, and so does an evening's rest. The control unit's own run
time since the start (parameter 1F) tells them apart for certain. Where it was not recorded, a short gap is taken to
lie within one trip if the coolant was warm before it and no cooler after it. How fast a stopped engine cools is from
memory (half a kelvin to a kelvin a minute, and a little warmer at first), which is why a long gap is never bridged by
the coolant alone.
"""

from __future__ import annotations

import numpy as np

from inference.log.clock import IntArray
from inference.physics.valid import Array

LONGEST = 3600.0  # s; over an hour nothing recorded speaks for a trip any more
BY_COOLANT = 300.0  # s, the longest gap that the coolant alone may bridge
BY_CLOCK = (15.0, 0.03)  # s and share of the gap by which run time and clock may differ
WARM = 60.0  # °C of the coolant before the gap; an engine warming up would be warmer after it
COOLED = 2.0  # K; the coolant is read in whole kelvins
WITHIN_BURN = 900.0  # s; a burn takes ten to twenty-five minutes (from memory), so a longer gap may lie between two
NEAR = 30.0  # s on either side of the gap from which a figure is taken


def ran_on(time: Array, before: int, after: int, run_time: Array | None, coolant: Array | None) -> bool:
    """Say whether the engine evidently ran on through a gap.

    Parameters
    ----------
    time : of the rows [s]
    before, after : the last row with the engine running before the gap, and the first behind it
    run_time : since the engine was started, as the control unit counts it [s]; None if not recorded
    coolant : [°C]; None if not recorded

    Returns
    -------
    False where nothing recorded says so: what is not known joins nothing

    Valid range: gaps within which the clock of the recording went on; one of unknown length bridges nothing.
    """
    gap = float(time[after] - time[before])
    if gap > LONGEST:
        return False
    if run_time is not None:
        first, last = _at(time, run_time, before, -1), _at(time, run_time, after, 1)
        if first is not None and last is not None:
            passed = (last[1] - first[1]) - (last[0] - first[0])
            return abs(passed) <= BY_CLOCK[0] + BY_CLOCK[1] * gap
    if coolant is None or gap > BY_COOLANT:
        return False
    first, last = _at(time, coolant, before, -1), _at(time, coolant, after, 1)
    return first is not None and last is not None and first[1] >= WARM and last[1] >= first[1] - COOLED


def _at(time: Array, values: Array, row: int, way: int) -> tuple[float, float] | None:
    """Return time and figure of the known row nearest to ``row``, on its own side of the gap; None if none is near."""
    edge = float(time[row])
    while 0 <= row < time.size and abs(float(time[row]) - edge) <= NEAR:
        if np.isfinite(values[row]):
            return float(time[row]), float(values[row])
        row += way
    return None


def bridged(speed: Array, time: Array, segment: IntArray, row: int) -> float | None:
    """Distance driven within a gap [km], at the mean of the road speeds on either side; None if those are not known.

    Parameters
    ----------
    speed : of the road [km/h]
    time, segment : of the rows [s], [-]
    row : the last row before the gap
    """
    edges = np.searchsorted(time, (time[row] - NEAR, time[row + 1] + NEAR))
    sides = []
    for side, beside in ((slice(edges[0], row + 1), row), (slice(row + 1, edges[1]), row + 1)):
        known = speed[side][(segment[side] == segment[beside]) & np.isfinite(speed[side])]
        if not known.size:
            return None
        sides.append(float(known.mean()))
    return float(np.mean(sides) * (time[row + 1] - time[row]) / 3600.0)
