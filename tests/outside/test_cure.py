"""What counts as cured against plain enumeration: which causes are there, which are at work, which repairs hold.

Nothing here shares code with what is tested: every state of the small problems is listed and summed, and every way to
go on is tried.
"""

from __future__ import annotations

import itertools
from collections.abc import Iterator
from functools import cache

import numpy as np
import pytest

from inference.plan.cure import Cure
from inference.plan.search import Search, State
from inference.plan.subsets import Prices, best_costs, best_order, cost_of, handed_on


def states(k: int) -> Iterator[tuple[int, ...]]:
    return itertools.product((0, 1), repeat=k)


class World:
    """Every (there, at work, repair holds) of a random problem with its probability."""

    def __init__(self, seed: int, k: int) -> None:
        rng = np.random.default_rng(seed)
        self.k = k
        self.blocks = tuple(rng.uniform(0.1, 1.0, k).tolist())
        self.holds = float(rng.uniform(0.6, 1.0))
        self.table = rng.dirichlet(np.full(1 << k, 0.6))
        self.table[0] = 0.0
        self.table /= self.table.sum()
        self.all: list[tuple[tuple[int, ...], tuple[int, ...], tuple[int, ...], float]] = []
        for there in states(k):
            mask = sum(t << i for i, t in enumerate(there))
            for works in states(k):
                if any(w and not t for w, t in zip(works, there, strict=True)):
                    continue
                p = self.table[mask]
                for t, w, q in zip(there, works, self.blocks, strict=True):
                    p *= (q if w else 1 - q) if t else 1.0
                for held in states(k):
                    share = np.prod([self.holds if h else 1 - self.holds for h in held])
                    self.all.append((there, works, held, float(p * share)))

    def trouble(self, works: tuple[int, ...], held: tuple[int, ...], done: int) -> bool:
        return any(w and not (done >> i & 1 and held[i]) for i, w in enumerate(works))

    def left(self, done: int, seen: int | None) -> float:
        """P(trouble after ``done``), where it was seen after ``seen``: by subset there, given that it was seen."""
        total = 0.0
        for there in states(self.k):
            mask = sum(t << i for i, t in enumerate(there))
            rows = [(w, h, p) for t, w, h, p in self.all if t == there]
            if seen is not None:
                rows = [(w, h, p) for w, h, p in rows if self.trouble(w, h, seen)]
            mass = sum(p for _, _, p in rows)
            if mass:
                bad = sum(p for w, h, p in rows if self.trouble(w, h, done))
                total += self.table[mask] * bad / mass
        return total


@pytest.mark.parametrize("seed", range(8))
@pytest.mark.parametrize("seen", [None, 0, 0b01])
def test_what_is_left_against_every_state(seed: int, seen: int | None) -> None:
    world = World(seed, 3)
    cure = Cure(world.blocks, world.holds)
    got = cure.left(world.table[:, None], np.ones(1), seen)[:, 0]
    for done in range(8):
        if seen is None or done & seen == seen:
            assert got[done] == pytest.approx(world.left(done, seen), abs=1e-9)


def test_with_every_cause_always_at_work_it_is_the_plain_sum_over_subsets() -> None:
    table = World(5, 4).table
    got = Cure((1.0,) * 4).left(table[:, None], np.ones(1), None)[:, 0]
    for done in range(16):
        assert got[done] == pytest.approx(1 - sum(table[s] for s in range(16) if s & ~done == 0))


@pytest.mark.parametrize("seed", range(6))
def test_a_cause_that_seldom_blocks_leaves_less_to_cure(seed: int) -> None:
    """A cause that is proven and mended, and others that may be there: what need not be at work is no trouble left."""
    table = World(seed, 4).table.copy()
    table[::2] = 0.0  # the first is there for sure
    table /= table.sum()
    plain = Cure((1.0,) * 4).left(table[:, None], np.ones(1), 0)[1, 0]
    weighed = Cure((0.9, 0.3, 0.3, 0.3)).left(table[:, None], np.ones(1), 0)[1, 0]
    assert weighed < 0.6 * plain


