"""Pressure against flow, fitted so that odd rows do not count, and what the fit says about the sensor.

Model: dP = offset + slope (mu / mu_ref) Q + curvature (rho / rho_ref) Q^2, Q the volume flow at the filter. The
linear part is what wall and soot take (viscous), the square one what turns and pipes take (FACTS: resistance normalised
by flow). Reference is exhaust at 250 °C and 1013 mbar.
"""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from inference.log.drive import BoolArray, Drive
from inference.log.notes import Note, note
from inference.physics import flow, gas
from inference.physics.valid import Array, raw

REFERENCE = 523.15  # K
MU_REF, RHO_REF = float(gas.viscosity(REFERENCE)), float(gas.density(gas.STANDARD_PRESSURE, REFERENCE))
EXCESS_AIR = 3.0  # air over what the fuel needs; between idle (6) and full load (1.5) it moves the flow by 2 %
LEAST_ROWS = 60
LEAST_VARIES = 1.5  # largest over smallest flow
LAGS = (0.0, 1.0, 2.0, 3.0, 5.0, 8.0, 12.0, 20.0, 30.0)  # s
FLAT = 2.0  # mbar between the 5 and 95 % points
GROUPS = 10
SCATTERS = 0.15  # of what the pressure moves by; sound drives scatter a fiftieth


@dataclass(frozen=True)
class Flow:
    """The gas through the filter, row by row.

    Parameters
    ----------
    mass : mass flow [kg/s]
    temperature : before the filter [K]
    volume : volume flow [m^3/s]
    viscosity : [Pa s]
    density : [kg/m^3]
    """

    mass: Array
    temperature: Array
    volume: Array
    viscosity: Array
    density: Array


@dataclass(frozen=True)
class Fit:
    """The fit and what it was made of.

    Parameters
    ----------
    offset : pressure at no flow [mbar], with its standard error
    slope : viscous part [mbar per 100 m^3/h at 250 °C], with its standard error
    curvature : square part [mbar per (100 m^3/h)^2], with its standard error
    scatter : spread of the rows about the fit, robust [mbar]
    lag : time constant by which the pressure follows the flow [s]; 0 where it follows at once
    rows : rows it was made from
    flow : 5 and 95 % points of the volume flow [m^3/h]
    """

    offset: tuple[float, float]
    slope: tuple[float, float]
    curvature: tuple[float, float]
    scatter: float
    lag: float
    rows: int
    flow: tuple[float, float]

    @property
    def rise(self) -> float:
        """Mean rise of the pressure over the flows recorded [mbar per 100 m^3/h at 250 °C]."""
        low, high = self.flow
        return (self.at(high) - self.at(low)) / (high - low) * 100.0

    def at(self, volume: float, temperature: float = REFERENCE) -> float:
        """Return the fitted pressure [mbar] at a volume flow [m^3/h] and temperature [K], offset included."""
        viscous = volume / 100.0 * float(gas.viscosity(temperature)) / MU_REF
        square = (volume / 100.0) ** 2 * float(gas.density(gas.STANDARD_PRESSURE, temperature)) / RHO_REF
        return self.offset[0] + self.slope[0] * viscous + self.curvature[0] * square


def gas_flow(drive: Drive) -> tuple[Flow | None, list[Note]]:
    """Return the gas through the filter, None (with the reason) where the recording does not tell it."""
    notes: list[Note] = []
    kelvin = drive.get("exhaust_temperature_before_filter")
    if kelvin is None:
        kelvin = drive.get("exhaust_temperature_after_filter")
    if kelvin is None:
        kelvin = np.full(drive.time.size, REFERENCE - gas.ZERO_CELSIUS)
        notes.append(note("no_gas_temperature"))
    kelvin = np.clip(kelvin + gas.ZERO_CELSIUS, 230.0, 1300.0)
    outside = drive.get("barometric_pressure")
    ambient = gas.STANDARD_PRESSURE if outside is None else float(np.nanmedian(outside)) * 100.0
    drop = drive.get("filter_pressure")
    half = 0.0 if drop is None else np.clip(np.nan_to_num(drop), 0.0, 500.0) * 50.0
    density = np.asarray(raw(gas.density)(ambient + half, kelvin))  # NaN where the temperature is not known
    viscosity = np.asarray(raw(gas.viscosity)(kelvin))
    if (volume := drive.get("exhaust_volume_flow")) is not None:
        volume = volume / 3600.0
        return Flow(volume * density, kelvin, volume, viscosity, density), notes
    if (mass := drive.get("exhaust_mass_flow")) is not None:
        mass = mass * 1e-3
    elif (air := drive.get("air_mass_flow")) is not None:
        mass = np.asarray(flow.exhaust_flow(np.maximum(np.nan_to_num(air), 0.0) * 1e-3, EXCESS_AIR))
        mass = np.where(np.isfinite(air), mass, np.nan)
    else:
        return None, [note("no_flow")]
    return Flow(mass, kelvin, np.maximum(mass, 0.0) / density, viscosity, density), notes


