"""kb/tests.yaml: every test can be done, settles a known finding, and every part question has one that answers it."""

from __future__ import annotations

from collections import defaultdict
from pathlib import Path

import pytest

from kb.load import load
from kb.model import Knowledge, ServiceTest
from kb.slots import OF_CODES, slot_of
from kb.yamlread import read_yaml

HOME = Path(__file__).parents[2] / "kb"


def entries(name: str) -> list[dict]:
    return read_yaml(HOME / f"{name}.yaml").data


TESTS = [ServiceTest.model_validate(t) for t in entries("tests")]
BY_ID = {t.id: t for t in TESTS}
QUESTIONS = {q["id"]: q for q in entries("questions")}
SLOTS = {
    slot: reading
    for reading in entries("readings")
    for slot in [f"{reading['id']}.{c}" for c in reading.get("conditions", [])] or [reading["id"]]
}
GATE = read_yaml(HOME / "gate.yaml").data
FINDINGS = {f["id"] for f in [*entries("findings"), *GATE["findings"]]}
CAUTIONS = {c["id"] for c in entries("cautions")}
GIVEN = {given for t in TESTS for given in t.gives}


def test_count_and_ids() -> None:
    assert len(TESTS) == len(BY_ID) >= 64


@pytest.mark.parametrize("test", TESTS, ids=lambda t: t.id)
def test_names_what_is_known(test: ServiceTest) -> None:
    assert set(test.settles) | {o.finding for o in test.outcomes if o.finding} <= FINDINGS
    assert set(test.gives) <= set(SLOTS) | set(QUESTIONS) | {"codes", "confirmed"}
    assert set(test.hazards) <= CAUTIONS
    assert {o.finding for o in test.outcomes if o.finding} <= set(test.settles)


@pytest.mark.parametrize("test", TESTS, ids=lambda t: t.id)
def test_outcomes_lead_to_different_things(test: ServiceTest) -> None:
    told = {(o.finding, o.state, o.means) for o in test.outcomes}
    assert len(told) == len(test.outcomes)
    assert len({(o.finding, o.state) for o in test.outcomes}) >= 2


def test_every_question_tried_on_the_part_has_a_test() -> None:
    tried = {q for q, entry in QUESTIONS.items() if entry["group"] == "tried on the part"}
    assert tried
    assert sorted(tried - GIVEN) == []


def test_every_question_has_a_test() -> None:
    assert sorted(set(QUESTIONS) - GIVEN) == []


def test_nearly_every_reading_has_a_test() -> None:
    """Left out: exhaust temperatures at idle and fast idle away from the filter, which settle no finding."""
    without = {
        "exhaust_temperature_before_catalyst.idle",
        "exhaust_temperature_before_catalyst.fast_idle",
    }
    assert sorted(set(SLOTS) - GIVEN - without) == []


def test_every_finding_that_has_a_test_worth_doing_has_one() -> None:
    """Left out: what is reckoned from other findings, distance or history, and the gate's own conclusions."""
    reckoned = {"refills_fast"} | {f for f in FINDINGS if f.startswith(("need_", "danger_")) or f == "burn_cannot_help"}
    settled = {f for t in TESTS for f in t.settles}
    assert sorted(FINDINGS - settled - reckoned) == []


def test_shared_preparation_costs_the_same_everywhere() -> None:
    minutes = defaultdict(set)
    for test in TESTS:
        assert bool(test.set_up) == (test.set_up_minutes > 0), test.id
        if test.set_up:
            minutes[test.set_up].add(test.set_up_minutes)
    assert {name: m for name, m in minutes.items() if len(m) > 1} == {}
    assert {"vehicle_warm", "vehicle_raised", "diagnostic_connected", "heat_shield_off"} <= set(minutes)


def test_cautions_go_with_what_is_done() -> None:
    for test in TESTS:
        asked = {QUESTIONS[g]["hazard"] for g in test.gives if g in QUESTIONS and QUESTIONS[g].get("hazard")}
        if test.set_up == "vehicle_raised":
            assert "raised-vehicle" in test.hazards, test.id
        if any(given.endswith(".burn") for given in test.gives):
            assert {"abort-cooling", "fire-under-vehicle"} <= set(test.hazards), test.id
        if any(given.endswith((".full_load", ".road")) for given in test.gives):
            assert "drive-test-lawful" in test.hazards, test.id
        if "fuel-spray" in asked and "injector" in test.id:
            assert "fuel-spray" in test.hazards, test.id


@pytest.fixture(scope="module")
def knowledge() -> Knowledge:
    return load()


def read_by(knowledge: Knowledge) -> dict[str, set[str]]:
    """For every finding, derived reading and code group: the slots that are read to settle it, directly."""
    out: dict[str, set[str]] = defaultdict(set)
    for rule in knowledge.rules.values():
        if rule.then.finding:
            when = rule.when
            conditions = [*when.all, *when.any, *when.none, *when.unless]
            out[rule.then.finding] |= {slot_of(condition) for condition in conditions}
    for derived in knowledge.derived.values():
        for slot in [f"{derived.id}.{c}" for c in derived.conditions] or [derived.id]:
            out[slot] |= set(derived.inputs)
    for code in (*knowledge.codes, *knowledge.code_groups, *OF_CODES):
        out[code].add("codes")
    return out


def test_what_a_test_gives_is_read_by_the_rules_of_what_it_settles(knowledge: Knowledge) -> None:
    reads = read_by(knowledge)
    for test in TESTS:
        given = set(test.gives) | {g.split(".")[0] for g in test.gives}
        if test.id == "filter-history-papers":
            given |= {"filter", "history", "odometer"}  # the head of the case, which is no reading
        for finding in test.settles:
            reached: set[str] = set()
            ahead = set(reads.get(finding, ()))
            while ahead - reached:
                reached |= ahead
                ahead = {slot for name in reached for slot in reads.get(name, ())}
            assert not reached or given & reached, f"{test.id} gives nothing that a rule for {finding} reads"


def test_some_rule_can_conclude_what_an_outcome_says(knowledge: Knowledge) -> None:
    states = defaultdict(set)
    for rule in knowledge.rules.values():
        states[rule.then.finding].add(rule.then.state)
    for test in TESTS:
        for outcome in test.outcomes:
            if outcome.finding in states:
                assert outcome.state in states[outcome.finding], (test.id, outcome)
