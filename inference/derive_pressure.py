"""Pressure readings made comparable: what a clean system would show at this flow, and how far above it we are."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from inference.derive_gas import MBAR, Housing, Running, body_of_case, downstream, expected_downstream, running
from inference.derive_sheet import Sheet
from inference.physics.load import Terms, terms
from inference.physics.sampling import N, middle, normal_spread, of_round
from inference.physics.valid import Array, Odd
from inference.steps import step

CONDITIONS = ("idle", "fast_idle")
ZERO = "The gauge's own zero was taken off."


@dataclass(frozen=True, eq=False)
class Reference:
    """What one condition is held against: the gas, the pressure behind, the drop of a clean filter [Pa]."""

    housing: Housing
    gas: Running
    behind: Array | None
    behind_inputs: tuple[str, ...]
    terms: Terms

    @property
    def label(self) -> str:
        """What tells it from the other references of the round."""
        return self.gas.label

    @cached_property
    def clean(self) -> Array:
        """Pressure of the clean filter [Pa]."""
        return np.asarray(self.terms.clean)

    @property
    def inputs(self) -> tuple[str, ...]:
        return self.housing.inputs + self.gas.inputs

    @property
    def notes(self) -> tuple[str, ...]:
        return self.housing.notes + self.gas.notes

    @cached_property
    def warnings(self) -> tuple[Odd, ...]:
        return self.housing.warnings + self.gas.warnings + self.gas.stream.warnings(self.housing.body)


@step
def reference(sheet: Sheet, filter_: Housing, condition: str, use_air_meter: bool = True) -> Reference | None:
    """Return what a clean system would do in ``condition``; None where no flow can be told."""
    gas = running(sheet, condition, use_air_meter)
    if gas is None:
        return None
    behind, behind_inputs = downstream(sheet, gas) or (None, ())
    return Reference(filter_, gas, behind, behind_inputs, terms(filter_.body, gas.stream))


def gauge(sheet: Sheet, condition: str) -> tuple[Array, tuple[str, ...], tuple[str, ...]] | None:
    """Return the hand gauge [mbar] as a sample with its zero taken off, its inputs and notes."""
    slot = f"gauge_pressure.{condition}"
    read = sheet.sampled(slot, of_round("gauge", sheet.round.index))
    if read is None:
        return None
    zero = sheet.read("gauge_pressure.key_on")
    if zero is None:
        return read, (slot,), ("The gauge's zero was not read; it was taken as right.",)
    return read - zero, (slot, "gauge_pressure.key_on"), (ZERO,) if zero else ()


def reference_of(sheet: Sheet, condition: str) -> Reference | None:
    """Return what :func:`derive_pressure` held the readings of a condition against; None where no flow can be told."""
    found: Reference | None = sheet.memo.get(f"reference.{condition}")
    return found


@step
def derive_pressure(sheet: Sheet) -> None:
    """Write flows, expectations, indices and zeros down."""
    filter_ = body_of_case(sheet)
    for condition in CONDITIONS:
        if sheet.wants(f"exhaust_mass_flow.{condition}", f"exhaust_mass_flow_by_speed.{condition}"):
            _flows(sheet, condition)
        if filter_ is None:
            continue
        ref = reference(sheet, filter_, condition)
        if ref is None:
            continue
        sheet.memo[f"reference.{condition}"] = ref
        if sheet.wants(f"expected_clean_filter.{condition}", f"expected_clean_gauge.{condition}"):
            _expected(sheet, ref)
        if condition == "fast_idle":
            _downstream(sheet, ref)
        _indices(sheet, ref)
        if ref.gas.measured:
            by_speed = reference(sheet, filter_, condition, False)
            if by_speed is not None:
                _gauge_index(sheet, by_speed, f"restriction_index_by_speed.{condition}")
    _readings_alone(sheet)
    for condition in CONDITIONS:
        _sensor_against_gauge(sheet, condition, reference_of(sheet, condition))


@step
def _flows(sheet: Sheet, condition: str) -> None:
    by_speed = running(sheet, condition, False)
    gas = running(sheet, condition) if sheet.read(f"air_mass_flow.{condition}") is not None else by_speed
    for slot, flow in (("exhaust_mass_flow", gas), ("exhaust_mass_flow_by_speed", by_speed)):
        if flow is not None:
            sheet.put(f"{slot}.{condition}", flow.mass_flow * 1e3, flow.inputs, flow.notes, flow.warnings)


@step
def _expected(sheet: Sheet, ref: Reference) -> None:
    condition = ref.gas.condition
    sheet.put(f"expected_clean_filter.{condition}", ref.clean / MBAR, ref.inputs, ref.notes, ref.warnings)
    expected = expected_downstream(sheet, ref.gas)
    if expected is not None:
        whole = (ref.clean + expected) / MBAR
        sheet.put(f"expected_clean_gauge.{condition}", whole, ("engine_litres", *ref.inputs), ref.notes, ref.warnings)


@step
def _downstream(sheet: Sheet, ref: Reference) -> None:
    """Hold what the gauge shows behind the filter against what the pipe there should take."""
    slot = "gauge_pressure_after.fast_idle"
    measured = sheet.sampled(slot, of_round("gauge", sheet.round.index))
    expected = None if measured is None else expected_downstream(sheet, ref.gas)
    if measured is not None and expected is not None:
        inputs = (slot, "engine_litres", *ref.gas.inputs)
        over = measured * MBAR / expected
        sheet.put("downstream_over_expected.fast_idle", over, inputs, ref.gas.notes, ref.gas.warnings)


@step
def _gauge_index(sheet: Sheet, ref: Reference, slot: str) -> None:
    read = gauge(sheet, ref.gas.condition)
    if read is None or ref.behind is None:
        return
    index = (read[0] * MBAR - ref.behind) / ref.clean
    sheet.put(slot, index, read[1] + ref.behind_inputs + ref.inputs, read[2] + ref.notes, ref.warnings)


@step
def _indices(sheet: Sheet, ref: Reference) -> None:
    condition = ref.gas.condition
    _gauge_index(sheet, ref, f"restriction_index.{condition}")
    if not sheet.wants(f"sensor_index.{condition}"):
        return
    slot = f"sensor_pressure.{condition}"
    read = sheet.sampled(slot, of_round("sensor", sheet.round.index))
    contained = pipe_contained(sheet, ref.behind)
    if read is None or contained is None:
        return
    index = (read * MBAR - contained[0]) / ref.clean
    inputs = (slot, "layout", *(ref.behind_inputs if np.any(contained[0]) else ()), *ref.inputs)
    sheet.put(f"sensor_index.{condition}", index, inputs, contained[1] + ref.notes, ref.warnings)


def pressure_kind(sheet: Sheet) -> str | None:
    """Return how the vehicle measures the pressure (differential, absolute_pair, gauge_upstream), if known."""
    layout = sheet.knowledge.layouts.get(sheet.case.layout or "")
    return layout.pressure if layout else None


def pipe_contained(sheet: Sheet, behind: Array | None) -> tuple[Array, tuple[str, ...]] | None:
    """Return the part of ``behind`` [Pa] that the vehicle's sensor sees, and a note where that is not known."""
    kind = pressure_kind(sheet)
    if kind in ("differential", "absolute_pair"):
        return np.zeros(N), ()
    if behind is None:
        return None
    if kind == "gauge_upstream":
        return behind, ()
    every_other = np.arange(N) % 2
    return behind * every_other, (
        "The sensor's layout is not known; it may or may not see the pipe behind the filter.",
    )


