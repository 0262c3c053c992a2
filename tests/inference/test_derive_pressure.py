"""Derived readings of pressure: a clean filter reads about 1, and what is not known stays not known."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from bench.pressures import Vehicle, readings
from inference.derive import DerivedReading, derive
from kb.slots import Slots
from tests.inference.physics_fakes import FakeCase, FakeEvent, FakeRound, derived, knowledge

FULL = {
    "gauge_pressure.key_on": 0.0, "gauge_pressure.idle": 9.0, "gauge_pressure.fast_idle": 58.0,
    "gauge_pressure_after.idle": 1.0, "gauge_pressure_after.fast_idle": 12.0,
    "sensor_pressure.key_on": 0.0, "sensor_pressure.idle": 8.0, "sensor_pressure.fast_idle": 46.0,
    "air_mass_flow.idle": 11.0, "air_mass_flow.fast_idle": 39.0, "air_mass_flow.full_load": 120.0,
    "engine_speed.idle": 820.0, "engine_speed.fast_idle": 2500.0, "engine_speed.full_load": 3200.0,
    "manifold_pressure.key_on": 1002.0, "manifold_pressure.idle": 1005.0, "manifold_pressure.full_load": 2200.0,
    "boost_wanted.full_load": 2250.0, "barometric_pressure": 1002.0, "egr_wanted.idle": 40.0,
    "egr_actual.idle": 43.0,
    "exhaust_temperature_before_filter.idle": 150.0, "exhaust_temperature_before_filter.fast_idle": 230.0,
    "coolant_temperature.cold_soak": 8.0, "intake_air_temperature.cold_soak": 8.0, "ambient_temperature": 8.0,
    "exhaust_temperature_before_catalyst.cold_soak": 9.0, "exhaust_temperature_before_filter.cold_soak": 8.0,
    "exhaust_temperature_after_filter.cold_soak": 7.0, "coolant_temperature.road": 88.0, "oil_temperature": 95.0,
    "coolant_warm_up_time": 14.0, "exhaust_temperature_before_catalyst.burn": 330.0,
    "exhaust_temperature_before_filter.burn": 600.0, "exhaust_temperature_after_filter.burn": 630.0,
    "typical_trip": 20.0, "typical_distance": 15.0, "trips_per_week": 12.0, "burns_started": 6.0,
    "burns_completed": 5.0,
    "burns_counted_over": 1300.0, "burn_interval": 210.0, "soot_load_model": 14.0, "oil_consumption": 0.1,
    "oil_sulphated_ash": 0.7, "burn_duration": 15.0, "oxygen_content.idle": 14.0, "late_fuel_flow.burn": 0.3,
    "air_mass_flow_valve_shut.idle": 10.0, "recorded_trips": 12.0, "recorded_trip_time": 18.0,
    "recorded_trip_distance": 13.0, "charge_pressure_before_cooler.full_load": 2310.0,
    "charge_temperature.full_load": 42.0, "filter_distance_stored": 149_000.0,
}  # fmt: skip


def everything() -> list[dict[str, DerivedReading]]:
    """A case so fully read that every derived reading comes about."""
    rounds = (
        FakeRound(FULL, {"oil_meets_low_ash_grade": "yes"}, 0, "arrival", odometer_km=148_000.0),
        FakeRound(FULL | {"gauge_pressure.fast_idle": 30.0}, {}, 1, "after burn", odometer_km=148_020.0),
    )
    history = (
        FakeEvent("blocked", 145_000.0), FakeEvent("forced regeneration", 145_020.0, completed="yes"),
        FakeEvent("forced regeneration", 148_010.0, completed="yes"),
    )  # fmt: skip
    return derive(FakeCase(rounds, fitted_at_km=0.0, history=history), knowledge())


def test_every_derived_reading_that_is_described_can_come_about() -> None:
    first, second = everything()
    assert set(first) | set(second) == Slots(knowledge()).derived


def test_a_derived_reading_carries_all_it_needs() -> None:
    for found in everything():
        for slot, reading in found.items():
            entry = knowledge().derived[slot.partition(".")[0]]
            assert reading.id == slot
            assert (reading.unit, reading.source) == (entry.unit, entry.source)
            told = ". " + " ".join(reading.notes) if entry.tells and reading.notes else ""
            assert reading.formula == entry.formula + told
            assert reading.spread.low <= reading.spread.mid <= reading.spread.high
            assert list(reading.spread.sample) == sorted(reading.spread.sample)


def test_inputs_are_things_a_case_has() -> None:
    slots = set(Slots(knowledge()).unit_by_slot) | {"oil_meets_low_ash_grade"}
    for found in everything():
        for reading in found.values():
            assert set(reading.inputs) - slots <= {"engine_litres", "odometer", "filter", "history", "layout"}
            assert reading.inputs or reading.notes


def test_what_it_says_can_be_filled_in() -> None:
    for entry in knowledge().derived.values():
        said = entry.says.format(low="1", mid="2", high="3", unit=entry.unit)
        assert "2" in said
        assert "{" not in said


def test_nothing_read_nothing_derived_but_what_the_engine_tells() -> None:
    assert set(derived({}, engine_litres=None)) == {"air_pressure"}
    wanted = {"exhaust_mass_flow", "exhaust_mass_flow_by_speed", "expected_clean_filter", "expected_clean_gauge"}
    assert {slot.partition(".")[0] for slot in derived({})} == wanted | {"air_pressure"}


def test_the_same_case_gives_the_same_figures() -> None:
    assert everything() == everything()


@pytest.mark.parametrize("litres", [1.3, 1.6, 2.0, 3.0])
def test_a_clean_filter_has_an_index_of_one(litres: float) -> None:
    """Pressures made by the same physics at the median parameters: the index must come back as 1."""
    shown = readings(Vehicle(litres))
    read = {f"{name}.{c}": v for name, values in shown.items() for c, v in values.items()}
    found = derived(read, engine_litres=litres)
    assert found["restriction_index.fast_idle"].spread.mid == pytest.approx(1.0, abs=0.15)
    assert found["sensor_index.fast_idle"].spread.mid == pytest.approx(1.0, abs=0.15)
    assert found["soot_load_gauge"].spread.mid < 0.5
    assert found["sensor_minus_gauge.fast_idle"].spread.low < 0.0 < found["sensor_minus_gauge.fast_idle"].spread.high


@settings(max_examples=25, deadline=None)
@given(st.floats(1.0, 3.0), st.floats(1.5, 10.0))
def test_a_known_load_lies_within_what_is_derived(litres: float, soot: float) -> None:
    shown = readings(Vehicle(litres, soot=soot))
    read = {f"{name}.{c}": v for name, values in shown.items() for c, v in values.items()}
    found = derived(read, engine_litres=litres)["soot_load_gauge"].spread
    assert found.low < soot < found.high
    assert found.mid == pytest.approx(soot, rel=0.2, abs=0.4)


@settings(max_examples=25, deadline=None)
@given(st.floats(0.0, 150.0), st.floats(0.5, 40.0))
def test_more_on_the_gauge_more_of_everything(mbar: float, more: float) -> None:
    low, high = (derived({"gauge_pressure.fast_idle": p}, odometer=90_000.0) for p in (mbar, mbar + more))
    assert high["restriction_index.fast_idle"].spread.mid > low["restriction_index.fast_idle"].spread.mid
    for slot in ("soot_load_gauge", "soot_load", "soot_over_limit"):
        assert high[slot].spread.high >= low[slot].spread.high
        assert high[slot].spread.low >= low[slot].spread.low


def test_the_flow_from_the_air_meter_and_from_speed_are_both_told() -> None:
    found = derived({"gauge_pressure.fast_idle": 38.0, "air_mass_flow.fast_idle": 27.0})
    assert "air_mass_flow.fast_idle" in found["restriction_index.fast_idle"].inputs
    assert "air_mass_flow.fast_idle" not in found["restriction_index_by_speed.fast_idle"].inputs
    assert found["restriction_index.fast_idle"].spread.mid > found["restriction_index_by_speed.fast_idle"].spread.mid
    assert "restriction_index_by_speed.fast_idle" not in derived({"gauge_pressure.fast_idle": 38.0})


def test_a_dead_air_meter_is_no_flow_of_nought() -> None:
    found = derived({"gauge_pressure.fast_idle": 38.0, "air_mass_flow.fast_idle": 0.0})
    assert found["exhaust_mass_flow.fast_idle"].spread.mid > 20.0


def test_what_is_read_behind_the_filter_takes_the_place_of_what_is_expected() -> None:
    typical = derived({"gauge_pressure.fast_idle": 58.0})
    blocked = derived({"gauge_pressure.fast_idle": 58.0, "gauge_pressure_after.fast_idle": 45.0})
    assert blocked["restriction_index.fast_idle"].spread.high < typical["restriction_index.fast_idle"].spread.mid
    assert blocked["downstream_over_expected.fast_idle"].spread.low > 1.5
    assert "gauge_pressure_after.fast_idle" in blocked["restriction_index.fast_idle"].inputs


@pytest.mark.parametrize(("layout", "shown"), [
    ("differential_pressure_two_temperatures", 46.0), ("absolute_pressure_pair_one_temperature", 46.0),
    ("gauge_pressure_upstream", 58.0),
])  # fmt: skip
def test_a_sound_sensor_agrees_whatever_its_layout(layout: str, shown: float) -> None:
    read = {
        "gauge_pressure.fast_idle": 58.0,
        "gauge_pressure_after.fast_idle": 12.0,
        "sensor_pressure.fast_idle": shown,
    }
    found = derived(read, layout=layout)
    assert found["sensor_minus_gauge.fast_idle"].spread.mid == pytest.approx(0.0, abs=0.3)
    assert found["sensor_to_gauge_ratio.fast_idle"].spread.mid == pytest.approx(1.0, abs=0.02)
    gap = found["sensor_index.fast_idle"].spread.mid - found["restriction_index.fast_idle"].spread.mid
    assert gap == pytest.approx(0.0, abs=0.1)


def test_an_unknown_layout_widens() -> None:
    read = {"gauge_pressure.fast_idle": 58.0, "sensor_pressure.fast_idle": 46.0}
    known = derived(read)["sensor_minus_gauge.fast_idle"].spread
    unknown = derived(read, layout=None)["sensor_minus_gauge.fast_idle"]
    assert unknown.spread.high - unknown.spread.low > known.high - known.low
    assert any("layout" in note for note in unknown.notes)


def test_the_gauge_zero_is_taken_off_and_said() -> None:
    plain = derived({"gauge_pressure.fast_idle": 50.0, "gauge_pressure.key_on": 0.0})
    off = derived({"gauge_pressure.fast_idle": 55.0, "gauge_pressure.key_on": 5.0})
    assert off["restriction_index.fast_idle"].spread.mid == pytest.approx(
        plain["restriction_index.fast_idle"].spread.mid, abs=0.03
    )
    assert any("zero was taken off" in note for note in off["restriction_index.fast_idle"].notes)


def test_geometry_sharpens() -> None:
    read = {"gauge_pressure.fast_idle": 58.0, "air_mass_flow.fast_idle": 39.0}
    rough = derived(read)["soot_load_gauge"].spread
    fine = derived(read, volume_l=2.5, length_mm=152.4, cells_per_square_inch=200.0, wall_mm=0.3556)["soot_load_gauge"]
    assert fine.spread.high - fine.spread.low < rough.high - rough.low
    by_size = derived(read, diameter_mm=143.8, length_mm=152.4)["soot_load_gauge"].spread
    assert by_size.mid == pytest.approx(fine.spread.mid, rel=0.05)


def test_a_thinner_air_outside_lowers_the_density() -> None:
    read = {"gauge_pressure.fast_idle": 40.0, "air_mass_flow.fast_idle": 39.0}
    low = derived(read | {"barometric_pressure": 800.0})
    sea = derived(read | {"barometric_pressure": 1013.0})
    assert low["expected_clean_filter.fast_idle"].spread.mid > 1.2 * sea["expected_clean_filter.fast_idle"].spread.mid


def test_far_from_the_usual_is_marked_out_of_range() -> None:
    found = derived({"gauge_pressure.fast_idle": 40.0, "engine_speed.fast_idle": 6000.0})
    reading = found["restriction_index.fast_idle"]
    assert not reading.in_range
    assert any("speed" in note for note in reading.notes)
    assert derived({"gauge_pressure.fast_idle": 40.0})["restriction_index.fast_idle"].in_range


def test_a_wall_thicker_than_the_cell_is_refused() -> None:
    with pytest.raises(ValueError, match="wall"):
        derived({}, wall_mm=2.0)
