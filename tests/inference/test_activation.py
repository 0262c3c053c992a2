"""Exact belief against the joint summed state by state, and what it says when the evidence cannot be."""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inference.belief import activation, order
from inference.belief.activation import ImpossibleEvidence, TooInterwoven, posteriors, prepare
from inference.belief.net import Net
from inference.belief.together import posteriors_of
from tests.inference.enumeration import joint, random_net

SIZES = st.tuples(st.integers(1, 6), st.integers(1, 3), st.integers(0, 9))


def same(net: Net, include: np.ndarray | None = None) -> None:
    """Hold every figure of every variant against enumeration."""
    which = np.ones((1, len(net.leaks)), dtype=np.bool_) if include is None else include
    sums = [joint(net, row) for row in which]
    if min(one.mass.sum() for one in sums) == 0:
        with pytest.raises(ImpossibleEvidence):
            posteriors(net, which)
        return
    post = posteriors(net, which)
    for row, one in enumerate(sums):
        np.testing.assert_allclose(post.states[row], one.chances[:, 1:], rtol=1e-9, atol=1e-300)
        np.testing.assert_allclose(post.absent[row], one.chances[:, 0], rtol=1e-9, atol=1e-300)
        np.testing.assert_allclose(post.causes[row], 1 - one.chances[:, 0], atol=1e-12)
        assert post.none[row] == pytest.approx(one.none, rel=1e-9)
        assert post.evidence[row] == pytest.approx(one.log_evidence, rel=1e-9, abs=1e-12)


@settings(max_examples=100, deadline=None)
@given(seed=st.integers(0, 10**6), size=SIZES, count=st.integers(2, 6))
def test_nets_swept_together_give_what_each_gives_alone(seed: int, size: tuple[int, int, int], count: int) -> None:
    """Figures drawn anew, in part (other links) or in whole, and findings left out: some nets share a sweep."""
    causes, states, nodes = size
    rng = np.random.default_rng(seed)
    first = random_net(seed, causes, states, nodes, 0.6)
    nets = [first]
    for n in range(count):
        drawn = random_net(seed + 1 + n, causes, states, nodes, 0.6)
        shifted = Net(first.names, drawn.weights, first.links * rng.uniform(0.3, 1), first.leaks / 2, first.present)
        one = shifted if n % 2 else drawn
        kept = rng.random(nodes) < 0.7
        fewer = Net(one.names, one.weights, one.links[:, :, kept], one.leaks[kept], one.present[kept])
        nets += [one, fewer]
    for net, found in zip(nets, posteriors_of(nets), strict=True):
        if found is None:
            with pytest.raises(ImpossibleEvidence):
                posteriors(net)
            continue
        alone = posteriors(net)
        np.testing.assert_allclose(found.states, alone.states, rtol=1e-9, atol=1e-15)
        np.testing.assert_allclose(found.absent, alone.absent, rtol=1e-9, atol=1e-15)
        np.testing.assert_allclose(found.none, alone.none, rtol=1e-9)
        np.testing.assert_allclose(found.evidence, alone.evidence, rtol=1e-9, atol=1e-12)


@settings(max_examples=150, deadline=None)
@given(seed=st.integers(0, 10**6), size=SIZES, density=st.sampled_from([0.2, 0.5, 1.0]))
def test_every_figure_equals_the_sum_over_all_states(seed: int, size: tuple[int, int, int], density: float) -> None:
    causes, states, evidence = size
    if (states + 1) ** causes > 1100:
        causes = 4
    net = random_net(seed, causes, states, evidence, density)
    rng = np.random.default_rng(seed + 1)
    include = rng.random((3, evidence)) < 0.75
    include[0] = True
    same(net, include)


@pytest.mark.parametrize("states", [1, 2])
def test_a_cause_linked_to_more_findings_than_fit_one_block(states: int) -> None:
    net = random_net(7, 4, states, 12, density=1.0, present=1.0, zeros=False)
    include = np.ones((13, 12), dtype=np.bool_)
    include[np.arange(12), np.arange(12)] = False
    assert prepare(net, include).width == 12
    same(net, include)


