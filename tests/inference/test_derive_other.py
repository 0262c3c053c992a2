"""Derived readings of air, heat, usage and history, and what changes from one round to the next."""

from __future__ import annotations

from datetime import date

import pytest

from inference.derive import DerivedReading, derive
from tests.inference.physics_fakes import FakeCase, FakeEvent, FakeRound, derived, knowledge


def test_air_mass_ratio_shows_what_exhaust_is_fed_back() -> None:
    read = {"engine_speed.idle": 820.0, "manifold_pressure.idle": 1010.0}
    sound = derived(read | {"air_mass_flow.idle": 13.3})
    stuck = derived(read | {"air_mass_flow.idle": 6.5})
    assert sound["air_mass_ratio.idle"].spread.mid == pytest.approx(1.0, abs=0.05)
    assert stuck["air_mass_ratio.idle"].spread.high < 0.65
    assert stuck["egr_share.idle"].spread.mid == pytest.approx(50.0, abs=5.0)


def test_at_full_load_the_manifold_pressure_must_be_read() -> None:
    assert "air_mass_ratio.full_load" not in derived({"air_mass_flow.full_load": 120.0})
    found = derived({"air_mass_flow.full_load": 120.0, "manifold_pressure.full_load": 2200.0})
    assert any("engine speed was not read" in note for note in found["air_mass_ratio.full_load"].notes)


def test_hot_charge_is_no_fault_of_the_air_meter() -> None:
    """The same air at the same boost: with the charge at 98 °C that is all the cylinders can draw."""
    pull = {"air_mass_flow.full_load": 90.0, "manifold_pressure.full_load": 2200.0, "engine_speed.full_load": 3000.0}
    usual = derived(pull)["air_mass_ratio.full_load"].spread
    hot = derived(pull | {"charge_temperature.full_load": 98.0})["air_mass_ratio.full_load"].spread
    assert usual.mid == pytest.approx(0.86, abs=0.02)
    assert hot.mid == pytest.approx(0.99, abs=0.02)
    assert hot.high - hot.low < usual.high - usual.low


def test_charge_colder_than_the_air_outside_was_misread() -> None:
    pull = {"air_mass_flow.full_load": 90.0, "manifold_pressure.full_load": 2200.0, "engine_speed.full_load": 3000.0}
    usual = derived(pull | {"ambient_temperature": 25.0})["air_mass_ratio.full_load"].spread
    wrong = {"ambient_temperature": 25.0, "charge_temperature.full_load": 5.0}
    assert derived(pull | wrong)["air_mass_ratio.full_load"].spread.mid == usual.mid


def test_of_two_boosts_the_greater_made_the_heat() -> None:
    """Pressure cannot rise on the way through the cooler, so a smaller one before it does not make the air cooler."""
    pull = {"manifold_pressure.full_load": 2200.0, "barometric_pressure": 1010.0, "ambient_temperature": 20.0}
    slot = "charge_cooling_share.full_load"
    alone = derived(pull | {"charge_temperature.full_load": 45.0})[slot].spread
    odd = {"charge_temperature.full_load": 45.0, "charge_pressure_before_cooler.full_load": 1500.0}
    assert derived(pull | odd)[slot].spread.mid == alone.mid
    more = {"charge_temperature.full_load": 45.0, "charge_pressure_before_cooler.full_load": 2500.0}
    assert derived(pull | more)[slot].spread.mid > alone.mid


def test_the_cooler_is_judged_by_the_heat_the_boost_makes() -> None:
    """2,200 mbar make some 145 °C of 20 °C; 45 °C behind the cooler is most of it taken out, 95 °C less than half."""
    pull = {"manifold_pressure.full_load": 2200.0, "barometric_pressure": 1010.0, "ambient_temperature": 20.0}
    slot = "charge_cooling_share.full_load"
    sound = derived(pull | {"charge_temperature.full_load": 45.0})[slot].spread
    blocked = derived(pull | {"charge_temperature.full_load": 95.0})[slot].spread
    assert sound.low > 70.0
    assert blocked.high < 55.0
    little = pull | {"manifold_pressure.full_load": 1300.0, "charge_temperature.full_load": 45.0}
    assert slot not in derived(little)  # so little boost hardly warms the air


def test_boost_is_missing_behind_the_cooler_and_not_before_it() -> None:
    found = derived({
        "boost_wanted.full_load": 2250.0, "manifold_pressure.full_load": 1850.0,
        "charge_pressure_before_cooler.full_load": 2190.0,
    })  # fmt: skip
    assert found["boost_ratio.full_load"].spread.high < 0.85
    assert found["boost_ratio_before_cooler.full_load"].spread.low > 0.93
    assert found["charge_pressure_drop.full_load"].spread.mid == 340.0


