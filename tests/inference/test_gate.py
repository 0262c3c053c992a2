"""The gate: it opens where all is known and good, and nothing missing, explained away or told of habits opens it."""

from pathlib import Path

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inference.case import Case
from inference.change import changed, without
from inference.diagnose import diagnose, judge_case
from inference.engine.verdicts import FindingResult
from inference.gate import decide, looked_at
from inference.questions.again import Again
from inference.questions.ground import Proof
from inference.questions.whynot import WhyNot
from inference.read_case import parse_case, read_case
from inference.values import Word
from kb.load import load

KNOWLEDGE = load()
HERE = Path(__file__).parent
CLEAR = read_case(HERE / "cases" / "clear.yaml", KNOWLEDGE)
CASE_FILES = [p for p in sorted((HERE.parent.parent / "cases").glob("*.yaml")) if not p.name.endswith(".expected.yaml")]

# needs that a second sign alone may show to be good, so that the first, unread, is no longer held against a burn
OTHER_SIGNS = {"need_supply_steady", "need_intake_free_of_oil", "need_exhaust_flap_follows"}


def decision(case: Case) -> str:
    return judge_case(case, KNOWLEDGE).gate.decision


def slots(case: Case) -> list[str]:
    """Everything that a case says and that can be taken away."""
    out = {s for r in case.rounds for s in (*r.readings, *r.answers)} | set(case.usage)
    if any(r.codes is not None for r in case.rounds):
        out.add("codes")
    return sorted(out)


def test_it_opens_where_everything_is_known_and_good() -> None:
    assert decision(CLEAR) == "clear"


# What clear needs, each by the fact that alone carries it here; pairs where either serves
NEEDED = [
    ["gauge_pressure.fast_idle", "gauge_pressure.idle"], ["gauge_pressure.key_on"], ["coolant_temperature.now"],
    ["fuel_level"], ["oil_level"], ["oil_level_rising"], ["fuel_smell_in_oil"], ["fluid_leaks_seen"],
    ["coolant_disappears"], ["blue_smoke"], ["exhaust_leak_seen"], ["soot_in_tailpipe"], ["bonnet_closed"],
    ["handbrake_on"], ["gear_neutral_or_park"], ["extraction_or_open_air"], ["clear_of_combustibles"],
    ["extinguisher_at_hand"], ["codes"],
    ["egr_valve_moves_freely", "egr_actual", "air_mass_flow.idle", "air_mass_flow.fast_idle"],
    ["whistle_under_boost", "power_loss"],
]  # fmt: skip


@pytest.mark.parametrize("gone", NEEDED, ids=lambda g: "+".join(g))
def test_it_closes_when_what_it_needs_is_not_known(gone: list[str]) -> None:
    assert decision(without(CLEAR, KNOWLEDGE, gone)) != "clear"


