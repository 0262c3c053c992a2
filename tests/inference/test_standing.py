"""What one round found for good stands through a silent later round, and ends by named work or a new look."""

from dataclasses import replace
from pathlib import Path

import pytest

from inference.case import Case, CodesCleared, Event
from inference.change import changed
from inference.diagnose import diagnose, judge_case, program_of
from inference.questions.again import Again
from inference.questions.ground import Proof, facts_behind
from inference.read_case import read_case
from kb.load import load
from kb.model import Finding

KNOWLEDGE = load()
HERE = Path(__file__).parent
CLEAR = read_case(HERE / "cases" / "clear.yaml", KNOWLEDGE)
CASE_FILES = [p for p in sorted((HERE.parent.parent / "cases").glob("*.yaml")) if not p.name.endswith(".expected.yaml")]

# What one optional look tells in a first round, the lasting finding it makes, the same look when it says otherwise.
TELLING = [
    ("oil_fuel_content", "9 %", "danger_fuel_in_oil", "1 %"),
    ("oil_fuel_content", "5 %", "fuel_in_oil_high", "1 %"),
    ("injector_leak_found", "yes", "danger_injector_leak", "no"),
    ("oil_consumption", "1.6 l per 1000 km", "danger_oil_into_exhaust", "0.1 l per 1000 km"),
    ("filter_core_damage_seen", "yes", "danger_filter_damaged", "no"),
    ("cooling_system_holds_pressure", "no", "cooling_loses_pressure", "yes"),
    ("white_smoke_when_hot", "yes", "white_smoke_in_burn_seen", "no"),
    ("injector_correction_spread", "6 mg/stroke", "injector_correction_wide", "1 mg/stroke"),
    ("injector_return_ratio", "3", "injector_return_uneven", "1.1"),
    ("vibration_or_rattle_exhaust", "yes", "rattle", "no"),
    ("air_filter_dirty", "yes", "air_filter_dirty_seen", "no"),
    ("turbo_shaft_play", "yes", "turbo_shaft_loose", "no"),
    ("intake_leak_found", "yes", "intake_leak_proved", "no"),
    ("fuel_suspect", "yes", "fuel_doubtful", "no"),
    ("thermostat_opens_cold", "yes", "thermostat_open_cold", "no"),
    ("temperature_sensor_matches_probe", "no", "exhaust_sensor_fails_probe", "yes"),
    ("oily_intake_pipes", "yes", "oily_pipes", "no"),
    ("oil_at_turbo_inlet", "yes", "oil_before_turbo", "no"),
    ("breather_sound", "no", "breather_bad", "yes"),
    ("crankcase_pressure.fast_idle", "60 mbar", "crankcase_pressure_high", "4 mbar"),
    ("compression_share", "60 %", "compression_uneven", "93 %"),
    ("charge_temperature.full_load", "110 °C", "charge_hot", "35 °C"),
    ("charge_cooler_clear", "no", "charge_cooler_blocked", "yes"),
    ("exhaust_flap_moves", "no", "exhaust_flap_sticks", "yes"),
    ("battery_voltage", "11.9 V", "charging_low", "14.2 V"),
    ("battery_voltage", "24.2 V", "charging_low", "28.2 V"),
    ("battery_voltage", "16.4 V", "charging_high", "14.2 V"),
    ("battery_voltage_rest", "11.5 V", "battery_weak", "12.7 V"),
]  # fmt: skip
IDS = [f"{slot}-{bad}" for slot, bad, _, _ in TELLING]


def later(case: Case, when: str = "follow-up", without: frozenset[str] = frozenset(), **more: object) -> Case:
    """``case`` with the clear case's round as one more, silent about ``without``; a day after the last, if dated."""
    good, last = CLEAR.rounds[0], case.rounds[-1]
    next_ = replace(
        good,
        index=len(case.rounds),
        when=when,
        date=last.date and last.date.replace(year=last.date.year + 1),
        odometer_km=last.odometer_km,
        readings={s: q for s, q in good.readings.items() if s not in without},
        answers={s: a for s, a in good.answers.items() if s not in without},
        **more,
    )
    return replace(case, rounds=(*case.rounds, next_))


