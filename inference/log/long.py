"""Recordings with one figure a row: a time, the name of what was read, the figure and perhaps its unit."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import dataclass

import numpy as np
import polars as pl

from inference.log.clock import Form, form_of, numbers
from inference.log.columns import Column, recognise
from inference.log.notes import Note, note
from inference.physics.valid import Array
from kb.faults import Fault, Faults

NAMES = {"name", "parameter", "signal", "sensor", "channel", "item", "pid name", "description", "messgröße", "variable"}
VALUES = {"value", "reading", "data", "wert", "valeur", "measurement"}
UNITS = {"unit", "units", "einheit", "unité"}
MOST_NAMES = 500


@dataclass(frozen=True)
class Places:
    """Where name, figure and unit stand; ``unit`` is None where there is no such column."""

    name: int
    value: int
    unit: int | None


@dataclass(frozen=True)
class Series:
    """One thing that was read: its column, its times as they were written, and its figures."""

    column: Column
    time: Array
    values: Array


@dataclass(frozen=True)
class Sorted:
    """The rows by what was read, the form of the times, the names not used, and what was noticed."""

    series: tuple[Series, ...]
    form: Form
    unused: tuple[str, ...]
    notes: tuple[Note, ...]


def places(header: Iterable[str]) -> Places | None:
    """Return where name and figure stand, None if this is no recording of that kind."""
    plain = [h.strip().lower() for h in header]
    found = [next((i for i, h in enumerate(plain) if h in among), None) for among in (NAMES, VALUES, UNITS)]
    name, value, unit = found
    return None if name is None or value is None else Places(name, value, unit)


def sort_rows(
    table: pl.DataFrame, at: Places, time: str, comma: bool, mapping: Mapping[str, str] | None, file: str
) -> Sorted:  # fmt: skip
    """Sort the rows by what was read.

    Parameters
    ----------
    table : the cells as text, columns "time", "name", "value" and perhaps "unit"
    at : where they stood
    time : name of the column of times
    comma : whether figures have a decimal comma
    mapping : channel -> name
    file : the file, for faults

    Raises
    ------
    Faults : times that are none, or no name that is known
    """
    form = form_of(table["time"].drop_nulls().head(200).to_list(), comma)
    if form is None:
        raise Faults([Fault(file, 0, time, "its cells are no times; seconds or a clock are read")])
    stamps = form.read(table["time"])
    names = table["name"].str.strip_chars()
    kinds = [n for n in names.unique(maintain_order=True).to_list() if n][:MOST_NAMES]
    units = [""] * len(kinds)
    if at.unit is not None:
        first = table.select(names.alias("name"), pl.col("unit")).drop_nulls().unique("name", keep="first")
        spelled = dict(zip(first["name"].to_list(), first["unit"].to_list(), strict=True))
        units = [str(spelled.get(k, "")) for k in kinds]
    columns, spare = recognise(kinds, units, mapping)
    columns = [c for c in columns if c.channel not in ("time", "date", "raw")]
    if not columns:
        shown = ", ".join(f"'{k}'" for k in kinds[:12])
        says = f"none of the names is known; name some with --map, such as filter_pressure=NAME: {shown}"
        raise Faults([Fault(file, 0, "", says)])
    figures = numbers(table["value"], comma)
    series = []
    for column in columns:
        rows = (names == kinds[column.place]).fill_null(False).to_numpy() & np.isfinite(stamps)
        series.append(Series(column, stamps[rows], figures[rows]))
    used = {c.place for c in columns}
    unused = tuple(k for i, k in enumerate(kinds) if i not in used)
    told = [note("spare_column", column=c.name, used=c.channel) for c in spare if c.channel not in ("time", "date")]
    return Sorted(tuple(series), form, unused, tuple(told))


def held(common: Array, time: Array, values: Array) -> Array:
    """Return the value that stood at each common time: the last one not older than ten of its own steps.

    Parameters
    ----------
    common : times wanted, rising [s]
    time, values : times and figures of one series, rising in time
    """
    known = np.isfinite(values)
    time, values = time[known], values[known]
    if not time.size:
        return np.full(common.size, np.nan)
    last = np.searchsorted(time, common, side="right") - 1
    steps = np.diff(time)
    oldest = max(2.0, 10 * float(np.median(steps))) if steps.size else 2.0
    out = np.where(last >= 0, values[np.maximum(last, 0)], np.nan)
    return np.where((last >= 0) & (common - time[np.maximum(last, 0)] <= oldest), out, np.nan)
