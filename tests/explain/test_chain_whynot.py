"""The picture of a branch that failed: readable on paper, true to the rules, and never of something else."""

from __future__ import annotations

import re
from pathlib import Path

from typer.testing import CliRunner

from clogwise.cli import app
from explain.chain import RULE
from explain.chainfit import READABLE, letters
from explain.chainwhynot import fitted, whynot
from explain.layout import lay_out
from inference.diagnose import diagnose
from inference.read_case import read_case
from kb.faults import Faults
from kb.model import Knowledge

CASES = Path(__file__).parents[2] / "cases"


def test_a_rule_stopped_by_an_exception_does_not_read_as_if_it_needed_it(knowledge: Knowledge) -> None:
    """A rule stopped by a burn that is hot enough was drawn as needing that it "is fails"."""
    result = diagnose(read_case(CASES / "tram-stop.yaml", knowledge), knowledge)
    graph = whynot(knowledge, result, "oxidation_catalyst_aged")
    told = graph.nodes[f"{RULE}:catalyst-makes-little-heat@0"]["value"]
    assert told == "breaks here, stopped by: The filter does not get hot enough during a burn: it is not so"
    for cause in knowledge.causes:
        for node, data in whynot(knowledge, result, cause).nodes(data=True):
            if data["kind"] == RULE:
                assert not re.search(r"\bis (fails|holds|unknown)\b|: is ", data["value"]), node


def test_a_failed_branch_can_be_read_on_paper_and_says_what_it_leaves_out(knowledge: Knowledge) -> None:
    """Whole, two branches of three would have come out in letters of less than 5 pt on A4."""
    result = diagnose(read_case(CASES / "tram-stop.yaml", knowledge), knowledge)
    folded = 0
    for cause in knowledge.causes:
        graph, whole = fitted(knowledge, result, cause), whynot(knowledge, result, cause)
        assert max(letters(lay_out(graph))) >= READABLE
        assert graph.graph["left_out"] == whole.number_of_nodes() - graph.number_of_nodes()
        assert set(graph) <= set(whole), "nothing is drawn that the whole has not"
        rules = [n for n, d in graph.nodes(data=True) if d["kind"] == RULE]
        assert rules
        for rule in rules:  # where it broke is never folded away
            assert graph.nodes[rule]["value"] == whole.nodes[rule]["value"]
            against = {e for e in whole.in_edges(rule) if whole.edges[e]["side"] != "for"}
            assert against <= set(graph.in_edges(rule))
        folded += graph.graph["left_out"] > 0
    assert folded > 20


def test_a_decision_is_no_branch_and_nothing_else_is_drawn_for_it(tmp_path: Path) -> None:
    """For "clear to burn" the picture of "nothing that burns is near the exhaust" was drawn, without a word."""
    out = tmp_path / "x.svg"
    for said in ("clear to burn", "clear", "do not burn"):
        told = CliRunner().invoke(app, ["chain", str(CASES / "tram-stop.yaml"), "--whynot", said, "-o", str(out)])
        assert isinstance(told.exception, Faults)
        assert "is a decision" in str(told.exception)
    assert not out.exists()