def band(causes: int, evidence: int, reach: int = 4) -> Net:
    """Return a net whose findings each hang on a few neighbouring causes, all of them present."""
    net = random_net(3, causes, 1, evidence, density=1.0, present=1.0, zeros=False)
    links = net.links.copy()
    for finding in range(evidence):
        first = finding * (causes - reach) // (evidence - 1)
        links[:first, :, finding] = 0
        links[first + reach :, :, finding] = 0
    return Net(net.names, net.weights * [1.0, 0.1], links, net.leaks * 0.05, net.present)


def test_two_and_twenty_present_findings_stay_exact_with_few_open_at_a_time() -> None:
    net = band(14, 22)
    assert net.present.sum() == 22
    assert prepare(net, np.ones((1, 22), dtype=np.bool_)).width < 12
    same(net)


def test_parts_of_the_net_that_share_no_present_finding_do_not_widen_each_other() -> None:
    one = random_net(5, 4, 2, 5, density=1.0, present=1.0, zeros=False)
    links = np.zeros((12, 2, 15))
    for part in range(3):
        links[part * 4 : part * 4 + 4, :, part * 5 : part * 5 + 5] = one.links
    names = tuple(f"c{place}" for place in range(12))
    net = Net(names, np.tile(one.weights, (3, 1)), links, np.tile(one.leaks, 3), np.ones(15, dtype=np.bool_))
    assert prepare(net, np.ones((1, 15), dtype=np.bool_)).width == 5
    post = posteriors(net)
    np.testing.assert_allclose(post.states[0], np.tile(joint(one).chances[:, 1:], (3, 1)), rtol=1e-10)
    assert post.evidence[0] == pytest.approx(3 * joint(one).log_evidence)


def test_portions_and_the_search_for_an_order_change_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    net = random_net(11, 9, 2, 14, density=0.3, present=0.7, zeros=False)
    include = np.random.default_rng(0).random((9, 14)) < 0.8
    before = posteriors(net, include)
    monkeypatch.setattr(activation, "CELLS", 1 << prepare(net, include).width + 1)
    monkeypatch.setattr(order, "WORTH_A_SEARCH", 0)
    order.sequence.cache_clear()
    after = posteriors(net, include)
    order.sequence.cache_clear()
    np.testing.assert_allclose(after.states, before.states, rtol=1e-12)
    np.testing.assert_allclose(after.evidence, before.evidence, rtol=1e-12)


def test_the_order_of_causes_and_findings_does_not_matter() -> None:
    net = random_net(21, 8, 2, 11, density=0.4, present=0.6, zeros=False)
    rng = np.random.default_rng(4)
    rows, columns = rng.permutation(8), rng.permutation(11)
    turned = Net(
        tuple(net.names[row] for row in rows),
        net.weights[rows],
        net.links[rows][:, :, columns],
        net.leaks[columns],
        net.present[columns],
    )
    np.testing.assert_allclose(posteriors(turned).states[0], posteriors(net).states[0][rows], rtol=1e-12)


def test_evidence_left_out_is_evidence_never_asked_for() -> None:
    net = random_net(31, 5, 2, 8, zeros=False)
    for left_out in range(8):
        include = np.ones((1, 8), dtype=np.bool_)
        include[0, left_out] = False
        rest = np.flatnonzero(include[0])
        smaller = Net(net.names, net.weights, net.links[:, :, rest], net.leaks[rest], net.present[rest])
        np.testing.assert_allclose(posteriors(net, include).states, posteriors(smaller).states, rtol=1e-11)