def test_differences_carry_both_instruments_errors() -> None:
    found = derived({"boost_wanted.full_load": 2400.0, "manifold_pressure.full_load": 1900.0})
    short = found["boost_shortfall.full_load"].spread
    error = ((0.01 * 2400) ** 2 + (0.01 * 1900) ** 2) ** 0.5  # readings.yaml: 1 % of the reading
    assert short.mid == 500.0
    assert short.high - short.mid == pytest.approx(1.2816 * error, rel=1e-3)
    assert found["boost_ratio.full_load"].spread.mid == pytest.approx(0.79, abs=0.01)
    assert derived({"egr_wanted.idle": 30.0, "egr_actual.idle": 48.0})["egr_error.idle"].spread.mid == 18.0


def test_the_sensor_that_lies_stands_out_after_a_night() -> None:
    night = {
        "coolant_temperature.cold_soak": 21.0, "intake_air_temperature.cold_soak": 6.0, "ambient_temperature": 5.0,
        "exhaust_temperature_before_filter.cold_soak": 7.0,
    }  # fmt: skip
    found = derived(night)
    assert found["coolant_soak_error"].spread.low > 10.0
    assert abs(found["exhaust_before_filter_soak_error"].spread.mid) < 3.0
    assert found["soak_spread"].spread.mid == 16.0
    assert found["soak_readings"].spread.mid == len(found["soak_spread"].inputs)


def test_one_precise_sensor_outweighs_a_coarse_one() -> None:
    """An exhaust sensor is good to 10 K, the thermometer outside to 2 K (readings.yaml): that one counts."""
    found = derived({
        "coolant_temperature.cold_soak": 6.0, "ambient_temperature": 6.0,
        "exhaust_temperature_before_filter.cold_soak": 40.0,
    })  # fmt: skip
    assert found["coolant_soak_error"].spread.mid == 0.0
    assert found["exhaust_before_filter_soak_error"].spread.low > 30.0


def test_one_temperature_alone_says_nothing() -> None:
    assert "coolant_soak_error" not in derived({"coolant_temperature.cold_soak": 20.0})
    assert "coolant_soak_error" not in derived({"ambient_temperature": 20.0})


def test_warm_up_is_held_to_the_weather() -> None:
    mild = derived({"coolant_warm_up_time": 18.0, "ambient_temperature": 20.0})["warm_up_excess"].spread
    frost = derived({"coolant_warm_up_time": 18.0, "ambient_temperature": -10.0})["warm_up_excess"].spread
    assert mild.low > 0.0
    assert frost.mid < 0.0
    assert "warm_up_excess" not in derived({"coolant_warm_up_time": 18.0})
    beyond = derived({"coolant_warm_up_time": 18.0, "ambient_temperature": -35.0})["warm_up_excess"]
    assert not beyond.in_range


def test_heat_of_a_burn_and_of_the_road() -> None:
    found = derived({
        "exhaust_temperature_before_catalyst.burn": 310.0, "exhaust_temperature_before_filter.burn": 390.0,
        "exhaust_temperature_after_filter.burn": 380.0, "coolant_temperature.road": 62.0, "oil_temperature": 98.0,
    })  # fmt: skip
    assert found["catalyst_rise.burn"].spread.mid == 80.0
    assert found["filter_rise.burn"].spread.mid == -10.0
    assert found["coolant_minus_oil"].spread.high < -25.0


def test_usage_by_hand() -> None:
    found = derived({
        "typical_trip": 6.0, "typical_distance": 2.5, "trips_per_week": 30.0, "ambient_temperature": 5.0,
        "burns_started": 12.0, "burns_completed": 3.0, "burns_counted_over": 2000.0, "burn_interval": 150.0,
    })  # fmt: skip
    mids = {slot: reading.spread.mid for slot, reading in found.items()}
    assert mids["mean_trip_speed"] == pytest.approx(25.0)
    assert mids["weekly_distance"] == 75.0
    assert mids["hot_share"] == 0.0
    assert mids["burn_completion"] == 25.0
    assert mids["burns_per_1000km"] == pytest.approx(6.0)
    assert mids["interval_over_usual"] == pytest.approx(0.5)


def test_no_burn_started_is_no_share_of_nought() -> None:
    found = derived({"burns_started": 0.0, "burns_completed": 0.0, "burns_counted_over": 2000.0})
    assert "burn_completion" not in found
    assert found["burns_per_1000km"].spread.mid == 0.0


