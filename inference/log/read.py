"""A logger's file read whole: CSV of any kind (MDF 4 in mdf.py), in blocks, so that a million rows fit anywhere."""

from __future__ import annotations

import codecs
import io
import warnings
from collections import Counter
from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from datetime import date
from pathlib import Path

import numpy as np
import numpy.typing as npt
import polars as pl

from inference.log import decode, long
from inference.log.clock import BREAK, Form, IntArray, form_of, in_order, numbers
from inference.log.columns import Column, recognise
from inference.log.notes import Note, note
from inference.log.sniff import Layout, sniff
from inference.log.units import in_our_unit
from inference.physics.valid import Array
from kb.faults import Fault, Faults
from kb.log_columns import log_columns

BLOCK = 8 << 20  # bytes read at once
MOST_BYTES = 8 << 30  # more is no recording of one vehicle
Short = npt.NDArray[np.float32]


@dataclass(frozen=True)
class Log:
    """One recording, its rows in order of time.

    Parameters
    ----------
    name : the file
    time : seconds since the first row [s], never falling
    segment : number of the drive, one more behind every long gap and every restart
    channels : channel (kb/log_columns.yaml) to its figures [the channel's unit], NaN where there is none
    columns : what was recognised
    unused : names of columns that were not
    day : the day of the first row, None if not told
    notes : what was found in reading it
    restarted : the drives in front of which the time began anew
    """

    name: str
    time: Array
    segment: IntArray
    channels: Mapping[str, Short]
    columns: tuple[Column, ...]
    unused: tuple[str, ...] = ()
    day: date | None = None
    notes: tuple[Note, ...] = ()
    restarted: frozenset[int] = frozenset()

    @property
    def rows(self) -> int:
        """How many rows have a time."""
        return int(self.time.size)

    @property
    def step(self) -> float:
        """The usual time from row to row [s]."""
        steps = np.diff(self.time)
        steps = steps[(steps > 0) & (steps < BREAK)]
        return float(np.median(steps)) if steps.size else 1.0


@dataclass
class Gathered:
    """Columns as they come in, block by block."""

    pieces: dict[str, list[Short]] = field(default_factory=dict)
    times: list[Array] = field(default_factory=list)
    text: Counter[str] = field(default_factory=Counter)  # cells that are no figure, by column
    example: dict[str, str] = field(default_factory=dict)

    def add(self, key: str, values: Array) -> None:
        self.pieces.setdefault(key, []).append(values.astype(np.float32))


def read_log(path: Path, mapping: Mapping[str, str] | None = None) -> Log:
    """Read a recording.

    Parameters
    ----------
    path : a file of text (any encoding, delimiter and decimal sign) or MDF 4
    mapping : channel -> name of a column, for columns whose names say nothing

    Raises
    ------
    Faults : no such file, no recording, no time, nothing recognised, or a mapping that fits nothing
    """
    if path.suffix.lower() in (".mf4", ".mdf") or _begins_as_mdf(path):
        from inference.log.mdf import read_mdf

        return read_mdf(path, mapping)
    layout = sniff(path, mapping)
    if (at := long.places(layout.header)) is not None:
        return _read_long(path, layout, at, mapping)
    columns, spare = recognise(layout.header, layout.units, mapping)
    times, others = _times(columns, layout, str(path))
    gathered, form, day_and_time = _gather(path, layout, times, others)
    unused = tuple(n for i, n in enumerate(layout.header) if n and i not in {c.place for c in columns})
    unit = times[-1].unit
    return assemble(str(path), gathered, form, unit, [*times[:1], *others] if day_and_time else [*times, *others],
                    unused, [note("spare_column", column=c.name, used=_used(columns, c)) for c in spare])  # fmt: skip


