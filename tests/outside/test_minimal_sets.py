"""Least sets against clingo, and on the polybox of de Kleer & Williams 1987 (the example from memory)."""

from __future__ import annotations

import random

import clingo
import pytest

from inference.questions.least import least_sets

POLYBOX = [frozenset({"A1", "M1", "M2"}), frozenset({"A1", "A2", "M1", "M3"})]


MINIMAL = """
{in(X)} :- fact(X).
:- conflict(C), not in(X) : member(C, X).
needed(X) :- in(X), member(C, X), 1 { in(Y) : member(C, Y) } 1.
:- in(X), not needed(X).
#show in/1.
"""  # a hitting set is minimal just when each of its members is the only one to hit some conflict


def by_clingo(facts: list[str], conflicts: list[frozenset[str]]) -> set[frozenset[str]]:
    """Return the subset-minimal hitting sets: the stable models of the program above."""
    told = [f"fact({f.lower()})." for f in facts]
    for i, conflict in enumerate(conflicts):
        told += [f"conflict({i})."] + [f"member({i}, {f.lower()})." for f in sorted(conflict)]
    names = {f.lower(): f for f in facts}
    control = clingo.Control(["--models=0", "--warn=none"])
    control.add("base", [], MINIMAL + "\n".join(told))
    control.ground([("base", [])])
    found: set[frozenset[str]] = set()
    with control.solve(yield_=True) as models:
        for model in models:
            found.add(frozenset(names[str(a.arguments[0])] for a in model.symbols(shown=True)))
    return found


def by_search(facts: list[str], conflicts: list[frozenset[str]]) -> list[frozenset[str]]:
    found, cut, _ = least_sets(facts, lambda chosen: all(c & chosen for c in conflicts))
    assert not cut
    return found


def test_polybox() -> None:
    facts = ["A1", "A2", "M1", "M2", "M3"]
    expected = {frozenset({"A1"}), frozenset({"M1"}), frozenset({"A2", "M2"}), frozenset({"M2", "M3"})}
    assert set(by_search(facts, POLYBOX)) == expected
    assert by_clingo(facts, POLYBOX) == expected


@pytest.mark.parametrize("seed", range(60))
def test_random_conflicts(seed: int) -> None:
    rng = random.Random(seed)
    facts = [f"F{i}" for i in range(rng.randint(2, 9))]
    conflicts = [frozenset(rng.sample(facts, rng.randint(1, min(4, len(facts))))) for _ in range(rng.randint(1, 6))]
    found = by_search(facts, conflicts)
    assert set(found) == by_clingo(facts, conflicts)
    assert len(found) == len(set(found))
    assert [len(s) for s in found] == sorted(len(s) for s in found)
