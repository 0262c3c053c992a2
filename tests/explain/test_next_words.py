"""The words of `next`: a likely cure is told as one, a vehicle already repaired is not given up, dangers stay told."""

from __future__ import annotations

import io
from pathlib import Path

import pytest
from rich.console import Console

from explain import nextview
from explain.words import say
from inference.case import Case
from inference.diagnose import diagnose
from inference.plan.build import plan_of
from inference.read_case import read_case
from kb.model import Knowledge

CASES = Path(__file__).parents[2] / "cases"


def told(case: Case, knowledge: Knowledge) -> str:
    result = diagnose(case, knowledge)
    out = io.StringIO()
    nextview.show(knowledge, result, plan_of(knowledge, result), Console(file=out, width=400, no_color=True))
    return out.getvalue()


def told_of(name: str, knowledge: Knowledge) -> str:
    return told(read_case(CASES / f"{name}.yaml", knowledge), knowledge)


@pytest.mark.parametrize("name", ["bell-founder", "chess-estate", "shingle-coach", "harbour-pilot", "lime-burner"])
def test_a_proven_cause_is_told_so_and_its_repair_as_a_likely_cure(name: str, knowledge: Knowledge) -> None:
    said = told_of(name, knowledge)
    first = said[said.index("1. ") : said.index("2. ")]
    assert "proven. No look can spare this repair" in first
    assert say("plan.likely_cured") in first
    assert "Something is still wrong" not in said


@pytest.mark.parametrize("name", ["brass-band", "drumkit-wagon", "lamp-lighter", "moor-estate", "organ-tuner"])
def test_a_vehicle_probably_cured_is_told_so_and_not_how_often_it_is_handed_on(name: str, knowledge: Knowledge) -> None:
    said = told_of(name, knowledge)
    assert "Most likely that cured it, though it is not proven yet" in said
    assert "handed on" not in said


def test_what_came_back_is_told_so(knowledge: Knowledge) -> None:
    said = told_of("bee-keeper", knowledge)
    assert "The filter has blocked again since." in said
    assert "cured it" not in said


def test_a_burn_that_is_clear_does_not_wait_for_the_cause(case: Case, knowledge: Knowledge) -> None:
    result = diagnose(case, knowledge)
    plan = plan_of(knowledge, result)
    if plan.decision == "clear" and plan.afterwards:
        said = told(case, knowledge)
        assert "The burn and what follows it" in said
        assert "When the cause is removed" not in said


def test_on_hold_without_a_cause_the_plan_is_what_the_decision_waits_for(knowledge: Knowledge) -> None:
    said = told_of("needle-drift", knowledge)
    assert "Put right: The gauge does not read zero with the engine off" in said
    assert "Drive it as usual" not in said
    assert "Taken for granted" not in said


def test_before_a_new_filter_it_is_told_why_something_is_looked_for(knowledge: Knowledge) -> None:
    assert "is due all the same; what may have spoilt the filter is looked for before" in told_of("film-van", knowledge)


def test_hazards_and_set_up_are_told_at_each_step(case: Case, knowledge: Knowledge) -> None:
    result = diagnose(case, knowledge)
    plan = plan_of(knowledge, result)
    said = told(case, knowledge)
    for i, step in enumerate(plan.steps, 1):
        begin = said.index(f"\n  {i}. ")
        end = said.find(f"\n  {i + 1}. ", begin)
        part = said[begin : end if end > 0 else len(said)].lower()
        if step.action.kind == "test":
            test = knowledge.tests[step.action.what]
            hazards, set_up = test.hazards, test.set_up_minutes
            if set_up and not step.shared:
                assert "of them to set up" in part
        elif step.action.kind == "repair":
            hazards = knowledge.remedies[step.action.remedy].hazards
        else:
            continue
        for hazard in hazards:
            assert knowledge.cautions[hazard].title.lower() in part
