"""How far the pressure sensor scatters at one and the same steady flow, as a share of what the pressure moves by.

A sound sensor shows the same figure at the same flow. Three things are taken out first, which are no fault of its own:
rows while the flow changes (a logger that asks in turn reads pressure and air at different moments, and a late sensor
is told by its delay), the soot that comes and goes over a recording (each ten minutes are brought to the line by one
factor), and a recording whose pressure hardly moves (there the sensor's own noise is all there is to see).
"""

from __future__ import annotations

import numpy as np

from inference.log.drive import BoolArray, Drive
from inference.log.fit import Fit, Flow, regressors

STEADY = 0.12  # largest change of the flow within WINDOW, of its mean
WINDOW = 6.0  # s
PIECE = 600.0  # s brought to the line by one factor
LEAST_PIECE = 30  # rows
LEAST_ROWS = 120
NOISE = 2.0  # mbar, the sensor's own error (kb/readings.yaml, sensor_pressure)
LEAST_SPAN = 10.0  # times the noise; under it nothing is said
TAIL = (0.95, 1.96)  # share of the rows, and its place in a normal distribution: odd rows must count


def scatter(drive: Drive, gas_: Flow, fit: Fit, rows: BoolArray) -> tuple[float, float] | None:
    """Return the scatter of the pressure at steady flow [% of what it moves by] and the time looked at [s].

    Parameters
    ----------
    drive, gas_ : the recording and the gas in it
    fit : the line of pressure against flow
    rows : rows the line was made from

    Returns
    -------
    None where the pressure moves too little, or too few rows have a steady flow
    """
    pressure = drive.get("filter_pressure")
    if pressure is None or fit.lag:
        return None
    levels = np.diff(np.unique(np.round(pressure[rows & np.isfinite(pressure)], 2)))
    noise = max(NOISE, float(np.min(levels)) if levels.size else 0.0)  # or the steps in which it is told
    span = abs(fit.rise) * (fit.flow[1] - fit.flow[0]) / 100.0
    if span < LEAST_SPAN * noise:
        return None
    viscous, square = regressors(gas_)
    line = fit.slope[0] * viscous + fit.curvature[0] * square  # over nought
    use = rows & drive.running & np.isfinite(pressure) & np.isfinite(line) & (line > 0.1 * span) & _steady(drive, gas_)
    place = np.flatnonzero(use)
    if place.size < LEAST_ROWS:
        return None
    over = pressure[place] - fit.offset[0]
    piece = np.floor(drive.time[place] / PIECE).astype(np.int64)
    cuts = np.flatnonzero(np.diff(piece)) + 1
    off = [
        np.abs(over[some] - float(np.median(over[some] / line[place[some]])) * line[place[some]])
        for some in np.split(np.arange(place.size), cuts)
        if some.size >= LEAST_PIECE
    ]
    if sum(o.size for o in off) < LEAST_ROWS:
        return None
    spread = float(np.quantile(np.concatenate(off), TAIL[0])) / TAIL[1]
    return 100.0 * spread / span, float(drive.seconds[place].sum())


def _steady(drive: Drive, gas_: Flow) -> BoolArray:
    """Rows behind which the flow has stood nearly still for some seconds."""
    count = max(round(WINDOW / drive.step), 2)
    mass = np.where(np.isfinite(gas_.mass), gas_.mass, -1.0)
    if mass.size <= count:
        return np.zeros(mass.size, dtype=np.bool_)
    low, high = mass.copy(), mass.copy()
    for back in range(1, count):
        low[back:] = np.minimum(low[back:], mass[:-back])
        high[back:] = np.maximum(high[back:], mass[:-back])
    whole = np.zeros(mass.size, dtype=np.bool_)
    whole[count - 1 :] = drive.time[count - 1 :] - drive.time[: mass.size - count + 1] <= 2.0 * WINDOW
    return np.asarray(whole & (low > 0.0) & (high - low <= STEADY * (high + low) / 2.0))