def _read_long(path: Path, layout: Layout, at: long.Places, mapping: Mapping[str, str] | None) -> Log:
    """Read a recording with one figure a row, and set its series side by side on the times of the fastest."""
    named, _ = recognise(layout.header, layout.units)
    time = next((c for c in named if c.channel == "time"), None)
    if time is None:
        _times([], layout, str(path))
        raise AssertionError("a recording without a time is refused above")
    places = {"time": time.place, "name": at.name, "value": at.value}
    if at.unit is not None:
        places["unit"] = at.unit
    names = [f"column_{i + 1}" for i in range(len(layout.header))]
    wanted = sorted({names[p] for p in places.values()}, key=names.index)
    schema = dict.fromkeys(names, pl.String)
    blocks = [_table(block, schema, wanted, layout.delimiter) for block in _blocks(path, layout)]
    blocks = [b for b in blocks if b.height]
    if not blocks:
        raise Faults([Fault(str(path), layout.header_line + 1, "", "no rows of figures stand under the header")])
    whole = pl.concat(blocks)
    table = whole.select([pl.col(names[place]).alias(name) for name, place in places.items()])
    by_name = long.sort_rows(table, at, time.name, layout.comma, mapping, str(path))
    order = [np.argsort(s.time, kind="stable") for s in by_name.series]
    fastest = max((np.unique(s.time) for s in by_name.series), key=lambda t: t.size)
    gathered = Gathered(times=[fastest])
    for series, rows in zip(by_name.series, order, strict=True):
        gathered.add(series.column.channel, long.held(fastest, series.time[rows], series.values[rows]))
    columns = [s.column for s in by_name.series]
    return assemble(str(path), gathered, by_name.form, time.unit, columns, by_name.unused, list(by_name.notes))


def _begins_as_mdf(path: Path) -> bool:
    if not path.is_file():
        return False
    with path.open("rb") as file:
        return file.read(4) == b"MDF "


def _used(columns: list[Column], spare: Column) -> str:
    return next(c.name for c in columns if c.channel == spare.channel and c.pid == spare.pid)


def _times(columns: list[Column], layout: Layout, name: str) -> tuple[list[Column], list[Column]]:
    """Return the columns that tell the time (a day and a clock, or one) and all others."""
    of = {c.channel: c for c in columns}
    times = [of[k] for k in ("date", "time") if k in of]
    others = [c for c in columns if c.channel not in ("date", "time")]
    shown = ", ".join(f"'{h}'" for h in layout.header if h)[:300]
    line = layout.header_line + 1
    if not times:
        says = f"no column looks like a time; name it with --map time=COLUMN; the columns are {shown}"
        raise Faults([Fault(name, line, "", says)])
    if not others:
        says = f"no column but the time was recognised; name some with --map, such as filter_pressure=COLUMN: {shown}"
        raise Faults([Fault(name, line, "", says)])
    return times, others


def _blocks(path: Path, layout: Layout) -> Iterator[bytes]:
    """Yield whole lines of the data as UTF-8."""
    decoder = codecs.getincrementaldecoder(layout.encoding)("replace")
    plain = layout.encoding in ("utf-8", "utf-8-sig")
    left, skip = b"", layout.first
    with path.open("rb") as file:
        while True:
            raw = file.read(BLOCK)
            data = left + raw if plain else left + decoder.decode(raw, final=not raw).encode("utf-8")
            if b"\r" in data[:4096] and b"\n" not in data[:4096]:
                data = data.replace(b"\r", b"\n")
            if raw:
                cut = data.rfind(b"\n") + 1
                left, data = data[cut:], data[:cut]
            while skip and data:
                cut = data.find(b"\n") + 1
                data, skip = (data[cut:], skip - 1) if cut else (b"", skip)
            if data:
                yield data.replace(b"\0", b"")
            if not raw:
                return


