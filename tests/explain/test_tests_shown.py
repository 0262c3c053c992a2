"""Of the next tests the one that as good as settles the most probable cause is shown, however quick the others are."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from rich.console import Console

from explain.papers import sheet
from explain.terminal import Terminal
from explain.tests_shown import tests_shown as shown_of
from inference.case import Case
from inference.diagnose import diagnose
from inference.read_case import read_case
from kb.model import Knowledge

CASES = Path(__file__).parents[2] / "cases"


@pytest.mark.parametrize(
    ("name", "test"),
    [
        ("osier-cutter", "swirl-flaps-move"),
        ("weir-keeper", "charge-cooler-look"),
        ("slate-hauler", "exhaust-flap-move"),
    ],
)
def test_the_test_of_the_cause_told_first_is_shown(name: str, test: str, knowledge: Knowledge) -> None:
    result = diagnose(read_case(CASES / f"{name}.yaml", knowledge), knowledge)
    assert test not in [t.test for t in result.next_tests[:3]]
    shown = [t.test for t in shown_of(knowledge, result, 3)]
    assert shown[:2] == [t.test for t in result.next_tests[:2]]
    assert shown[2] == test
    told = [t["title"] for t in sheet.sheet(knowledge, result, sheet.TIGHTNESS[1])["next"]]
    assert knowledge.tests[test].title in told


def test_nothing_is_shown_that_is_not_among_the_next_tests(case: Case, knowledge: Knowledge) -> None:
    result = diagnose(case, knowledge)
    for most in (0, 1, 3):
        shown = shown_of(knowledge, result, most)
        assert len(shown) == min(most, len(result.next_tests))
        assert set(shown) <= set(result.next_tests)
    if result.causes[0].settled_by:
        assert shown_of(knowledge, result, 3) == list(result.next_tests[:3])


def test_the_paper_keeps_the_test_of_the_likeliest_cause_while_there_is_room(knowledge: Knowledge) -> None:
    """Half a page stood empty while the one test that settles the thermostat had been left out for want of room."""
    result = diagnose(read_case(CASES / "tram-stop.yaml", knowledge), knowledge)
    told = [t["title"] for t in sheet._fitted(knowledge, result, "a4")["next"]]
    assert told == [knowledge.tests[t.test].title for t in shown_of(knowledge, result, 3)]


def test_what_is_said_of_the_order_is_true(case: Case, knowledge: Knowledge) -> None:
    """Only where the last test was put in for the likeliest cause is it said that it tells most of that."""
    result = diagnose(case, knowledge)
    out = io.StringIO()
    Terminal(knowledge, result, Console(file=out, width=200)).next(3)
    swapped = shown_of(knowledge, result, 3) != list(result.next_tests[:3])
    assert ("likeliest cause" in out.getvalue()) == swapped
    assert ("First what tells most for a minute" in out.getvalue()) == bool(result.next_tests)
