"""Burns that come far apart on a filter that blocks, and the figures beside which that means nothing."""

from dataclasses import replace
from pathlib import Path

import pytest

from inference.case import Case, Event
from inference.change import changed, without
from inference.diagnose import judge_case
from inference.read_case import read_case
from kb.load import load

KNOWLEDGE = load()
# 2,600 km between burns, and the filter restricted
APART = read_case(Path(__file__).parent.parent.parent / "cases" / "kelp-gatherer.yaml", KNOWLEDGE)


def state(case: Case, finding: str = "burns_not_started") -> str:
    return judge_case(case, KNOWLEDGE).stands.findings[finding].state


def test_far_apart_and_restricted_says_that_burns_are_hardly_ever_begun() -> None:
    assert state(APART) == "holds"
    assert state(without(APART, KNOWLEDGE, {"burn_interval"})) == "unknown"


@pytest.mark.parametrize("interval", ["430 km", "1250 km", "1500 km"])
def test_an_interval_that_is_met_says_nothing_of_the_kind(interval: str) -> None:
    assert state(changed(APART, KNOWLEDGE, {"burn_interval": interval})) == "unknown"


def test_a_free_filter_keeps_itself_free() -> None:
    free = {"gauge_pressure.idle": "3 mbar", "gauge_pressure.fast_idle": "27 mbar"}
    assert state(changed(APART, KNOWLEDGE, free)) == "unknown"


def test_a_burn_of_its_own_not_long_ago_goes_before_a_mean_of_times_past() -> None:
    lately = changed(APART, KNOWLEDGE, {"distance_since_burn": "340 km"})
    assert state(lately) == "fails"
    forced = Event("forced regeneration", odometer_km=96060.0)  # that burn was forced in a workshop
    assert state(replace(lately, history=(forced,), history_given=True)) == "holds"


def test_a_count_that_contradicts_the_mean_takes_its_word_away() -> None:
    many = {"burns_started": "24", "burns_completed": "22", "burns_counted_over": "9000 km"}
    told = changed(APART, KNOWLEDGE, many)
    assert state(told, "burn_figures_disagree") == "holds"
    assert state(told) == "fails", "by the count it begins its burns"
    assert state(told, "burns_too_often") == "fails"
    few = changed(APART, KNOWLEDGE, {**many, "burns_started": "3", "burns_completed": "3"})
    assert state(few, "burn_figures_disagree") == "unknown"
    assert state(few) == "holds"


def test_burns_that_break_off_are_another_thing() -> None:
    broken = {"burns_started": "30", "burns_completed": "4", "burns_counted_over": "9000 km"}
    assert state(changed(APART, KNOWLEDGE, broken), "burns_break_off") == "holds"
    assert state(changed(APART, KNOWLEDGE, broken)) == "fails"


def test_a_control_unit_that_sees_too_little_soot_is_said_once() -> None:
    """Its load is made of what its sensor tells: where the sensor is known to read low, the load adds nothing."""
    sees = changed(APART, KNOWLEDGE, {"soot_load_model": "1 g"})
    assert state(sees, "sensor_reads_low") == "holds"
    assert state(sees, "model_below_truth") == "unknown"
