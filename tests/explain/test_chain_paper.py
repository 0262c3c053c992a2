"""The chain on paper: readable on A4 in every case, the decision and the work as a list, what is left out counted."""

from __future__ import annotations

import struct
from pathlib import Path
from typing import Any

import pytest

from explain.chain import CAUSE, DERIVED, FINDING, GATE, GIVEN, REMEDY, Graph, build, new_graph, part, select
from explain.chainfit import READABLE, fit, letters, once
from explain.draw import to_svg
from explain.layout import lay_out
from explain.papers import sheet as paper
from explain.words import say
from inference.case import Case
from inference.diagnose import diagnose
from inference.read_case import read_case
from inference.result import Result
from kb.model import Knowledge

CASES = Path(__file__).parents[2] / "cases"


def result_of(knowledge: Knowledge, name: str) -> Result:
    return diagnose(read_case(CASES / f"{name}.yaml", knowledge), knowledge)


def test_every_case_is_readable_on_paper_and_nothing_that_decides_is_left_out(knowledge: Knowledge, case: Case) -> None:
    result = diagnose(case, knowledge)
    whole = build(knowledge, result)
    graph = fit(whole, result)
    place = lay_out(graph)
    assert max(letters(place)) >= READABLE
    assert graph.graph["upright"] == (letters(place)[1] > letters(place)[0])
    richest = select(whole, result)
    kept = {n for n, d in graph.nodes(data=True) if d["kind"] in (CAUSE, REMEDY, GATE)}
    assert kept == {n for n, d in richest.nodes(data=True) if d["kind"] in (CAUSE, REMEDY, GATE)}
    reasons = {n.partition("@")[0] for n in richest.predecessors(GATE)}
    assert {n.partition("@")[0] for n in graph.predecessors(GATE)} == reasons
    jobs = sorted((d["step"], n) for n, d in graph.nodes(data=True) if d["kind"] == REMEDY)
    column = [place.boxes[n] for n in (GATE, *(n for _, n in jobs))] if jobs else []
    assert [b.y for b in column] == sorted(b.y for b in column), "the decision, and below it the jobs in their order"
    assert all(abs(b.x - column[0].x) < 1.0 for b in column)


def test_what_is_left_out_is_counted_and_where_nothing_is_nothing_is_said(knowledge: Knowledge) -> None:
    for name in ("vineyard-ute", "lamp-lighter"):
        result = result_of(knowledge, name)
        graph = fit(build(knowledge, result), result)
        richest = once(part(build(knowledge, result), result, None, 1.0))
        assert graph.graph["left_out"] == richest.number_of_nodes() - graph.number_of_nodes()
        told = say("chain.left_out", count=graph.graph["left_out"]) in to_svg(graph, "x")
        assert told == (graph.graph["left_out"] > 0)
    assert not graph.graph["left_out"], "the second case fits whole"


def test_a_tall_chain_stands_the_last_page_of_the_sheet_upright(knowledge: Knowledge) -> None:
    for name, upright in (("moor-estate", True), ("hop-kiln", False)):
        last = paper.pngs(knowledge, result_of(knowledge, name), ppi=20)[-1]
        wide, high = struct.unpack(">II", last[16:24])  # PNG, IHDR: width and height (ISO/IEC 15948, 11.2.2)
        assert (high > wide) == upright, name


def test_an_exception_that_did_not_stop_a_rule_is_left_out_and_a_needed_condition_is_not(knowledge: Knowledge) -> None:
    result = result_of(knowledge, "hop-kiln")
    whole = build(knowledge, result)
    spare = {(a, b) for a, b, d in whole.edges(data=True) if d.get("spare")}
    assert spare
    for round_ in result.rounds:
        for fired in round_.verdicts.fired:
            needed = {m.slot for m in fired.conditions if m.part != "unless"}
            name = f"rule:{fired.rule}/{fired.way}@"
            for a, b in spare:
                if b.startswith(name) and int(b.rpartition("@")[2]) == result.rounds.index(round_):
                    assert a.partition(":")[2].partition("@")[0] not in needed
    shown = part(whole, result, None, 1.0)
    assert FINDING + ":flow_in_doubt@1" in whole
    assert FINDING + ":flow_in_doubt@1" not in shown, "it would have been an exception, and was none"
    assert FINDING + ":restriction_left_after_burn@1" in shown


def two_rounds(second: dict[str, Any], weigh_twice: bool = False) -> Graph:
    """A reading that shows a finding, in two rounds; the second round's reading is changed by ``second``."""
    graph = new_graph()
    for at, when in ((0, "arrival"), (1, "after repair")):
        read = {"kind": GIVEN, "label": "Oil", "value": "5 %", "state": "given", "when": when, "round": at}
        graph.add_node(f"{GIVEN}:oil@{at}", **(read | (second if at else {})))
        graph.add_node(
            f"{DERIVED}:sum@{at}", kind=DERIVED, label="Sum", value="7", state="in range", when=when, round=at
        )
        graph.add_node(f"{FINDING}:thin@{at}", kind=FINDING, label="Thin oil", state="holds", when=when, round=at)
        graph.add_edge(f"{GIVEN}:oil@{at}", f"{DERIVED}:sum@{at}", side="plain")
        graph.add_edge(f"{DERIVED}:sum@{at}", f"{FINDING}:thin@{at}", side="for")
    graph.add_node(f"{CAUSE}:x", kind=CAUSE, label="X", state="likely")
    graph.add_node(GATE, kind=GATE, label="hold", state="hold")
    graph.add_edge(f"{FINDING}:thin@0", f"{CAUSE}:x", side="for", decibans=4.0)
    graph.add_edge(f"{FINDING}:thin@1", GATE, side="against")
    if weigh_twice:
        graph.add_edge(f"{FINDING}:thin@1", f"{CAUSE}:x", side="for", decibans=2.0)
    return graph


def test_what_did_not_change_stands_once_with_both_rounds_named() -> None:
    folded = once(two_rounds({}))
    assert set(folded.nodes) == {f"{GIVEN}:oil@0", f"{DERIVED}:sum@0", f"{FINDING}:thin@0", f"{CAUSE}:x", GATE}
    assert folded.nodes[f"{FINDING}:thin@0"]["when"] == "arrival and after repair"
    assert folded.has_edge(f"{FINDING}:thin@0", GATE)
    assert folded.edges[f"{FINDING}:thin@0", f"{CAUSE}:x"]["decibans"] == 4.0


@pytest.mark.parametrize("second", [{"value": "6 %"}, {"state": "unknown"}, {"label": "Oil, cold"}])
def test_what_changed_or_rests_on_what_changed_stands_twice(second: dict[str, Any]) -> None:
    graph = two_rounds(second)
    folded = once(graph)
    assert set(folded.nodes) == set(graph.nodes), "the finding is alike, but not what it rests on"
    assert folded.nodes[f"{FINDING}:thin@0"]["when"] == "arrival"


def test_two_pieces_of_evidence_are_never_made_one() -> None:
    folded = once(two_rounds({}, weigh_twice=True))
    assert {f"{FINDING}:thin@0", f"{FINDING}:thin@1"} <= set(folded.nodes)
    weights = [d["decibans"] for _, _, d in folded.edges(data=True) if "decibans" in d]
    assert sorted(weights) == [2.0, 4.0]
