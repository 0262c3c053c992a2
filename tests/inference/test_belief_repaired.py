"""The states of a cause in the net: with nothing repaired there or not, after work also there and then removed."""

from __future__ import annotations

import numpy as np
import pytest

from inference.belief.activation import posteriors
from inference.belief.evidence import REMOVED_IF_NAMED, Evidence, gather
from inference.belief.net import Net
from inference.engine.verdicts import FindingResult, Vote
from kb.model import Knowledge

CAUSE, FINDING = "thermostat_stuck_open", "engine_runs_cold"
SEEN = {FINDING: FindingResult("holds", (Vote("a-rule", 0, "holds", 0.9, 1.0, 0.0),))}
NOT_SEEN = {FINDING: FindingResult("fails", (Vote("a-rule", 0, "fails", 0.9, 1.0, 0.0),))}


def gathered(knowledge: Knowledge, removed_at: dict[str, int], unnamed: int | None = None) -> Evidence:
    return gather(knowledge, [SEEN, NOT_SEEN], removed_at, unnamed, None)


def test_without_work_there_are_two_states_and_a_third_would_add_nothing(knowledge: Knowledge) -> None:
    net = gathered(knowledge, {}).net
    assert net.weights.shape[1] == 2
    weights = np.concatenate([net.weights, np.zeros((len(net.names), 1))], axis=1)
    wider = Net(net.names, weights, np.concatenate([net.links, net.links], axis=1), net.leaks, net.present)
    assert posteriors(net).causes == pytest.approx(posteriors(wider).causes, rel=1e-12)


@pytest.mark.parametrize("unnamed", [None, 1])
def test_what_was_removed_shows_until_the_work_and_nothing_from_the_next_round_on(
    unnamed: int | None, knowledge: Knowledge
) -> None:
    evidence = gathered(knowledge, {CAUSE: 1}, unnamed)
    net, at = evidence.net, evidence.net.index(CAUSE)
    assert net.weights[at, 2] == pytest.approx(REMOVED_IF_NAMED * knowledge.causes[CAUSE].prior.p)
    assert [(node.finding, node.round) for node in evidence.nodes] == [(FINDING, 0), (FINDING, 1)]
    there, removed = net.links[at]
    assert there[0] == removed[0] > 0
    assert there[1] > removed[1] == 0.0


def test_work_on_one_cause_removes_no_other(knowledge: Knowledge) -> None:
    net = gathered(knowledge, {CAUSE: 1}).net
    others = np.arange(len(net.names)) != net.index(CAUSE)
    assert not net.weights[others, 2].any()
    assert (net.links[others, 0] == net.links[others, 1]).all()