@pytest.mark.parametrize(
    ("slot", "bad", "wanted"),
    [
        ("coolant_temperature.now", "74 °C", "hold"),
        ("fuel_level", "24 %", "hold"),
        ("oil_level", "-5 %", "hold"),
        ("oil_level", "108 %", "do not burn"),
        ("oil_level_rising", "yes", "do not burn"),
        ("oil_fuel_content", "5 %", "hold"),
        ("oil_fuel_content", "9 %", "do not burn"),
        ("fuel_smell_in_oil", "yes", "hold"),
        ("fluid_leaks_seen", "yes", "do not burn"),
        ("coolant_disappears", "yes", "do not burn"),
        ("blue_smoke", "yes", "do not burn"),
        ("exhaust_leak_seen", "yes", "do not burn"),
        ("oil_behind_turbine", "yes", "do not burn"),
        ("egr_cooler_tight", "no", "do not burn"),
        ("exhaust_gas_in_coolant", "yes", "do not burn"),
        ("doser_delivery", "8 %", "hold"),
        ("doser_sprays_well", "no", "hold"),
        ("fuel_flash_point", "22 °C", "hold"),
        ("filter_core_damage_seen", "yes", "do not burn"),
        ("injector_leak_found", "yes", "do not burn"),
        ("soot_in_tailpipe", "yes", "hold"),
        ("coolant_temperature.road", "66 °C", "hold"),
        ("egr_valve_moves_freely", "no", "hold"),
        ("intake_leak_found", "yes", "hold"),
        ("bonnet_closed", "no", "hold"),
        ("handbrake_on", "no", "hold"),
        ("gear_neutral_or_park", "no", "hold"),
        ("extraction_or_open_air", "no", "hold"),
        ("clear_of_combustibles", "no", "hold"),
        ("extinguisher_at_hand", "no", "hold"),
        ("codes", ["P2463", "P0544"], "hold"),
        ("codes", ["P2463", "P0263"], "hold"),
        ("codes", ["P2463", "P0401"], "hold"),
        ("gauge_pressure.fast_idle", "190 mbar", "do not burn"),
        ("gauge_pressure.key_on", "8 mbar", "hold"),
        ("white_smoke_when_hot", "yes", "hold"),
        ("cooling_system_holds_pressure", "no", "hold"),
        ("rough_idle", "yes", "hold"),
        ("injector_correction_spread", "6 mg/stroke", "hold"),
        ("exhaust_temperature_after_filter.burn", "820 °C", "hold"),
        ("vibration_or_rattle_exhaust", "yes", "hold"),
        ("air_filter_dirty", "yes", "hold"),
        ("turbo_shaft_play", "yes", "hold"),
        ("black_smoke_under_load", "yes", "hold"),
        ("fuel_suspect", "yes", "hold"),
        ("codes", ["P2463", "P24A4"], "hold"),
        ("codes", ["P2463", "P1234"], "hold"),  # a maker's own code that nobody here can read
        ("codes", ["P2463", "P029D"], "do not burn"),
    ],
)
def test_each_bad_fact_closes_it_in_its_own_way(slot: str, bad: object, wanted: str) -> None:
    assert decision(changed(CLEAR, KNOWLEDGE, {slot: bad})) == wanted


def test_the_vehicles_own_sensor_alone_does_not_send_the_filter_off() -> None:
    """A sensor that lies high must lead to the hand gauge, not to a filter taken off for nothing."""
    high = changed(CLEAR, KNOWLEDGE, {"sensor_pressure.fast_idle": "190 mbar", "sensor_pressure.idle": "40 mbar"})
    assert decision(without(high, KNOWLEDGE, ["gauge_pressure.idle", "gauge_pressure.fast_idle"])) == "hold"


def test_an_air_meter_that_reads_low_makes_no_danger_out_of_a_burnable_load() -> None:
    assert decision(changed(CLEAR, KNOWLEDGE, {"air_mass_flow.fast_idle": "14 g/s"})) == "hold"


def test_a_filter_that_works_with_additive_wants_its_additive_known() -> None:
    from dataclasses import replace

    additive = replace(CLEAR, filter_type="additive")
    assert decision(additive) == "hold"
    assert decision(changed(additive, KNOWLEDGE, {"additive_level": "4 %"})) == "hold"


def test_a_core_that_got_too_hot_is_looked_at_before_the_next_burn() -> None:
    hot = changed(CLEAR, KNOWLEDGE, {"exhaust_temperature_after_filter.burn": "820 °C"})
    assert decision(changed(hot, KNOWLEDGE, {"filter_core_damage_seen": "no"})) == "clear"


def test_unknown_is_not_no() -> None:
    for question in ("fluid_leaks_seen", "extinguisher_at_hand", "blue_smoke"):
        assert decision(changed(CLEAR, KNOWLEDGE, {question: "unknown"})) == "hold"


def test_a_documented_limit_of_the_maker_wins() -> None:
    from dataclasses import replace

    assert decision(replace(CLEAR, burn_limit_g_l=1.5)) == "do not burn"


def test_codes_cleared_just_now_are_not_taken_for_none() -> None:
    from dataclasses import replace

    from inference.case import CodesCleared

    fresh = replace(CLEAR.rounds[0], codes_cleared=CodesCleared(2.0, 1.0))
    assert decision(replace(CLEAR, rounds=(fresh,))) == "hold"


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.data())
def test_taking_facts_away_never_opens_it(data: st.DataObject) -> None:
    """From any worked case that is not clear, no part of it is clear either.

    But for bad news about a need that another sign shows to be good: a sign that nobody reads any more holds nothing.
    What is missing, a danger or a doubt never goes by being told less.
    """
    case = read_case(data.draw(st.sampled_from(CASE_FILES)), KNOWLEDGE)
    gone = data.draw(st.sets(st.sampled_from(slots(case)), max_size=6) | st.sets(st.sampled_from(slots(case))))
    before, after = judge_case(case, KNOWLEDGE).gate, judge_case(without(case, KNOWLEDGE, gone), KNOWLEDGE).gate
    if before.decision != "clear" and after.decision == "clear":
        assert not [*before.dangers, *before.doubts, *before.missing]
        assert {r.finding for r in before.not_met} <= OTHER_SIGNS & set(after.met)


