"""Two rounds compared: at equal flow, with a verdict that needs both the readings and the distance."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import pytest
import yaml

from explain.compareview import reason
from inference.compare import Comparison, compare
from inference.diagnose import diagnose
from inference.log.notes import note
from inference.read_case import parse_case, read_case
from kb.load import load

KNOWLEDGE = load()


def two_rounds(first: dict[str, Any], last: dict[str, Any], km: int = 1500, **more: Any) -> Comparison:
    case = {
        "case": "two", "opened": "2026-03-01",
        "vehicle": {"engine_litres": 2.0, "odometer": "120000 km"},
        "filter": {"type": "coated", "substrate": "silicon carbide", "volume": "2.5 l", "fitted_at": "90000 km"},
        "rounds": [
            {"when": "arrival", "date": "2026-03-01", "odometer": "120000 km", "readings": first},
            {"when": "follow-up", "date": "2026-05-01", "odometer": f"{120000 + km} km", "readings": last, **more},
        ],
    }  # fmt: skip
    read = parse_case(yaml.safe_dump(case).encode(), "two.yaml", KNOWLEDGE)
    return compare(KNOWLEDGE, diagnose(read, KNOWLEDGE))


def gauge(fast: float, idle: float, air: float = 38.0) -> dict[str, Any]:
    return {
        "gauge_pressure": {"key_on": "0 mbar", "idle": f"{idle} mbar", "fast_idle": f"{fast} mbar"},
        "air_mass_flow": {"idle": "10 g/s", "fast_idle": f"{air} g/s"},
        "coolant_temperature": {"road": "88 °C"},
    }  # fmt: skip


def test_free_and_far_enough_has_held() -> None:
    found = two_rounds(gauge(75, 14), gauge(27, 3.5))
    assert found.verdict == "held"
    assert found.because[-1] == note("still_free", driven=1500.0)
    assert reason(KNOWLEDGE, found.because[-1]) == "After 1,500 km it still flows freely."


def test_free_but_just_driven_out_says_nothing_of_the_cause() -> None:
    found = two_rounds(gauge(75, 14), gauge(27, 3.5), km=40)
    assert found.verdict == "cannot tell"
    assert found.because[-1] == note("not_far", driven=40.0, need=500.0)
    assert "40 km" in reason(KNOWLEDGE, found.because[-1])


def test_as_blocked_as_before_has_not_held() -> None:
    assert two_rounds(gauge(72, 13), gauge(74, 14)).verdict == "did not hold"


def test_a_lower_pressure_at_a_lower_flow_is_no_change() -> None:
    """58 mbar at 32 g/s is about what 75 mbar at 38 g/s is: brought to equal flow nothing has moved."""
    found = two_rounds(gauge(75, 14, air=38.0), gauge(58, 11, air=32.0))
    assert found.verdict != "held"
    assert found.equal_flow is not None
    assert found.equal_flow.first.mid == pytest.approx(found.equal_flow.last.mid, rel=0.12)


def test_without_a_gauge_it_cannot_tell() -> None:
    found = two_rounds(gauge(75, 14), {"coolant_temperature": {"road": "88 °C"}})
    assert found.verdict == "cannot tell"
    assert found.because[-1].kind == "no_gauge_after"
    assert found.equal_flow is None


def test_a_worked_case_whose_repair_did_not_hold() -> None:
    case = read_case(Path("cases/bee-keeper.yaml"), KNOWLEDGE)
    found = compare(KNOWLEDGE, diagnose(case, KNOWLEDGE))
    assert found.verdict == "did not hold"
    assert any("recirculation" in reason(KNOWLEDGE, n) for n in found.because)
    assert {"egr_actual.idle", "restriction_index.fast_idle"} <= {row.slot for row in found.rows}


def test_one_round_is_refused() -> None:
    case = read_case(Path("cases/school-run.yaml"), KNOWLEDGE)
    with pytest.raises(ValueError, match="two rounds"):
        compare(KNOWLEDGE, diagnose(case, KNOWLEDGE))


def after_repair(**more: Any) -> Comparison:
    """A vehicle as full as before, read again five days and no distance after its repair."""
    case = {
        "case": "mended", "opened": "2026-03-01",
        "vehicle": {"engine_litres": 2.0, "odometer": "120000 km"},
        "filter": {"type": "coated", "substrate": "silicon carbide", "volume": "2.5 l", "fitted_at": "90000 km"},
        "rounds": [
            {"when": "arrival", "date": "2026-03-01", "odometer": "120000 km", "readings": gauge(72, 13)},
            {"when": "after repair", "date": "2026-03-06", "odometer": "120010 km", "readings": gauge(73, 13), **more},
        ],
    }  # fmt: skip
    if "history" in more:
        case["history"] = case["rounds"][1].pop("history")  # type: ignore[index,attr-defined]
    read = parse_case(yaml.safe_dump(case).encode(), "mended.yaml", KNOWLEDGE)
    return compare(KNOWLEDGE, diagnose(read, KNOWLEDGE))


def test_a_repair_alone_takes_no_soot_out_and_is_not_blamed() -> None:
    found = after_repair()
    assert found.verdict == "cannot tell"
    assert "no completed burn" in reason(KNOWLEDGE, found.because[-1])


def test_after_a_burn_or_a_cleaning_the_same_pressure_has_not_held() -> None:
    assert after_repair(burn_completed=True).verdict == "did not hold"
    cleaned = [{"date": "2026-03-05", "odometer": "120000 km", "event": "filter cleaned"}]
    assert after_repair(history=cleaned).verdict == "did not hold"
    broken_off = [{"date": "2026-03-05", "odometer": "120000 km", "event": "forced regeneration", "completed": False}]
    assert after_repair(history=broken_off).verdict == "cannot tell"


def test_the_worked_case_that_came_back_is_work_again() -> None:
    """The valve was good after the burn and hangs again at the follow-up: the latest look counts, everywhere alike."""
    result = diagnose(read_case(Path("cases/bee-keeper.yaml"), KNOWLEDGE), KNOWLEDGE)
    cause = result.cause("egr_stuck_open")
    assert cause.state == "present"
    assert cause.now > 0.8
    assert "free-or-renew-egr-valve" in [step.remedy for step in result.work]


def test_a_repair_proved_at_the_latest_look_stays_proved() -> None:
    case = read_case(Path("cases/bee-keeper.yaml"), KNOWLEDGE)
    result = diagnose(replace(case, rounds=case.rounds[:2]), KNOWLEDGE)
    assert result.cause("egr_stuck_open").state == "repaired"
