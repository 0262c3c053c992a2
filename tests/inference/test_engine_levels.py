"""Levels of the findings, circles named by their rules, and what else a set of rules may not do."""

from __future__ import annotations

import random
from typing import Any

import networkx as nx
import pytest

from inference.engine.levels import Edge, levels
from inference.engine.program import RuleProblems, compile_rules
from kb.model import Rule
from tests.inference.rulebases import findings, random_base, rule, unit_of


def reads(finding: str, is_: str = "holds") -> dict[str, Any]:
    return {"all": [{"finding": finding, "is": is_}]}


def problems(*rules: Rule, decide: tuple[str, ...] = ()) -> list[tuple[str, str]]:
    with pytest.raises(RuleProblems) as told:
        compile_rules(rules, findings("a", "b", "c", decide=decide), unit_of)
    return told.value.problems


@pytest.mark.parametrize("seed", range(5))
def test_levels_are_the_longest_paths_of_the_graph(seed: int) -> None:
    """Outside: networkx' topological generations of the same graph."""
    base = random_base(random.Random(seed), 80)
    program = base.compile()
    graph: nx.DiGraph[str] = nx.DiGraph()
    concluded = {f for level in program.find.levels for f in level}
    for r in program.find.rules.values():
        assert r.then.finding is not None
        graph.add_node(r.then.finding)
        for test in (*r.when.all, *r.when.any, *r.when.none, *r.when.unless):
            if test.finding is not None and test.finding in concluded:
                graph.add_edge(test.finding, r.then.finding)
    assert [set(g) for g in nx.topological_generations(graph)] == [set(level) for level in program.find.levels]


def test_a_circle_names_its_rules() -> None:
    told = problems(
        rule("one", reads("b"), {"finding": "a"}),
        rule("two", reads("c", "unknown"), {"finding": "b"}),
        rule("three", reads("a"), {"finding": "c"}),
        rule("behind", reads("a"), {"finding": "c", "state": "fails"}),
    )
    assert told
    for name in ("'one' (sets a)", "'two' (sets b)"):
        assert name in told[0][1]
    assert "circle" in told[0][1]


def test_a_rule_that_reads_what_it_sets_is_a_circle() -> None:
    told = problems(rule("self", reads("a", "fails"), {"finding": "a"}))
    assert told[0][0] == "self"
    assert "circle" in told[0][1]


def test_two_circles_are_both_told_and_what_stands_behind_is_not() -> None:
    edges: dict[str, list[Edge]] = {
        "a": [("r1", frozenset({"b"}))],
        "b": [("r2", frozenset({"a"}))],
        "c": [("r3", frozenset({"d"}))],
        "d": [("r4", frozenset({"c"}))],
        "e": [("r5", frozenset({"a", "c"}))],
        "f": [("r6", frozenset())],
    }
    found, circles = levels(edges)
    assert circles == [("r1", "r2"), ("r3", "r4")]
    assert found == {"f": 0}


@pytest.mark.parametrize(
    ("when", "then", "says"),
    [
        ({"all": [{"cause": "wrong_oil", "at_least": "likely"}]}, {"finding": "a"}, "only after the findings"),
        ({"all": [{"finding": "late", "is": "holds"}]}, {"finding": "a"}, "stage 'decide'"),
        ({"all": [{"finding": "aa", "is": "holds"}]}, {"finding": "a"}, "there is no finding 'aa'"),
        ({"all": [{"answer": "x", "is": "yes"}]}, {"finding": "laet"}, "did you mean 'late'"),
        ({"all": [{"answer": "x", "is": "yes"}]}, {"finding": "a", "caution": "c-c"}, "one thing"),
        ({"all": [{"answer": "x", "is": "yes"}]}, {}, "one thing"),
        ({"unless": [{"answer": "x", "is": "yes"}]}, {"finding": "a"}, "always fire"),
        ({"none": [{"reading": "d1", "above": "1 km"}]}, {"finding": "a"}, "when.none"),
    ],
)
def test_what_a_rule_may_not_do(when: dict[str, Any], then: dict[str, Any], says: str) -> None:
    told = problems(rule("wrong", when, then), decide=("late",))
    assert [r for r, _ in told] == ["wrong"]
    assert says in told[0][1]


def test_all_problems_are_told_at_once_and_retired_rules_are_left_out() -> None:
    told = problems(
        rule("twice", reads("a"), {"finding": "b"}),
        rule("twice", reads("a"), {"finding": "b"}),
        rule("wrong", {"all": [{"reading": "d1", "above": "much"}]}, {"finding": "c"}),
        rule("old", reads("nothing"), {"finding": "nowhere"}, status="retired"),
    )
    assert [r for r, _ in told] == ["twice", "wrong"]
