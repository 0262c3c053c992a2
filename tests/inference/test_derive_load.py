"""Soot with ash taken off, the limit of the filter body, and the ash itself: every bound points the safe way."""

from __future__ import annotations

from datetime import date

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inference.derive import DerivedReading
from inference.physics import ash
from inference.physics.sampling import vehicle
from tests.inference.physics_fakes import FakeEvent, derived

READ = {"gauge_pressure.fast_idle": 60.0, "air_mass_flow.fast_idle": 39.0}


@settings(max_examples=20, deadline=None)
@given(st.floats(1_000.0, 300_000.0))
def test_ash_takes_soot_off(distance: float) -> None:
    found = derived(READ, odometer=distance, fitted_at_km=0.0)
    with_ash, without = found["soot_load"].spread, found["soot_load_gauge"].spread
    assert with_ash.low <= without.low
    assert with_ash.mid <= without.mid
    assert with_ash.high <= without.high


def test_the_most_ash_goes_with_the_least_soot() -> None:
    """So the interval is at least as wide as with ash drawn at random, and both bounds are the careful ones."""
    found = derived(READ, odometer=200_000.0, fitted_at_km=0.0)
    with_ash, without = found["soot_load"].spread, found["soot_load_gauge"].spread
    assert without.low - with_ash.low > without.high - with_ash.high


def test_not_knowing_the_distance_never_lowers_the_upper_bound() -> None:
    known = derived(READ, odometer=180_000.0, fitted_at_km=0.0)["soot_load"].spread
    unknown = derived(READ, odometer=180_000.0)["soot_load"].spread
    lost = derived(READ)["soot_load"].spread
    assert unknown.high >= known.high
    assert lost.high >= known.high
    assert "ash_load" not in derived(READ)
    assert "ash_excess_share" not in derived(READ)


def test_ash_grows_with_distance_oil_and_its_ash() -> None:
    def load(distance: float = 100_000.0, answers: dict[str, str] | None = None, **more: float) -> float:
        return derived(READ | more, answers, distance, fitted_at_km=0.0)["ash_load"].spread.mid

    assert load(200_000.0) == pytest.approx(2 * load())
    assert load(oil_consumption=0.5) > 3 * load()
    assert load(answers={"oil_meets_low_ash_grade": "no"}) > load(answers={"oil_meets_low_ash_grade": "yes"})
    assert load(oil_sulphated_ash=1.6) > 2 * load(oil_sulphated_ash=0.5)


def test_ash_by_hand() -> None:
    """By hand: 0.1 l/1000 km and 0.8 % make 0.68 g/1000 km; 70 % of it over 150 000 km in 2.5 l."""
    read = READ | {"oil_consumption": 0.1, "oil_sulphated_ash": 0.8}
    found = derived(read, odometer=150_000.0, fitted_at_km=0.0, volume_l=2.5)
    assert found["oil_ash_rate"].spread.mid == pytest.approx(0.68, rel=0.02)
    assert found["ash_load"].spread.mid == pytest.approx(0.68 * 150 * 0.7 / 2.5, rel=0.07)


def test_before_it_rose_the_oil_use_was_that_of_any_sound_engine() -> None:
    """Not the most of one: the least ash would be overstated by that, and the most soot understated."""
    mean = ash.over_the_life(np.full(len(vehicle("oil_use")), 0.4e-9))
    assert 0.03e-9 <= np.quantile(mean, 0.01) < 0.07e-9
    assert np.quantile(mean, 0.1) < ash.OIL_USE.high
    assert np.quantile(mean, 0.5) == pytest.approx(0.24e-9, rel=0.05)
    assert mean.max() <= 0.4e-9


def test_a_high_oil_use_may_be_new_so_it_never_excuses_the_soot() -> None:
    """By hand: 1.0 l/1000 km now and 0.07 before, half the life each at the middle, is 0.535; ends near both."""

    def found(used: float) -> dict[str, DerivedReading]:
        read = READ | {"oil_consumption": used, "oil_sulphated_ash": 0.8}
        return derived(read, odometer=100_000.0, fitted_at_km=0.0, volume_l=2.5)

    sound, high = found(0.15), found(1.0)
    per_litre = 0.68 * 100 * 0.7 / 2.5 / 0.1  # g/l of ash for each l/1000 km, with 0.7 of it kept
    assert high["ash_load"].spread.mid == pytest.approx(0.535 * per_litre, rel=0.15)
    assert high["ash_load"].spread.low < 0.3 * per_litre
    assert high["ash_load"].spread.high > 0.8 * per_litre
    assert high["oil_ash_rate"].spread.mid == pytest.approx(6.8, rel=0.02)  # what comes from now on
    assert high["soot_load"].spread.high > 0.5 * sound["soot_load"].spread.high
    assert any("may be new" in note for note in high["ash_load"].notes)
    assert not any("may be new" in note for note in sound["ash_load"].notes)


def test_a_new_filter_holds_hardly_any_ash() -> None:
    found = derived(READ, odometer=2_000.0, fitted_at_km=0.0)
    assert found["ash_load"].spread.high < 1.0
    assert found["ash_excess_share"].spread.high < 10.0


def test_where_nothing_lies_above_clean_no_share_of_it_is_told() -> None:
    found = derived(READ | {"gauge_pressure.fast_idle": 18.0}, odometer=150_000.0, fitted_at_km=0.0)
    assert "ash_load" in found
    assert "ash_excess_share" not in found


