"""The supply before a burn: what was measured goes first; a control unit's silence serves only where it tells."""

from dataclasses import replace
from pathlib import Path

import pytest

from inference.case import Case, CodesCleared, SeenCode
from inference.change import changed, without
from inference.diagnose import diagnose, judge_case
from inference.read_case import read_case
from kb.load import load

KNOWLEDGE = load()
HERE = Path(__file__).parent
CASES = HERE.parent.parent / "cases"
CLEAR = read_case(HERE / "cases" / "clear.yaml", KNOWLEDGE)  # nobody has measured its battery
SUPPLY = "need_supply_steady"


def decision(case: Case) -> str:
    return judge_case(case, KNOWLEDGE).gate.decision


def missing(case: Case) -> list[str]:
    return [r.finding for r in judge_case(case, KNOWLEDGE).gate.missing]


def read_after(km: float, warm_ups: float, monitors: str = "unknown", codes: tuple[str, ...] = ("P2463",)) -> Case:
    """The clear case with its codes read so long after they were cleared."""
    seen = tuple(SeenCode(c, "stored", 0) for c in codes)
    told = replace(CLEAR.rounds[0], codes=seen, codes_cleared=CodesCleared(km, warm_ups), monitors_complete=monitors)
    return replace(CLEAR, rounds=(told,))


def test_silence_over_many_starts_serves() -> None:
    assert decision(read_after(500.0, 20.0)) == "clear"
    assert decision(read_after(180.0, 9.0, "yes")) == "clear"


@pytest.mark.parametrize(("slot", "bad"), [("hard_cold_start", "yes"), ("distance_since_burn", "2600 km")])
def test_it_does_not_where_the_vehicle_starts_badly_or_begins_no_burn(slot: str, bad: str) -> None:
    case = changed(CLEAR, KNOWLEDGE, {slot: bad})
    assert missing(case) == [SUPPLY]
    assert SUPPLY not in missing(changed(case, KNOWLEDGE, {"battery_voltage": "14.2 V"}))


def test_a_vehicle_that_begins_no_burn_is_not_clear_because_nobody_measured() -> None:
    """Its control unit is silent over 2,300 km, and the battery has 11.9 V with the engine running."""
    case = read_case(CASES / "chapel-warden.yaml", KNOWLEDGE)
    assert missing(without(case, KNOWLEDGE, {"battery_voltage"})) == [SUPPLY]


def test_shorter_silence_wants_a_vehicle_known_to_start_well_or_to_burn_by_itself() -> None:
    short = read_after(700.0, 9.0)
    assert missing(short) == [SUPPLY]
    for good in (
        {"hard_cold_start": "no"}, {"battery_voltage_cranking": "10.6 V"}, {"distance_since_burn": "340 km"},
        {"battery_voltage": "14.2 V"},
    ):  # fmt: skip
        assert decision(changed(short, KNOWLEDGE, good)) == "clear", good
    lately = changed(read_after(20.0, 1.0), KNOWLEDGE, {"hard_cold_start": "no"})
    assert SUPPLY in missing(lately), "a list that says nothing says nothing of the supply"


@pytest.mark.parametrize("volts", ["16.3 V", "17.8 V", "31.9 V"])
def test_a_battery_charged_too_hard_holds_a_burn_and_says_what_to_do(volts: str) -> None:
    result = diagnose(changed(CLEAR, KNOWLEDGE, {"battery_voltage": volts}), KNOWLEDGE)
    assert result.gate.decision == "hold"
    assert [r.finding for r in result.gate.not_met] == [SUPPLY]
    assert result.latest.verdicts.findings["charging_low"].state != "holds"
    assert "battery-boils" in result.cautions
    jobs = [step.remedy for step in result.work]
    assert jobs.index("mend-charging") < jobs.index("burn-standing")
    assert "boil" in result.gate.driving


@pytest.mark.parametrize("volts", ["11.9 V", "14.2 V", "15.2 V", "24.2 V", "28.2 V", "30.4 V"])
def test_no_word_of_a_boiling_battery_where_it_is_not_charged_too_hard(volts: str) -> None:
    result = diagnose(changed(CLEAR, KNOWLEDGE, {"battery_voltage": volts}), KNOWLEDGE)
    assert "battery-boils" not in result.cautions
    assert "boil" not in result.gate.driving


def test_charging_is_put_right_once_whatever_calls_for_it() -> None:
    result = diagnose(read_case(CASES / "chapel-warden.yaml", KNOWLEDGE), KNOWLEDGE)
    jobs = [step.remedy for step in result.work]
    assert "repair-supply" in jobs
    assert "mend-charging" not in jobs, "the job of the likely cause covers it"


def test_the_code_of_too_much_voltage_is_a_fault_that_stops_burns() -> None:
    result = diagnose(read_after(900.0, 40.0, codes=("P2463", "P0563")), KNOWLEDGE)
    assert result.gate.decision == "hold"
    assert {"need_codes_allow", SUPPLY} <= {r.finding for r in result.gate.not_met}
    found = result.latest.verdicts.findings
    assert found["inhibiting_code"].state == found["charging_high"].state == "holds"
    assert "battery-boils" in result.cautions
