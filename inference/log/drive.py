"""A recording on an even grid of about a second, and what the vehicle was doing at each moment."""

from __future__ import annotations

import itertools
from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inference.log.clock import IntArray
from inference.log.gaps import WITHIN_BURN, bridged, ran_on
from inference.log.notes import Note, note
from inference.log.read import Log
from inference.physics.valid import Array

BoolArray = npt.NDArray[np.bool_]
STANDING = 2.0  # km/h
ROAD = 50.0  # km/h; road speed
TURNING = 300.0  # 1/min; under it the engine does not run
IDLE_MOST = 1150.0  # 1/min
FAST = (2250.0, 2750.0)  # 1/min
TRIP_BREAK = 120.0  # s; a shorter stop of the engine belongs to the trip (stop-start, a stall)
HELD = 5.0  # s a figure stands where a logger asks for its channels in turn
WARM = 60.0  # °C of the coolant
SETTLED = 8.0  # s until idle figures stand still


@dataclass(frozen=True)
class Trip:
    """From engine start to engine stop: rows from ``first`` to before ``last``, and how it was.

    ``minutes`` and ``km`` hold what passed within gaps of the recording through which the engine evidently ran on, at
    the speeds beside each; ``gap_minutes`` says how much of the time that is, ``gaps`` how many. ``idle_minutes`` and
    ``recorded`` (minutes) are of the recorded rows alone.
    """

    first: int
    last: int
    minutes: float
    km: float | None
    idle_minutes: float | None
    coolant_first: float | None
    coolant_last: float | None
    gap_minutes: float = 0.0
    gaps: int = 0

    @property
    def recorded(self) -> float:
        """Minutes of it that were recorded with the engine running."""
        return self.minutes - self.gap_minutes


