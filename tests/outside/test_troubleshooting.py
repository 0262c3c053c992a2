"""The order of tests and repairs against a published example, brute force, an exact program over subsets, and pyAgrum.

The problems of several causes are posteriors of random noisy-OR nets, summed state by state (tests/inference/
enumeration.py), which shares no code with what is tested.
"""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from functools import cache
from pathlib import Path

import numpy as np
import pyagrum as gum
import pytest

from inference.belief.activation import posteriors
from inference.belief.net import Floats, Net
from inference.diagnose import diagnose, evidence_of
from inference.plan.build import MOST_CAUSES
from inference.plan.joint import joint
from inference.plan.outlook import Held, Outlook, Outlooks, Scene, links_of, reader_rates
from inference.plan.search import PriceOfTest, Search, State
from inference.plan.subsets import Prices, best_costs, best_order, cost_of, handed_on, left
from inference.read_case import read_case
from kb.model import Knowledge
from tests.inference.enumeration import joint as enumerated
from tests.inference.enumeration import random_net

CASES = Path(__file__).parents[2] / "cases"


def single(*chances: float) -> Floats:
    """Return [2^K, 1] the table of exactly one cause being there."""
    table = np.zeros((1 << len(chances), 1))
    for i, p in enumerate(chances):
        table[1 << i] = p
    return table


def without_choice(table: Floats, prices: Prices) -> tuple[Floats, Floats]:
    u = left(table)
    return u, handed_on(u, table, prices)


def test_published_order_of_two_boxes() -> None:
    """cs.stackexchange.com question 144646 (read in a public copy): one prize in one of two boxes, chances 0.8 and 0.2,
    opening costs 3 and 2. Box 1 first costs 3.4, box 2 first 4.4; the rule is chance over cost (Kadane and Simon)."""
    prices = Prices((3.0, 2.0))
    u, ends = without_choice(single(0.8, 0.2), prices)
    assert cost_of(u, ends, prices, [0, 1]) == pytest.approx(3.4)
    assert cost_of(u, ends, prices, [1, 0]) == pytest.approx(4.4)
    assert best_order(u, ends, prices) == [0, 1]


FOUR = single(0.4, 0.3, 0.2, 0.1)
FOUR_PRICES = Prices((120.0, 40.0, 15.0, 60.0))


def test_four_actions_against_all_orders() -> None:
    """Constructed case; 113.0 is the least over all 24 orders, summed here by the plain formula."""
    u, ends = without_choice(FOUR, FOUR_PRICES)
    p, c = (0.4, 0.3, 0.2, 0.1), FOUR_PRICES.repairs
    by_hand = {
        order: sum((1 - sum(p[j] for j in order[:n])) * c[i] for n, i in enumerate(order))
        for order in itertools.permutations(range(4))
    }
    assert min(by_hand.values()) == pytest.approx(113.0)
    assert best_order(u, ends, FOUR_PRICES) == [2, 1, 0, 3] == list(min(by_hand, key=lambda o: by_hand[o]))
    assert best_costs(u, ends, FOUR_PRICES)[0, 0] == pytest.approx(113.0)
    assert cost_of(u, ends, FOUR_PRICES, [0, 1, 2, 3]) == pytest.approx(154.5)  # by probability
    assert cost_of(u, ends, FOUR_PRICES, [2, 1, 3, 0]) == pytest.approx(125.0)  # by cost


