"""Burns that never get hot: late fuel that warms the gas before the filter by less than a burn should.

With a temperature before the catalyst as well, the heat made between the two tells it: what comes out, less what went
in some seconds ago (the metal lags), less what it is outside the burn. With the temperature before the filter alone it
is held against what the same engine speed and load make of it elsewhere in the recording; where they do not come again
outside, nothing is said. A motorway or a hill makes heat before the catalyst too, or comes with the load that explains
it, so neither is taken for a burn.

What makes up a burn here (from memory): some minutes of it, and more than catalyst and sensors make by themselves: a
few tens of kelvin from the unburnt gas of a cold or idling engine, ten or so between two sound sensors.
"""

from __future__ import annotations

import numpy as np

from inference.log.drive import BoolArray, Drive
from inference.log.fit import lagged
from inference.physics.valid import Array

LIFT = 40.0  # K more than outside the burn, over a catalyst with both temperatures
ABOVE = 60.0  # K more than the same speed and load make elsewhere
NOISE = 4.0  # robust standard deviations outside that it must exceed as well
LEAST = 240.0  # s; shorter is a swing of the metal, or what a catalyst stored at idle and lets go
SMOOTH = 60.0  # s
COLD = 600.0  # s behind a start in which nothing is looked for: the exhaust itself is warming up
LIGHT = 220.0  # °C before the filter, under which no late fuel burns
LAGS = (5.0, 15.0, 30.0, 45.0, 60.0, 90.0)  # s by which the catalyst's metal may lag
OUTSIDE = 300.0  # s outside that there must be to compare with
SPEED_STEP, LOAD_STEP = 0.12, 6.0  # width of a class: of the logarithm of engine speed, of load [%]
IN_CLASS = 30.0  # s outside in a class of speed and load, from which it is known
COVERED = 0.6  # share of an episode's time that must lie in classes known from outside
Spans = list[tuple[int, int]]


def weak_spans(drive: Drive, before: Array, taken: Spans, beside: float = 300.0) -> Spans:
    """Return the rows of the weak burns.

    Parameters
    ----------
    drive : the recording on its grid
    before : temperature before the filter [°C]
    taken : burns found already; they and what follows them are no comparison and are not found again
    beside : time behind those in which the exhaust is still hot from them [s]

    Returns
    -------
    (first, last + 1) rows of each, from where the extra heat stood at half of what it came to
    """
    usable = _usable(drive, before)
    for first, last in taken:
        until = int(np.searchsorted(drive.time, drive.time[last - 1] + beside))
        usable[first:until] = False
    catalyst = drive.get("exhaust_temperature_before_catalyst")
    if float(drive.seconds[usable].sum()) < OUTSIDE + LEAST:
        return []
    if catalyst is not None and np.isfinite(catalyst[usable]).mean() > 0.8:
        return _by_catalyst(drive, before, catalyst, usable)
    return _by_load(drive, before, usable)


def _usable(drive: Drive, before: Array) -> BoolArray:
    """Rows with the engine running and the exhaust warmed through since the start."""
    warm = np.zeros_like(drive.running)
    for trip in drive.trips():
        warm[trip.first : trip.last] = drive.time[trip.first : trip.last] >= drive.time[trip.first] + COLD
    return np.asarray(warm & drive.running & np.isfinite(before))


def _by_catalyst(drive: Drive, before: Array, catalyst: Array, usable: BoolArray) -> Spans:
    usable = usable & np.isfinite(catalyst)
    known = _filled(catalyst)
    best, lift = np.inf, before - catalyst
    for constant in LAGS:  # the lag that leaves the least swing
        trial = before - lagged(known, constant / drive.step)
        swing = float(np.median(np.abs(np.diff(_smooth(drive, trial, usable)[usable]))))
        if swing < best:
            best, lift = swing, trial
    smooth = _smooth(drive, lift, usable)
    base = float(np.quantile(smooth[usable], 0.25))
    for _ in range(3):
        outside = usable & (smooth < base + LIFT)
        if float(drive.seconds[outside].sum()) < OUTSIDE:
            return []
        base = float(np.median(smooth[outside]))
    spread = 1.4826 * float(np.median(np.abs(smooth[outside] - base)))
    extra = np.where(usable, smooth - base, np.nan)
    return _episodes(drive, extra, before, max(LIFT, NOISE * spread), usable)