def test_more_burns_completed_than_started_is_marked() -> None:
    assert not derived({"burns_started": 4.0, "burns_completed": 7.0})["burn_completion"].in_range


HISTORY = (
    FakeEvent("blocked", 140_000.0, date(2025, 9, 1)),
    FakeEvent("forced regeneration", 140_030.0, date(2025, 9, 2), "yes"),
    FakeEvent("repair", 141_000.0),
    FakeEvent("forced regeneration", 143_000.0, date(2025, 12, 1), "yes"),
)


def test_a_report_and_its_burn_are_one_blocking() -> None:
    found = derived({}, odometer=143_900.0, history=HISTORY)
    assert found["blockings"].spread.mid == 2.0
    assert found["distance_since_forced"].spread.mid == 900.0
    assert found["blocking_interval"].spread.mid == 900.0  # from the last to the present one


def test_no_history_is_not_a_history_of_none() -> None:
    assert "blockings" not in derived({}, odometer=100_000.0)


def test_a_blocking_at_an_unknown_distance_leaves_the_interval_unknown() -> None:
    found = derived({}, odometer=143_900.0, history=(*HISTORY, FakeEvent("blocked")))
    assert "blocking_interval" not in found
    assert found["blockings"].spread.mid == 3.0


def two(when: str, history: tuple[FakeEvent, ...] = (), second: float = 30.0) -> dict[str, DerivedReading]:
    rounds = (
        FakeRound({"gauge_pressure.fast_idle": 62.0}, {}, 0, "arrival", date(2026, 3, 2), 100_000.0),
        FakeRound({"gauge_pressure.fast_idle": second}, {}, 1, when, date(2026, 3, 9), 100_400.0),
    )
    return derive(FakeCase(rounds, history=history), knowledge())[1]


def burn(completed: str, odometer: float = 100_380.0) -> tuple[FakeEvent, ...]:
    return (FakeEvent("forced regeneration", odometer, date(2026, 3, 3), completed),)


@pytest.mark.parametrize(("when", "history", "known"), [
    ("after burn", (), True), ("follow-up", (), False), ("after repair", burn("yes"), True),
    ("after burn", burn("no"), False), ("after burn", burn("unknown"), False),
    ("follow-up", (FakeEvent("forced regeneration", 99_000.0, date(2026, 1, 3), "yes"),), False),
])  # fmt: skip
def test_what_a_burn_left_needs_a_burn_that_was_completed(
    when: str, history: tuple[FakeEvent, ...], known: bool
) -> None:
    found = two(when, history)
    assert ("index_left_after_burn.fast_idle" in found) is known
    assert "index_change.fast_idle" in found


def test_soot_gathered_since_the_burn_is_allowed_for() -> None:
    """A high index long after a burn proves nothing left behind; a low one still proves that little was."""
    slot = "index_left_after_burn.fast_idle"
    fresh, late = (two("follow-up", burn("yes", at), 60.0)[slot].spread for at in (100_380.0, 100_100.0))
    assert fresh.low > 1.6
    assert late.low < 1.3
    assert late.high <= fresh.high
    assert two("follow-up", burn("yes", 100_100.0), 18.0)[slot].spread.high < 1.6


def test_a_burn_on_the_day_of_the_round_after_it_is_not_counted_again() -> None:
    day = date(2026, 3, 2)
    rounds = (
        FakeRound({"gauge_pressure.fast_idle": 28.0}, {}, 0, "after burn", day, 100_000.0),
        FakeRound({"gauge_pressure.fast_idle": 60.0}, {}, 1, "follow-up", date(2026, 3, 3), 100_030.0),
    )
    for odometer in (None, 100_000.0):
        history = (FakeEvent("forced regeneration", odometer, day, "yes"),)
        found = derive(FakeCase(rounds, history=history), knowledge())[1]
        assert "index_left_after_burn.fast_idle" not in found


def test_the_change_of_the_index_is_sharper_than_the_index() -> None:
    """The filter's own unknowns fall out of the ratio of two rounds."""
    change = two("after burn", second=60.0)["index_change.fast_idle"].spread
    index = two("after burn", second=60.0)["restriction_index.fast_idle"].spread
    assert change.mid == pytest.approx(1.0, abs=0.1)
    assert (change.high - change.low) / change.mid < (index.high - index.low) / index.mid


def test_a_first_round_has_no_change() -> None:
    assert "index_change.fast_idle" not in derived({"gauge_pressure.fast_idle": 60.0})
