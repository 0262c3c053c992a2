"""The order of work: the same work is named once, behind what would spoil it again, and says what else it serves."""

from __future__ import annotations

from pathlib import Path

import pytest
from typer.testing import CliRunner

from clogwise.cli import app
from explain.papers import sheet as paper
from inference.diagnose import diagnose
from inference.read_case import read_case
from inference.result import CauseResult, Result, WorkStep
from inference.work import order_of_work
from kb.model import Knowledge
from kb.references import check_references

CASES = Path(__file__).parents[2] / "cases"
OIL = {"oil-change-first", "oil-change-before-burn", "oil-change-after-burns", "change-to-low-ash-oil"}


def result_of(knowledge: Knowledge, name: str) -> Result:
    return diagnose(read_case(CASES / f"{name}.yaml", knowledge), knowledge)


def work(knowledge: Knowledge, result: Result, *likely: str) -> tuple[WorkStep, ...]:
    """The order of work of a case in which these causes and no others were likely."""
    causes = [c._replace(now=0.9 if c.id in likely else 0.1, state="present") for c in result.causes]
    ordered: list[CauseResult] = sorted(causes, key=lambda c: -c.now)
    return order_of_work(knowledge, ordered, result.gate, result.latest)


def test_oil_that_an_injector_spoilt_is_changed_once_and_behind_the_injectors(knowledge: Knowledge) -> None:
    result = result_of(knowledge, "diver-truck")
    jobs = [step.remedy for step in result.work]
    assert [j for j in jobs if j in OIL] == ["oil-change-first"]
    assert jobs.index("repair-injectors") < jobs.index("oil-change-first") < jobs.index("burn-standing")
    step = result.work[jobs.index("oil-change-first")]
    assert step.serves == ("oil-change-before-burn",)
    assert {"danger_oil_too_high", "injector_fault"} <= set(step.because)


@pytest.mark.parametrize(
    ("likely", "stays", "serves"),
    [
        (("injector_fault", "wrong_oil"), "oil-change-before-burn", {"change-to-low-ash-oil"}),
        (("turbo_oil_leak", "burns_interrupted"), "oil-change-before-burn", {"oil-change-after-burns"}),
        (("wrong_oil", "burns_interrupted"), "change-to-low-ash-oil", {"oil-change-after-burns"}),
        (
            ("burns_interrupted", "wrong_oil", "injector_fault"),
            "oil-change-before-burn",
            {"change-to-low-ash-oil", "oil-change-after-burns"},
        ),
        (("burns_interrupted",), "oil-change-after-burns", set()),
    ],
)
def test_whatever_calls_for_it_the_oil_is_changed_once(
    knowledge: Knowledge, likely: tuple[str, ...], stays: str, serves: set[str]
) -> None:
    steps = work(knowledge, result_of(knowledge, "mall-guard"), *likely)
    assert [(s.remedy, set(s.serves)) for s in steps if s.remedy in OIL] == [(stays, serves)]
    (step,) = [s for s in steps if s.remedy in OIL]
    assert set(likely) <= set(step.because), "no reason is lost"


def test_no_case_has_the_oil_changed_twice_even_if_all_causes_were_likely(knowledge: Knowledge) -> None:
    for name in ("hedge-pickup", "sawmill-crewcab", "night-nurse", "bread-truck", "parcel-runner"):
        assert sum(step.remedy in OIL for step in result_of(knowledge, name).work) <= 1, name
    steps = work(knowledge, result_of(knowledge, "diver-truck"), *knowledge.causes)
    assert sum(step.remedy in OIL for step in steps) == 1


def test_what_else_a_job_serves_is_told_with_the_proof_of_that(knowledge: Knowledge) -> None:
    data = paper.sheet(knowledge, result_of(knowledge, "diver-truck"))
    (job,) = [j for j in data["work"] if j["serves"]]
    covered = knowledge.remedies["oil-change-before-burn"]
    assert job["title"] == knowledge.remedies["oil-change-first"].title
    assert covered.title in job["serves"]
    assert covered.proof.rstrip(".") in job["serves"]
    assert any("Fuel in the engine oil" in p for p in job["proving"]), "its figures are to be proved here too"
    assert job["serves"] in paper.html(knowledge, result_of(knowledge, "diver-truck"))
    said = CliRunner().invoke(app, ["why", str(CASES / "diver-truck.yaml")], env={"COLUMNS": "300"}).output
    assert "(done once, for this too: change the oil before any burn)" in said