@pytest.mark.parametrize(("right", "after", "worth"), [(1.0, 86.5, 26.5), (0.9, 96.55, 16.45)])
def test_value_of_a_question_that_parts_two_pairs(right: float, after: float, worth: float) -> None:
    """Worked by hand: the question tells causes 1 and 2 from 3 and 4, surely or rightly in nine of ten."""
    yes = np.array([right if mask & 0b0011 else 1 - right for mask in range(16)])
    outlook = Outlook(
        "ask", ((("first_pair", True),), (("first_pair", False),)), np.array([[yes, yes], [1 - yes, 1 - yes]])
    )
    state = State(np.stack([FOUR[:, 0], np.zeros(16)]))
    free = Search(("a", "b", "c", "d"), FOUR_PRICES, 1.0, {"ask": PriceOfTest(0.0)})
    moves = {m.what: m.cost for m in free.best(state, [outlook], 1, 1)}
    assert moves["ask"] == pytest.approx(after)
    for price, asked in ((worth - 0.01, True), (worth + 0.01, False)):
        search = Search(("a", "b", "c", "d"), FOUR_PRICES, 1.0, {"ask": PriceOfTest(price)})
        assert (search.best(state, [outlook], 0, 0)[0].kind == "test") == asked


def posterior_table(seed: int, causes: int) -> Floats:
    """Return [2^K, 1] the chance of each set of causes after random findings, summed state by state."""
    found = enumerated(random_net(seed, causes, 1, 6, zeros=False))
    table = np.zeros((1 << causes, 1))
    for row, mass in zip(found.states, found.mass / found.mass.sum(), strict=True):
        table[sum(1 << int(c) for c in np.flatnonzero(row)), 0] += mass
    return table


def subset_optimum(table: Floats, costs: Sequence[float]) -> float:
    """The least expected cost by plain recursion over the sets of repairs done, sharing no code with the plan."""
    k = len(costs)
    gone = [sum(table[s, 0] for s in range(1 << k) if s & ~t == 0) for t in range(1 << k)]

    @cache
    def cost(done: int) -> float:
        options = [(1 - gone[done]) * costs[i] + cost(done | 1 << i) for i in range(k) if not done >> i & 1]
        return min(options) if options else 0.0

    return float(cost(0))


@pytest.mark.parametrize("seed", range(12))
def test_up_to_eight_repairs_against_all_orders(seed: int) -> None:
    """Every order of the repairs, and every point at which the vehicle may be handed on, priced by the plain sum."""
    k = 4 + seed % 3 if seed else 8
    table = posterior_table(seed, k)
    rng = np.random.default_rng(seed)
    costs = rng.uniform(10, 200, k)
    u = left(table)
    for refer in (None, 300.0):
        prices = Prices(tuple(costs.tolist()), refer, 20.0 if refer else 0.0)
        ends = handed_on(u, table, prices)
        orders = np.array(list(itertools.permutations(range(k))))
        done = np.zeros(len(orders), dtype=int)
        paid = np.zeros(len(orders))
        best = np.inf if refer is None else ends[0, 0]
        for n in range(k):
            paid = paid + u[done, 0] * costs[orders[:, n]]
            done = done | (1 << orders[:, n])
            paid = paid + u[done, 0] * prices.left_behind
            if refer is not None:
                best = min(best, float((paid + ends[done, 0]).min()))
        if refer is None:
            best = float(paid.min())
        assert best_costs(u, ends, prices)[0, 0] == pytest.approx(best, rel=1e-9)


def test_three_hundred_problems_of_several_causes_against_the_exact_optimum() -> None:
    """Aim: at most 1.01 of the optimum on average and 1.05 at worst. The plan is exact; probability alone and price
    alone are far off, so the problems are not trivial."""
    ratios: dict[str, list[float]] = {"plan": [], "probability": [], "price": []}
    for seed in range(300):
        table = posterior_table(1000 + seed, 8)
        costs = np.random.default_rng(seed).uniform(10, 200, 8)
        prices = Prices(tuple(costs.tolist()))
        u, ends = without_choice(table, prices)
        masks = np.arange(256)
        marginal = [float(table[masks >> i & 1 == 1].sum()) for i in range(8)]
        optimum = subset_optimum(table, costs.tolist())
        orders = {
            "plan": best_order(u, ends, prices),
            "probability": sorted(range(8), key=lambda i: -marginal[i]),
            "price": sorted(range(8), key=lambda i: costs[i]),
        }
        for name, order in orders.items():
            ratios[name].append(cost_of(u, ends, prices, order) / optimum)
    assert np.mean(ratios["plan"]) <= 1 + 1e-9
    assert max(ratios["plan"]) <= 1 + 1e-9
    assert np.mean(ratios["probability"]) > 1.02
    assert np.mean(ratios["price"]) > 1.02