def _by_load(drive: Drive, before: Array, usable: BoolArray) -> Spans:
    speed, load = drive.get("engine_speed"), drive.get("engine_load")
    if speed is None or load is None:
        return []
    usable = usable & np.isfinite(speed) & np.isfinite(load)
    if float(drive.seconds[usable].sum()) < OUTSIDE + LEAST:
        return []
    smooth = _smooth(drive, before, usable)
    mean_speed, mean_load = (_smooth(drive, lagged(_filled(x), SMOOTH / drive.step), usable) for x in (speed, load))
    place = np.floor(np.log(np.maximum(mean_speed, 100.0)) / SPEED_STEP) * 100 + np.floor(mean_load / LOAD_STEP)
    extra = np.full(before.size, np.nan)
    outside = usable.copy()
    for turn in range(4):
        extra = smooth - _of_class(drive, place, smooth, outside, usable, 0.25 if turn == 0 else 0.5)
        outside = usable & ~(extra > ABOVE)
    around = extra[outside & np.isfinite(extra)]
    if not around.size or float(drive.seconds[outside].sum()) < OUTSIDE:
        return []
    spread = 1.4826 * float(np.median(np.abs(around)))
    return _episodes(drive, extra, before, max(ABOVE, NOISE * spread), usable)


def _of_class(
    drive: Drive, place: Array, values: Array, outside: BoolArray, usable: BoolArray, share: float
) -> Array:  # fmt: skip
    """What each row's class of speed and load makes outside (a quantile), NaN where it hardly occurs there."""
    out = np.full(values.size, np.nan)
    rows = np.flatnonzero(usable)
    order = rows[np.argsort(place[rows], kind="stable")]
    cuts = np.flatnonzero(np.diff(place[order])) + 1
    least = max(round(IN_CLASS / drive.step), 3)
    for group in np.split(order, cuts):
        there = group[outside[group]]
        if there.size >= least:
            out[group] = np.quantile(values[there], share)
    return out


def _episodes(drive: Drive, extra: Array, before: Array, mark: float, usable: BoolArray) -> Spans:
    """Stretches in which the extra heat stands above the mark long enough, widened to half of what it came to."""
    known = np.isfinite(extra)
    hot = usable & (before >= LIGHT)
    above = np.asarray(hot & known & (extra > mark))
    out: Spans = []
    beside = np.asarray(hot & known & (extra > mark / 2.0))
    for first, last in drive.through_gaps(drive.joined(drive.stretches(above, 0.0), SMOOTH), beside):
        rows = np.arange(first, last)
        seconds = drive.seconds[rows]
        if float(seconds.sum()) - drive.step < LEAST:
            continue
        if float(seconds[known[rows]].sum()) < COVERED * float(seconds.sum()):
            continue
        half = float(np.median(extra[rows][known[rows]])) / 2.0
        while first > 0 and _goes_on(drive, extra, first, first - 1, half):
            first -= 1
        while last < extra.size and _goes_on(drive, extra, last - 1, last, half):
            last += 1
        if not out or first >= out[-1][1]:
            out.append((first, last))
    return out


def _goes_on(drive: Drive, extra: Array, here: int, there: int, half: float) -> bool:
    return bool(drive.segment[here] == drive.segment[there] and extra[there] > half)


def _filled(values: Array) -> Array:
    """The last known figure where none is; lags want one in every row."""
    known = np.isfinite(values)
    if known.all():
        return values
    last = np.maximum.accumulate(np.where(known, np.arange(values.size), -1))
    first = float(values[known][0]) if known.any() else 0.0
    return np.where(last >= 0, values[np.maximum(last, 0)], first)


def _smooth(drive: Drive, values: Array, usable: BoolArray) -> Array:
    """Mean over a minute about each row, of the usable rows in it; NaN where there are none."""
    half = max(round(SMOOTH / drive.step / 2.0), 1)
    use = usable & np.isfinite(values)
    total = np.concatenate([[0.0], np.cumsum(np.where(use, values, 0.0))])
    count = np.concatenate([[0], np.cumsum(use)])
    low = np.maximum(np.arange(values.size) - half, 0)
    high = np.minimum(np.arange(values.size) + half + 1, values.size)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.asarray((total[high] - total[low]) / (count[high] - count[low]))