def test_jobs_that_cover_each_other_are_a_fault_of_the_knowledge(knowledge: Knowledge) -> None:
    assert not [f for f in check_references(knowledge) if "cover" in f.says]
    first = knowledge.remedies["oil-change-first"]
    both = knowledge.remedies["oil-change-before-burn"].model_copy(update={"covers": [first.id]})
    broken = knowledge.model_copy(update={"remedies": {**knowledge.remedies, both.id: both}})
    assert [f for f in check_references(broken) if "cover each other" in f.says]
    unknown = first.model_copy(update={"covers": ["oil-chnage-before-burn"]})
    broken = knowledge.model_copy(update={"remedies": {**knowledge.remedies, first.id: unknown}})
    assert [f for f in check_references(broken) if "oil-chnage-before-burn" in f.says]


def test_a_code_that_holds_the_burn_is_cleared_before_it_and_behind_its_repair(knowledge: Knowledge) -> None:
    for name, repair in (("lantern-walker", "repair-supply"), ("slate-hauler", "free-exhaust-flap")):
        result = result_of(knowledge, name)
        assert "need_codes_allow" in {r.finding for r in result.gate.not_met}
        jobs = [step.remedy for step in result.work]
        assert jobs.index(repair) < jobs.index("clear-codes-before-burn") < jobs.index("burn-standing"), name
        assert "clear-codes-and-recheck" not in jobs


def test_codes_are_not_cleared_for_a_burn_that_will_not_be_made(knowledge: Knowledge) -> None:
    for name in ("film-van", "reagent-lamp"):  # the filter comes off; no burn is needed
        result = result_of(knowledge, name)
        assert "need_codes_allow" in {r.finding for r in result.gate.not_met}
        assert "clear-codes-before-burn" not in [step.remedy for step in result.work], name


def test_of_two_burns_the_second_is_done_only_if_the_first_did_not_do_it(knowledge: Knowledge) -> None:
    """A drive that cleaned the filter and then a burn at standstill all the same heats an empty filter for nothing."""
    result = result_of(knowledge, "city-florist")
    jobs = [s.remedy for s in result.work]
    driven, standing = jobs.index("burn-driven"), jobs.index("burn-standing")
    assert driven < standing
    assert result.work[standing].spared_by == ("burn-driven",)
    assert not any(s.spared_by for s in result.work if s.remedy != "burn-standing")
    said = CliRunner().invoke(app, ["why", str(CASES / "city-florist.yaml")], env={"COLUMNS": "300"}).output
    assert f"{standing + 1}. Burn the filter clean at standstill (only if step {driven + 1} did not do it)" in said
    said = CliRunner().invoke(app, ["next", str(CASES / "city-florist.yaml")], env={"COLUMNS": "300"}).output
    assert "Burn the filter clean at standstill (only if the one above it did not do it)" in said
    (job,) = [j for j in paper.sheet(knowledge, result)["work"] if j["number"] == standing + 1]
    assert job["serves"] == f"Only if step {driven + 1} did not do it."


def test_a_burn_at_standstill_alone_waits_for_no_other(knowledge: Knowledge) -> None:
    steps = result_of(knowledge, "diver-truck").work
    assert [s.spared_by for s in steps if s.remedy == "burn-standing"] == [()]


def test_a_job_spared_by_one_that_is_not_there_is_a_fault(knowledge: Knowledge) -> None:
    wrong = knowledge.remedies["burn-standing"].model_copy(update={"spared_by": ["burn-drivn"]})
    broken = knowledge.model_copy(update={"remedies": {**knowledge.remedies, wrong.id: wrong}})
    assert [f for f in check_references(broken) if "burn-drivn" in f.says]
