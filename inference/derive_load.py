"""Soot and ash: what the pressure says of the load, what the oil says of the ash, and what the body may hold."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inference.derive_burn import burn_limit
from inference.derive_gas import MBAR
from inference.derive_pressure import Reference, gauge, pipe_contained, reference_of
from inference.derive_sheet import Sheet
from inference.derive_usage import distance_on_filter, events, odometer
from inference.physics import ash as ash_physics
from inference.physics.filter_pressure import layer_thickness
from inference.physics.load import terms
from inference.physics.sampling import between, middle, of_round, vehicle
from inference.physics.valid import Array, Odd, Outside, outside
from inference.steps import step

LONGEST_KM = 250_000.0  # of a filter whose age nobody knows, on a vehicle whose odometer nobody read


@dataclass(frozen=True, eq=False)
class Drop:
    """A pressure across the filter [Pa] as a sample, and where it comes from."""

    pressure: Array
    inputs: tuple[str, ...]
    notes: tuple[str, ...]


@step
def derive_load(sheet: Sheet) -> None:
    """Write the loads down, from the reading at 2,500 1/min."""
    ref = reference_of(sheet, "fast_idle")
    ash = _ash(sheet, ref) if ref else None
    _oil_ash_rate(sheet)
    if ref is None:
        return
    drop = _by_gauge(sheet, ref)
    if drop is None or sheet.wants("soot_load_sensor"):
        by_sensor = _by_sensor(sheet, ref)
        drop = drop or by_sensor
    if drop is not None:
        _soot_load(sheet, ref, drop, ash)
    _lamp_excess(sheet, ref)


@step
def _by_gauge(sheet: Sheet, ref: Reference) -> Drop | None:
    """Write the load by the hand gauge; return its pressure drop."""
    read = gauge(sheet, "fast_idle")
    if read is None or ref.behind is None:
        return None
    drop = Drop(read[0] * MBAR - ref.behind, read[1] + ref.behind_inputs + ref.inputs, read[2] + ref.notes)
    soot = ref.terms.soot(drop.pressure)
    sheet.put("soot_load_gauge", soot, drop.inputs, drop.notes, (*ref.warnings, *_too_full(soot)))
    _ash_share(sheet, ref, drop)
    return drop


@step
def _by_sensor(sheet: Sheet, ref: Reference) -> Drop | None:
    """Write the load by the vehicle's own sensor; return its pressure drop, to be taken where no gauge was read."""
    slot = "sensor_pressure.fast_idle"
    read = sheet.sampled(slot, of_round("sensor", sheet.round.index))
    contained = pipe_contained(sheet, ref.behind)
    if read is None or contained is None:
        return None
    pressure = read * MBAR - contained[0]
    inputs, notes = (slot, "layout", *ref.behind_inputs, *ref.inputs), contained[1] + ref.notes
    soot = ref.terms.soot(pressure)
    sheet.put("soot_load_sensor", soot, inputs, notes, (*ref.warnings, *_too_full(soot)))
    return Drop(pressure, inputs, (*notes, "No hand gauge was read; the vehicle's own sensor was taken."))


def _too_full(soot: Array) -> tuple[Outside, ...]:
    return outside(layer_thickness, load=soot)


def _oil(sheet: Sheet) -> tuple[Array, Array, tuple[str, ...], tuple[str, ...]]:
    """Return oil use [m^3/m] and sulphated ash [-] as samples, with inputs and notes."""
    inputs: list[str] = []
    notes: list[str] = []
    oil = sheet.sampled("oil_consumption", vehicle("oil_use"))
    if oil is not None:
        oil, inputs = np.maximum(oil, 0.0) * 1e-9, ["oil_consumption"]
    else:
        oil = ash_physics.OIL_USE.of_vehicle("oil_use")
        notes.append("The oil use is not known; 0.03 to 0.15 l per 1000 km was taken.")
    share = sheet.sampled("oil_sulphated_ash", vehicle("sulphated_ash"))
    if share is not None:
        share = np.maximum(share, 0.0) / 100.0
        inputs.append("oil_sulphated_ash")
    else:
        grade = sheet.answer("oil_meets_low_ash_grade")
        usual = ash_physics.SULPHATED_ASH.get(grade, ash_physics.SULPHATED_ASH[None])
        share = usual.of_vehicle("sulphated_ash")
        if grade in ("yes", "no"):
            inputs.append("oil_meets_low_ash_grade")
        notes.append(f"The oil's sulphated ash was taken as {usual.low * 100:.1f} to {usual.high * 100:.1f} %.")
    return oil, share, tuple(inputs), tuple(notes)


@step
def _oil_ash_rate(sheet: Sheet) -> None:
    if sheet.read("oil_consumption") is None and sheet.read("oil_sulphated_ash") is None:
        return
    oil, share, inputs, notes = _oil(sheet)
    odd = outside(ash_physics.ash_rate, oil_use=oil, sulphated_ash=share)
    sheet.put("oil_ash_rate", np.asarray(ash_physics.ash_rate(oil, share)) * 1e9, inputs, notes, odd)