@settings(max_examples=100, deadline=None, suppress_health_check=list(HealthCheck))
@given(
    st.sampled_from(CASE_FILES),
    st.fixed_dictionaries(
        {},
        optional={
            "typical_trip": st.integers(1, 300).map("{} min".format),
            "typical_distance": st.integers(1, 400).map("{} km".format),
            "trips_per_week": st.integers(1, 60),
            "long_run_per_month": st.integers(0, 40),
            "idle_hours_per_week": st.integers(0, 60).map("{} h".format),
            "usual_fuel_level": st.integers(1, 100).map("{} %".format),
        },
    ),
)
def test_what_is_told_of_habits_never_opens_it(path: Path, usage: dict[str, object]) -> None:
    case = read_case(path, KNOWLEDGE)
    if decision(case) == "clear":
        return
    try:
        told = changed(case, KNOWLEDGE, usage)
    except Exception:  # a trip faster than a vehicle can go is refused before it gets here
        return
    assert decision(told) != "clear"


@settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
@given(st.sets(st.sampled_from(slots(CLEAR))))
def test_no_part_of_the_clear_case_is_clear_without_its_needs(gone: set[str]) -> None:
    if any(set(need) <= gone for need in NEEDED):
        assert decision(without(CLEAR, KNOWLEDGE, gone)) != "clear"


def test_what_forbids_a_burn_is_put_right_before_any_burn_is_named() -> None:
    """Oil that rises by itself: the oil comes first in the order of work, not after the burn."""
    case = next(p for p in CASE_FILES if p.stem == "night-nurse")
    result = diagnose(read_case(case, KNOWLEDGE), KNOWLEDGE)
    assert result.gate.decision == "do not burn"
    jobs = [step.remedy for step in result.work]
    assert jobs[0] == "oil-change-first"
    assert "oil-change-after-burns" not in jobs
    assert jobs.index("oil-change-first") < jobs.index("burn-standing")


NIGHT = {"intake_air_temperature": 12, "coolant_temperature": 12, "exhaust_temperature_before_filter": 65}


def two_rounds(when: str, more: str = "") -> Case:
    """The clear case, its exhaust sensor found 53 K off in a first round; ``more`` is read in the second.

    ``when`` may name the work done before the second round, "after repair: CAUSE".
    """
    text = (HERE / "cases" / "clear.yaml").read_text("utf-8")
    head, _, round_ = text.partition("rounds:\n")
    when, _, done = when.partition(": ")
    when += f"\n    repaired: [{done}]" if done else ""
    night = ", ".join(f"{name}: {{cold_soak: {value} °C}}" for name, value in NIGHT.items())
    first = f"  - when: arrival\n    date: 2026-03-10\n    readings: {{{night}, ambient_temperature: 12 °C}}\n"
    later = (
        round_.replace("when: arrival", f"when: {when}")
        .replace("date: 2026-03-10", "date: 2026-03-11")
        .replace("    readings:\n", f"    readings:\n{more}")
    )
    return parse_case(f"{head}rounds:\n{first}{later}".encode(), "two.yaml", KNOWLEDGE)


def test_a_sensor_found_wrong_holds_in_a_later_round_too() -> None:
    """What lied yesterday is not good today because it was not tried today."""
    found = judge_case(two_rounds("follow-up"), KNOWLEDGE).gate
    assert found.decision == "hold"
    assert "need_steering_sensors" in {r.finding for r in found.not_met}


