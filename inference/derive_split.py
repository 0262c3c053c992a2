"""Soot and ash apart: what two flows say, what a completed burn left behind, and how far the ash still lets it go."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from inference.derive_gas import MBAR, expected_downstream
from inference.derive_pressure import Reference, reference_of
from inference.derive_rounds import SLOT
from inference.derive_sheet import Sheet
from inference.physics import ash as ash_physics
from inference.physics import filter_pressure as fp
from inference.physics import two_flows
from inference.physics.filter_pressure import layer_thickness
from inference.physics.sampling import middle, of_round
from inference.physics.valid import outside
from inference.steps import step

LEAST_EXCESS = 0.3  # of the index before a burn, under which its share left says nothing
LEAST_RATE = 1e-10  # kg/(m^3 m), a tenth of a gram a litre on 1,000,000 km: an engine that makes no ash
APART = 2.0  # faster over slower flow, under which two flows do not part


@step
def derive_split(sheet: Sheet) -> None:
    """Write down what two flows say, and the distance the ash leaves."""
    slow, fast = reference_of(sheet, "idle"), reference_of(sheet, "fast_idle")
    if slow is not None and fast is not None:
        _two_flows(sheet, slow, fast)
    _life_left(sheet)


@step
def _two_flows(sheet: Sheet, slow: Reference, fast: Reference) -> None:
    low, high = sheet.read("gauge_pressure.idle"), sheet.read("gauge_pressure.fast_idle")
    if low is None or high is None:
        return
    # the errors of the two readings are each their own; the zero is common to both
    zero = sheet.read("gauge_pressure.key_on") or 0.0
    below = (low - zero + of_round("sensor", sheet.round.index) * sheet.error("gauge_pressure.idle", low)) * MBAR
    above = (high - zero + of_round("gauge", sheet.round.index) * sheet.error("gauge_pressure.fast_idle", high)) * MBAR
    slow_viscous, slow_inertial = two_flows.carried(slow.gas.stream)
    fast_viscous, fast_inertial = two_flows.carried(fast.gas.stream)
    apart = np.asarray(fast.gas.mass_flow / slow.gas.mass_flow)
    if float(np.sort(apart)[apart.size // 10]) < APART:
        return
    by_filter, by_pipe = two_flows.part(below, above, slow_viscous, slow_inertial, fast_viscous, fast_inertial)
    inputs = ("gauge_pressure.idle", "gauge_pressure.fast_idle", *slow.gas.inputs, *fast.gas.inputs)
    notes, odd = (*slow.gas.notes, *fast.gas.notes), (*slow.warnings, *fast.warnings)
    sheet.put("friction_part", np.asarray(by_filter) / MBAR, inputs, notes, odd)
    sheet.put("turbulent_part", np.asarray(by_pipe) / MBAR, inputs, notes, odd)
    body, gas = fast.housing.body, fast.gas.stream
    ends = fp.entrance_exit_drop(gas.density, gas.flow, body.volume, body.pitch, body.opening, body.length)
    soot = fast.terms.soot(np.asarray(by_filter + ends))
    more = (*odd, *outside(layer_thickness, load=soot))
    sheet.put("soot_load_two_flows", soot, (*inputs, *fast.inputs), (*notes, *fast.notes), more)
    expected = expected_downstream(sheet, fast.gas)
    if expected is not None:
        over = np.asarray(by_pipe) / np.asarray(expected + ends)
        sheet.put("turbulent_over_expected", over, (*inputs, "engine_litres"), notes, odd)


@step
def _life_left(sheet: Sheet) -> None:
    """Distance until the filter holds as much ash as it can before it must come off."""
    load, rate = sheet.samples.get("ash_load"), sheet.memo.get("ash_rate")
    if load is None or rate is None:
        return
    room = ash_physics.CAPACITY.of_vehicle("ash_bed")
    if sheet.wants("ash_life_left"):
        left = np.asarray(ash_physics.distance_left(load, room, np.maximum(rate, LEAST_RATE)))
        sheet.put("ash_life_left", left / 1e3, ("ash_load", "distance_on_filter"), sheet.done["ash_load"].notes)
    sheet.put_share("ash_room_used", load / room, ("ash_load",), sheet.done["ash_load"].notes)


@step
def derive_left(sheet: Sheet, earlier: Sequence[Sheet]) -> None:
    """Write down the share of the extra pressure that a completed burn left, and the ash that would explain it."""
    left = sheet.samples.get("index_left_after_burn.fast_idle")
    before = next((s.samples[SLOT] for s in reversed(earlier) if SLOT in s.samples), None)
    if left is None:
        return
    ref = reference_of(sheet, "fast_idle")
    here = sheet.done["index_left_after_burn.fast_idle"]
    if ref is not None:
        ash = two_flows.ash_from_clean(ref.housing.body, ref.gas.stream, np.asarray(left * ref.clean))
        odd = outside(ash_physics.split, ash=ash)
        sheet.put("ash_after_burn", ash, ("index_left_after_burn.fast_idle", *here.inputs), here.notes, odd)
    if before is not None and middle(before) > 1.0 + LEAST_EXCESS:
        # where a member of the sample had hardly any excess, its share means nothing and is held within bounds
        share = np.asarray(two_flows.excess_left(left - 1.0, np.maximum(before - 1.0, 0.1))).clip(-1.0, 3.0)
        inputs = ("index_left_after_burn.fast_idle", SLOT, *here.inputs)
        sheet.put_share("excess_left_after_burn.fast_idle", share, inputs, here.notes)
