"""A column's figures in our unit: as the file says, as the standard says, or as only one unit makes sense."""

from __future__ import annotations

import numpy as np
import numpy.typing as npt

from inference.log.columns import Column
from inference.log.notes import Note, note
from kb.log_columns import Channel, log_columns
from kb.units import factor

Short = npt.NDArray[np.float32]
# least and most that a pressure across the filter reaches in a whole drive [mbar]: tells apart units that lie far apart
SENSIBLE = (3.0, 800.0)
TRIED = {
    "filter_pressure": ("kPa", "mbar", "Pa"),
    "filter_pressure_before": ("kPa", "mbar", "Pa"),
    "filter_pressure_after": ("kPa", "mbar", "Pa"),
}


def in_our_unit(column: Column, values: Short) -> tuple[Short | None, str, list[Note]]:
    """Return the figures [the channel's unit], the unit they were in, and what was noticed.

    A figure beyond what is possible (a code for "no data", a broken wire) becomes NaN. None instead of figures
    where the unit is not said and more than one makes sense.
    """
    entry = log_columns().channel(column.channel)
    if entry is None or entry.unit == "flag":
        return values, "", []
    unit = column.unit
    notes: list[Note] = []
    if not unit:
        unit, notes = _unit(column, entry, values)
        if not unit:
            return None, "", notes
    scale = factor(unit, entry.unit)
    if scale is None:
        return None, unit, [note("unit_not_said", column=column.name, channel=entry.id, unit=entry.unit)]
    if scale != (1.0, 0.0):
        values = values * np.float32(scale[0]) + np.float32(scale[1])
    if entry.possible is not None:
        with np.errstate(invalid="ignore"):
            beyond = (values < entry.possible.low) | (values > entry.possible.high)
        if count := int(beyond.sum()):
            example = float(values[beyond][0])
            values = np.where(beyond, np.float32(np.nan), values)
            notes.append(note("impossible", column=column.name, count=count, example=example, unit=entry.unit))
    return values, unit, notes


def _unit(column: Column, entry: Channel, values: Short) -> tuple[str, list[Note]]:
    seen = values[np.isfinite(values)]
    if not seen.size:
        return entry.unit, []
    usual, most = float(np.median(seen)), float(np.quantile(seen, 0.99))
    unit = entry.j1979
    if entry.unit == "°C" and entry.possible is not None:
        high = {"coolant_temperature": 130.0, "ambient_temperature": 58.0}.get(entry.id, entry.possible.high)
        unit = "°F" if most > high else "°C"
    elif entry.id in ("manifold_pressure", "boost_wanted", "barometric_pressure"):
        unit = "kPa" if usual < 400 else "mbar" if usual < 6000 else "Pa"
    elif entry.id in TRIED:
        fits = [u for u in TRIED[entry.id] if (f := factor(u, "mbar")) and SENSIBLE[0] <= most * f[0] <= SENSIBLE[1]]
        unit = fits[0] if len(fits) == 1 else "ask"
    if unit in ("ask", ""):
        return "", [note("unit_not_said", column=column.name, channel=entry.id, unit=entry.unit)]
    if unit in ("1/min", "%", "V") or (entry.id == "vehicle_speed" and most < 60):
        return unit, []
    return unit, [note("unit_taken_as", column=column.name, unit=unit)]