def decision(case: Case) -> str:
    return judge_case(case, KNOWLEDGE).gate.decision


def holds(case: Case, finding: str) -> bool:
    return judge_case(case, KNOWLEDGE).stands.findings[finding].state == "holds"


def lasting() -> dict[str, Finding]:
    return {name: entry for name, entry in KNOWLEDGE.findings.items() if entry.lasting is not None}


@pytest.mark.parametrize(("slot", "bad", "finding", "good"), TELLING, ids=IDS)
def test_silence_does_not_open_the_gate_and_work_or_a_new_look_may(
    slot: str, bad: str, finding: str, good: str
) -> None:
    silent = frozenset({slot})
    assert decision(later(CLEAR, without=silent)) == "clear", "the later round alone must be good enough"
    found = changed(CLEAR, KNOWLEDGE, {slot: bad})
    assert holds(later(found, without=silent), finding)
    assert decision(later(found, without=silent)) != "clear"
    unnamed = later(found, "after repair", silent)
    assert decision(unnamed) != "clear", "nobody says what was repaired"
    other = later(found, "after repair", silent, repaired=("short_trips",))
    assert decision(other) != "clear", "that work has nothing to do with it"
    assert not holds(changed(later(found, without=silent), KNOWLEDGE, {slot: good}), finding)
    entry = KNOWLEDGE.findings[finding].lasting
    assert entry is not None
    for work in entry.ends:
        assert not holds(worked(found, work, silent), finding), work


def worked(case: Case, work: str, silent: frozenset[str]) -> Case:
    """One more round, silent, after a named work: a cause repaired, a job done or an event of the history."""
    if work in KNOWLEDGE.causes:
        return later(case, "after repair", silent, repaired=(work,))
    if work in KNOWLEDGE.remedies:
        return later(case, "after repair", silent, jobs=(work,))
    case = replace(case, rounds=tuple(replace(r, date=r.date or case.today) for r in case.rounds))
    more = later(case, without=silent)
    event = Event(event=work, date=more.rounds[-1].date)  # type: ignore[arg-type]
    return replace(more, history=(*more.history, event))


@pytest.mark.parametrize("path", CASE_FILES, ids=lambda p: p.stem)
def test_in_every_case_what_was_found_stands_through_a_silent_round(path: Path) -> None:
    """Whatever lasting defect a worked case knows, a good but silent round does not open it; named work ends it."""
    case = read_case(path, KNOWLEDGE)
    stands = judge_case(case, KNOWLEDGE).stands.findings
    found = [
        name
        for name, entry in lasting().items()
        if stands[name].state == "holds"
        and entry.lasting is not None
        and not any(stands[look].state in ("holds", "fails") for look in entry.lasting.looked_at)
    ]
    for name in found:
        silent = facts_behind(KNOWLEDGE, [name])
        quiet = later(case, without=silent, codes=None if "codes" in silent else CLEAR.rounds[0].codes)
        judged = judge_case(quiet, KNOWLEDGE)
        if judged.rounds[-1].verdicts.findings[name].state == "unknown":
            assert judged.stands.findings[name].state == "holds", name
        assert judged.gate.decision != "clear"
        entry = KNOWLEDGE.findings[name].lasting
        assert entry is not None
        for work in [w for w in entry.ends if w in KNOWLEDGE.causes]:
            mended = judge_case(worked(case, work, silent), KNOWLEDGE)
            now = mended.rounds[-1].verdicts.findings[name].state
            assert mended.stands.findings[name].state == now, "only what the round itself finds is left"


def test_every_danger_is_lasting_or_measured_anew_in_each_round() -> None:
    anew = {"danger_soot_above_limit"}  # the gate wants the gauge in each round
    assert {d.finding for d in KNOWLEDGE.gate.dangers} - set(lasting()) == anew