def _gather(path: Path, layout: Layout, times: list[Column], others: list[Column]) -> tuple[Gathered, Form, bool]:
    if path.stat().st_size > MOST_BYTES:
        raise Faults([Fault(str(path), 0, "", f"is larger than {MOST_BYTES >> 30} GB; cut it into drives")])
    names = [f"column_{i + 1}" for i in range(len(layout.header))]
    schema = dict.fromkeys(names, pl.String)
    wanted = sorted({names[c.place] for c in (*times, *others)}, key=names.index)
    out, form = Gathered(), None
    for block in _blocks(path, layout):
        table = _table(block, schema, wanted, layout.delimiter)
        if not table.height:
            continue
        stamps = table[names[times[0].place]]
        for more in times[1:]:
            stamps = stamps.str.strip_chars() + " " + table[names[more.place]].str.strip_chars()
        if form is None:
            form = form_of(stamps.drop_nulls().head(200).to_list(), layout.comma)
            if form is None and len(times) > 1:  # the day is written in a way of its own: the clock serves alone
                times.pop(0)
                stamps = table[names[times[0].place]]
                form = form_of(stamps.drop_nulls().head(200).to_list(), layout.comma)
        if form is None:
            cell = next((s for s in stamps.head(50).to_list() if s), "")
            says = f"'{cell[:40]}' is no time; seconds, milliseconds or a clock (14:05:30) are read"
            raise Faults([Fault(str(path), layout.first + 1, times[-1].name, says)])
        out.times.append(form.read(stamps))
        for column in others:
            _take(out, column, table[names[column.place]], layout.comma)
    if form is None or not out.times:
        raise Faults([Fault(str(path), layout.header_line + 1, "", "no rows of figures stand under the header")])
    return out, form, len(times) > 1


def _table(block: bytes, schema: dict[str, type[pl.String]], wanted: list[str], delimiter: str) -> pl.DataFrame:
    """Part a block into cells of text; quotes count only where they come in pairs within their rows."""

    def part(data: bytes, quote: str | None) -> pl.DataFrame:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")  # polars warns of rows it mends; what is lost is counted by us
            return pl.read_csv(
                io.BytesIO(data), has_header=False, schema=schema, columns=wanted, separator=delimiter,
                quote_char=quote, infer_schema=False, truncate_ragged_lines=True, ignore_errors=True,
                encoding="utf8-lossy", raise_if_empty=False, missing_columns="insert", extra_columns="ignore",
            )  # fmt: skip

    if b'"' not in block:
        return part(block, None)
    if block.count(b'"') % 2 == 0:
        with suppress(pl.exceptions.ComputeError):
            table = part(block, '"')
            if table.height >= 0.98 * block.count(b"\n"):
                return table
    return part(block.replace(b'"', b""), None)  # a stray quote would swallow rows


def _take(out: Gathered, column: Column, cells: pl.Series, comma: bool) -> None:
    """Turn one column of one block into figures."""
    if column.channel == "raw":
        for i, part in enumerate(decode.parameter(column.pid).fields):
            out.add(f"raw {column.pid} {i}", decode.raw_numbers(cells, column.pid, part))
        return
    known = log_columns()
    entry = known.channel(column.channel)
    if entry is not None and entry.unit == "flag":
        words = {**dict.fromkeys(known.off_words, 0.0), **dict.fromkeys(known.on_words, 1.0)}
        values = cells.str.strip_chars().str.to_lowercase().replace_strict(words, default=None, return_dtype=pl.Float64)
        figures = values.to_numpy().copy()
    else:
        figures = numbers(cells, comma)
    lost = np.isnan(figures)
    if lost.any():
        figures = _text_in_cells(out, column, cells, figures, lost, comma)
    out.add(column.channel, figures)


