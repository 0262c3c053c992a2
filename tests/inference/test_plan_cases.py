"""The plan over all worked cases: prices add up, questions change something, nothing forbidden is offered."""

from __future__ import annotations

from dataclasses import replace

import pytest

from inference.case import Case
from inference.diagnose import diagnose
from inference.offered import may_be_done
from inference.plan.answer import Plan
from inference.plan.build import STEPS, Planner, plan_of
from inference.plan.changes import forbids
from inference.plan.outlook import Held
from inference.result import Result
from inference.work import DUE
from kb.model import Knowledge


@pytest.fixture
def planned(case: Case, knowledge: Knowledge) -> tuple[Result, Plan]:
    result = diagnose(case, knowledge)
    return result, plan_of(knowledge, result)


def test_the_plan_holds_to_its_own_rules(planned: tuple[Result, Plan], knowledge: Knowledge) -> None:
    result, plan = planned
    assert len(plan.steps) <= STEPS
    findings = result.latest.verdicts.findings
    standing: set[str] = set()
    for step in plan.steps:
        assert step.action.kind in ("test", "repair", "refer")
        assert sum(o.chance for o in step.outcomes) <= 1 + 1e-9
        if step.action.kind == "test":
            test = knowledge.tests[step.action.what]
            assert may_be_done(knowledge, test, result.gate, findings)
            assert len({(o.then, o.top[:1] and o.top[0][0], o.decision) for o in step.outcomes}) > 1
            assert step.minutes == test.minutes + (0 if step.shared else test.set_up_minutes)
            assert step.shared == (bool(test.set_up) and test.set_up in standing)
            standing.add(test.set_up)
            assert step.saves > 0
        if step.action.kind == "repair":
            assert step.action.remedy == knowledge.causes[step.action.what].remedy
            assert [o.cured for o in step.outcomes] == [True, False]
    names = [s.action.what for s in plan.steps if s.action.kind == "repair"]
    assert len(set(names)) == len(names)


def test_asking_is_never_dearer_than_not_asking(planned: tuple[Result, Plan]) -> None:
    """Unless handing the vehicle on would be cheapest and what the order of work names is repaired here first."""
    result, plan = planned
    for naive in (plan.by_probability, plan.by_price):
        assert naive.cost >= plan.repairs_only.cost - 1e-6
        assert 0 <= naive.handed_on <= 1 + 1e-9
    due = any(c.state == "present" and c.now >= DUE for c in result.causes)
    if plan.steps and plan.steps[0].action.kind == "test" and (plan.repairs_only.order or not due):
        assert plan.cost < plan.repairs_only.cost


def test_the_next_step_follows_from_the_step_before(planned: tuple[Result, Plan]) -> None:
    _, plan = planned
    for step, following in zip(plan.steps, plan.steps[1:], strict=False):
        followed = [o for o in step.outcomes if o.followed]
        assert [o.then for o in followed] == [following.action]


def test_the_same_case_gives_the_same_plan(case: Case, knowledge: Knowledge) -> None:
    assert plan_of(knowledge, diagnose(case, knowledge)) == plan_of(knowledge, diagnose(case, knowledge))


def test_needed_facts_are_those_the_gate_waits_for(planned: tuple[Result, Plan], knowledge: Knowledge) -> None:
    result, plan = planned
    missing = {r.finding for r in result.gate.missing}
    assert {n.finding for n in plan.needed} <= missing
    if result.gate.decision != "hold":
        assert not plan.needed
    if {n.finding for n in plan.needed} & knowledge.gate.set_up:  # the place is seen to when nothing else is open
        assert {r.finding for r in result.gate.because} <= knowledge.gate.set_up
    for fact in plan.needed:
        if fact.in_step:
            assert fact.finding in plan.steps[fact.in_step - 1].needs


def test_marginals_of_the_plan_are_those_of_the_belief(case: Case, knowledge: Knowledge) -> None:
    """The joint of the causes planned for comes from another sweep than the belief; their marginals must agree."""
    result = diagnose(case, knowledge)
    planner = Planner(knowledge, result)
    for cause, p in zip(planner.causes, planner.marginals(planner.root).tolist(), strict=True):
        assert p == pytest.approx(result.cause(cause).now, abs=0.02)


def test_no_test_that_needs_a_drive_while_a_danger_stands(case: Case, knowledge: Knowledge) -> None:
    result = diagnose(case, knowledge)
    driven = {t.id for t in knowledge.tests.values() if knowledge.plan.driving in t.hazards}
    offered = {t.test for t in result.next_tests}
    if result.gate.dangers:
        assert not driven & offered
    if result.gate.decision != "clear":
        assert not set(knowledge.plan.needs_a_burn) & offered


def test_a_broken_filter_or_a_leak_forbids_a_burn_by_itself(knowledge: Knowledge) -> None:
    found = forbids(Held(knowledge))
    assert {("core_broken", True), ("exhaust_leaks", True)} <= found
    assert ("core_broken", False) not in found


def test_a_finding_is_open_again_once_a_cause_that_shows_it_is_repaired(case: Case, knowledge: Knowledge) -> None:
    result = diagnose(case, knowledge)
    planner = Planner(knowledge, result)
    for i, cause in enumerate(planner.causes[:3]):
        opened = planner.reopened(replace(planner.root, done=1 << i))
        entry = knowledge.causes[cause]
        linked = (
            {s.finding for s in entry.shows} | {w.finding for w in entry.weighs} | {p.finding for p in entry.proofs}
        )
        known = {f for f, r in result.latest.verdicts.findings.items() if r.state in ("holds", "fails")}
        assert opened == (linked & known) - {"filter_reported_blocked", "filter_really_restricted"}