@pytest.mark.parametrize("seed", range(8))
def test_after_a_repair_that_did_not_cure_against_every_state(seed: int) -> None:
    """P(there, and the trouble seen again); what no repair of the list can cure any more is laid to the other side."""
    world = World(seed, 3)
    search = Search(("a", "b", "c"), Prices((1.0, 1.0, 1.0)), world.holds, {}, 1.0, world.blocks)
    p, failed = search.after_failing(State(np.stack([world.table, np.zeros(8)]), seen=True), 1)
    assert p == pytest.approx(world.left(0b010, 0), abs=1e-9)
    assert failed.seen
    for mask in range(8):
        there = tuple(mask >> i & 1 for i in range(3))
        rows = [(w, h, q) for t, w, h, q in world.all if t == there and world.trouble(w, h, 0)]
        mass = sum(q for _, _, q in rows)
        bad = sum(q for w, h, q in rows if world.trouble(w, h, 0b010))
        wanted = world.table[mask] * bad / mass / p if mass else 0.0
        assert failed.weights[:, mask].sum() == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize("seed", range(10))
def test_a_comeback_priced_by_repair_against_all_orders(seed: int) -> None:
    """Some repairs show only weeks later that something is left; every order and every place to hand on is priced."""
    world = World(seed, 5)
    rng = np.random.default_rng(seed)
    costs = rng.uniform(10, 200, 5)
    behind = tuple(rng.choice([0.0, 24.0, 240.0], 5).tolist())
    prices = Prices(tuple(costs.tolist()), 400.0, behind)
    u = Cure(world.blocks, world.holds).left(world.table[:, None], np.ones(1), 0)
    ends = handed_on(u, world.table[:, None], prices, world.blocks)
    least = np.inf
    for order in itertools.permutations(range(5)):
        paid, done = 0.0, 0
        least = min(least, paid + ends[0, 0])
        for i in order:
            paid += u[done, 0] * costs[i]
            done |= 1 << i
            paid += u[done, 0] * behind[i]
            least = min(least, paid + ends[done, 0])
    assert best_costs(u, ends, prices)[0, 0] == pytest.approx(least, rel=1e-9)
    assert cost_of(u, ends, prices, best_order(u, ends, prices)) == pytest.approx(least, rel=1e-9)


def least_of_all_ways(table: np.ndarray, costs: np.ndarray, tests: list[tuple[float, np.ndarray]], first: int | None):  # type: ignore[no-untyped-def]
    """The least expected cost over every way to test and repair, seeing after each repair whether the trouble is gone.

    ``first``: a repair that the way must begin with, None for any.
    """
    k = len(costs)
    masks = np.arange(1 << k)

    @cache
    def cost(weights: tuple[float, ...], done: int, asked: int) -> float:
        w = np.array(weights)
        if w.sum() <= 1e-12:
            return 0.0
        return min([repair(w, done, asked, i) for i in range(k) if not done >> i & 1] + [
            test(w, done, asked, t) for t in range(len(tests)) if not asked >> t & 1
        ])  # fmt: skip

    def repair(w: np.ndarray, done: int, asked: int, i: int) -> float:
        after = done | 1 << i
        still = np.where(masks & ~after, w, 0.0)
        return float(w.sum() * costs[i] + cost(tuple(still.tolist()), after, asked))

    def test(w: np.ndarray, done: int, asked: int, t: int) -> float:
        price, yes = tests[t]
        return float(w.sum() * price) + sum(cost(tuple((w * x).tolist()), done, asked | 1 << t) for x in (yes, 1 - yes))

    w = np.where(masks > 0, table, 0.0)
    return repair(w, 0, 0, first) if first is not None else cost(tuple(w.tolist()), 0, 0)


@pytest.mark.parametrize("seed", range(25))
def test_the_repair_of_a_certain_cause_goes_first_against_every_way_to_go_on(seed: int) -> None:
    """However cheap and telling the looks: with the cause certain, no way that begins otherwise is cheaper."""
    rng = np.random.default_rng(seed)
    table = rng.dirichlet(np.full(8, 0.7))
    table[::2] = 0.0  # cause 0 is there for sure
    table /= table.sum()
    costs = rng.uniform(20, 300, 3)
    tests = [(float(rng.uniform(0.0, 20.0)), rng.uniform(0.02, 0.98, 8)) for _ in range(2)]
    assert least_of_all_ways(table, costs, tests, 0) == pytest.approx(
        least_of_all_ways(table, costs, tests, None), rel=1e-9
    )


def test_without_the_certainty_a_look_may_well_go_first() -> None:
    """The same reckoning tells the two apart: here a cheap look spares a dear repair."""
    table = np.array([0.0, 0.5, 0.5, 0.0])
    tells = np.array([0.5, 0.98, 0.02, 0.5])
    costs, tests = np.array([300.0, 200.0]), [(5.0, tells)]
    free = least_of_all_ways(table, costs, tests, None)
    assert free < least_of_all_ways(table, costs, tests, 0) - 50
    assert free < least_of_all_ways(table, costs, tests, 1) - 50
