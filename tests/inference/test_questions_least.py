"""Least proofs: the search by size against all subsets, and every set replayed with one fact dropped."""

from __future__ import annotations

import random
from collections.abc import Callable
from itertools import combinations

import pytest

from inference.case import Case
from inference.diagnose import judge_case
from inference.questions.again import Again, standing_of
from inference.questions.least import facts_of, goals_of, least_proof, least_sets, only, reached
from kb.model import Knowledge
from tests.inference.question_cases import COLD, LEAKING, case_of


def all_least(facts: list[str], suffices: Callable[[frozenset[str]], bool]) -> list[frozenset[str]]:
    """Every minimal sufficient set, by trying all subsets in order of size."""
    found: list[frozenset[str]] = []
    for size in range(len(facts) + 1):
        for chosen in combinations(facts, size):
            one = frozenset(chosen)
            if not any(f <= one for f in found) and suffices(one):
                found.append(one)
    return found


@pytest.mark.parametrize("seed", range(40))
def test_the_search_finds_just_the_minimal_sets(seed: int) -> None:
    rng = random.Random(seed)
    facts = [f"f{i}" for i in range(rng.randint(2, 8))]
    wanted = [frozenset(rng.sample(facts, rng.randint(1, len(facts)))) for _ in range(rng.randint(1, 5))]

    def suffices(chosen: frozenset[str]) -> bool:
        return any(w <= chosen for w in wanted)

    found, cut, _ = least_sets(facts, suffices)
    assert set(found) == set(all_least(facts, suffices))
    assert [len(s) for s in found] == sorted(len(s) for s in found)
    assert not cut


def test_bounds_are_kept_and_told() -> None:
    def suffices(chosen: frozenset[str]) -> bool:
        return len(chosen) >= 3

    facts = [f"f{i}" for i in range(6)]
    found, cut, _ = least_sets(facts, suffices, most=2)
    assert (len(found), cut) == (2, True)
    found, cut, tested = least_sets(facts, suffices, tests=4)
    assert cut
    assert tested <= 4


def test_what_more_facts_undo_still_comes_out_minimal() -> None:
    def suffices(chosen: frozenset[str]) -> bool:  # "b" alone is enough, with "a" it takes "c" as well
        return ("b" in chosen and "a" not in chosen) or {"a", "b", "c"} <= chosen

    found, _, _ = least_sets("abc", suffices)
    assert found
    assert all(suffices(s) and not any(suffices(s - {f}) for f in s) for s in found)


def test_a_leaking_injector_alone_forbids_the_burn(knowledge: Knowledge) -> None:
    proof = least_proof(case_of(LEAKING, knowledge), knowledge)
    decision = next(c for c in proof.carried if c.goal.kind == "decision")
    assert decision.goal.id == "do not burn"
    assert frozenset({"injector_leak_found"}) in decision.sets


def test_the_cold_coolant_alone_holds_the_burn(knowledge: Knowledge) -> None:
    proof = least_proof(case_of(COLD, knowledge), knowledge)
    holds = {c.goal.id: c.sets for c in proof.carried if c.goal.kind == "reason"}
    assert holds["need_engine_warms"] == (frozenset({"coolant_temperature.road"}),)


def test_a_hold_for_want_of_facts_needs_no_fact(knowledge: Knowledge) -> None:
    proof = least_proof(case_of("case: empty\nrounds: [{answers: {bonnet_closed: yes}}]\n", knowledge), knowledge)
    assert [(c.goal.id, c.needs_none, c.sets) for c in proof.carried if c.goal.kind == "decision"] == [
        ("hold", True, ())
    ]


def test_least_proofs_of_every_case_replay(case: Case, knowledge: Knowledge) -> None:
    """On the plain path: the facts of a set alone carry the goal, and dropping any one of them breaks it."""
    again = Again(case, knowledge)
    for carried in least_proof(case, knowledge, again, most=1, tests=60).carried:
        for found in carried.sets:
            for kept, holds in [(found, True), *((found - {f}, False) for f in sorted(found))]:
                part = only(case, knowledge, kept)
                now = standing_of(part, judge_case(part, knowledge))
                assert reached(carried.goal, again.base, now) is holds, (carried.goal, sorted(kept))


def test_goals_are_what_the_answer_says(case: Case, knowledge: Knowledge) -> None:
    again = Again(case, knowledge)
    goals = goals_of(again.base)
    assert goals
    assert all(reached(g, again.base, again.of(only(case, knowledge, frozenset(facts_of(case))))) for g in goals)