def test_a_cleaning_takes_most_of_the_ash_out() -> None:
    dirty = derived(READ, odometer=150_000.0, fitted_at_km=0.0)["ash_load"].spread
    cleaned = (FakeEvent("filter cleaned", 149_000.0),)
    found = derived(READ, odometer=150_000.0, fitted_at_km=0.0, history=cleaned)["ash_load"].spread
    assert 0.05 * dirty.mid < found.mid < 0.3 * dirty.mid
    lost = derived(READ, odometer=150_000.0, fitted_at_km=0.0, history=(FakeEvent("filter cleaned"),))
    assert "ash_load" not in lost


def test_an_additive_leaves_ash_of_its_own() -> None:
    plain = derived(READ, odometer=150_000.0, fitted_at_km=0.0, filter_type="uncoated")["ash_load"].spread
    additive = derived(READ, odometer=150_000.0, fitted_at_km=0.0, filter_type="additive")["ash_load"].spread
    assert additive.mid > 1.5 * plain.mid


def test_a_change_on_the_day_it_was_fitted_is_that_fitting() -> None:
    day = date(2024, 5, 1)
    changed = (FakeEvent("filter replaced", None, day),)
    found = derived(READ, odometer=150_000.0, fitted_at_km=120_000.0, fitted=day, history=changed)
    assert found["distance_on_filter"].spread.mid == 30_000.0


def test_stored_distance_is_held_against_what_this_filter_has_run() -> None:
    changed = (FakeEvent("filter replaced", 120_000.0),)
    read = {**READ, "filter_distance_stored": 149_500.0}
    found = derived(read, odometer=150_000.0, fitted_at_km=0.0, history=changed)["stored_distance_excess"].spread
    assert found.mid == pytest.approx(149_500.0 - 30_000.0)
    assert 50.0 < found.high - found.low < 1_000.0  # the error of the reading, not of the odometer
    told = derived({**READ, "filter_distance_stored": 29_900.0}, odometer=150_000.0, fitted_at_km=0.0, history=changed)
    assert told["stored_distance_excess"].spread.mid == pytest.approx(-100.0)
    assert "stored_distance_excess" not in derived(read, odometer=150_000.0, history=(FakeEvent("filter replaced"),))
    assert "stored_distance_excess" not in derived(READ, odometer=150_000.0, fitted_at_km=0.0)


def test_a_sintered_metal_filter_is_out_of_range() -> None:
    reading = derived(READ, substrate="sintered metal")["soot_load"]
    assert not reading.in_range
    assert any("sintered metal" in note for note in reading.notes)


def test_a_replaced_filter_counts_from_its_change() -> None:
    changed = (FakeEvent("filter replaced", 120_000.0),)
    found = derived(READ, odometer=150_000.0, fitted_at_km=0.0, history=changed)
    assert found["distance_on_filter"].spread.mid == 30_000.0
    lost = derived(READ, odometer=150_000.0, fitted_at_km=0.0, history=(FakeEvent("filter replaced"),))
    assert "distance_on_filter" not in lost


@pytest.mark.parametrize(("substrate", "low", "high"), [
    ("silicon carbide", 7.76, 10.0), ("cordierite", 4.0, 6.0), (None, 3.6, 6.0), ("unheard of", 3.6, 6.0),
])  # fmt: skip
def test_the_limit_points_the_careful_way_at_both_ends(substrate: str | None, low: float, high: float) -> None:
    """Limits: surely safe by the burn model (joints of silicon carbide tear, cordierite cracks, sintered metal, most
    delicate, gets too hot), never above what such bodies are designed for (kb/filters.yaml, from memory). Least soot
    over the highest limit, most soot over the lowest."""
    found = derived(READ, odometer=100_000.0, fitted_at_km=0.0, substrate=substrate)
    soot, over = found["soot_load"].spread, found["soot_over_limit"].spread
    assert over.low == pytest.approx(soot.low / high, rel=0.02)
    assert over.high == pytest.approx(soot.high / low, rel=0.02)
    if substrate != "silicon carbide" and substrate != "cordierite":
        assert any("most delicate" in note for note in found["soot_over_limit"].notes)


def test_the_vehicle_makers_limit_wins() -> None:
    found = derived(READ, substrate=None, burn_limit_g_l=8.0)
    assert found["soot_over_limit"].spread.mid == pytest.approx(found["soot_load"].spread.mid / 8.0)


def test_without_a_hand_gauge_the_sensor_stands_in_and_is_named() -> None:
    found = derived({"sensor_pressure.fast_idle": 48.0})
    assert "soot_load_gauge" not in found
    assert found["soot_load"].spread.mid > 2.0
    assert any("own sensor" in note for note in found["soot_load"].notes)


def test_what_the_control_unit_believes_over_the_gauge() -> None:
    clean = {"gauge_pressure.fast_idle": 24.0, "air_mass_flow.fast_idle": 39.0, "soot_load_model": 25.0}
    excess = derived(clean, volume_l=2.5)["lamp_soot_excess"].spread
    assert excess.low > 5.0
    agreed = derived(READ | {"soot_load_model": 13.0}, volume_l=2.5)["lamp_soot_excess"].spread
    assert agreed.low < 0.0 < agreed.high


def test_the_kind_of_filter_unknown_is_wider() -> None:
    known = derived(READ)["soot_load_gauge"].spread
    unknown = derived(READ, filter_type=None)["soot_load_gauge"].spread
    assert unknown.high - unknown.low > known.high - known.low
