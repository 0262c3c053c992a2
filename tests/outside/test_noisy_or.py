"""Exact belief against figures published or computed elsewhere, and against pyAgrum on hundreds of nets."""

from __future__ import annotations

from collections.abc import Mapping
from decimal import Decimal, localcontext

import numpy as np
import pyagrum as gum
import pytest

from bench.belief import workshop_net
from inference.belief.activation import posteriors
from inference.belief.decibans import parted, totals, without_each
from inference.belief.net import Net
from inference.belief.soft import fold_absent, fold_present
from tests.inference.enumeration import random_net

# Worked net of three causes and three findings, net form. Its posteriors were computed for this project by
# enumeration, Quickscore (Heckerman 1989), ProbLog 2.3.0 and pyAgrum 3.3.1 addNoisyORNet, agreeing to 1e-15; the
# test below computes them anew with pyAgrum.
PRIORS = (0.10, 0.05, 0.02)
LEAKS = (0.01, 0.02, 0.005)
LINKS = ((0.8, 0.5, 0.0), (0.6, 0.0, 0.7), (0.0, 0.9, 0.3))


def worked(present: tuple[bool, bool, bool] = (True, True, False)) -> Net:
    weights = np.array([[1 - prior, prior] for prior in PRIORS])
    return Net(("A", "B", "C"), weights, np.array(LINKS)[:, None, :], np.array(LEAKS), np.array(present))


def test_worked_net_evidence_and_posteriors() -> None:
    post = posteriors(worked())
    assert np.exp(post.evidence[0]) == pytest.approx(0.0401394992, abs=5e-11)
    assert post.causes[0] == pytest.approx([0.9866554182, 0.0240820809, 0.0308300424], abs=5e-11)
    # The other reading of a leak ("with the leak", Henrion) gives A = 0.98636: not ours.
    assert abs(post.causes[0, 0] - 0.98636) > 2e-4


@pytest.mark.parametrize(
    ("cause", "steps", "total"),
    [("A", [-9.54, 13.09, 11.39, 3.75], 18.69), ("B", [-12.79, 8.53, -6.42, -5.40], -16.08)],
)
def test_worked_net_waterfalls(cause: str, steps: list[float], total: float) -> None:
    column = totals(worked(), [0, 1, 2])[:, worked().index(cause)]
    assert column[0] == pytest.approx(steps[0], abs=0.005)
    assert parted(column[1:], column[:-1]) == pytest.approx(steps[1:], abs=0.005)
    assert column[-1] == pytest.approx(total, abs=0.005)


def test_worked_net_first_finding_is_worth_more_when_asked_last() -> None:
    a = worked().index("A")
    column = totals(worked(), [0, 1, 2])[:, a]
    assert column[1] - column[0] == pytest.approx(13.1, abs=0.05)
    assert without_each(worked())[0, a] == pytest.approx(16.2, abs=0.05)


@pytest.mark.parametrize(
    ("present", "chances"),
    [
        ((False, True, False), {"A": 0.261, "C": 0.296}),  # the first finding absent: C leads
        ((True, True, True), {"A": 0.741, "B": 0.783}),  # the third present: B leads
        ((True, False, False), {"A": 0.699}),  # the second absent: A stays
    ],
)
def test_worked_net_flips(present: tuple[bool, bool, bool], chances: Mapping[str, float]) -> None:
    got = posteriors(worked(present)).causes[0]
    for cause, chance in chances.items():
        assert got["ABC".index(cause)] == pytest.approx(chance, abs=0.0006)
    lead = max(chances, key=lambda cause: chances[cause])
    assert got.argmax() == "ABC".index(lead)


def test_worked_net_explaining_away() -> None:
    """P(A | f1) = 69.3 %; once B is confirmed 14.5 %."""
    only_first = np.array([[True, False, False]])
    assert posteriors(worked(), only_first).causes[0, 0] == pytest.approx(0.693, abs=0.0006)
    net = worked()
    weights = net.weights.copy()
    weights[1, 0] = 0.0
    proven = Net(net.names, weights, net.links, net.leaks, net.present)
    assert posteriors(proven, only_first).causes[0, 0] == pytest.approx(0.145, abs=0.0006)