def test_improbable_evidence_keeps_all_its_digits() -> None:
    """Ten present findings of one in a hundred thousand, in exact fractions: an alternating sum would be lost."""
    link, leak, prior = Fraction(1, 1000), Fraction(1, 100_000), Fraction(1, 1000)
    total = there = Fraction(0)
    for first in (0, 1):
        for second in (0, 1):
            weight = (prior if first else 1 - prior) * (prior if second else 1 - prior)
            term = weight * (1 - (1 - leak) * (1 - link) ** (first + second)) ** 10
            total += term
            there += term * first
    net = Net(
        ("one", "other"),
        np.array([[0.999, 0.001]] * 2),
        np.full((2, 1, 10), 0.001),
        np.full(10, 0.00001),
        np.ones(10, dtype=np.bool_),
    )
    post = posteriors(net)
    assert post.states[0, 0, 0] == pytest.approx(float(there / total), rel=1e-12)
    assert post.absent[0, 0] == pytest.approx(float(1 - there / total), rel=1e-12)


def test_a_hundred_rare_findings_in_a_chain_do_not_underflow() -> None:
    """Finding i hangs on causes i and i + 1; P(findings) is far below the smallest float. Oracle: exact fractions,
    carried along the chain for the last cause absent and there."""
    link, leak, prior = Fraction(1, 10**5), Fraction(1, 10**6), Fraction(1, 1000)
    carried = [1 - prior, prior]
    for _ in range(100):
        on = [1 - (1 - leak) * (1 - link) ** count for count in range(3)]
        carried = [
            (1 - prior) * (carried[0] * on[0] + carried[1] * on[1]),
            prior * (carried[0] * on[1] + carried[1] * on[2]),
        ]
    links = np.zeros((101, 1, 100))
    links[np.arange(100), 0, np.arange(100)] = links[np.arange(1, 101), 0, np.arange(100)] = 1e-5
    net = Net(
        tuple(f"c{place}" for place in range(101)),
        np.tile([0.999, 0.001], (101, 1)),
        links,
        np.full(100, 1e-6),
        np.ones(100, dtype=np.bool_),
    )
    total = sum(carried)
    assert total < Fraction(1, 10**400)
    post = posteriors(net)
    assert post.states[0, 100, 0] == pytest.approx(float(carried[1] / total), rel=1e-9)
    assert post.evidence[0] == pytest.approx(math.log(total.numerator) - math.log(total.denominator), rel=1e-12)


def test_findings_that_only_one_cause_explains_are_not_kept_open() -> None:
    net = random_net(45, 2, 2, 40, density=1.0, present=1.0, zeros=False)
    links = net.links.copy()
    links[1, :, :38] = 0
    net = Net(net.names, net.weights, links, net.leaks, net.present)
    include = np.random.default_rng(2).random((5, 40)) < 0.5
    assert prepare(net, include).width == 2
    same(net, include)


def test_a_proof_makes_a_cause_certain_and_explains_the_rest_away() -> None:
    net = random_net(41, 4, 1, 5, density=1.0, present=1.0, zeros=False)
    proven = net.weights.copy()
    proven[2, 0] = 0.0
    post = posteriors(Net(net.names, proven, net.links, net.leaks, net.present))
    assert post.states[0, 2, 0] == 1.0
    assert post.absent[0, 2] == 0.0
    assert post.none[0] == 0.0
    before = posteriors(net).causes[0]
    assert all(post.causes[0, other] < before[other] for other in (0, 1, 3))


def test_a_veto_rules_a_cause_out() -> None:
    net = random_net(43, 4, 2, 5, density=1.0, present=1.0, zeros=False)
    vetoed = net.weights.copy()
    vetoed[1, 1:] = 0.0
    post = posteriors(Net(net.names, vetoed, net.links, net.leaks, net.present))
    assert (post.states[0, 1] == 0.0).all()
    assert post.absent[0, 1] == 1.0


def small(weights: list[list[float]], leak: float, present: bool) -> Net:
    return Net(("valve", "hose"), np.array(weights), np.full((2, 1, 1), 0.5), np.array([leak]), np.array([present]))


@pytest.mark.parametrize(
    ("net", "says"),
    [
        (small([[1, 0], [1, 0]], 0.0, True), "was seen though nothing left"),
        (small([[0, 0], [1, 1]], 0.1, True), "'valve' can be neither there nor absent"),
        (small([[1, 1], [1, 1]], 1.0, False), "not seen though it always goes off"),
    ],
)
def test_evidence_that_cannot_be_is_said_so(net: Net, says: str) -> None:
    with pytest.raises(ImpossibleEvidence, match=says):
        posteriors(net)


