"""The names a case may use: every reading, usage figure and question that the case format fixes, and its ranges."""

from __future__ import annotations

import pytest

from kb.units import number
from tests.inference.case_knowledge import knowledge

# fixed by the case format; more may join, none may go
CONDITIONS = {
    "gauge_pressure": "key_on idle fast_idle",
    "gauge_pressure_after": "idle fast_idle",
    "sensor_pressure": "key_on idle fast_idle road",
    "coolant_temperature": "cold_soak now road",
    "exhaust_temperature_before_catalyst": "cold_soak idle fast_idle road burn",
    "exhaust_temperature_before_filter": "cold_soak idle fast_idle road burn",
    "exhaust_temperature_after_filter": "cold_soak idle fast_idle road burn",
    "intake_air_temperature": "cold_soak now",
    "engine_speed": "idle fast_idle",
    "air_mass_flow": "idle fast_idle full_load",
    "manifold_pressure": "key_on idle full_load",
    "boost_wanted": "full_load",
    "egr_wanted": "idle",
    "egr_actual": "idle",
    "oxygen_content": "idle",
}
BARE = (
    "coolant_warm_up_time ambient_temperature oil_temperature burn_duration barometric_pressure smoke_opacity "
    "fuel_level injector_correction_spread injector_return_ratio oil_level oil_fuel_content oil_consumption "
    "oil_sulphated_ash additive_level soot_load_model soot_load_measured ash_load_model distance_since_burn "
    "burn_interval burns_started burns_completed burns_counted_over idle_share mean_speed battery_voltage "
    "recorded_trips recorded_trip_time recorded_trip_distance recorded_longest_trip recorded_long_runs "
    "recorded_mean_speed recorded_idle_share recorded_warm_up_share recorded_hot_share "
    "trips_per_week typical_trip typical_distance long_run_per_month idle_hours_per_week usual_fuel_level"
)
QUESTIONS = {
    "safe to work": "bonnet_closed handbrake_on gear_neutral_or_park extraction_or_open_air clear_of_combustibles "
    "extinguisher_at_hand fluid_leaks_seen",
    "seen and heard": "black_smoke_under_load blue_smoke white_smoke_when_hot soot_in_tailpipe power_loss rough_idle "
    "hard_cold_start whistle_under_boost fan_runs_after_stop exhaust_leak_seen oily_intake_pipes air_filter_dirty "
    "coolant_disappears oil_level_rising fuel_smell_in_oil filter_core_damage_seen vibration_or_rattle_exhaust",
    "asked of the driver": "driver_ends_burns fuel_lamp_often_on fuel_suspect oil_meets_low_ash_grade additive_lamp "
    "additive_counter_reset",
    "history": "filter_replaced filter_part_approved learned_values_reset pressure_sensor_replaced "
    "software_update_outstanding blocked_soon_after_filter_change",
    "tried on the part": "sensor_follows_hand_pump hoses_sound hoses_right_way_round egr_valve_moves_freely "
    "egr_passage_clear throttle_valve_moves_freely glow_plugs_all_draw_current intake_leak_found turbo_shaft_play "
    "thermostat_opens_cold injector_leak_found cooling_system_holds_pressure additive_pump_delivers "
    "temperature_sensor_matches_probe",
}
# what a burn is decided on must be looked at afresh in every round
EVERY_ROUND = (
    "fluid_leaks_seen exhaust_leak_seen oil_level_rising fuel_smell_in_oil coolant_disappears blue_smoke "
    "soot_in_tailpipe " + QUESTIONS["safe to work"]
)
READ_EVERY_ROUND = (
    "gauge_pressure sensor_pressure coolant_temperature fuel_level oil_level oil_fuel_content soot_load_model "
    "exhaust_temperature_before_filter additive_level"
)


def test_every_fixed_reading_is_there_with_its_conditions() -> None:
    readings = knowledge().readings
    for id_, conditions in CONDITIONS.items():
        assert set(conditions.split()) <= set(readings[id_].conditions), id_
    for id_ in BARE.split():
        assert readings[id_].conditions == [], id_


def test_every_fixed_question_is_there_in_its_group() -> None:
    for group, ids in QUESTIONS.items():
        for id_ in ids.split():
            assert knowledge().questions[id_].group == group, id_


def test_what_a_burn_is_decided_on_never_carries_forward() -> None:
    assert {knowledge().questions[id_].life for id_ in EVERY_ROUND.split()} == {"round"}
    assert {knowledge().readings[id_].life for id_ in READ_EVERY_ROUND.split()} == {"round"}
    assert {r.life for r in knowledge().readings.values() if r.group == "usage"} == {"lasting"}


@pytest.mark.parametrize("id_", sorted(knowledge().readings))
def test_ranges_of_a_reading_lie_within_each_other(id_: str) -> None:
    reading = knowledge().readings[id_]
    low, high = number(reading.possible.low, reading.unit), number(reading.possible.high, reading.unit)
    assert low < high
    assert set(reading.usual) == set(reading.conditions or ["any"])
    for usual in reading.usual.values():
        least, most = number(usual.low, reading.unit), number(usual.high, reading.unit)
        assert low <= least < most <= high
        assert 0 <= number(reading.error, reading.unit) < most - least


def test_safe_soot_follows_how_much_a_body_stands() -> None:
    # order of the design limits for cordierite, aluminium titanate, silicon carbide (from memory: 4-6, 6-8, 8-10 g/l)
    bodies = knowledge().substrates
    limits = {b: number(bodies[b].safe_soot.high, "g/l") for b in bodies}
    assert limits["cordierite"] < limits["aluminium titanate"] < limits["silicon carbide"]
    assert min(limits.values()) == limits["cordierite"]


def test_seven_layouts_cover_each_pressure_arrangement() -> None:
    layouts = knowledge().layouts
    assert {(x.pressure, x.temperatures) for x in layouts.values() if x.pressure != "gauge_upstream"} == {
        (p, t) for p in ("differential", "absolute_pair") for t in (1, 2, 3)
    }
    assert layouts["gauge_pressure_upstream"].pressure == "gauge_upstream"