def test_weight_of_evidence_of_the_eleven_machines() -> None:
    """E. T. Jaynes, Probability Theory: The Logic of Science, ch. 4: eleven machines, one makes a third of its
    parts bad, ten a sixth; 5 bad in 12. Setting read in a public copy; the book's rounded result (about -2 dB, 0.4)
    is from memory, the figures here follow from its setting by hand."""
    net = Net(
        ("the bad machine",),
        np.array([[10 / 11, 1 / 11]]),
        np.full((1, 1, 12), 0.2),  # 1 - (1 - 1/6)(1 - 0.2) = 1/3
        np.full(12, 1 / 6),
        np.arange(12) < 5,
    )
    column = totals(net, range(12))[:, 0]
    assert column[0] == pytest.approx(-10.0, abs=0.005)
    assert parted(column[1:], column[:-1]) == pytest.approx([3.01] * 5 + [-0.97] * 7, abs=0.005)
    assert column[-1] == pytest.approx(-1.73, abs=0.005)
    assert posteriors(net).causes[0, 0] == pytest.approx(0.4016, abs=0.00005)


@pytest.mark.parametrize(
    ("positive", "step", "total", "chance"),
    [(True, 12.73, 2.12, 0.6198), (False, -5.84, -16.45, 0.0221)],
)
def test_predictive_values_of_a_test(positive: bool, step: float, total: float, chance: float) -> None:
    """OpenMarkov tutorial (read in a public copy): prevalence 8 %, sensitivity 75 %, specificity 96 %; predictive
    values 61.98 % and 2.21 %. As a noisy-OR: leak 4 %, and 1 - (1 - 0.04)(1 - q) = 0.75."""
    link = 1 - 0.25 / 0.96
    net = Net(("disease",), np.array([[0.92, 0.08]]), np.array([[[link]]]), np.array([0.04]), np.array([positive]))
    before, after = totals(net, [0])[:, 0]
    assert before == pytest.approx(-10.61, abs=0.005)
    assert after - before == pytest.approx(step, abs=0.005)
    assert after == pytest.approx(total, abs=0.005)
    assert posteriors(net).causes[0, 0] == pytest.approx(chance, abs=0.00005)


def reference(net: Net, soft: Mapping[int, tuple[bool, float]] | None = None) -> tuple[np.ndarray, float]:
    """Return ([n, 1 + K] chances, P(findings)) of pyAgrum; ``soft``: node to (present, trust) instead of hard.

    A cause is one variable of 1 + K states; each present state has a yes/no child that copies it, since a noisy-OR
    takes only yes/no parents.
    """
    n, count = net.weights.shape
    bayes = gum.BayesNet()
    for cause in range(n):
        bayes.add(gum.RangeVariable(f"c{cause}", "", 0, count - 1))
        bayes.cpt(f"c{cause}").fillWith((net.weights[cause] / net.weights[cause].sum()).tolist())
        for state in range(1, count):
            name = f"c{cause}_{state}"
            bayes.add(gum.RangeVariable(name, "", 0, 1))
            bayes.addArc(f"c{cause}", name)
            bayes.cpt(name)[:] = [[0.0, 1.0] if own == state else [1.0, 0.0] for own in range(count)]
    for node, leak in enumerate(net.leaks.tolist()):
        bayes.addNoisyORNet(gum.RangeVariable(f"f{node}", "", 0, 1), leak)
        for cause, state in np.argwhere(net.links[:, :, node] > 0).tolist():
            bayes.addWeightedArc(f"c{cause}_{state + 1}", f"f{node}", float(net.links[cause, state, node]))
    evidence: dict[str, int | list[float]] = {
        f"f{node}": int(present) for node, present in enumerate(net.present.tolist())
    }
    for node, (present, trust) in (soft or {}).items():
        evidence[f"f{node}"] = [1 - trust, trust] if present else [trust, 1 - trust]
    engine = gum.LazyPropagation(bayes)
    engine.setEvidence(evidence)
    engine.makeInference()
    chances = np.array([engine.posterior(f"c{cause}").toarray() for cause in range(n)])
    return chances, float(engine.evidenceProbability())


@pytest.mark.parametrize("block", range(10))
def test_two_hundred_random_nets_against_pyagrum(block: int) -> None:
    for seed in range(20 * block, 20 * block + 20):
        rng = np.random.default_rng(seed)
        net = random_net(seed, int(rng.integers(1, 9)), int(rng.integers(1, 3)), int(rng.integers(1, 8)), zeros=False)
        post = posteriors(net)
        chances, evidence = reference(net)
        np.testing.assert_allclose(post.states[0], chances[:, 1:], rtol=1e-9, atol=1e-12)
        assert np.exp(post.evidence[0]) == pytest.approx(evidence, rel=1e-9)


