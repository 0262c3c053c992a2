"""A recording summed up: pressure against flow, burns, trips, and the readings of a round."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inference.case import Case
from inference.log.bands import Bands, make_bands
from inference.log.drive import BoolArray, Drive, Trip, on_grid
from inference.log.episodes import Burn, find_burns
from inference.log.fit import Fit, Flow, ceiling, fit_pressure, gas_flow, sensor_notes
from inference.log.held import Held, hold
from inference.log.notes import Note, note
from inference.log.read import Log
from inference.log.scatter import scatter
from inference.log.taken import Taken, take
from kb.model import Knowledge
from kb.units import number

AFTER_BURN = 120.0  # s until the filter has cooled to what the road makes
LEAST_AFTER = 300.0  # s of running behind a burn that speak of the filter as it is now
ZERO_OFF = 3.0  # mbar; kb/rules: a zero beyond it is called off
FIT_ZERO_OFF = 5.0  # mbar; the fit's offset is less certain than a reading with the key on
# where the sensor or the line through its rows says this, the pressure is not held against a clean filter's
SAYS_NOTHING = {"sensor_flat", "sensor_backwards", "sensor_wanders", "sensor_saturates", "fit_scatters"}


@dataclass(frozen=True)
class Summary:
    """What a recording says.

    Parameters
    ----------
    log : the recording as read
    drive : on its grid
    gas : the gas through the filter, None where it is not told
    now : rows that speak of the filter as it was at the end
    fit : pressure against flow over those rows, None where it cannot be fitted
    zero : what the sensor reads with the engine still [mbar], None where that was not recorded
    bands : bins of flow with what the physics expects, None without pressure and flow
    burns, trips : in order of time
    held : each burn against what it should have done
    readings : for a round
    notes : what was noticed, in the order a person wants it: the sensor, the burns, the rest, the file
    """

    log: Log
    drive: Drive
    gas: Flow | None
    now: BoolArray
    fit: Fit | None
    zero: float | None
    bands: Bands | None
    burns: tuple[Burn, ...]
    held: tuple[Held, ...]
    trips: tuple[Trip, ...]
    readings: tuple[Taken, ...]
    notes: tuple[Note, ...]


def summarise(log: Log, case: Case, knowledge: Knowledge) -> Summary:
    """Sum up a recording of the vehicle of ``case``."""
    layout = knowledge.layouts.get(case.layout or "")
    drive = on_grid(log, layout.pressure if layout else None, layout.temperatures if layout else None)
    gas_, notes = gas_flow(drive)
    pressure = drive.get("filter_pressure")
    sensor: list[Note] = []
    if pressure is None:
        sensor.append(note("no_filter_pressure"))
        notes = [n for n in notes if n.kind != "no_flow"]
    zero = _zero(drive, sensor)
    burns = find_burns(drive, gas_, hot_enough(case, knowledge), zero or 0.0)
    now, told = _now(drive, burns)
    notes += told if pressure is not None else []
    fit, bands, top, use = None, None, None, now
    if gas_ is not None and pressure is not None:
        use = now.copy()
        top = _ceiling(log)
        if top is not None:
            sensor.append(note("sensor_saturates", top=round(top, 1)))
            use &= ~(pressure >= top - 0.5)
        fit = fit_pressure(drive, gas_, use)
        sensor += sensor_notes(drive, gas_, fit, now, top is not None)
        named = {n.kind for n in sensor}
        if fit is not None and not named & {"sensor_zero_off", "sensor_flat", "sensor_backwards"}:
            off, error = fit.offset
            if zero is None and abs(off) - 2 * error > FIT_ZERO_OFF:
                sensor.append(note("fit_zero_off", offset=round(off, 1)))
        bands = make_bands(drive, gas_, now, case, knowledge, zero or 0.0)
        if bands is not None and not named & SAYS_NOTHING:
            sensor += _against_clean(bands, fit)
    held = hold(drive, gas_, burns, case, knowledge, zero or 0.0, {n.kind for n in sensor})
    told_heat = drive.has("exhaust_temperature_before_filter") or drive.has("exhaust_temperature_after_filter")
    scattered = None
    if fit is not None and gas_ is not None and told_heat:  # an unseen burn would look like a bad sensor
        scattered = scatter(drive, gas_, fit, use)
    readings, more = take(drive, knowledge, burns, now, fit, top, scattered)
    return Summary(
        log, drive, gas_, now, fit, zero, bands, tuple(burns), held, tuple(drive.trips()), readings,
        (*sensor, *notes, *more, *(bands.notes if bands else ()), *drive.notes, *log.notes),
    )  # fmt: skip


def hot_enough(case: Case, knowledge: Knowledge) -> float:
    """Temperature before the filter [°C] at which this kind of filter burns its soot; a coated one's if not known."""
    kind = knowledge.filter_types.get(case.filter_type or "") or knowledge.filter_types.get("coated")
    return number(kind.burn_inlet.low, "°C") if kind else 550.0


def _zero(drive: Drive, sensor: list[Note]) -> float | None:
    pressure, rows = drive.get("filter_pressure"), drive.key_on()
    if pressure is None:
        return None
    use = rows & np.isfinite(pressure)
    if use.sum() < 3:
        return None
    zero = float(np.median(pressure[use]))
    if abs(zero) > ZERO_OFF:
        sensor.append(note("sensor_zero_off", zero=round(zero, 1)))
    return zero


def _now(drive: Drive, burns: list[Burn]) -> tuple[BoolArray, list[Note]]:
    """Rows that speak of the filter as it was at the end, with the sentence that says which."""
    every = np.ones_like(drive.running)
    if not burns:
        return every, []
    after = drive.time >= drive.time[burns[-1].last - 1] + AFTER_BURN
    if float(drive.seconds[after & drive.running].sum()) >= LEAST_AFTER:
        return after, [note("pressure_after_burn")]
    before = drive.time < burns[0].begin
    if float(drive.seconds[before & drive.running].sum()) >= LEAST_AFTER:
        return before, [note("pressure_before_burn")]
    outside = every.copy()
    for burn in burns:
        outside[burn.first : burn.last] = False
    return outside, []


def _ceiling(log: Log) -> float | None:
    """The sensor's upper end, from the rows as they were recorded."""
    pressure, air = log.channels.get("filter_pressure"), log.channels.get("air_mass_flow")
    if air is None:
        air = log.channels.get("exhaust_mass_flow")
    if pressure is None or air is None:
        return None
    speed = log.channels.get("engine_speed")
    running = air > 0.5 if speed is None else speed > 300
    return ceiling(pressure.astype(np.float64), air.astype(np.float64), np.asarray(running))


def _against_clean(bands: Bands, fit: Fit | None) -> list[Note]:
    """How the pressure stands to a clean filter's, at the highest flows, where the sensor is surest."""
    known = [b for b in bands.bins if b.index is not None and b.soot is not None and b.clean is not None]
    if not known or (fit is not None and fit.lag):
        return []
    top = sorted(known, key=lambda b: b.volume)[-max(1, len(known) // 3) :]
    best = max(top, key=lambda b: b.rows)
    assert best.index is not None
    assert best.soot is not None
    return [
        note(
            "against_clean",
            low=round(best.index[0], 1),
            high=round(best.index[2], 1),
            flow=round(best.volume),
            pressure=round(best.pressure[1]),
            soot_low=round(best.soot[0], 1),
            soot_high=round(best.soot[2], 1),
        )
    ]
