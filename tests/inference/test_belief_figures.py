"""Totals step by step, leave-one-out figures and soft evidence, against the joint summed by hand."""

from __future__ import annotations

import math

import numpy as np
import pytest

from inference.belief.activation import posteriors
from inference.belief.decibans import odds_in_decibans, parted, totals, without_each
from inference.belief.net import Net
from inference.belief.soft import fold_absent, fold_present, ratio
from tests.inference.enumeration import joint, random_net


def decibans(chance: float) -> float:
    return 10 * math.log10(chance / (1 - chance))


def test_totals_start_at_the_prior_and_end_at_the_posterior() -> None:
    net = random_net(61, 5, 2, 7, zeros=False)
    asked = [3, 0, 6, 1, 5, 2, 4]
    column = totals(net, asked)[:, 2]
    include = np.zeros(7, dtype=np.bool_)
    for total, evidence in zip(column, [None, *asked], strict=True):
        if evidence is not None:
            include[evidence] = True
        assert total == pytest.approx(decibans(1 - joint(net, include).chances[2, 0]), abs=1e-9)
    assert column[-1] == pytest.approx(float(odds_in_decibans(posteriors(net))[0, 2]))


def test_the_last_step_is_what_leaving_that_one_out_takes_away() -> None:
    net = random_net(62, 5, 1, 6, zeros=False)
    each = without_each(net)
    assert each.shape == (6, 5)
    for last in range(6):
        found = totals(net, [*(other for other in range(6) if other != last), last])
        assert parted(found[-1], found[-2]) == pytest.approx(each[last], abs=1e-9)


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
    found = totals(settled, [1, 2])
    assert found[:, 0].tolist() == [math.inf] * 3
    assert parted(found[1:, 0], found[:-1, 0]).tolist() == [0.0, 0.0]
    assert without_each(settled)[:, 1].tolist() == [0.0] * 4
    assert odds_in_decibans(posteriors(settled))[0, 1] == -math.inf


def test_an_order_that_asks_twice_or_an_unknown_cause_is_refused() -> None:
    net = random_net(65, 3, 1, 4, zeros=False)
    with pytest.raises(ValueError, match="at most once"):
        totals(net, [0, 1, 0])
    with pytest.raises(ValueError, match="no cause 'c9'"):
        net.index("c9")


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