@dataclass(frozen=True)
class Drive:
    """A recording on its grid.

    Parameters
    ----------
    time : seconds since its first row [s]
    step : usual time from row to row [s]
    segment : number of the drive, one more behind every break
    channels : channel to figures [the channel's unit], NaN where not known
    running : whether the engine ran; all False where neither its speed nor its air was recorded
    notes : what was taken for granted in joining channels
    restarted : the drives in front of which the clock began anew, so that nobody knows how long the gap was
    """

    time: Array
    step: float
    segment: IntArray
    channels: Mapping[str, Array]
    running: BoolArray
    notes: tuple[Note, ...] = ()
    restarted: frozenset[int] = frozenset()

    def get(self, channel: str) -> Array | None:
        """Return a channel's figures, None if it was not recorded."""
        return self.channels.get(channel)

    def has(self, *channels: str) -> bool:
        """Say whether all of these were recorded."""
        return all(c in self.channels for c in channels)

    @property
    def seconds(self) -> Array:
        """Time each row stands for [s]; a row before a break stands for one step."""
        steps = np.diff(self.time, append=self.time[-1] + self.step)
        return np.where(steps <= 5 * self.step + HELD, steps, self.step)

    @property
    def standing(self) -> BoolArray | None:
        """Whether the vehicle stood, None if its speed was not recorded."""
        speed = self.get("vehicle_speed")
        return None if speed is None else speed < STANDING

    def stretches(self, mask: BoolArray, least: float) -> list[tuple[int, int]]:
        """Return the unbroken stretches of ``mask`` at least ``least`` [s] long, as (first, last + 1) rows."""
        whole = mask.copy()
        edges = np.flatnonzero(np.diff(self.segment) != 0) + 1
        change = np.diff(np.concatenate([[False], whole, [False]]).astype(np.int8))
        starts, stops = np.flatnonzero(change == 1), np.flatnonzero(change == -1)
        out: list[tuple[int, int]] = []
        for first, last in zip(starts.tolist(), stops.tolist(), strict=True):
            cuts = [first, *edges[(edges > first) & (edges < last)].tolist(), last]
            out += [(a, b) for a, b in itertools.pairwise(cuts)]
        return [(a, b) for a, b in out if self.time[b - 1] - self.time[a] + self.step >= least]

    def joined(self, spans: list[tuple[int, int]], pause: float) -> list[tuple[int, int]]:
        """Return stretches with those made one that lie no more than ``pause`` [s] apart in one segment."""
        out: list[tuple[int, int]] = []
        for first, last in spans:
            near = out and self.time[first] - self.time[out[-1][1] - 1] <= pause
            if near and self.segment[first] == self.segment[out[-1][1] - 1]:
                out[-1] = (out[-1][0], last)
            else:
                out.append((first, last))
        return out

    def through_gaps(self, spans: list[tuple[int, int]], mask: BoolArray) -> list[tuple[int, int]]:
        """Return stretches with those made one that only a gap parts through which the engine evidently ran on.

        ``mask`` must hold in every row recorded between them; a gap of more than ``WITHIN_BURN`` joins nothing.
        """
        out: list[tuple[int, int]] = []
        for first, last in spans:
            if out and self._only_gaps(out[-1][1], first, mask):
                out[-1] = (out[-1][0], last)
            else:
                out.append((first, last))
        return out

    def _only_gaps(self, end: int, first: int, mask: BoolArray) -> bool:
        breaks = (end - 1 + np.flatnonzero(np.diff(self.segment[end - 1 : first + 1]) != 0)).tolist()
        short = all(self.time[row + 1] - self.time[row] <= WITHIN_BURN for row in breaks)
        return bool(breaks) and short and bool(mask[end:first].all()) and all(self._ran_on(b, b + 1) for b in breaks)

    def silent(self, first: int, last: int) -> IntArray:
        """Return the rows, ``first`` to before ``last``, behind which for a while nothing was recorded within these."""
        steps = np.diff(self.time[first:last])
        return np.asarray(first + np.flatnonzero(steps > self.seconds[first : last - 1] + 1e-6))

    def settled(self, mask: BoolArray, least: float, skip: float) -> BoolArray:
        """Return the rows of stretches of ``mask`` at least ``least`` [s] long, less their first ``skip`` [s]."""
        out = np.zeros_like(mask)
        for first, last in self.stretches(mask, least):
            out[first:last] = self.time[first:last] >= self.time[first] + skip
        return out

    def warm(self) -> BoolArray:
        """Rows where the engine may be called warm: by its coolant, else ten minutes after a start."""
        coolant = self.get("coolant_temperature")
        by_time = np.zeros_like(self.running)
        for trip in self.trips():
            by_time[trip.first : trip.last] = self.time[trip.first : trip.last] >= self.time[trip.first] + 600.0
        return by_time if coolant is None else (coolant >= WARM) | (by_time & (coolant >= 40.0))

    def idle(self) -> BoolArray:
        """Rows of warm, settled idle."""
        speed, standing = self.get("engine_speed"), self.standing
        if speed is None:
            return np.zeros_like(self.running)
        mask = self.running & (speed < IDLE_MOST) & self.warm()
        if standing is not None:
            mask &= standing
        return self.settled(mask, SETTLED + 2 * self.step, SETTLED)

    def fast_idle(self) -> BoolArray:
        """Rows of about 2,500 1/min with the vehicle standing; none where road speed was not recorded."""
        speed, standing = self.get("engine_speed"), self.standing
        if speed is None or standing is None:
            return np.zeros_like(self.running)
        mask = self.running & standing & (speed > FAST[0]) & (speed < FAST[1])
        return self.settled(mask, 10.0, 6.0)

    def full_load(self) -> BoolArray:
        """Rows of full load above 1,500 1/min; none where load was not recorded."""
        speed, load = self.get("engine_speed"), self.get("engine_load")
        if speed is None or load is None:
            return np.zeros_like(self.running)
        return self.settled(self.running & (load >= 95.0) & (speed >= 1500.0), 2.0, 1.0)

    def key_on(self) -> BoolArray:
        """Rows with the engine still; none where its speed was not recorded."""
        speed = self.get("engine_speed")
        if speed is None:
            return np.zeros_like(self.running)
        return self.settled(speed < 50.0, 3.0, 2.0)

    def trips(self) -> list[Trip]:
        """Return the trips, from engine start to engine stop; a gap through which it ran on does not part them."""
        spans: list[list[int]] = []
        for first, last in self.stretches(self.running, 0.0):
            if spans:
                end = spans[-1][1]
                near = self.time[first] - self.time[end - 1] < TRIP_BREAK
                if near if self.segment[first] == self.segment[end - 1] else self._ran_on(end - 1, first):
                    spans[-1][1] = last
                    continue
            spans.append([first, last])
        return [self._trip(a, b) for a, b in spans if self.time[b - 1] - self.time[a] >= 20.0]

    def _ran_on(self, before: int, after: int) -> bool:
        """Say whether the engine ran on from one recorded row to the next one behind a gap, in one logger run."""
        whole = after == before + 1 and int(self.segment[after]) not in self.restarted
        run_time, coolant = self.get("engine_run_time"), self.get("coolant_temperature")
        return whole and ran_on(self.time, before, after, run_time, coolant)

    def _trip(self, first: int, last: int) -> Trip:
        rows = slice(first, last)
        seconds = self.seconds[rows]
        gaps = self.silent(first, last)
        gaps = gaps[self.running[gaps] & self.running[gaps + 1]]
        speed, coolant = self.get("vehicle_speed"), self.get("coolant_temperature")
        km = idle = None
        if speed is not None and np.isfinite(speed[rows]).mean() > 0.5:
            km = float(np.nansum(speed[rows] * seconds) / 3600.0)
            idle = float(np.sum(seconds[(speed[rows] < STANDING) & self.running[rows]]) / 60.0)
            for row in gaps.tolist():
                driven = bridged(speed, self.time, self.segment, row)
                km = None if driven is None or km is None else km + driven
        ends: list[float | None] = [None, None]
        if coolant is not None and (known := coolant[rows][np.isfinite(coolant[rows])]).size:
            ends = [float(known[0]), float(known[-1])]
        missed = float(np.sum(np.diff(self.time)[gaps] - self.step)) / 60.0
        minutes = float(seconds[self.running[rows]].sum() / 60.0) + missed
        return Trip(first, last, minutes, km, idle, ends[0], ends[1], missed, gaps.size)