@step
def _ash(sheet: Sheet, ref: Reference) -> Array:
    """Return the ash load [g/l] as a sample, and write it down where the distance on the filter is known.

    Where it is not, the distance lies anywhere from nothing to the odometer, so that the bounds on soot stay true.
    """
    oil, share, inputs, notes = _oil(sheet)
    if "oil_consumption" in inputs and middle(oil) > ash_physics.OIL_USE.high:
        oil = ash_physics.over_the_life(oil)
        notes += ("So high an oil use may be new; over the filter's life anything from a sound engine's 0.03 to 0.15 l "
                  "per 1000 km to what was measured was taken.",)  # fmt: skip
    capture = ash_physics.CAPTURE.of_vehicle("capture").clip(0.0, 1.0)
    rate = ash_physics.ash_rate(oil, share)
    known = _ash_distance(sheet)
    volume = ref.housing.body.volume
    more: Array | float = 0.0
    if sheet.case.filter_type == "additive":
        more = ash_physics.additive_sample(sheet.case.engine_litres)
        notes += ("The additive's own ash was counted in.",)
        if sheet.case.engine_litres is not None:
            inputs += ("engine_litres",)
    sheet.memo["ash_rate"] = np.asarray(rate * capture + more) / volume
    if known is not None:
        load = np.asarray(ash_physics.ash_load(rate * capture + more, known * 1e3, 1.0, volume))
        odd = (*outside(ash_physics.split, ash=load), *outside(ash_physics.ash_rate, oil_use=oil))
        all_inputs = (*inputs, "distance_on_filter", *ref.housing.inputs)
        sheet.put("ash_load", load, all_inputs, notes + ref.housing.notes, odd)
        by_ash = np.asarray(terms(ref.housing.body, ref.gas.stream, load).clean)
        sheet.memo["ash_pressure"] = by_ash - ref.clean
        sheet.put(
            "ash_pressure_index", by_ash / ref.clean, ("ash_load", *ref.inputs), notes + ref.notes,
            odd + ref.warnings,
        )  # fmt: skip
        return load
    most = odometer(sheet) or LONGEST_KM
    distance = between(vehicle("ash_distance"), 0.0, most / 2.0, most).clip(0.0, most)
    return np.asarray(ash_physics.ash_load(rate * capture + more, distance * 1e3, 1.0, volume))


def _ash_distance(sheet: Sheet) -> Array | float | None:
    """Return the distance [km] whose ash lies in the filter, less where it was cleaned off the vehicle; else None."""
    whole = distance_on_filter(sheet)
    now = odometer(sheet)
    cleaned = events(sheet, "filter cleaned")
    if whole is None or now is None or not cleaned:
        return whole
    at = cleaned[-1].odometer_km
    if at is None:
        return None
    since = min(max(now - at, 0.0), whole)
    left = ash_physics.LEFT_BY_CLEANING.of_vehicle("ash_bed").clip(0.0, 1.0)
    return np.asarray(since + (whole - since) * left)


def _ash_share(sheet: Sheet, ref: Reference, drop: Drop) -> None:
    """Share of the pressure above clean that the ash explains; not told where most likely nothing lies above clean."""
    load = sheet.samples.get("ash_load")
    if load is None:
        return
    by_ash: Array = sheet.memo["ash_pressure"]
    excess = drop.pressure - ref.clean
    if middle(excess) <= 0:
        return
    share = np.where(excess > by_ash, by_ash / np.where(excess > 0, excess, 1.0), 1.0).clip(0.0, 1.0)
    odd = outside(ash_physics.split, ash=load)
    sheet.put_share("ash_excess_share", share, ("ash_load", *drop.inputs), drop.notes, odd)


@step
def _soot_load(sheet: Sheet, ref: Reference, drop: Drop, ash: Array | None) -> None:
    """The load the gate judges by: ash taken off so that its most goes with the least soot, and the reverse."""
    inputs, notes, odd = drop.inputs, drop.notes, ref.warnings
    without = sheet.samples.get("soot_load_gauge")
    if without is None:
        without = sheet.samples["soot_load_sensor"]
    if ash is not None:
        order = np.argsort(without, kind="stable")
        paired = np.empty_like(ash)
        paired[order] = np.sort(ash)[::-1]
        soot = terms(ref.housing.body, ref.gas.stream, paired).soot(drop.pressure)
        inputs += ("ash_load",) if "ash_load" in sheet.samples else ()
        if "ash_load" not in sheet.samples:
            notes += ("The distance on this filter is not known; little or much ash was allowed for.",)
    else:
        soot = without
    sheet.put("soot_load", soot, inputs, notes, (*odd, *_too_full(soot)))
    _over_limit(sheet, soot, notes, odd)


def _over_limit(sheet: Sheet, soot: Array, notes: tuple[str, ...], odd: tuple[Odd, ...]) -> None:
    """Soot over the limit, the least soot held against the highest limit and the most against the lowest."""
    found = burn_limit(sheet)
    if found is None:
        return
    limits, note = found
    place = np.linspace(0.0, 1.0, soot.size)
    limit = np.interp(place, (0.1, 0.5, 0.9), (limits.high, limits.mid, limits.low))
    over = np.sort(soot) / limit
    sheet.put("soot_over_limit", over, ("soot_load", "burn_soot_limit"), notes + note, odd)


@step
def _lamp_excess(sheet: Sheet, ref: Reference) -> None:
    """What the control unit believes is in the filter, over what the hand gauge says."""
    by_gauge = sheet.samples.get("soot_load_gauge")
    if by_gauge is None:
        return
    for slot in ("soot_load_model", "soot_load_measured"):
        grams = sheet.sampled(slot, of_round("sensor", sheet.round.index))
        if grams is not None:
            held = grams / (np.asarray(ref.housing.body.volume) * 1e3)
            sheet.put(
                "lamp_soot_excess", held - by_gauge, (slot, "soot_load_gauge", *ref.housing.inputs),
                ref.housing.notes,
            )  # fmt: skip
            return
