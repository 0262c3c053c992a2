"""What the physics expects the pressure sensor to show at the flows of a recording: clean, and at the soot limit."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from inference.case import Case
from inference.derive_burn import burn_limit
from inference.derive_gas import housing
from inference.derive_sheet import Sheet
from inference.log.drive import BoolArray, Drive
from inference.log.fit import Flow
from inference.log.notes import Note, note
from inference.physics import calibration, gas
from inference.physics import flow as flow_physics
from inference.physics.load import Stream, terms
from inference.physics.valid import Array
from kb.model import Knowledge

BINS = 12
Three = tuple[float, float, float]


@dataclass(frozen=True)
class Bin:
    """The rows of one stretch of volume flow.

    Parameters
    ----------
    volume : volume flow at the filter [m^3/h]
    mass : mass flow [g/s]
    temperature : gas temperature [°C]
    rows : rows in it
    pressure : 10, 50 and 90 % points of the pressure shown [mbar]
    clean : what a clean filter would show, 10/50/90 % [mbar]; None without a size of filter or engine
    limit : what the filter would show at the soot limit, 10/50/90 % [mbar]
    index : pressure across the filter over that of the clean one, 10/50/90 % [-]
    soot : soot the pressure speaks of, ash taken as none, 10/50/90 % [g/l]
    """

    volume: float
    mass: float
    temperature: float
    rows: int
    pressure: Three
    clean: Three | None = None
    limit: Three | None = None
    index: Three | None = None
    soot: Three | None = None


@dataclass(frozen=True)
class Bands:
    """The recording in bins of flow, with the soot limit taken [g/l] and what was taken for granted."""

    bins: tuple[Bin, ...]
    limit: tuple[float, float] | None
    notes: tuple[Note, ...]
    assumed: tuple[str, ...] = ()


def make_bands(
    drive: Drive, gas_: Flow, rows: BoolArray, case: Case, knowledge: Knowledge, zero: float = 0.0
) -> Bands | None:
    """Sort the rows by flow and set beside each bin what the physics expects; None where nothing flows.

    Parameters
    ----------
    drive, gas_ : the recording and the gas in it
    rows : which rows to take
    case : filter, engine and layout
    zero : what the sensor reads at no flow [mbar], taken off before soot is worked out
    """
    pressure = drive.get("filter_pressure")
    if pressure is None:
        return None
    volume = gas_.volume * 3600.0
    use = rows & drive.running & np.isfinite(pressure) & np.isfinite(volume) & (volume > 5.0)
    if int(use.sum()) < 30:
        return None
    least, most = (float(x) for x in np.quantile(volume[use], (0.005, 0.995)))
    edges = np.linspace(least, most, BINS + 1)
    body = housing(case)
    sheet = Sheet(case, case.rounds[-1], knowledge)
    told = burn_limit(sheet)
    limit = told[0] if told else None
    found = []
    for low, high in itertools.pairwise(edges):
        here = use & (volume >= low) & (volume <= high)
        if int(here.sum()) < 8:
            continue
        mass, kelvin = float(np.median(gas_.mass[here])), float(np.median(gas_.temperature[here]))
        shown = tuple(float(x) for x in np.quantile(pressure[here], (0.1, 0.5, 0.9)))
        bare = Bin(
            float(np.median(volume[here])), mass * 1e3, kelvin - gas.ZERO_CELSIUS, int(here.sum()),
            (shown[0], shown[1], shown[2]),
        )  # fmt: skip
        if body is None:
            found.append(bare)
            continue
        density = float(np.median(gas_.density[here]))
        stream = Stream(float(gas.viscosity(kelvin)), density, mass / density)
        parts = terms(body.body, stream)
        behind = _behind(case, knowledge, mass, kelvin)
        clean = np.asarray(parts.clean) + behind
        full: Array | None = None
        if limit is not None:
            full = np.asarray(parts.drop(np.full(clean.shape, limit.mid))) + behind
        over = (shown[1] - zero) * 100.0 - behind
        found.append(
            Bin(
                bare.volume,
                bare.mass,
                bare.temperature,
                bare.rows,
                bare.pressure,
                _three(clean / 100.0),
                None if full is None else _three(full / 100.0),
                _three(over / np.asarray(parts.clean)),
                _three(parts.soot(np.broadcast_to(over, clean.shape).copy())),
            )
        )
    notes = [] if body is not None else [note("no_filter_size")]
    limits = (limit.low, limit.high) if limit is not None else None
    return Bands(tuple(found), limits, tuple(notes), body.notes if body else ()) if found else None


def _behind(case: Case, knowledge: Knowledge, mass: float, kelvin: float) -> Array:
    """What the pipe behind the filter adds [Pa]: only a sensor measured against the air outside sees it."""
    layout = knowledge.layouts.get(case.layout or "")
    if layout is None or layout.pressure != "gauge_upstream" or case.engine_litres is None:
        return np.zeros(calibration.DOWNSTREAM.of_vehicle("downstream").shape)
    coefficient = calibration.DOWNSTREAM.of_vehicle("downstream")
    reference = calibration.DOWNSTREAM_REFERENCE * case.engine_litres * 1e-3
    return np.asarray(flow_physics.downstream_drop(mass, kelvin, coefficient, reference))


def _three(values: Array) -> Three:
    low, mid, high = (float(x) for x in np.quantile(values, (0.1, 0.5, 0.9)))
    return low, mid, high