def test_more_causes_than_are_planned_for_against_the_exact_optimum() -> None:
    """Eleven causes, of which the nine most likely are planned for and the rest laid together, then the rest in its
    turn: against the exact optimum over all eleven. Same aim."""
    ratios = []
    for seed in range(60):
        net = random_net(3000 + seed, 11, 1, 5, zeros=False)
        rng = np.random.default_rng(seed)
        weights = np.column_stack([np.ones(11), rng.uniform(0.01, 0.3, 11)])
        found = enumerated(Net(net.names, weights, net.links, net.leaks, net.present))
        mass = found.mass / found.mass.sum()
        masks = found.states @ (1 << np.arange(11))
        table = np.zeros((1 << 11, 1))
        np.add.at(table[:, 0], masks, mass)
        costs = rng.uniform(10, 200, 11)
        whole = Prices(tuple(costs.tolist()))
        u = left(table)
        optimum = float(best_costs(u, handed_on(u, table, whole), whole)[0, 0])
        marginal = np.array([table[np.arange(1 << 11) >> i & 1 == 1].sum() for i in range(11)])
        order: list[int] = []
        for chosen in np.split(np.argsort(-marginal), [MOST_CAUSES]):
            small = np.zeros((1 << len(chosen), 1))
            for mask in range(1 << len(chosen)):  # the causes done already no longer count, the others must be absent
                there = sum(1 << int(c) for n, c in enumerate(chosen) if mask >> n & 1)
                free = sum(1 << i for i in order)
                inside = [m for m in range(1 << 11) if m & ~free == there]
                small[mask, 0] = table[inside, 0].sum()
            prices = Prices(tuple(costs[chosen].tolist()), 1000.0)
            v = left(small)
            planned = best_order(v, v * 1000.0, prices)
            order += [int(chosen[i]) for i in planned]
            order += [int(c) for c in chosen if int(c) not in order]
        ratios.append(cost_of(u, handed_on(u, table, whole), whole, order) / optimum)
    assert np.mean(ratios) <= 1.01
    assert max(ratios) <= 1.05


@pytest.mark.parametrize("seed", range(30))
def test_joint_of_some_causes_against_enumeration(seed: int) -> None:
    net = random_net(seed, 7, 2, 6)
    found = enumerated(net)
    if not found.mass.sum():
        pytest.skip("the random evidence contradicts itself")
    chosen = ["c5", "c0", "c3"]
    got = joint(net, chosen, floor=0.0)
    alone, beside = np.zeros(8), np.zeros(8)
    for row, mass in zip(found.states, found.mass / found.mass.sum(), strict=True):
        there = {f"c{c}" for c in np.flatnonzero(row == 1)}  # the second state is "there and then removed"
        mask = sum(1 << i for i, c in enumerate(chosen) if c in there)
        (beside if there - set(chosen) else alone)[mask] += mass
    assert got.alone == pytest.approx(alone, abs=1e-10)
    assert got.beside == pytest.approx(beside, abs=1e-10)
    assert got.lost == pytest.approx(0.0, abs=1e-10)