def regressors(gas_: Flow) -> tuple[Array, Array]:
    """Return the viscous and the square regressor, row by row, in hundreds of m^3/h."""
    hundreds = gas_.volume * 36.0
    return hundreds * gas_.viscosity / MU_REF, hundreds**2 * gas_.density / RHO_REF


def fit_pressure(drive: Drive, gas_: Flow, rows: BoolArray) -> Fit | None:
    """Fit the pressure over these rows; None where there are too few or the flow hardly varies."""
    pressure = drive.get("filter_pressure")
    if pressure is None:
        return None
    viscous, square = regressors(gas_)
    use = rows & drive.running & np.isfinite(pressure) & np.isfinite(viscous) & (viscous > 0)
    if int(use.sum()) < LEAST_ROWS:
        return None
    volume = gas_.volume[use] * 3600.0
    low, high = (float(x) for x in np.quantile(volume, (0.05, 0.95)))
    if _varies(gas_, use) < LEAST_VARIES:
        return None
    lag = find_lag(drive, viscous, square, pressure, use)
    parts = [lagged(x[use], lag / drive.step) for x in (viscous, square)]
    design = np.column_stack([np.ones(int(use.sum())), *parts])
    values = pressure[use]
    coefficients, scatter = robust(design, values)
    error = _jackknife(design, values)
    pairs = [(float(c), float(e)) for c, e in zip(coefficients, error, strict=True)]
    return Fit(pairs[0], pairs[1], pairs[2], scatter, lag, int(use.sum()), (low, high))


def _varies(gas_: Flow, use: BoolArray) -> float:
    """How many times over the mass flow varies: a gas that only warms up at idle tells nothing."""
    low, high = (float(x) for x in np.quantile(gas_.mass[use], (0.05, 0.95)))
    return high / max(low, 1e-9)


def robust(design: Array, values: Array, turns: int = 25) -> tuple[Array, float]:
    """Fit by least squares reweighted: Huber's weights first, then Tukey's that leave far rows out.

    Returns
    -------
    coefficients, and the robust spread of the residuals (1.4826 times their median size) in the unit of ``values``
    """
    weight = np.ones(values.size)
    coefficients: Array = np.zeros(design.shape[1])
    spread = 0.0
    for turn in range(turns):
        root = np.sqrt(weight)[:, None]
        new = np.linalg.lstsq(design * root, values * root[:, 0], rcond=None)[0].astype(np.float64)
        residual = values - design @ new
        spread = 1.4826 * float(np.median(np.abs(residual)))
        if spread == 0.0 or (turn > 6 and np.allclose(new, coefficients, rtol=1e-6, atol=1e-9)):
            return new, spread
        coefficients = new
        size = np.abs(residual) / spread
        weight = (
            np.minimum(1.0, 1.345 / np.maximum(size, 1e-12)) if turn < 5 else (1 - (size / 4.685) ** 2).clip(0) ** 2
        )
    return coefficients, spread