def test_findings_that_cannot_all_be_true_are_said_so() -> None:
    """Findings without leak, each of another state of one cause: it cannot be in both at once."""
    links = np.array([[[0.9, 0.0], [0.0, 0.9]]])
    net = Net(("valve",), np.array([[1.0, 0.1, 0.1]]), links, np.zeros(2), np.ones(2, dtype=np.bool_))
    with pytest.raises(ImpossibleEvidence, match="'valve' can be neither there nor absent"):
        posteriors(net)
    assert posteriors(net, np.array([[True, False]])).states[0, 0].tolist() == [1.0, 0.0]
    same(net, np.array([[True, False], [False, True]]))
    # Two causes of three states, three findings, each set off by one state of either: at most two can be on.
    links = np.tile(0.9 * np.eye(3), (2, 1, 1))
    net = Net(("valve", "hose"), np.ones((2, 4)), links, np.zeros(3), np.ones(3, dtype=np.bool_))
    with pytest.raises(ImpossibleEvidence, match="cannot all be true at once"):
        posteriors(net)
    same(net, np.array([[True, True, False], [False, True, True]]))


def test_more_findings_than_memory_holds_are_refused_not_dropped() -> None:
    net = random_net(51, 26, 1, 26, density=1.0, present=1.0, zeros=False)
    with pytest.raises(TooInterwoven, match="26 present findings hang together"):
        posteriors(net)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ({"weights": np.array([[1.0, -0.1], [1.0, 0.1]])}, "weights holds a number that is negative"),
        ({"weights": np.array([[1.0, np.nan], [1.0, 0.1]])}, "not finite"),
        ({"weights": np.ones((3, 2))}, r"weights has shape \(3, 2\); it must be \(2, 1 \+ present states\)"),
        ({"links": np.ones((2, 1, 1))}, r"links holds a number outside \[0, 1\)"),
        ({"links": np.zeros((2, 2, 1))}, r"it must be \(2, 1, 1\)"),
        ({"leaks": np.array([1.5])}, "leaks holds a number outside"),
        ({"present": np.array([1.0])}, "present of type bool"),
        ({"names": ("valve", "valve")}, "a cause twice"),
    ],
)
def test_a_net_that_is_none_is_refused_with_its_field(change: dict[str, object], says: str) -> None:
    good = small([[1, 1], [1, 1]], 0.1, True)
    with pytest.raises(ValueError, match=says):
        Net(**{**vars(good), **change})  # type: ignore[arg-type]


def test_variants_of_the_wrong_shape_are_refused() -> None:
    with pytest.raises(ValueError, match=r"include has shape \(1, 3\)"):
        posteriors(small([[1, 1], [1, 1]], 0.1, True), np.ones((1, 3), dtype=np.bool_))


@settings(max_examples=100, deadline=None)
@given(st.lists(st.integers(0, 2**8 - 1), min_size=1, max_size=12), st.booleans())
def test_the_plan_takes_every_linked_cause_once_and_closes_every_finding(masks: list[int], search: bool) -> None:
    order.sequence.cache_clear()
    worth = order.WORTH_A_SEARCH
    order.WORTH_A_SEARCH = 0 if search else worth
    try:
        steps = order.sequence(tuple(masks))
    finally:
        order.WORTH_A_SEARCH = worth
        order.sequence.cache_clear()
    assert sorted(step.cause for step in steps) == [cause for cause, mask in enumerate(masks) if mask]
    open_now: list[int] = []
    for step in steps:
        open_now = [*step.enters, *open_now]
        assert len(set(open_now)) == len(open_now) == step.width
        if step.turn:
            turned = [open_now[axis] for axis in step.turn[:-1]]
            assert [turned[axis] for axis in step.back[:-1]] == open_now
            open_now = turned
        assert tuple(open_now[: len(step.bits)]) == step.bits
        assert sum(1 << finding for finding in step.bits) == masks[step.cause]
        open_now = open_now[step.closes :]
    assert open_now == []
