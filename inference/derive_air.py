"""What the air readings say: air against speed-density, recirculation, boost, charge air, the manifold sensor."""

from __future__ import annotations

import numpy as np

from inference.derive_gas import MBAR, air_read, charge, outside_pressure
from inference.derive_sheet import Sheet
from inference.physics import air, calibration, charge_air, gas
from inference.physics.sampling import exact, of_round
from inference.physics.valid import outside
from inference.steps import step


@step
def derive_air(sheet: Sheet) -> None:
    """Write the air readings down."""
    pressure, inputs, notes = outside_pressure(sheet)
    sheet.put("air_pressure", exact(pressure / MBAR), inputs, notes)
    for condition in ("idle", "fast_idle", "full_load"):
        _air_mass(sheet, condition)
    sheet.difference("egr_error.idle", "egr_actual.idle", "egr_wanted.idle")
    wanted, made = sheet.read("boost_wanted.full_load"), sheet.read("manifold_pressure.full_load")
    sheet.difference("boost_shortfall.full_load", "boost_wanted.full_load", "manifold_pressure.full_load")
    if wanted and made:
        # the two columns belong to the round and are free of each other
        above = np.maximum(made + of_round("sensor", sheet.round.index) * sheet.error("manifold_pressure", made), 1)
        below = np.maximum(wanted + of_round("gauge", sheet.round.index) * sheet.error("boost_wanted", wanted), 1)
        ratio = np.asarray(air.boost_ratio(above, below))
        sheet.put("boost_ratio.full_load", ratio, ("manifold_pressure.full_load", "boost_wanted.full_load"))
    sheet.difference("manifold_zero_error", "manifold_pressure.key_on", "barometric_pressure")
    _charge_cooler(sheet)


@step
def _charge_cooler(sheet: Sheet) -> None:
    before, behind = "charge_pressure_before_cooler.full_load", "manifold_pressure.full_load"
    sheet.difference("charge_pressure_drop.full_load", before, behind)
    slot, around = "charge_temperature.full_load", "ambient_temperature"
    sheet.difference("charge_over_outside.full_load", slot, around)
    made, wanted = sheet.read(before), sheet.read("boost_wanted.full_load")
    if made and wanted:
        above = np.maximum(made + of_round("gauge", sheet.round.index) * sheet.error(before, made), 1)
        below = np.maximum(wanted + of_round("sensor", sheet.round.index) * sheet.error("boost_wanted", wanted), 1)
        ratio = np.asarray(air.boost_ratio(above, below))
        sheet.put("boost_ratio_before_cooler.full_load", ratio, (before, "boost_wanted.full_load"))
    cooled, ambient = sheet.read(slot), sheet.read(around)
    read = {slot: value for slot in (before, behind) if (value := sheet.read(slot)) is not None}
    if cooled is None or ambient is None or not read:
        return
    source, pressure = max(read.items(), key=lambda one: one[1])  # it cannot rise on the way: a lower one was misread
    outside_air, inputs, notes = outside_pressure(sheet)
    boost = pressure * MBAR / outside_air
    if boost < calibration.LEAST_BOOST:
        return
    index = sheet.round.index
    around_it = ambient + of_round("gauge", index) * sheet.error(around, ambient) + gas.ZERO_CELSIUS
    behind_it = cooled + of_round("gas_temperature", index) * sheet.error(slot, cooled) + gas.ZERO_CELSIUS
    drawn = around_it + np.maximum(calibration.INTAKE_WARMING.of_round("sensor", index), 0.0)
    efficiency = np.clip(calibration.COMPRESSOR_EFFICIENCY.of_vehicle("breathing"), 0.4, 0.85)
    hot = np.asarray(charge_air.compressor_outlet(drawn, boost, efficiency))
    share = np.asarray(charge_air.cooling_share(hot, behind_it, around_it))
    odd = (
        *outside(charge_air.compressor_outlet, inlet=drawn, ratio=boost),
        *outside(charge_air.cooling_share, result=share),
    )
    sheet.put_share("charge_cooling_share.full_load", share, (slot, around, source, *inputs), notes, odd)


@step
def _air_mass(sheet: Sheet, condition: str) -> None:
    slot = f"air_mass_flow.{condition}"
    read = air_read(sheet, condition)
    drawn = charge(sheet, condition)
    if read is None or drawn is None:
        return
    ratio = np.asarray(air.air_mass_ratio(np.maximum(read, 0.0) * 1e-3, drawn.mass_flow))
    odd = (*drawn.warnings, *outside(air.air_mass_ratio, result=ratio))
    sheet.put(f"air_mass_ratio.{condition}", ratio, (slot, *drawn.inputs), drawn.notes, odd)
    if condition == "idle":
        sheet.put_share("egr_share.idle", np.asarray(air.egr_share(ratio)), (slot, *drawn.inputs), drawn.notes, odd)
