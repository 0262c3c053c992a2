"""What the temperatures say: agreement after a cold night, warming up, heat made in a burn."""

from __future__ import annotations

import math

from inference.derive_sheet import Sheet
from inference.physics import heat
from inference.physics.sampling import between, exact, normal_spread, of_round, vehicle
from inference.physics.valid import outside
from inference.steps import step
from inference.values import Spread

# Readings that agree after a cold night, and the derived reading that says how far each is off.
COLD = {
    "coolant_temperature.cold_soak": "coolant_soak_error",
    "intake_air_temperature.cold_soak": "intake_air_soak_error",
    "exhaust_temperature_before_catalyst.cold_soak": "exhaust_before_catalyst_soak_error",
    "exhaust_temperature_before_filter.cold_soak": "exhaust_before_filter_soak_error",
    "exhaust_temperature_after_filter.cold_soak": "exhaust_after_filter_soak_error",
}
SOAK = 0.5  # K, how far sound parts still differ after a night out of the sun (from memory)


@step
def derive_heat(sheet: Sheet) -> None:
    """Write the temperature readings down."""
    _cold_soak(sheet)
    sheet.difference("coolant_minus_oil", "coolant_temperature.road", "oil_temperature")
    sheet.difference(
        "catalyst_rise.burn", "exhaust_temperature_before_filter.burn", "exhaust_temperature_before_catalyst.burn"
    )
    sheet.difference(
        "filter_rise.burn", "exhaust_temperature_after_filter.burn", "exhaust_temperature_before_filter.burn"
    )
    _warm_up(sheet)


@step
def _cold_soak(sheet: Sheet) -> None:
    """Hold each cold temperature against what the others agree on (their median, weighted by their precision).

    The suspect's own tolerance is left out: the limits that a rule sets allow for it. What stays uncertain is the
    true temperature. The outside temperature counts among the others.
    """
    cold = {slot: value for slot in COLD if (value := sheet.read(slot)) is not None}
    ambient = sheet.read("ambient_temperature")
    everything = dict(cold)
    if ambient is not None and cold:
        everything["ambient_temperature"] = ambient
    for slot, value in cold.items():
        others = [(t, sheet.error(name, t)) for name, t in everything.items() if name != slot]
        if not others:
            continue
        agreed, error = _agreed(others)
        notes: tuple[str, ...] = ()
        if len(others) == 1:
            notes = ("Only one other temperature was read; which of the two is wrong stays open.",)
        spread = normal_spread(value - agreed, math.hypot(error, SOAK))
        sheet.put(COLD[slot], spread, (slot, *(name for name in everything if name != slot)), notes)
    if len(everything) >= 2:
        gap = max(everything.values()) - min(everything.values())
        spread = normal_spread(gap, SOAK * math.sqrt(2.0))
        sheet.put("soak_spread", Spread(max(spread.low, 0.0), gap, spread.high), everything)
        sheet.put("soak_readings", exact(float(len(everything))), everything)


def _agreed(others: list[tuple[float, float]]) -> tuple[float, float]:
    """Return the weighted median of temperatures with their errors [°C], and its own error [K]."""
    ordered = sorted((t, 1.0 / error**2) for t, error in others)
    whole = sum(weight for _, weight in ordered)
    passed = 0.0
    for place, (t, weight) in enumerate(ordered):
        passed += weight
        if math.isclose(passed, whole / 2.0) and place + 1 < len(ordered):
            return (t + ordered[place + 1][0]) / 2.0, whole**-0.5
        if passed > whole / 2.0:
            return t, whole**-0.5
    raise ValueError("no temperature to agree with")


@step
def _warm_up(sheet: Sheet) -> None:
    taken = sheet.sampled("coolant_warm_up_time", of_round("gas_temperature", sheet.round.index))
    ambient = sheet.read("ambient_temperature")
    if taken is None or ambient is None:
        return  # without the outside temperature nobody can say what would be usual
    kelvin = ambient + 273.15
    low, mid, high = (float(t) / 60.0 for t in heat.warm_up_time(kelvin))
    usual = between(vehicle("breathing"), low, mid, high)
    odd = outside(heat.warm_up_time, ambient=kelvin)
    sheet.put("warm_up_excess", taken - usual, ("coolant_warm_up_time", "ambient_temperature"), (), odd)
