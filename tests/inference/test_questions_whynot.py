"""Why not, why rather, and what a finding stands on."""

from __future__ import annotations

import pytest

from inference.case import Case
from inference.diagnose import diagnose, evidence_of
from inference.engine.look import fires
from inference.questions.again import Again
from inference.questions.contrast import contrast
from inference.questions.ground import Proof
from inference.questions.least import only
from inference.questions.whynot import WhyNot
from inference.result import Result
from kb.model import Knowledge
from tests.inference.question_cases import COLD, LEAKING, case_of


@pytest.fixture(scope="module")
def cold(knowledge: Knowledge) -> Result:
    return diagnose(case_of(COLD, knowledge), knowledge)


def test_a_premise_tells_value_limit_and_margin(cold: Result, knowledge: Knowledge) -> None:
    found = WhyNot(knowledge, cold).finding("engine_runs_cold")
    assert (found.state, found.wanted) == ("holds", "fails")
    rule = next(r for r in found.rules if r.rule == "engine-gets-warm")
    premise = rule.premises[0]
    assert (premise.view.state, premise.view.margin) == ("not met", pytest.approx(64 - 80))
    assert premise.errors == pytest.approx((64 - 80) / 2)  # the instrument's error is 2 °C
    assert (rule.fires, rule.lacking) == (False, 1)


def test_an_unknown_premise_names_what_would_settle_it(cold: Result, knowledge: Knowledge) -> None:
    found = WhyNot(knowledge, cold).finding("warms_slowly")
    assert found.state == "unknown"
    assert any("coolant_warm_up_time" in p.missing for r in found.rules for p in r.premises)


def test_clear_names_everything_in_its_way_down_to_the_reading(cold: Result, knowledge: Knowledge) -> None:
    found = WhyNot(knowledge, cold).decision("clear")
    told = {o.reason.finding for o in found.obstacles if o.reason and not o.reason.cause}
    gate = cold.gate
    assert told == {r.finding for r in (*gate.dangers, *gate.doubts, *gate.not_met, *gate.missing)}
    warm = next(o.finding for o in found.obstacles if o.finding and o.finding.finding == "need_engine_warms")
    below = [p.below for r in warm.rules for p in r.premises if p.below]
    assert any(r.rule == "engine-gets-warm" for b in below for r in b.rules)


def test_the_decision_taken_has_nothing_in_its_way(cold: Result, knowledge: Knowledge) -> None:
    assert WhyNot(knowledge, cold).decision("hold").obstacles == ()


def test_a_ruled_out_cause_says_by_what(knowledge: Knowledge) -> None:
    text = COLD.replace("bonnet_closed: yes", "bonnet_closed: yes, thermostat_opens_cold: no")
    found = WhyNot(knowledge, diagnose(case_of(text, knowledge), knowledge)).cause("thermostat_stuck_open")
    assert found.kinds == ("ruled out",)
    assert found.settled is not None
    assert found.settled.finding == "thermostat_open_cold"


def test_a_cause_of_another_filter_type_cannot_be(cold: Result, knowledge: Knowledge) -> None:
    assert WhyNot(knowledge, cold).cause("additive_empty").kinds == ("does not apply",)


def test_a_rival_that_explains_a_cause_away_is_named(cold: Result, knowledge: Knowledge) -> None:
    found = WhyNot(knowledge, cold).cause("coolant_sensor_fault")
    rival = next(r for r in found.rivals if r.cause == "thermostat_stuck_open")
    assert rival.without is not None
    assert rival.without > 2 * found.cause.probability
    assert {"outscored", "explained away"} <= set(found.kinds)


def test_every_cause_of_every_case_is_answered(case: Case, knowledge: Knowledge) -> None:
    result = diagnose(case, knowledge)
    asked = WhyNot(knowledge, result)
    for cause in (result.causes[0], result.causes[1], result.causes[len(case.name) % len(result.causes)]):
        found = asked.cause(cause.id)
        assert found.kinds
    for wanted in ("clear", "not needed", "do not burn", "hold"):
        taken = asked.decision(wanted)
        assert taken.obstacles or wanted in (taken.taken, "hold")


def test_a_rule_said_to_lack_nothing_fires(case: Case, knowledge: Knowledge) -> None:
    asked = WhyNot(knowledge, diagnose(case, knowledge))
    for finding in sorted(knowledge.findings)[len(case.name) % 7 :: 7]:
        for side in ("holds", "fails"):
            for rule in asked.finding(finding, side).rules:
                assert rule.fires is (rule.lacking == 0)
                assert rule.fires is fires(asked.program, rule.rule, asked.facts)


def test_the_contrast_adds_up_where_findings_do_not_share_causes(cold: Result, knowledge: Knowledge) -> None:
    a, b = cold.cause("thermostat_stuck_open"), cold.cause("short_trips")
    states = {f: r.state for f, r in cold.latest.verdicts.findings.items()}
    evidence = evidence_of(cold.case, knowledge, cold.rounds)
    there, back = contrast(knowledge, evidence, a, b, states), contrast(knowledge, evidence, b, a, states)
    assert there.shares[0].finding == "engine_runs_cold"
    assert there.shares[0].apart > 5
    assert there.gap == pytest.approx(-back.gap)
    assert [s.apart for s in there.shares] == pytest.approx([-s.apart for s in back.shares])
    assert there.partings


def test_cited_facts_alone_derive_each_finding_again(case: Case, knowledge: Knowledge) -> None:
    result = diagnose(case, knowledge)
    again, proof = Again(case, knowledge), Proof(knowledge, result)
    states = {f: r.state for v in proof.verdicts for f, r in v.findings.items()}
    known = sorted(f for f, s in states.items() if s in ("holds", "fails"))
    for finding in known[len(case.name) % 5 :: 5]:
        now = again.of(only(case, knowledge, proof.raw_facts(finding)))
        assert now is not None
        assert now.state(finding) == states[finding], (finding, sorted(proof.raw_facts(finding)))


def test_derivations_come_shortest_first(case: Case, knowledge: Knowledge) -> None:
    proof = Proof(knowledge, diagnose(case, knowledge))
    for finding in proof.round.verdicts.findings:
        node = proof.node(finding)
        heights = [1 + max((proof.node(s).height for s, _ in w.facts), default=0) for w in node.ways]
        assert heights == sorted(heights)
        assert not heights or node.height == heights[0]


def test_a_leaking_injector_proof_rests_on_its_answer(knowledge: Knowledge) -> None:
    proof = Proof(knowledge, diagnose(case_of(LEAKING, knowledge), knowledge))
    assert "injector_leak_found" in proof.raw_facts("danger_injector_leak")
