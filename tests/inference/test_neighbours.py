"""Causes that look alike are told apart by the look that tells them apart: what-ifs over the worked cases."""

from pathlib import Path

import pytest

from inference.change import changed, without
from inference.diagnose import Judged, judge_case
from inference.read_case import read_case
from kb.load import load

KNOWLEDGE = load()
CASES = Path(__file__).parent.parent.parent / "cases"

BEFORE = "charge_pressure_before_cooler.full_load"
# case, what is found instead, the cause that must then come first, the neighbour that must fall below a quarter
TOLD_APART = [
    ("island-post", {"breather_sound": "yes", "oil_at_turbo_inlet": "no"}, "turbo_oil_leak", "breather_fault"),
    ("island-post", {"oil_at_turbo_inlet": "yes"}, "breather_fault", "turbo_oil_leak"),
    ("hurdle-maker", {"breather_sound": "yes"}, "engine_oil_burning", "breather_fault"),
    ("hurdle-maker", {"breather_sound": "no"}, "breather_fault", "engine_oil_burning"),
    ("weir-keeper", {}, "charge_cooler_fault", "turbo_underboost"),
    ("weir-keeper", {BEFORE: "1900 mbar"}, "turbo_underboost", "charge_cooler_fault"),
    ("weir-keeper", {BEFORE: "1500 mbar"}, "turbo_underboost", "charge_cooler_fault"),
    ("weir-keeper", {"throttle_valve_moves_freely": "no"}, "throttle_valve_fault", "turbo_underboost"),
    ("chaff-pickup", {"egr_actual.idle": "45 %"}, "egr_stuck_open", "charge_cooler_fault"),
    ("chaff-pickup", {"intake_leak_found": "yes"}, "intake_leak", "charge_cooler_fault"),
    ("bell-founder", {"compression_share": "95 %"}, "injector_fault", "cylinder_compression_low"),
    ("osier-cutter", {"air_filter_dirty": "yes", "swirl_flaps_move": "yes"}, "intake_restricted", "swirl_flaps_stuck"),
    ("slate-hauler", {"throttle_valve_moves_freely": "no"}, "throttle_valve_fault", "burn_inhibited_by_fault"),
    ("mussel-van", {"throttle_valve_moves_freely": "no"}, "throttle_valve_fault", "oxidation_catalyst_aged"),
]  # fmt: skip


def judged(name: str, new: dict[str, str], gone: set[str] = frozenset()) -> Judged:
    case = without(read_case(CASES / f"{name}.yaml", KNOWLEDGE), KNOWLEDGE, gone)
    return judge_case(changed(case, KNOWLEDGE, new), KNOWLEDGE)


def chance(found: Judged, cause: str) -> float:
    return next(c.now for c in found.causes if c.id == cause)


@pytest.mark.parametrize(("name", "new", "first", "other"), TOLD_APART)
def test_neighbours_are_told_apart(name: str, new: dict[str, str], first: str, other: str) -> None:
    found = judged(name, new)
    assert max(found.causes, key=lambda c: c.now).id == first
    assert chance(found, other) < 0.25


def test_a_swap_of_injectors_decides_between_injector_and_cylinder() -> None:
    gone = {"compression_share"}
    goes = judged("bell-founder", {"correction_stays": "no"}, gone)
    stays = judged("bell-founder", {"correction_stays": "yes"}, gone)
    assert chance(goes, "injector_fault") > 0.75 > 0.1 > chance(goes, "cylinder_compression_low")
    assert chance(stays, "cylinder_compression_low") > 0.9 > 0.1 > chance(stays, "injector_fault")


def test_nothing_can_stay_or_go_where_no_correction_was_wide() -> None:
    even = judged("city-florist", {})
    for said in ("yes", "no"):
        swapped = judged("city-florist", {"correction_stays": said})
        for cause in ("injector_fault", "cylinder_compression_low"):
            assert chance(swapped, cause) == pytest.approx(chance(even, cause))


def test_a_flap_that_does_not_follow_is_suspected_in_both_its_places() -> None:
    before, found = judged("piano-van", {}), judged("piano-van", {"exhaust_flap_moves": "no"})
    for cause, times in (("exhaust_flap_open", 20), ("exhaust_restricted_downstream", 10)):
        assert chance(found, cause) > times * chance(before, cause)
    assert found.gate.decision == "hold"
