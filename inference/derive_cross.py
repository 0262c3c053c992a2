"""Cross-checks of air, heat and fuel: one reading held against another that should agree with it."""

from __future__ import annotations

import numpy as np

from inference.derive_gas import charge, running
from inference.derive_sheet import Sheet
from inference.physics import air, cross, gas, heat
from inference.physics.sampling import of_round
from inference.physics.valid import outside
from inference.steps import step

SHUT = "air_mass_flow_valve_shut.idle"
DOSED = "late_fuel_flow.burn"


@step
def derive_cross(sheet: Sheet) -> None:
    """Write the cross-checks down."""
    _oxygen(sheet)
    _valve_shut(sheet)
    _shut_over_drawn(sheet)
    _catalyst(sheet)
    _oil(sheet)


@step
def _oxygen(sheet: Sheet) -> None:
    """Excess air from the oxygen left, and with the fuel of a warm idle the exhaust fed back."""
    slot = "oxygen_content.idle"
    read = sheet.sampled(slot, of_round("sensor", sheet.round.index))
    if read is None:
        return
    oxygen = np.clip(read / 100.0, 1e-3, 0.205)
    over = np.asarray(cross.excess_air(oxygen))
    odd = outside(cross.excess_air, oxygen=oxygen)
    sheet.put("excess_air.idle", over, (slot,), (), odd)
    drawn, litres = charge(sheet, "idle"), sheet.case.engine_litres
    if drawn is None or litres is None:
        return
    fuel = cross.IDLE_FUEL.of_vehicle("oil_use") * litres * 1e-3
    drawn_by_fuel = np.asarray(cross.air_by_fuel(np.minimum(over, 12.0), fuel))
    usual = cross.IDLE_FUEL
    note = (
        f"The fuel of a warm idle was taken as {usual.low * litres * 4.31:.2f} to {usual.high * litres * 4.31:.2f} l/h."
    )
    share = 1.0 - drawn_by_fuel / drawn.mass_flow
    sheet.put_share(
        "egr_share_by_oxygen.idle", share, (slot, *drawn.inputs), (note, *drawn.notes), (*odd, *drawn.warnings)
    )


@step
def _valve_shut(sheet: Sheet) -> None:
    opened = sheet.sampled("air_mass_flow.idle", of_round("egr_idle", sheet.round.index) * 0.5)
    shut = sheet.sampled(SHUT, of_round("egr_fast_idle", sheet.round.index) * 0.5)
    if opened is None or shut is None or float(shut.min()) <= 0:
        return
    # the scale of the one meter is common to both readings; half of its error is taken to be left between them
    share = np.asarray(cross.share_by_valve(np.maximum(opened, 0.0), shut))
    odd = outside(cross.share_by_valve, result=share)
    sheet.put_share("egr_share_by_valve.idle", share, ("air_mass_flow.idle", SHUT), (), odd)


@step
def _shut_over_drawn(sheet: Sheet) -> None:
    """Hold the air with the valve shut against what the engine draws: with no exhaust fed back they are the same."""
    shut = sheet.sampled(SHUT, of_round("egr_idle", sheet.round.index))
    drawn = charge(sheet, "idle")
    if shut is None or drawn is None:
        return
    ratio = np.asarray(air.air_mass_ratio(np.maximum(shut, 0.0) * 1e-3, drawn.mass_flow))
    odd = (*drawn.warnings, *outside(air.air_mass_ratio, result=ratio))
    sheet.put("air_mass_ratio_valve_shut.idle", ratio, (SHUT, *drawn.inputs), drawn.notes, odd)


@step
def _catalyst(sheet: Sheet) -> None:
    """Heat the catalyst gives to the gas over the heat of the late fuel dosed."""
    before = sheet.sampled("exhaust_temperature_before_catalyst.burn", of_round("sensor", sheet.round.index))
    after = sheet.sampled("exhaust_temperature_before_filter.burn", of_round("gas_temperature", sheet.round.index))
    dosed = sheet.sampled(DOSED, of_round("gauge", sheet.round.index))
    if before is None or after is None or dosed is None or float(dosed.min()) <= 0:
        return
    read = sheet.sampled("air_mass_flow.burn", of_round("egr_idle", sheet.round.index))
    inputs: tuple[str, ...]
    notes: tuple[str, ...]
    if read is not None:
        flow, inputs, notes = np.maximum(read, 0.0) * 1e-3, ("air_mass_flow.burn",), ()
    else:
        gas_flow = running(sheet, "fast_idle")
        if gas_flow is None:
            return
        flow, inputs = gas_flow.mass_flow, gas_flow.inputs
        notes = ("The flow in the burn was not read; that at about 2,500 1/min was taken.", *gas_flow.notes)
    warmth = gas.heat_capacity((before + after) / 2.0 + gas.ZERO_CELSIUS)
    power = heat.lift_power(flow + dosed * 1e-3, warmth, np.maximum(after - before, 0.0))
    share = np.asarray(cross.heat_share(power, dosed * 1e-3))
    odd = outside(cross.heat_share, result=share)
    temperatures = ("exhaust_temperature_before_catalyst.burn", "exhaust_temperature_before_filter.burn")
    sheet.put_share("catalyst_heat_share.burn", share, (*temperatures, DOSED, *inputs), notes, odd)


@step
def _oil(sheet: Sheet) -> None:
    """Fuel that the burns begun since an oil change may have put into the oil."""
    begun, over = sheet.read("burns_started"), sheet.read("burns_counted_over")
    if begun is None or not over:
        return
    since = min(over, cross.OIL_CHANGE / 1e3)
    each = cross.FUEL_PER_BURN.of_vehicle("oil_use")
    share = np.asarray(cross.fuel_from_burns(begun * since / over, each))
    note = () if since == over else (f"The oil was taken as changed {since:,.0f} km ago.",)
    sheet.put_share("oil_dilution_by_burns", share, ("burns_started", "burns_counted_over"), note)
