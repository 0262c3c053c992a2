"""The times of a recording: seconds, milliseconds or a clock; put in order, with every oddity told.

A row out of order is put in its place. Where the time falls back and goes on from there, the logger was started
again: the drives are set one behind the other with a break between them, since how long it was is not known.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import TypeAlias

import numpy as np
import numpy.typing as npt
import polars as pl

from inference.log.notes import Note, note
from inference.physics.valid import Array
from kb.faults import Fault, Faults

DAY = 86_400.0
BREAK = 60.0  # s; a longer gap parts two drives, and it is what a restart of unknown length is taken as
MOST_BACKWARD = 5_000  # places where time runs backwards; more is no recording
NEWEST_FIRST = 0.9  # share of steps back in time from which the rows stand with the newest first
SHORT_BLOCK = 200  # rows; a longer stretch behind its time is another drive
_DATES = (
    (re.compile(r"^\d{4}-\d{1,2}-\d{1,2}"), "%Y-%m-%d", True),
    (re.compile(r"^\d{4}/\d{1,2}/\d{1,2}"), "%Y/%m/%d", True),
    (re.compile(r"^\d{4}\.\d{1,2}\.\d{1,2}"), "%Y.%m.%d", True),
    (re.compile(r"^\d{1,2}\.\d{1,2}\.\d{4}"), "%d.%m.%Y", True),
    (re.compile(r"^\d{1,2}/\d{1,2}/\d{4}"), "%d/%m/%Y", False),
    (re.compile(r"^\d{1,2}-\d{1,2}-\d{4}"), "%d-%m-%Y", False),
)
_CLOCK = re.compile(r"^\d{1,2}:\d{2}(:\d{2}([.,:]\d+)?)?\s*([AaPp][Mm])?$")
_STOPWATCH = re.compile(r"^\d+:\d{2}[.,]\d+$")
Reader = Callable[[pl.Series], Array]
IntArray: TypeAlias = npt.NDArray[np.int64]
BoolArray: TypeAlias = npt.NDArray[np.bool_]


@dataclass(frozen=True)
class Form:
    """How times are written.

    Parameters
    ----------
    kind : number · stopwatch (minutes:seconds) · clock (time of day) · dated
    read : cells of text to seconds, NaN where a cell is no time
    sure : whether the order of day and month is certain
    """

    kind: str
    read: Reader
    sure: bool = True


def form_of(sample: Sequence[str], comma: bool) -> Form | None:
    """Return how the times of a sample are written, None if they are no times."""
    cells = [c.strip() for c in sample if c and c.strip()]
    if not cells:
        return None

    def most(test: Callable[[str], object]) -> bool:
        return sum(bool(test(c)) for c in cells) > 0.5 * len(cells)

    if most(lambda c: re.fullmatch(r"[-+]?\d+[.,]?\d*([eE][-+]?\d+)?", c)):
        return Form("number", lambda s: numbers(s, comma))
    if most(_STOPWATCH.match) and not most(_CLOCK.match):
        return Form("stopwatch", _stopwatch)
    if most(_CLOCK.match):
        return Form("clock", lambda s: _clock("1970-01-01 " + _tidy(s), "%Y-%m-%d"))
    for pattern, format_, sure in _DATES:
        if most(pattern.match):
            return _dated(format_, sure) if sure else _dated(*_day_first(cells, format_))
    return None


def _dated(format_: str, sure: bool) -> Form:
    return Form("dated", lambda cells: _clock(_tidy(cells), format_), sure)


def _day_first(cells: Sequence[str], format_: str) -> tuple[str, bool]:
    pairs = [[int(x) for x in re.findall(r"\d+", c)[:2]] for c in cells]
    month_first = format_.replace("%d", "%x").replace("%m", "%d").replace("%x", "%m")
    if any(p[0] > 12 for p in pairs):
        return format_, True
    if any(p[1] > 12 for p in pairs):
        return month_first, True
    return format_, False


def numbers(cells: pl.Series, comma: bool) -> Array:
    """Return cells of text as numbers, NaN where a cell is none; a decimal comma is read where the file has them."""
    text = cells.str.strip_chars()
    if comma:
        dotted = text.str.contains(",", literal=True) & text.str.contains(".", literal=True)
        if dotted.any():
            text = pl.select(
                pl.when(dotted).then(text.str.replace_all(".", "", literal=True)).otherwise(text)
            ).to_series()
        text = text.str.replace(",", ".", literal=True)
    return text.cast(pl.Float64, strict=False).to_numpy().copy()


def _stopwatch(cells: pl.Series) -> Array:
    parts = cells.str.strip_chars().str.replace(",", ".", literal=True).str.extract_groups(r"^(\d+):(\d{2}\.\d+)$")
    minutes, seconds = parts.struct.field("1"), parts.struct.field("2")
    return (minutes.cast(pl.Float64, strict=False) * 60 + seconds.cast(pl.Float64, strict=False)).to_numpy().copy()


def _tidy(cells: pl.Series) -> pl.Series:
    """Take away what stands in the way: T between day and time, the zone, a comma or colon before fractions."""
    out = cells.str.strip_chars().str.replace("T", " ", literal=True)
    out = out.str.replace(r"\s*(?:Z|[A-Z]{3,4}|[+-]\d{2}:?\d{2})$", "")
    out = out.str.replace(r"(:\d{2}:\d{2})[:,](\d+)", "$1.$2").str.replace(r",\s*", " ")
    return out.str.replace(r"^((?:\S+ )?\d{1,2}:\d{2})(\s*[AaPp][Mm])?$", "$1:00$2")


def _clock(cells: pl.Series, day: str) -> Array:
    noon = cells.str.contains(r"(?i)[ap]m$").fill_null(False)
    hours = "%I:%M:%S%.f %p" if bool(noon.any()) else "%H:%M:%S%.f"
    if bool(noon.any()):
        cells = cells.str.replace(r"\s*([AaPp])\.?[Mm]$", " ${1}M").str.replace(" a", " A").str.replace(" p", " P")
    moments = cells.str.to_datetime(f"{day} {hours}", strict=False, time_unit="us")
    if moments.null_count() == len(moments) and len(moments):
        moments = cells.str.to_datetime(day, strict=False, time_unit="us")  # a day alone
    return (moments.dt.epoch("us").cast(pl.Float64) / 1e6).to_numpy().copy()


@dataclass(frozen=True)
class Ordered:
    """Times put in order.

    Parameters
    ----------
    order : which rows, in the order they now stand
    time : seconds since the first of them [s], never falling
    segment : number of the drive, one more behind every break
    day : the day of the first row, None if not told
    notes : what was found
    restarted : the drives in front of which the time began anew: how long the gap before them was is not known
    """

    order: IntArray
    time: Array
    segment: IntArray
    day: date | None
    notes: tuple[Note, ...]
    restarted: frozenset[int] = frozenset()


def in_order(raw: Array, form: Form, unit: str, name: str) -> Ordered:
    """Put the rows of a recording in order.

    Parameters
    ----------
    raw : time of each row as read (a number in ``unit``, else seconds), NaN where there was none
    form : how the times were written
    unit : s, ms, us, min, h, or "" where it was not said
    name : the file, for faults

    Raises
    ------
    Faults : fewer than ten rows have a time, or the times are in no order
    """
    notes: list[Note] = []
    rows = np.flatnonzero(np.isfinite(raw))
    time = raw[rows]
    if rows.size < raw.size:
        notes.append(note("rows_without_time", count=int(raw.size - rows.size)))
    if rows.size < 10:
        says = f"only {rows.size} rows have a time and figures; at least ten are wanted"
        raise Faults([Fault(name, 0, "", says)])
    if float(np.mean(np.diff(time) < 0)) > NEWEST_FIRST:
        rows, time = rows[::-1], time[::-1]
        notes.append(note("rows_newest_first"))
    day: date | None = None
    if form.kind == "number":
        time, day, told = _in_seconds(time, unit)
        notes += told
    elif form.kind == "dated":
        day = datetime.fromtimestamp(float(time[0]), UTC).date() if form.sure else None
        if not form.sure:
            notes.append(note("day_and_month_unsure"))
    if form.kind in ("clock", "stopwatch"):
        time = _past_midnight(time)
    rows, time, segment, told = _forward(rows, time, name)
    notes += told
    time, keep, told = _doubled(time, segment)
    notes += told
    rows, time, segment = rows[keep], time[keep], segment[keep]
    anew = np.flatnonzero(np.diff(segment) != 0) + 1
    segment, told = _gaps(time, segment)
    return Ordered(rows, time - time[0], segment, day, tuple(notes + told), frozenset(segment[anew].tolist()))


def _in_seconds(time: Array, unit: str) -> tuple[Array, date | None, list[Note]]:
    scale = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0}
    size = float(np.median(time))
    for least, factor in ((1e17, 1e-9), (1e14, 1e-6), (1e11, 1e-3), (1e8, 1.0)):
        if 0.8 <= size / least < 40 and unit in ("", "s", "ms", "us"):  # counted since 1970
            seconds = time * factor
            day = datetime.fromtimestamp(float(seconds[0]), UTC).date()
            return seconds, day if 1990 < day.year < 2100 else None, []
    if unit:
        return time * scale[unit], None, []
    steps = np.diff(time)
    step = float(np.median(steps[steps > 0])) if (steps > 0).any() else 1.0
    if 0 < step < 1e-3 and float(np.max(time)) < 2:  # a spreadsheet's days
        return time * DAY, None, [note("time_in_days")]
    if step >= 20 or float(np.sum(steps[(steps > 0) & (steps < 100 * step)])) > 5 * DAY:
        factor, word = (1e-6, "us") if step >= 5e4 else (1e-3, "ms")
        return time * factor, None, [note("time_taken_as", unit=word)]
    return time, None, []


def _past_midnight(time: Array) -> Array:
    return time + DAY * np.concatenate([[0.0], np.cumsum(np.diff(time) < -DAY / 2)])


def _forward(rows: IntArray, time: Array, name: str) -> tuple[IntArray, Array, IntArray, list[Note]]:
    """Sort short stretches that stand behind their time; where time starts anew, count a new drive."""
    steps = np.diff(time)
    falls = np.flatnonzero(steps < 0)
    segment = np.zeros(time.size, dtype=np.int64)
    if not falls.size:
        return rows, time, segment, []
    if falls.size > MOST_BACKWARD:
        says = f"the time runs backwards in {falls.size} places; this column is no time, or the rows were shuffled"
        raise Faults([Fault(name, 0, "", says)])
    usual = float(np.median(steps[steps > 0])) if (steps > 0).any() else 1.0
    time, order, moved, done = time.copy(), np.arange(time.size), 0, -1
    restarts: list[int] = []
    for fall in falls.tolist():
        if fall < done:
            continue
        start, stop = _stretch(time, fall)
        together = np.sort(time[start:stop])
        close = float(np.median(np.diff(together))) if together.size > 1 else usual
        if stop - fall - 1 <= SHORT_BLOCK and fall + 1 - start < SHORT_BLOCK and close >= 0.6 * usual:
            order[start:stop] = order[start:stop][np.argsort(time[start:stop], kind="stable")]
            time[start:stop] = together
            moved += stop - fall - 1
            done = stop
        else:
            restarts.append(fall)
    for fall in restarts:  # a break of unknown length between the drives
        time[fall + 1 :] += time[fall] - time[fall + 1] + BREAK + 1.0
        segment[fall + 1 :] += 1
    told = [note("rows_out_of_order", count=moved)] if moved else []
    told += [note("restarts", count=len(restarts))] if restarts else []
    return rows[order], time, segment, told


def _stretch(time: Array, fall: int) -> tuple[int, int]:
    """Return the rows a stretch behind its time would be sorted among: from the first later than it, to its end."""
    ahead = time[fall + 1 : fall + 2 + SHORT_BLOCK]
    caught_up = np.flatnonzero(ahead >= time[fall])
    stop = fall + 1 + (int(caught_up[0]) if caught_up.size else ahead.size)
    least = float(time[fall + 1 : stop].min())
    first = max(0, fall - SHORT_BLOCK)
    start = first + int(np.searchsorted(np.maximum.accumulate(time[first : fall + 1]), least, side="right"))
    return start, stop


def _doubled(time: Array, segment: IntArray) -> tuple[Array, BoolArray, list[Note]]:
    """A stamp that stands twice: the last row counts; where stamps are coarse, rows are spread between them."""
    same = np.concatenate([np.diff(time) == 0, [False]])
    keep = np.ones(time.size, dtype=np.bool_)
    count = int(same.sum())
    if not count:
        return time, keep, []
    if count < 0.3 * time.size:
        keep[same] = False
        return time, keep, [note("stamps_doubled", count=count)]
    first = np.flatnonzero(np.concatenate([[True], np.diff(time) != 0]))
    rows = np.diff(np.concatenate([first, [time.size]]))
    width = np.diff(time[first], append=time[first[-1]] + 1.0)
    usual = float(np.median(width[width > 0]))
    width = np.minimum(np.where(width > 0, width, usual), usual)
    place = np.arange(time.size) - np.repeat(first, rows)
    return time + np.repeat(width / rows, rows) * place, keep, [note("stamps_coarse", step=round(usual, 3))]


def _gaps(time: Array, segment: IntArray) -> tuple[IntArray, list[Note]]:
    steps = np.diff(time)
    new_drive = np.diff(segment) != 0
    usual = float(np.median(steps)) if steps.size else 1.0
    gap = (steps > max(5.0, 10 * usual)) & ~new_drive
    long = steps > max(BREAK, 20 * usual)
    parts = np.concatenate([[0], np.cumsum(long | new_drive)]).astype(np.int64)
    if not gap.any():
        return parts, []
    lost = float(steps[gap].sum())
    return parts, [note("gaps", count=int(gap.sum()), longest=round(float(steps[gap].max())), lost=round(lost))]