@step
def _readings_alone(sheet: Sheet) -> None:
    """What needs no flow: zeros, rises, ratios and the pressure behind the filter."""
    for slot, reading in (("gauge_zero", "gauge_pressure.key_on"), ("sensor_zero", "sensor_pressure.key_on")):
        value = sheet.read(reading)
        if value is not None:
            sheet.put(slot, normal_spread(value, sheet.error(reading, value)), (reading,))
    for kind in ("gauge", "sensor"):
        sheet.difference(f"{kind}_rise", f"{kind}_pressure.fast_idle", f"{kind}_pressure.idle")
    for condition in CONDITIONS:
        after = f"gauge_pressure_after.{condition}"
        value = sheet.read(after)
        if value is not None:
            spread = normal_spread(value, sheet.error(after, value))
            sheet.put(f"downstream_pressure.{condition}", spread, (after,))
    slow, fast = sheet.read("gauge_pressure.idle"), sheet.read("gauge_pressure.fast_idle")
    if slow is None or fast is None:
        return
    zero = sheet.read("gauge_pressure.key_on") or 0.0
    own = of_round("gauge", sheet.round.index)
    other = of_round("sensor", sheet.round.index)  # the two readings' errors are each their own
    below = slow - zero + other * sheet.error("gauge_pressure.idle", slow)
    above = fast - zero + own * sheet.error("gauge_pressure.fast_idle", fast)
    if middle(below) <= 0:
        return  # no pressure at idle: a ratio to it says nothing
    read = ("gauge_pressure.fast_idle", "gauge_pressure.idle", "gauge_pressure.key_on")
    inputs = [slot for slot in read if sheet.read(slot) is not None]
    sheet.put("gauge_rise_ratio", above / np.maximum(below, 0.1), inputs)


@step
def _sensor_against_gauge(sheet: Sheet, condition: str, ref: Reference | None) -> None:
    """Hold the vehicle's sensor against what it should show, given the hand gauge and where it sits."""
    slot = f"sensor_pressure.{condition}"
    sensor = sheet.sampled(slot, of_round("sensor", sheet.round.index))
    read = gauge(sheet, condition)
    if sensor is None or read is None:
        return
    behind = ref.behind if ref else None
    behind_inputs: tuple[str, ...] = (*ref.behind_inputs, *ref.gas.inputs) if ref else ()
    after = f"gauge_pressure_after.{condition}"
    measured = sheet.sampled(after, of_round("gauge", sheet.round.index))
    if measured is not None:
        behind, behind_inputs = measured * MBAR, (after,)
    if pressure_kind(sheet) == "gauge_upstream":
        seen: Array = read[0]
        notes: tuple[str, ...] = ()
    elif behind is None:
        return
    else:
        contained = pipe_contained(sheet, behind)
        if contained is None:
            return
        seen, notes = read[0] - (behind - contained[0]) / MBAR, contained[1]
    inputs = (slot, *read[1], "layout", *behind_inputs)
    sheet.put(f"sensor_minus_gauge.{condition}", sensor - seen, inputs, read[2] + notes)
    if condition == "fast_idle" and middle(seen) > 0:
        ratio = sensor / np.maximum(seen, 1.0)
        sheet.put("sensor_to_gauge_ratio.fast_idle", ratio, inputs, read[2] + notes)