def test_a_less_sure_look_does_not_end_what_was_measured() -> None:
    """Five per cent of fuel by analysis is not undone by a nose that smells nothing the week after."""
    found = changed(CLEAR, KNOWLEDGE, {"oil_fuel_content": "5 %"})
    again = later(found, without=frozenset({"oil_fuel_content"}))
    assert again.rounds[-1].answer("fuel_smell_in_oil") == "no"
    assert decision(again) == "hold"


def test_a_core_that_got_hot_is_not_healed_by_a_cooler_burn() -> None:
    hot = changed(CLEAR, KNOWLEDGE, {"exhaust_temperature_after_filter.burn": "820 °C"})
    cooler = changed(later(hot), KNOWLEDGE, {"exhaust_temperature_after_filter.burn": "640 °C"})
    assert decision(cooler) == "hold"
    looked = changed(cooler, KNOWLEDGE, {"filter_core_damage_seen": "no"})
    assert decision(looked) == "clear"
    assert decision(later(looked)) == "clear", "it was looked at after the heat, and that need not be done again"


def test_a_look_before_the_heat_says_nothing_of_after_it() -> None:
    looked = changed(CLEAR, KNOWLEDGE, {"filter_core_damage_seen": "no"})
    hot = changed(later(looked), KNOWLEDGE, {"exhaust_temperature_after_filter.burn": "820 °C"})
    assert decision(hot) == "hold"


def test_a_code_that_is_no_longer_listed_does_not_show_that_the_injector_is_tight() -> None:
    leak = changed(CLEAR, KNOWLEDGE, {"codes": ["P2463", "P029D"]})
    not_driven = later(leak, codes_cleared=CodesCleared())  # how far it was driven since they were cleared: unknown
    assert decision(not_driven) == "do not burn"
    tested = changed(not_driven, KNOWLEDGE, {"injector_leak_found": "no"})
    assert decision(tested) == "hold", "that one is tight; the code has still to be driven for"
    assert decision(later(leak)) == "clear", "its monitor has run and the code has not come back"


@pytest.mark.parametrize("code", ["P2002", "P200C", "P0544", "P0263", "P0402"])
def test_a_code_that_was_only_cleared_holds_until_it_was_driven(code: str) -> None:
    """A code against a burn that is gone from the list, the distance since unknown, has not been shown to be gone."""
    seen = changed(CLEAR, KNOWLEDGE, {"codes": ["P2463", code]})
    cleared = later(seen, codes_cleared=CodesCleared())
    assert decision(cleared) == "hold"
    if code != "P200C":  # the heat it tells of has happened, however far it is driven; look into the filter
        assert decision(later(seen)) == "clear"


def test_it_is_told_from_which_round_it_stands() -> None:
    found = changed(CLEAR, KNOWLEDGE, {"injector_leak_found": "yes"})
    worked_on = later(found, "after repair", repaired=("thermostat_stuck_open",))
    result = diagnose(worked_on, KNOWLEDGE)
    (danger,) = [r for r in result.gate.dangers if r.finding == "danger_injector_leak"]
    assert danger.since == 0
    node = Proof(KNOWLEDGE, result).node("danger_injector_leak")
    assert node.round == 0
    assert node.ways
    (held,) = [r for r in result.gate.not_met if r.finding == "need_no_injector_fault"]
    assert held.since == 0, "a need rests on what stands from before"


def test_changes_of_a_case_judge_what_stands_as_the_plain_path_does() -> None:
    for slot, bad, _, good in TELLING:
        case = later(changed(CLEAR, KNOWLEDGE, {slot: bad}), without=frozenset({slot}))
        other = changed(case, KNOWLEDGE, {slot: good})
        again = Again(case, KNOWLEDGE)
        assert again.base.gate == judge_case(case, KNOWLEDGE).gate
        assert again.of(other).gate == judge_case(other, KNOWLEDGE).gate  # type: ignore[union-attr]


def test_a_way_is_found_by_its_rule_and_number() -> None:
    stage = program_of(KNOWLEDGE).find
    assert all(stage.way(w.rule, w.number) is w for w in stage.ways)