def test_a_sensor_found_wrong_is_free_again_after_work_or_a_new_look() -> None:
    assert decision(two_rounds("after repair: exhaust_temperature_sensor_fault")) == "clear"
    assert decision(two_rounds("after repair: coolant_sensor_fault")) == "hold"  # that is not what was wrong
    assert decision(two_rounds("after repair")) == "hold"  # nobody says what was repaired
    good = "      intake_air_temperature: {cold_soak: 12 °C}\n"
    again = two_rounds("follow-up", good)
    night = {"exhaust_temperature_before_filter.cold_soak": "13 °C", "coolant_temperature.cold_soak": "12 °C"}
    assert decision(changed(again, KNOWLEDGE, night)) == "clear"


def test_what_stands_from_an_earlier_round_stands_in_changes_of_the_case_as_well() -> None:
    case = two_rounds("follow-up")
    again = Again(case, KNOWLEDGE)
    other = changed(case, KNOWLEDGE, {"fuel_level": "50 %"})
    assert again.base.gate == judge_case(case, KNOWLEDGE).gate
    assert again.of(other).gate == judge_case(other, KNOWLEDGE).gate  # type: ignore[union-attr]


def test_what_stands_from_an_earlier_round_is_explained_from_there() -> None:
    case = two_rounds("follow-up")
    result = diagnose(case, KNOWLEDGE)
    node = Proof(KNOWLEDGE, result).node("exhaust_sensor_disagrees_cold")
    assert (node.round, node.value) == (0, Word("holds"))
    assert node.ways
    asked = WhyNot(KNOWLEDGE, result).finding("need_steering_sensors", "holds")
    assert asked.state == "fails"


def test_a_weak_battery_wants_its_charging_known() -> None:
    weak = changed(CLEAR, KNOWLEDGE, {"battery_voltage_rest": "11.5 V"})
    assert [r.finding for r in judge_case(weak, KNOWLEDGE).gate.missing] == ["need_supply_steady"]
    assert decision(changed(weak, KNOWLEDGE, {"battery_voltage": "14.2 V"})) == "clear"
    assert decision(changed(weak, KNOWLEDGE, {"battery_voltage": "12.1 V"})) == "hold"


def test_no_burn_where_the_caution_forbids_one() -> None:
    """What pools in the intake can make the engine race: the caution says to run no burn, so the gate says it too."""
    for slot, bad in (("oily_intake_pipes", "yes"), ("oil_at_turbo_inlet", "yes"), ("breather_sound", "no")):
        result = judge_case(changed(CLEAR, KNOWLEDGE, {slot: bad}), KNOWLEDGE)
        assert result.gate.decision == "hold", slot
        assert "need_intake_free_of_oil" in {r.finding for r in result.gate.not_met}
        assert "oil-in-intake-runaway" in diagnose(changed(CLEAR, KNOWLEDGE, {slot: bad}), KNOWLEDGE).cautions


@pytest.mark.parametrize(
    ("gone", "need"),
    [
        ({"codes"}, "need_supply_steady"),
        ({"codes"}, "need_exhaust_flap_follows"),
        ({"blue_smoke"}, "need_intake_free_of_oil"),
    ],
)
def test_a_need_that_no_sign_shows_to_be_good_is_missing(gone: set[str], need: str) -> None:
    assert need not in {r.finding for r in judge_case(CLEAR, KNOWLEDGE).gate.missing}
    assert need in {r.finding for r in judge_case(without(CLEAR, KNOWLEDGE, gone), KNOWLEDGE).gate.missing}


@pytest.mark.parametrize("volts", ["12.9 V", "13.1 V", "15.4 V", "25.8 V", "30.8 V"])
def test_a_doubtful_voltage_goes_before_a_silent_control_unit(volts: str) -> None:
    (reason,) = judge_case(changed(CLEAR, KNOWLEDGE, {"battery_voltage": volts}), KNOWLEDGE).gate.missing
    assert reason.finding == "need_supply_steady"


def test_all_that_a_decision_looks_at_is_named() -> None:
    """Changes that leave all this alone share one decision; with nothing known all of it is asked for."""
    asked: set[str] = set()

    class Asked(dict[str, FindingResult]):
        def get(self, finding: str, default: object = None) -> None:  # type: ignore[override]
            asked.add(finding)

    decide(KNOWLEDGE, Asked(), ())
    assert looked_at(KNOWLEDGE.gate) == asked
    assert len(asked) > 40
