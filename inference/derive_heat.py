"""What the temperatures say: agreement after a cold night, warming up, heat made in a burn."""

from __future__ import annotations

from statistics import median

from inference.derive_sheet import Sheet
from inference.physics import heat
from inference.physics.sampling import Z10, between, of_round, vehicle
from inference.physics.valid import outside
from inference.values import Spread

# Readings that agree after a cold night, and the derived reading that says how far each is off.
COLD = {
    "coolant_temperature.cold_soak": "coolant_soak_error",
    "intake_air_temperature.cold_soak": "intake_air_soak_error",
    "exhaust_temperature_before_catalyst.cold_soak": "exhaust_before_catalyst_soak_error",
    "exhaust_temperature_before_filter.cold_soak": "exhaust_before_filter_soak_error",
    "exhaust_temperature_after_filter.cold_soak": "exhaust_after_filter_soak_error",
}
SOAK = 1.5  # K, how far sound parts differ after a night (from memory: all within 5 to 10 K)


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


def _cold_soak(sheet: Sheet) -> None:
    """Hold each cold temperature against the median of the others; with fewer than two others, say so.

    The outside temperature counts among the others: read at the same time, it belongs to the same night.
    """
    cold = {slot: value for slot in COLD if (value := sheet.read(slot)) is not None}
    ambient = sheet.read("ambient_temperature")
    everything = dict(cold)
    if ambient is not None and cold:
        everything["ambient_temperature"] = ambient
    for slot, value in cold.items():
        others = {name: t for name, t in everything.items() if name != slot}
        if not others:
            continue
        middle = median(others.values())
        worst = max(sheet.error(name, t) for name, t in others.items())
        error = (sheet.error(slot, value) ** 2 + (worst**2 + SOAK**2) / len(others) + SOAK**2) ** 0.5
        notes = ()
        if len(others) == 1:
            notes = ("Only one other temperature was read; which of the two is wrong stays open.",)
        gap = value - middle
        spread = Spread(gap - Z10 * error, gap, gap + Z10 * error)
        sheet.put(COLD[slot], spread, (slot, *others), notes)
    if len(everything) >= 2:
        low, high = min(everything, key=lambda s: everything[s]), max(everything, key=lambda s: everything[s])
        gap = everything[high] - everything[low]
        error = (sheet.error(high, everything[high]) ** 2 + sheet.error(low, everything[low]) ** 2) ** 0.5
        sheet.put("soak_spread", Spread(max(gap - Z10 * error, 0.0), gap, gap + Z10 * error), everything)


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