def on_grid(log: Log, layout: str | None = None, temperatures: int | None = None) -> Drive:
    """Bring a recording to steps of a second (its own, if longer), and join channels that belong together.

    Parameters
    ----------
    log : the recording
    layout : kind of pressure sensing (differential, absolute_pair, gauge_upstream), None if not known
    temperatures : how many exhaust temperature sensors the vehicle has, None if not known
    """
    step = max(1.0, log.step)
    key = np.floor(log.time / step).astype(np.int64) if log.step < 0.95 else np.arange(log.rows)
    first = np.flatnonzero(np.concatenate([[True], (np.diff(key) != 0) | (np.diff(log.segment) != 0)]))
    time, segment = log.time[first], log.segment[first]
    channels = {
        name: _filled(_binned(values, first), time, segment)
        for name, values in log.channels.items()
        if np.isfinite(values).any()
    }
    notes = _numbered_sensors(channels, temperatures) + _across_filter(channels, layout)
    return Drive(time, step, segment, channels, _running(channels, time), tuple(notes), log.restarted)


def _binned(values: npt.NDArray[np.float32], first: IntArray) -> Array:
    """Mean of what is known in each bin."""
    if first.size == values.size:
        return values.astype(np.float64)
    known = np.isfinite(values)
    total = np.add.reduceat(np.where(known, values, 0.0).astype(np.float64), first)
    count = np.add.reduceat(known.astype(np.int32), first)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)


def _filled(values: Array, time: Array, segment: IntArray) -> Array:
    """Let a figure stand until the next, for a few seconds: loggers ask for their channels in turn."""
    known = np.isfinite(values)
    if known.all() or not known.any():
        return values
    at = np.flatnonzero(known)
    usual = float(np.median(np.diff(time[at]))) if at.size > 1 else 1.0
    last = np.maximum.accumulate(np.where(known, np.arange(values.size), 0))
    near = (time - time[last] <= min(max(HELD, 3 * usual), 15.0)) & (segment == segment[last])
    return np.where(near, values[last], np.nan)


def _running(channels: Mapping[str, Array], time: Array) -> BoolArray:
    if "engine_speed" in channels:
        return np.asarray(channels["engine_speed"] > TURNING)
    if "air_mass_flow" in channels:
        return np.asarray(channels["air_mass_flow"] > 1.0)
    return np.zeros(time.size, dtype=np.bool_)


def _numbered_sensors(channels: dict[str, Array], temperatures: int | None) -> list[Note]:
    """Say which numbered exhaust sensor is which: counted from the engine, as kb/layouts.yaml has it."""
    names = [f"exhaust_temperature_{i}" for i in (1, 2, 3)]
    live = [n for n in names if n in channels]
    if not live or "exhaust_temperature_before_filter" in channels:
        return []
    count = temperatures or len(live)
    places = {1: ("filter",), 2: ("catalyst", "filter"), 3: ("catalyst", "filter", "after")}[min(max(count, 1), 3)]
    meant = {"catalyst": "before_catalyst", "filter": "before_filter", "after": "after_filter"}
    for name, place in zip(names, places, strict=False):
        target = f"exhaust_temperature_{meant[place]}"
        if name in channels and target not in channels:
            channels[target] = channels[name]
    return [note("sensors_counted", count=count, known="case" if temperatures else "recording")]


def _across_filter(channels: dict[str, Array], layout: str | None) -> list[Note]:
    """Make the pressure across the filter where two sensors, or one before it, were recorded."""
    if "filter_pressure" in channels or "filter_pressure_before" not in channels:
        return []
    before = channels["filter_pressure_before"]
    if "filter_pressure_after" in channels:
        channels["filter_pressure"] = before - channels["filter_pressure_after"]
        return [note("pressure_as_difference")]
    if float(np.nanmedian(before)) < 500.0:
        channels["filter_pressure"] = before
        return [note("pressure_to_air", layout=layout or "not known")]
    outside = channels.get("barometric_pressure")
    if outside is None:
        return [note("pressure_needs_air")]
    channels["filter_pressure"] = before - outside
    return [note("pressure_less_air", layout=layout or "not known")]