@pytest.mark.parametrize("seed", range(30))
def test_soft_findings_folded_in_against_pyagrum_likelihoods(seed: int) -> None:
    """Present with trust: any causes. Absent with trust: one cause and no leak, where the folding is exact."""
    net = random_net(1000 + seed, 5, 1, 7, zeros=False)
    rng = np.random.default_rng(seed)
    links, leaks = net.links.copy(), net.leaks.copy()
    soft: dict[int, tuple[bool, float]] = {}
    for node in range(6):
        trust = float(rng.uniform(0.55, 0.99))
        soft[node] = (bool(net.present[node]), trust)
        if not net.present[node]:
            links[:, :, node] = 0
            links[rng.integers(5), 0, node] = rng.uniform(0.1, 0.95)
            leaks[node] = 0.0
    chances, _ = reference(Net(net.names, net.weights, links, leaks, net.present), soft)
    for node, (present, trust) in soft.items():
        if present:
            leaks[node] = fold_present(leaks[node], trust)
        else:
            links[:, :, node], leaks[node] = fold_absent(links[:, :, node], leaks[node], trust)
    folded = posteriors(Net(net.names, net.weights, links, leaks, net.present))
    np.testing.assert_allclose(folded.causes[0], chances[:, 1], rtol=1e-9)


def test_eighteen_present_findings_against_pyagrum() -> None:
    net = workshop_net(1, causes=16, present=18, absent=12, states=1)
    chances, evidence = reference(net)
    post = posteriors(net)
    np.testing.assert_allclose(post.states[0], chances[:, 1:], rtol=1e-9)
    assert post.evidence[0] == pytest.approx(np.log(evidence), rel=1e-10)


def quickscore(net: Net) -> tuple[np.ndarray, float]:
    """Return ([n, 1 + K] chances, P(findings)) by Heckerman's Quickscore (1989) in 80-digit arithmetic.

    The alternating sum over all sets of present findings; what it loses in double precision it has to spare here.
    """
    with localcontext(prec=80):
        present = np.flatnonzero(net.present).tolist()
        off = np.frompyfunc(lambda number: 1 - Decimal(number), 1, 1)
        leak_off, link_off = off(net.leaks), off(net.links)
        weights = np.frompyfunc(Decimal, 1, 1)(net.weights / net.weights.sum(axis=1, keepdims=True))

        def over_sets(values: np.ndarray) -> np.ndarray:
            """[2^present] product of ``values`` over the absent findings and the members of each set."""
            products = np.array([values[~net.present].prod()], dtype=object)
            for node in present:
                products = np.concatenate([products, products * values[node]])
            return products

        signs = np.array([1], dtype=object)
        for _ in present:
            signs = np.concatenate([signs, -signs])
        total = signs * over_sets(leak_off)
        terms = []
        for cause in range(len(net.names)):
            own = [np.full(len(signs), weights[cause, 0], dtype=object)]
            own += [w * over_sets(row) for w, row in zip(weights[cause, 1:], link_off[cause], strict=True)]
            terms.append(own)
            total = total * sum(own)
        evidence = total.sum()
        chances = [[float((total / sum(own) * one).sum() / evidence) for one in own] for own in terms]
        return np.array(chances), float(evidence)


@pytest.mark.parametrize(("seed", "states", "present", "absent"), [(1, 2, 12, 25), (2, 1, 13, 25), (3, 2, 6, 31)])
def test_nets_of_full_size_against_quickscore(seed: int, states: int, present: int, absent: int) -> None:
    """36 causes; findings linked to 3 to 8 of them, the two complaints to 30."""
    net = workshop_net(seed, present=present, absent=absent, states=states)
    post = posteriors(net)
    chances, evidence = quickscore(net)
    np.testing.assert_allclose(post.states[0], chances[:, 1:], rtol=1e-9)
    np.testing.assert_allclose(post.absent[0], chances[:, 0], rtol=1e-9)
    assert post.evidence[0] == pytest.approx(np.log(evidence), rel=1e-11)
