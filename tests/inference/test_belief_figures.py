"""Waterfalls, leave-one-out figures, most probable sets and soft evidence, against the joint summed by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inference.belief import sets
from inference.belief.activation import ImpossibleEvidence, posteriors
from inference.belief.decibans import odds_in_decibans, totals, waterfall, without, without_each
from inference.belief.net import Net
from inference.belief.sets import best_sets
from inference.belief.soft import fold_absent, fold_present, ratio
from tests.inference.enumeration import joint, random_net


def decibans(chance: float) -> float:
    return 10 * math.log10(chance / (1 - chance))


def test_a_waterfall_starts_at_the_prior_and_adds_up_to_the_posterior() -> None:
    net = random_net(61, 5, 2, 7, zeros=False)
    asked = [3, 0, 6, 1, 5, 2, 4]
    steps = waterfall(net, "c2", asked)
    assert [step.evidence for step in steps] == [None, *asked]
    include = np.zeros(7, dtype=np.bool_)
    for step in steps:
        if step.evidence is not None:
            include[step.evidence] = True
        assert step.total == pytest.approx(decibans(1 - joint(net, include).chances[2, 0]), abs=1e-9)
    assert sum(step.decibans for step in steps) == pytest.approx(steps[-1].total, abs=1e-9)
    assert steps[-1].total == pytest.approx(float(odds_in_decibans(posteriors(net))[0, 2]))


def test_the_last_step_of_a_waterfall_is_what_leaving_that_one_out_takes_away() -> None:
    net = random_net(62, 5, 1, 6, zeros=False)
    each = without_each(net)
    assert each.shape == (6, 5)
    for last in range(6):
        asked = [*(other for other in range(6) if other != last), last]
        for column, cause in enumerate(net.names):
            assert waterfall(net, cause, asked)[-1].decibans == pytest.approx(each[last, column], abs=1e-9)
    np.testing.assert_array_equal(without(net, "c3"), each[:, 3])


def test_odds_of_one_state_count_the_other_states_against_it() -> None:
    net = random_net(63, 4, 2, 5, zeros=False)
    chances = joint(net).chances
    got = odds_in_decibans(posteriors(net), states=[0])[0]
    assert got == pytest.approx([decibans(chance) for chance in chances[:, 1]], abs=1e-9)
    assert totals(net, [0, 1, 2, 3, 4], states=[0])[-1] == pytest.approx(got)


def test_odds_stay_good_where_a_probability_rounds_to_one() -> None:
    net = Net(("any",), np.array([[1e-25, 1.0]]), np.zeros((1, 1, 0)), np.zeros(0), np.zeros(0, dtype=np.bool_))
    assert odds_in_decibans(posteriors(net))[0, 0] == pytest.approx(250.0)


def test_a_proven_and_a_ruled_out_cause_stand_at_infinity_and_take_no_steps() -> None:
    net = random_net(64, 3, 1, 4, zeros=False)
    weights = net.weights.copy()
    weights[0, 0] = 0.0
    weights[1, 1] = 0.0
    settled = Net(net.names, weights, net.links, net.leaks, net.present)
    assert [(s.decibans, s.total) for s in waterfall(settled, "c0", [1, 2])][1:] == [(0.0, math.inf)] * 2
    assert without(settled, "c1").tolist() == [0.0] * 4
    assert odds_in_decibans(posteriors(settled))[0, 1] == -math.inf


def test_an_order_that_asks_twice_or_an_unknown_cause_is_refused() -> None:
    net = random_net(65, 3, 1, 4, zeros=False)
    with pytest.raises(ValueError, match="at most once"):
        waterfall(net, "c0", [0, 1, 0])
    with pytest.raises(ValueError, match="no cause 'c9'"):
        waterfall(net, "c9", [0])


@settings(max_examples=80, deadline=None)
@given(st.integers(0, 10**6), st.integers(1, 5), st.integers(1, 2), st.integers(0, 7), st.sampled_from([1, 5, 12]))
def test_the_best_sets_are_those_of_the_whole_list(seed: int, n: int, states: int, m: int, top: int) -> None:
    net = random_net(seed, n, states, m)
    whole = joint(net)
    if whole.mass.sum() == 0:
        with pytest.raises(ImpossibleEvidence):
            best_sets(net)
        return
    got = best_sets(net, top)
    want = [one for one in whole.sets() if one[1] >= sets.LEAST][:top]
    assert [chance for _, chance in got] == pytest.approx([chance for _, chance in want], rel=1e-9)
    listed = dict(whole.sets())
    assert all(listed[names] == pytest.approx(chance, rel=1e-9) for names, chance in got)
    assert len({names for names, _ in got}) == len(got)


def test_the_best_sets_are_the_same_in_small_portions(monkeypatch: pytest.MonkeyPatch) -> None:
    net = random_net(71, 9, 1, 12, density=0.4, zeros=False)
    before = best_sets(net, 20)
    assert len(before) == 20
    monkeypatch.setattr(sets, "CELLS", 1)
    assert [names for names, _ in best_sets(net, 20)] == [names for names, _ in before]


def test_sets_of_a_net_without_present_findings_come_from_the_weights_alone() -> None:
    net = random_net(72, 4, 1, 3, present=0.0, zeros=False)
    assert best_sets(net, 3) == [(names, pytest.approx(chance)) for names, chance in joint(net).sets()[:3]]


@pytest.mark.parametrize("trust", [0.6, 0.9, 0.98, 1.0])
def test_a_present_verdict_folds_exactly_for_any_number_of_causes(trust: float) -> None:
    """The soft factor trust x P(on) + (1 - trust) x P(off), on every set of three causes."""
    net = random_net(81, 3, 1, 1, density=1.0, present=1.0, zeros=False)
    folded = Net(net.names, net.weights, net.links, np.array([fold_present(net.leaks[0], trust)]), net.present)
    off = joint(Net(net.names, net.weights, net.links, net.leaks, ~net.present)).mass
    want = trust * joint(net).mass + (1 - trust) * off
    np.testing.assert_allclose(joint(folded).mass / joint(folded).mass.sum(), want / want.sum(), rtol=1e-12)
    there = (joint(net).states[:, 0] > 0) @ want / want.sum()
    assert posteriors(folded).states[0, 0, 0] == pytest.approx(there, rel=1e-12)


@pytest.mark.parametrize("trust", [0.6, 0.9, 0.98, 1.0])
def test_an_absent_verdict_folds_exactly_for_one_cause_and_never_too_mildly_for_two(trust: float) -> None:
    r = ratio(trust)
    one, leak = fold_absent(np.array([0.7]), 0.0, trust)
    assert 1 - one[0] == pytest.approx(r + (1 - r) * 0.3, rel=1e-12)
    assert leak == 0.0
    pair, _ = fold_absent(np.array([0.7, 0.9]), 0.0, trust)
    exact = r + (1 - r) * 0.3 * 0.1
    assert exact - (1 - pair).prod() == pytest.approx(r * (1 - r) * 0.7 * 0.9, abs=1e-12)


@pytest.mark.parametrize("trust", [0.5, 0.2, 1.01, math.nan])
def test_a_trust_that_says_nothing_is_refused(trust: float) -> None:
    with pytest.raises(ValueError, match=f"trust is {trust}"):
        fold_present(0.1, trust)