def _jackknife(design: Array, values: Array) -> Array:
    """Standard errors by leaving out one tenth of the drive at a time: neighbouring rows are not independent."""
    edges = np.linspace(0, values.size, GROUPS + 1).astype(int)
    kept = []
    for first, last in itertools.pairwise(edges):
        rest = np.ones(values.size, dtype=np.bool_)
        rest[first:last] = False
        some = np.flatnonzero(rest)[:: max(1, values.size // 20_000)]
        kept.append(robust(design[some], values[some], 12)[0])
    spread = np.asarray(kept)
    return np.asarray(np.sqrt((GROUPS - 1) / GROUPS * ((spread - spread.mean(axis=0)) ** 2).sum(axis=0)))


def lagged(values: Array, rows: float) -> Array:
    """First-order lag with a time constant of ``rows`` rows."""
    if rows <= 0:
        return values
    kernel = np.exp(-np.arange(int(6 * rows) + 2) / rows)
    padded = np.concatenate([np.full(kernel.size - 1, values[0]), values])
    return np.asarray(np.convolve(padded, kernel / kernel.sum(), mode="valid"))


def find_lag(drive: Drive, viscous: Array, square: Array, pressure: Array, use: BoolArray) -> float:
    """Return the lag [s] that explains the pressure clearly better than none, else 0.

    A sound hose follows within a tenth of a second; what counts is more than two seconds and more than twice the
    logger's own step, and a spread about the fit at least a third smaller.
    """
    if drive.step > 3.0:
        return 0.0
    place = np.flatnonzero(use)[:20_000]
    best, plain = (0.0, np.inf), np.inf
    for constant in LAGS:
        rows = constant / drive.step
        design = np.column_stack([np.ones(place.size), lagged(viscous[place], rows), lagged(square[place], rows)])
        spread = robust(design, pressure[place], 8)[1]
        if constant == 0.0:
            plain = spread
        if spread < best[1]:
            best = (constant, spread)
    constant, spread = best
    return constant if constant >= max(2.0, 2 * drive.step) and spread < 0.67 * plain else 0.0


def sensor_notes(
    drive: Drive, gas_: Flow, fit: Fit | None, rows: BoolArray, saturated: bool = False
) -> list[Note]:  # fmt: skip
    """Name what is wrong with the sensor: hoses the wrong way round, flat, lagging; or that no line fits its rows.

    A sensor that stops at its upper end (``saturated``) is named elsewhere, and is not called flat for it.
    """
    pressure = drive.get("filter_pressure")
    if pressure is None:
        return []
    viscous, _ = regressors(gas_)
    use = rows & drive.running & np.isfinite(pressure) & np.isfinite(viscous)
    if int(use.sum()) < LEAST_ROWS:
        return [note("too_few_rows", count=int(use.sum()))]
    reach = float(np.subtract(*np.quantile(pressure[use], (0.95, 0.05))))
    low, high = (float(x) * 3600.0 for x in np.quantile(gas_.volume[use], (0.05, 0.95)))
    if _varies(gas_, use) < LEAST_VARIES:
        return [note("flow_hardly_varies", low=round(low), high=round(high))]
    out: list[Note] = []
    if not saturated and _flat(gas_, pressure, every := drive.running & np.isfinite(pressure) & np.isfinite(viscous)):
        low, high = (float(x) * 3600.0 for x in np.quantile(gas_.volume[every], (0.05, 0.95)))
        reach = float(np.subtract(*np.quantile(pressure[every], (0.95, 0.05))))
        return [note("sensor_flat", reach=round(reach, 1), low=round(low), high=round(high))]
    together = float(np.corrcoef(pressure[use], viscous[use])[0, 1]) if reach > 0 else 0.0
    if together < -0.6 and reach > 4:
        out.append(note("sensor_backwards", low=round(low), high=round(high)))
    elif abs(together) < 0.3 and reach > 4:
        out.append(note("sensor_wanders", reach=round(reach, 1)))
    if fit is not None and fit.lag:
        out.append(note("sensor_lags", seconds=fit.lag))
    if fit is not None and not out and fit.scatter > SCATTERS * reach:
        out.append(note("fit_scatters", scatter=round(fit.scatter, 1)))
    return out


def _flat(gas_: Flow, pressure: Array, rows: BoolArray) -> bool:
    """Whether the pressure stands still while the flow changes, over all the recording: soot has no part in that."""
    reach = float(np.subtract(*np.quantile(pressure[rows], (0.95, 0.05))))
    low, high = (float(x) * 3600.0 for x in np.quantile(gas_.volume[rows], (0.05, 0.95)))
    return reach < FLAT and high > 2 * low and high - low > 60.0


def ceiling(pressure: Array, volume: Array, running: BoolArray) -> float | None:
    """Return the pressure [mbar] at which the sensor stops, None where it does not.

    It stops where its highest figure stands far more often than the one below it while the flow goes on varying.
    """
    use = running & np.isfinite(pressure) & np.isfinite(volume)
    seen = pressure[use]
    if seen.size < LEAST_ROWS:
        return None
    levels, counts = np.unique(np.round(seen, 3), return_counts=True)
    if levels.size < 5 or levels[-1] < 20.0:
        return None
    top, beside = float(levels[-1]), counts[-6:-1]
    at = volume[use][seen >= top - 1e-3]
    often = counts[-1] >= max(10, 0.003 * seen.size) and counts[-1] > 4 * beside.max()
    varies = at.size > 0 and float(np.quantile(at, 0.9)) > 1.08 * float(np.quantile(at, 0.1))
    return top if often and varies else None
