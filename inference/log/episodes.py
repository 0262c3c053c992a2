"""Burns in a recording: where they begin and end, how hot, how long, how they ended, and how far the pressure fell.

A burn shows as gas before the filter far hotter than the road makes it, held for minutes: hotter than 480 °C, or
lifted by more than 120 K in the catalyst, or told by the control unit where that was recorded. The marks are from
memory (550 °C before the filter is met only in an active burn; the road makes 200 to 450 °C). Burns that come to
neither mark are looked for in :mod:`inference.log.weak`.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from inference.log.drive import BoolArray, Drive
from inference.log.fit import Flow, regressors
from inference.log.weak import weak_spans
from inference.physics.valid import Array

HOT = 480.0  # °C before the filter; the road seldom makes more
STILL_HOT = 420.0  # °C; under it a burn is over
SURE = 550.0  # °C before the filter, which no load makes
HARD = 65.0  # % of load that may make 480 °C by itself: a motorway, a hill, a trailer
LIFT = 120.0  # K the catalyst adds while fuel is burnt in it
SOME_LIFT = 60.0  # K; under it a weak burn is over
LEAST = 90.0  # s; a shorter flare is a hill
FALLEN = 30.0  # K under the plateau: the burn is over
PAUSE = 90.0  # s under the mark within one burn
BESIDE = 300.0  # s before and after over which the resistance is compared
LEAST_BESIDE = 40  # rows on either side
Ended = Literal["by itself", "engine switched off", "standing at idle", "recording ended", "not known"]


@dataclass(frozen=True)
class Burn:
    """One burn.

    Parameters
    ----------
    first, last : its rows, ``last`` not included
    begin : when it began, in the recording [s]
    minutes : how long it took, as far as it was recorded [min]
    cut_at_start : whether the recording begins in it
    ended : how it ended
    before_filter : plateau before the filter [°C]
    hot_minutes : minutes at or above the mark for this kind of filter [min]
    before_catalyst : plateau before the catalyst [°C], None if not recorded
    after_filter : hottest after the filter [°C], None if not recorded
    left : resistance after it over that before it [-], low, middle and high; None where it cannot be told
    gaps : rows behind which, within it, nothing was recorded: for up to a minute, or while the engine evidently ran on
    gap_minutes : how long that was in all [min]; how hot it was meanwhile is not known
    """

    first: int
    last: int
    begin: float
    minutes: float
    cut_at_start: bool
    ended: Ended
    before_filter: float
    hot_minutes: float
    before_catalyst: float | None
    after_filter: float | None
    left: tuple[float, float, float] | None
    gaps: tuple[int, ...] = ()
    gap_minutes: float = 0.0

    @property
    def whole(self) -> bool:
        """Whether both its beginning and its end were seen."""
        return not self.cut_at_start and self.ended not in ("recording ended", "not known")

    @property
    def elapsed(self) -> float:
        """From its beginning to its end, gaps and all [min]."""
        return self.minutes + self.gap_minutes


def find_burns(drive: Drive, gas_: Flow | None, hot_enough: float = 550.0, zero: float = 0.0) -> list[Burn]:
    """Find the burns.

    Parameters
    ----------
    drive : the recording on its grid
    gas_ : the gas through the filter, for the resistance before and after; None if not known
    hot_enough : temperature before the filter at which soot burns at a useful rate in this kind of filter [°C]
    zero : what the pressure sensor reads at no flow [mbar]
    """
    before = drive.get("exhaust_temperature_before_filter")
    if before is None:
        return []
    spans = _spans(drive, before)
    ratio = None if gas_ is None else _resistance(drive, gas_, zero)
    burning = np.zeros(drive.time.size, dtype=np.bool_)
    for first, last in spans:
        burning[first:last] = True
    return [_burn(drive, before, first, last, ratio, burning, hot_enough) for first, last in spans]


def _spans(drive: Drive, before: Array) -> list[tuple[int, int]]:
    """Return the rows of each burn: seeds, joined over short pauses, begun where the heat began to rise."""
    turning = drive.running if drive.running.any() else np.ones_like(drive.running)
    told = drive.get("burn_active")
    if told is not None and np.nanmax(told, initial=0.0) > 0:
        active = np.asarray((told > 0.5) & turning)
        seeds = drive.through_gaps(drive.joined(drive.stretches(active, 0.0), PAUSE), active)
        return [(a, b) for a, b in seeds if drive.time[b - 1] - drive.time[a] >= 30.0]
    strong = (before >= HOT) & turning
    weak = (before >= STILL_HOT) & turning
    catalyst = drive.get("exhaust_temperature_before_catalyst")
    if catalyst is not None:
        strong |= (before - catalyst >= LIFT) & (before >= 330.0) & (catalyst >= 180.0) & turning
        weak |= (before - catalyst >= SOME_LIFT) & (before >= 300.0) & (catalyst >= 180.0) & turning
    load = drive.get("engine_load")
    around = drive.through_gaps(drive.stretches(np.asarray(weak), 0.0), np.asarray(weak))
    seeds = drive.through_gaps(drive.joined(drive.stretches(np.asarray(strong), 0.0), PAUSE), np.asarray(weak))
    out: list[tuple[int, int]] = []
    for first, last in seeds:
        if drive.seconds[first:last].sum() - drive.step < LEAST:
            continue
        if _plateau(before[first:last]) < HOT:  # a weak one flickers about the marks: take all of its heat
            touched = [(a, b) for a, b in around if a < last and b > first]
            first, last = min(a for a, _ in touched), max(b for _, b in touched)
        held = _plateau(before[first:last])
        if catalyst is not None:
            hill = held - _plateau(catalyst[first:last]) < SOME_LIFT
        else:  # whether that load makes it elsewhere too is looked at in weak_spans
            hill = load is not None and held < SURE and float(np.nanmedian(load[first:last])) >= HARD
        if hill or (out and first < out[-1][1]):  # hot because the engine worked hard, not because fuel was burnt
            continue
        out.append((_rise(drive, before, first), _fall(drive, before, first, last)))
    return sorted([*out, *weak_spans(drive, before, out)])


def _rise(drive: Drive, before: Array, first: int) -> int:
    """Go back from the mark to where the steep rise began: the lowest point of the five minutes before it."""
    start = first
    while start > 0 and drive.segment[start - 1] == drive.segment[first]:
        if drive.time[first] - drive.time[start - 1] > 240.0:
            break
        start -= 1
    piece = before[start : first + 1]
    if piece.size < 3 or not np.isfinite(piece).any():
        return first
    known = np.nan_to_num(piece, nan=float(np.nanmin(piece)))
    smooth = np.convolve(np.pad(known, 2, mode="edge"), np.ones(5) / 5, mode="valid")
    slope = np.gradient(smooth)
    steep = max(0.4 * drive.step, 0.15 * float(np.max(slope)))
    slow = np.flatnonzero(slope[:-3] < steep)
    return start + (int(slow[-1]) + 1 if slow.size else 0)


def _fall(drive: Drive, before: Array, first: int, last: int) -> int:
    """Go back from the mark to where the heat began to fall away, if that was not long before."""
    held = np.flatnonzero(before[first:last] >= _plateau(before[first:last]) - FALLEN)
    end = first + int(held[-1]) + 1
    return end if drive.time[last - 1] - drive.time[end - 1] <= 120.0 else last


def _resistance(drive: Drive, gas_: Flow, zero: float) -> Array | None:
    """Pressure over viscosity times flow, row by row; what soot and ash make of it."""
    pressure = drive.get("filter_pressure")
    if pressure is None:
        return None
    viscous, _ = regressors(gas_)
    with np.errstate(invalid="ignore", divide="ignore"):
        return np.where(drive.running & (viscous > 0.8), (pressure - zero) / viscous, np.nan)


def _burn(
    drive: Drive, before: Array, first: int, last: int, ratio: Array | None, burning: BoolArray, hot_enough: float
) -> Burn:
    seconds = drive.seconds
    rows = slice(first, last)
    minutes = float(seconds[rows].sum() / 60.0)
    plateau = _plateau(before[rows])
    hot = float(seconds[rows][before[rows] >= hot_enough].sum() / 60.0)
    at_edge = first == 0 or drive.segment[first - 1] != drive.segment[first]
    still_hot = min(STILL_HOT, plateau - FALLEN)
    cut = bool(at_edge and before[first] >= still_hot)
    ended = _ended(drive, before, last, still_hot)
    catalyst, after = drive.get("exhaust_temperature_before_catalyst"), drive.get("exhaust_temperature_after_filter")
    end = last
    while end < drive.time.size and drive.time[end] - drive.time[last - 1] < 180.0:
        end += 1  # the filter follows minutes behind
    left = None if ratio is None else _left(drive, ratio, first, last, burning)
    hottest = None
    if after is not None and np.isfinite(after[first:end]).any():
        hottest = float(np.nanmax(after[first:end]))
    gaps = drive.silent(first, last)
    missed = float(np.sum(drive.time[gaps + 1] - drive.time[gaps] - drive.step)) / 60.0
    return Burn(
        first, last, float(drive.time[first]), minutes, cut, ended, plateau, hot,
        None if catalyst is None else _plateau(catalyst[rows]), hottest, left, tuple(gaps.tolist()), missed,
    )  # fmt: skip


def _plateau(values: Array) -> float:
    """The temperature held: the median of the upper half, so that the climb and dips do not count."""
    known = np.sort(values[np.isfinite(values)])
    return float(np.median(known[known.size // 2 :])) if known.size else float("nan")


def _ended(drive: Drive, before: Array, last: int, hot: float) -> Ended:
    stop = last
    while stop < drive.time.size and drive.time[stop] - drive.time[last - 1] <= 30.0:
        stop += 1
    new_drive = last < drive.time.size and drive.segment[last] != drive.segment[last - 1]
    if last >= drive.time.size or new_drive:
        return "recording ended" if before[last - 1] >= hot else "not known"
    if not drive.running[last - 1 : stop].all() and drive.running[first_of(drive, last) : last].any():
        return "engine switched off"
    standing = drive.standing
    if standing is not None:
        begun = int(np.searchsorted(drive.time, drive.time[last - 1] - 90.0))
        if standing[begun:last].mean() > 0.8:
            return "standing at idle"
    return "by itself"


def first_of(drive: Drive, row: int) -> int:
    """Return the first row of the five minutes before ``row``."""
    return int(np.searchsorted(drive.time, drive.time[row - 1] - 300.0))


def _left(drive: Drive, ratio: Array, first: int, last: int, burning: BoolArray) -> tuple[float, float, float] | None:
    """Resistance after the burn over that before it, from the rows beside it, with what the medians may be off by."""
    begun = int(np.searchsorted(drive.time, drive.time[first] - BESIDE))
    cool = int(np.searchsorted(drive.time, drive.time[last - 1] + 60.0))
    end = int(np.searchsorted(drive.time, drive.time[last - 1] + 60.0 + BESIDE))
    sides = []
    for rows in (slice(begun, first), slice(cool, end)):
        known = ratio[rows][np.isfinite(ratio[rows]) & ~burning[rows]]
        if known.size < LEAST_BESIDE or np.median(known) <= 0:
            return None
        middle = float(np.median(known))
        # neighbouring rows hang together: count one in ten
        error = 1.2533 * 1.4826 * float(np.median(np.abs(known - middle))) / np.sqrt(known.size / 10.0)
        sides.append((middle, max(error, 0.01 * middle)))
    (earlier, e_error), (later, l_error) = sides
    middle = later / earlier
    width = 1.2816 * middle * float(np.hypot(e_error / earlier, l_error / later))
    return middle - width, middle, middle + width