def reference_after(net: Net, knowledge: Knowledge, said: Sequence[tuple[str, bool]]) -> tuple[dict[str, float], float]:
    """Return pyAgrum's chance of every cause after findings were read, and how likely that reading was.

    A shared finding is a noisy-OR of the causes that show it; what is read of it hangs on it by its two rates.
    """
    bayes = gum.BayesNet()
    for cause, weights in zip(net.names, net.weights, strict=True):
        bayes.add(gum.RangeVariable(cause, "", 0, 1))
        bayes.cpt(cause).fillWith((weights[:2] / weights[:2].sum()).tolist())
    evidence = {}
    for node, leak in enumerate(net.leaks.tolist()):
        name = f"node{node}"
        bayes.addNoisyORNet(gum.RangeVariable(name, "", 0, 1), leak)
        for cause in np.flatnonzero(net.links[:, 0, node] > 0).tolist():
            bayes.addWeightedArc(net.names[cause], name, float(net.links[cause, 0, node]))
        evidence[name] = int(net.present[node])
    reads = {}
    for finding, holds in said:
        shows, pairs = links_of(Held(knowledge), finding)
        assert shows
        assert not pairs
        bayes.addNoisyORNet(gum.RangeVariable(finding, "", 0, 1), knowledge.findings[finding].leak or 0.0)
        for cause_id, q in shows.items():
            if cause_id not in net.names:
                continue
            bayes.addWeightedArc(cause_id, finding, q)
        right, wrong = reader_rates(knowledge)[finding]
        bayes.add(gum.RangeVariable(f"read_{finding}", "", 0, 1))
        bayes.addArc(finding, f"read_{finding}")
        bayes.cpt(f"read_{finding}")[:] = [[1 - wrong, wrong], [1 - right, right]]
        reads[f"read_{finding}"] = int(holds)
    before = gum.LazyPropagation(bayes)
    before.setEvidence(evidence)
    p_before = before.evidenceProbability()
    after = gum.LazyPropagation(bayes)
    after.setEvidence({**evidence, **reads})
    after.makeInference()
    return {c: float(after.posterior(c)[1]) for c in net.names}, after.evidenceProbability() / p_before


@pytest.mark.parametrize("name", ["school-run", "taxi-two", "night-hearse"])
def test_belief_after_an_outcome_against_pyagrum(name: str, knowledge: Knowledge) -> None:
    """Of the twelve most likely causes the plan keeps nine and lays the rest together; pyAgrum keeps them all."""
    result = diagnose(read_case(CASES / f"{name}.yaml", knowledge), knowledge)
    evidence = evidence_of(result.case, knowledge, result.rounds)
    whole = evidence.net
    ranked = [c.id for c in result.causes if c.state == "present"][:12]
    rows = [whole.names.index(c) for c in ranked]
    net = Net(tuple(ranked), whole.weights[rows], whole.links[rows], whole.leaks, whole.present)
    known = posteriors(net).states[0, :, 0]
    causes, rest = tuple(ranked[:9]), dict(zip(ranked[9:], known[9:].tolist(), strict=True))
    found = joint(net, causes)
    weights = np.stack([found.alone, found.beside])
    total = sum(rest.values())
    outlooks = Outlooks(knowledge, evidence, Scene(causes, {c: p / total for c, p in rest.items()}))
    search = Search(causes, Prices((1.0,) * 9), 1.0, {t: PriceOfTest(1.0) for t in knowledge.tests})
    compared = 0
    for finding, state in result.latest.verdicts.findings.items():
        shows, pairs = links_of(Held(knowledge), finding)
        if state.state != "unknown" or pairs or not shows.keys() & set(ranked):
            continue
        outlook = outlooks.of("code-read", [finding], weights)
        for o, said in enumerate(outlook.said if outlook else ()):
            assert outlook is not None
            p, after = search.after_test(State(weights), outlook, o)
            if p < 0.05:
                continue
            chances, likely = reference_after(net, knowledge, said)
            assert p == pytest.approx(likely, abs=0.005)
            masks = np.arange(1 << 9)
            got = [float(after.weights.sum(axis=0)[masks >> i & 1 == 1].sum()) for i in range(9)]
            assert got == pytest.approx([chances[c] for c in causes], abs=0.03)
            compared += 1
    assert compared >= 20