def _text_in_cells(
    out: Gathered, column: Column, cells: pl.Series, figures: Array, lost: npt.NDArray[np.bool_], comma: bool
) -> Array:
    """Read a figure with its unit behind it ("83 °C"); count and keep an example of what is no figure at all."""
    text = cells.filter(pl.Series(lost)).str.strip_chars()
    behind = text.str.extract(r"^([-+]?[0-9][0-9.,]*)\s*[^\d\s].{0,12}$", 1)
    found = numbers(behind, comma)
    figures = figures.copy()
    figures[lost] = found
    rest = text.filter(pl.Series(np.isnan(found))).drop_nulls().str.to_lowercase()
    name = column.name.lower()  # a logger that starts again writes its header again
    rest = rest.filter((rest != "") & (rest != name) & ~rest.is_in(log_columns().missing))
    if len(rest):
        out.text[column.name] += len(rest)
        out.example.setdefault(column.name, str(rest[0])[:30])
    return figures


def assemble(
    name: str, gathered: Gathered, form: Form, time_unit: str, columns: list[Column], unused: tuple[str, ...],
    notes: list[Note],
) -> Log:  # fmt: skip
    """Put rows in order, turn every column into our units, and leave out what is no measurement."""
    ordered = in_order(np.concatenate(gathered.times), form, time_unit, name)
    gathered.times.clear()
    notes = [*ordered.notes, *notes]
    notes += [note("text_in_cells", column=c, count=n, example=gathered.example[c]) for c, n in gathered.text.items()]
    raw: dict[str, Short] = {}
    for key in list(gathered.pieces):
        raw[key] = np.concatenate(gathered.pieces.pop(key))[ordered.order]
    channels: dict[str, Short] = {}
    used: list[Column] = []
    for column in columns:
        if column.channel in ("date", "time"):
            used.append(column)
        elif column.channel == "raw":
            notes += _raw_fields(column, raw, channels)
            used.append(column)
        else:
            values, unit, told = in_our_unit(column, raw.pop(column.channel))
            notes += told
            used.append(replace(column, unit=unit))
            if values is not None and np.isfinite(values).any():
                channels[column.channel] = values
            elif values is not None:
                notes.append(note("column_empty", column=column.name))
    if not channels:
        raise Faults([Fault(name, 0, "", "no column holds a figure that can be used; " + _why(notes))])
    return Log(
        name, ordered.time, ordered.segment, channels, tuple(used), unused, ordered.day, tuple(notes), ordered.restarted
    )  # fmt: skip


def _why(notes: list[Note]) -> str:
    asked = [str(n.slots["column"]) for n in notes if n.kind == "unit_not_said"]
    if asked:
        return f"say the unit of '{asked[0]}', such as --map 'filter_pressure={asked[0]} [mbar]'"
    return "their cells are empty or hold no numbers"


def _raw_fields(column: Column, raw: dict[str, Short], channels: dict[str, Short]) -> list[Note]:
    """Scale the fields of one parameter; a column with a name of its own for the same thing goes before it."""
    notes: list[Note] = []
    for i, part in enumerate(decode.parameter(column.pid).fields):
        numbers_ = raw.pop(f"raw {column.pid} {i}").astype(np.float64)
        values = decode.scaled(numbers_, part)
        as_column = Column(column.place, column.name, part.channel, part.unit, True, column.pid)
        if part.delta:
            either = decode.signed(numbers_, part)
            ten = decode.Signed(either.by_offset * 10.0, either.by_complement * 10.0)  # kPa to mbar
            speed = channels.get("engine_speed")
            if speed is None and "raw 0C 0" in raw:
                speed = raw["raw 0C 0"] * np.float32(0.25)
            chosen, told = decode.settle_sign(ten, None if speed is None else speed.astype(np.float64))
            notes.append(told)
            values = chosen / 10.0
        elif np.nanmax(numbers_, initial=0.0) == 0.0 or np.nanmin(numbers_, initial=65535.0) >= 65535.0:
            continue  # not supported by the vehicle: all bits nought or all set
        ours, _, told_of = in_our_unit(as_column, values.astype(np.float32))
        notes += told_of
        if ours is not None and np.isfinite(ours).any() and part.channel not in channels:
            channels[part.channel] = ours
    return notes
