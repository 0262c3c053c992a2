"""The next move with the least expected cost to a cure: a test, a repair, or handing the vehicle on.

A test costs its price, then the belief is what its outcome makes it and the repairs go on in their best order
(:mod:`inference.plan.subsets`): ECO = price + sum over outcomes P(outcome) x cost after it. The tests that come out
best are looked at two steps deep, since a pair can be worth what neither is alone; a second test that shares the first
one's set-up does not pay for it again. A repair is looked at the same way: what a test would save once it has failed.
All candidates of one look are priced in one batch of tables.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property
from typing import Literal

import numpy as np

from inference.belief.net import Floats
from inference.plan.cure import Cure
from inference.plan.outlook import Outlook
from inference.plan.subsets import Prices, best_costs, handed_on

REPAIRS, AFTER, MORE = 2, 2, 5  # repairs looked at deeply; tests tried once one has failed, and those tried after them

Kind = Literal["test", "repair", "refer", "stop"]


@dataclass(frozen=True)
class PriceOfTest:
    """What a test costs: ``own`` [min], and ``set_up_minutes`` more unless its set-up stands already."""

    own: float
    set_up: str = ""
    set_up_minutes: float = 0.0

    def given(self, standing: frozenset[str]) -> float:
        return self.own + (0.0 if self.set_up in standing and self.set_up else self.set_up_minutes)


@dataclass(frozen=True)
class State:
    """What is known at one point of a plan.

    ``weights`` [2, 2^K]: probability of each subset of causes, with nothing beside it that no repair here cures, and
    with something; they sum to 1. ``done``: repairs done, as a bit mask. ``standing``: set-ups that stand.
    ``gone_over``: tests done in the plan. ``seen``: whether the trouble is known to be there with ``done`` repaired.
    """

    weights: Floats
    done: int = 0
    standing: frozenset[str] = frozenset()
    gone_over: tuple[str, ...] = ()
    seen: bool = False

    @property
    def seen_at(self) -> int | None:
        """The repairs after which the trouble was still seen; None where it was not looked for."""
        return self.done if self.seen else None


@dataclass(frozen=True)
class Move:
    """A move and what it is expected to cost from here to a cure [min]; ``price`` is its own cost."""

    kind: Kind
    what: str
    cost: float
    price: float


@dataclass
class Search:
    """Finds moves. ``causes`` names the bits, ``tests`` the price of every test that may come into question."""

    causes: tuple[str, ...]
    prices: Prices
    holds: float
    tests: dict[str, PriceOfTest]
    worth: float = 1.0
    blocks: tuple[float, ...] | None = None  # how often each cause alone brings the trouble on; always where None
    looks: int = field(default=0)  # tables priced so far

    # --- prices ---------------------------------------------------------------------------------------------------

    @cached_property
    def cure(self) -> Cure:
        """What counts as cured here."""
        return Cure(self.blocks or (1.0,) * len(self.causes), self.holds)

    def tables(self, columns: Floats, state: State) -> tuple[Floats, Floats]:
        """Return for columns of weights [2, 2^K, B] of any sum, by the repairs done [2^K, B], the probability that the
        trouble is there and what handing the vehicle on costs."""
        total = columns.sum(axis=(0, 1))
        u = self.cure.left(columns[0], total, state.seen_at)
        whole = self.cure.weights(columns[0], state.seen_at) + columns[1]
        return u, handed_on(u, whole, self.prices, self.blocks)

    def costs(self, columns: Floats, state: State) -> Floats:
        """Return [B] the cost of repairs alone from ``state`` on, for columns of weights [2, 2^K, B] of any sum."""
        self.looks += columns.shape[2]
        return np.asarray(best_costs(*self.tables(columns, state), self.prices)[state.done])

    def repair_moves(self, state: State) -> list[Move]:
        """Return every repair with its cost when repairs alone follow, and handing the vehicle on; cheapest first."""
        u, ends = self.tables(state.weights[:, :, None], state)
        table = best_costs(u, ends, self.prices)[:, 0]
        u = u[:, 0]
        now = float(u[state.done])
        out = []
        for i, cause in enumerate(self.causes):
            if not state.done >> i & 1:
                after = state.done | 1 << i
                own = now * self.prices.repairs[i] + self.prices.behind(i) * u[after]
                out.append(Move("repair", cause, float(own + table[after]), self.prices.repairs[i]))
        if self.prices.refer is not None:
            out.append(Move("refer", "", float(ends[state.done, 0]), self.prices.refer))
        return sorted(out, key=lambda m: (m.cost, m.what))

    def left_now(self, state: State) -> float:
        """Return the probability that the trouble is still there."""
        return float(self.tables(state.weights[:, :, None], state)[0][state.done, 0])

    def price_of(self, state: State, move: Move, outlook: Outlook | None, seconds: Sequence[Outlook]) -> float:
        """Return the cost of one move, looked at two steps deep with these second tests."""
        if outlook is not None:
            _, after = self._eco(state, [outlook])
            return self._two(state, [outlook], after, seconds)[0] if seconds else move.cost
        plain = next(m for m in self.repair_moves(state) if (m.kind, m.what) == (move.kind, move.what))
        return self._repair_deep(state, plain, seconds) if move.kind == "repair" else plain.cost

    # --- states ---------------------------------------------------------------------------------------------------

    def after_test(self, state: State, outlook: Outlook, outcome: int) -> tuple[float, State]:
        """Return the probability of an outcome and the state after it."""
        weights = state.weights * outlook.chances[outcome][:, self._there(state)]
        p = float(weights.sum())
        standing = state.standing | {self.tests[outlook.test].set_up} - {""}
        return p, replace(
            state, weights=weights / max(p, 1e-300), standing=standing, gone_over=(*state.gone_over, outlook.test)
        )

    def after_failing(self, state: State, repair: int) -> tuple[float, State]:
        """Return the probability that a repair does not end the trouble, and the state when the check has shown it.

        What should have been cured and was not is there although it was repaired: no repair of the list cures it. What
        is there and was not repaired stays in play as far as it is at work.
        """
        done = state.done | 1 << repair
        before = self.cure.gone(state.done) if state.seen else 0.0
        stays = (1 - self.cure.gone(done)) / np.maximum(1 - before, 1e-12)
        weights = state.weights.copy()
        weights[0] *= np.minimum(stays, 1.0)
        masks = np.arange(weights.shape[1])
        cured = (masks & ~done) == 0
        weights[1, cured] += weights[0, cured]
        weights[0, cured] = 0.0
        p = float(weights.sum())
        return p, replace(state, weights=weights / max(p, 1e-300), done=done, seen=True)

    def _there(self, state: State) -> np.ndarray:
        return np.arange(state.weights.shape[1]) & ~state.done

    # --- moves ----------------------------------------------------------------------------------------------------

    def best(self, state: State, outlooks: Sequence[Outlook], deep: int, second: int) -> list[Move]:
        """Return the moves worth comparing, the cheapest first.

        Parameters
        ----------
        outlooks : the tests in question
        deep : how many of the best tests and repairs are looked at two steps deep
        second : how many tests are tried as the second step
        """
        repairs = self.repair_moves(state)
        if not repairs:
            return []
        limit = repairs[0].cost
        fit = [o for o in outlooks if self.tests[o.test].given(state.standing) < limit]
        eco, after = self._eco(state, fit)
        order = sorted(range(len(fit)), key=lambda t: (eco[t], fit[t].test))
        firsts = order[:deep]
        price = [self.tests[o.test].given(state.standing) for o in fit]
        seconds = [fit[t] for t in sorted(range(len(fit)), key=lambda t: (eco[t] - price[t], t))][:second]
        moves = {m.what: m for m in repairs}
        for t in order[deep:]:
            moves[fit[t].test] = self._move(fit[t], float(eco[t]), state)
        if firsts and seconds:
            deeper = self._two(state, [fit[t] for t in firsts], [after[t] for t in firsts], seconds)
            for t, cost in zip(firsts, deeper, strict=True):
                moves[fit[t].test] = self._move(fit[t], cost, state)
            for move in [m for m in repairs if m.kind == "repair"][:REPAIRS]:
                moves[move.what] = replace(move, cost=self._repair_deep(state, move, seconds))
        return sorted(moves.values(), key=lambda m: (m.cost, m.kind == "test", m.what))

    def _move(self, outlook: Outlook, cost: float, state: State) -> Move:
        return Move("test", outlook.test, cost, self.tests[outlook.test].given(state.standing))

    def _eco(self, state: State, outlooks: Sequence[Outlook]) -> tuple[Floats, list[Floats]]:
        """Return [T] the expected cost of each test followed by repairs alone, and that part of each outcome."""
        if not outlooks:
            return np.zeros(0), []
        there = self._there(state)
        chances = np.concatenate([o.chances for o in outlooks])[:, :, there] * state.weights
        cost = self.costs(np.ascontiguousarray(chances.transpose(1, 2, 0)), state)
        ends = np.cumsum([len(o.said) for o in outlooks])
        after = [np.asarray(a) for a in np.split(cost, ends[:-1])]
        price = np.array([self.tests[o.test].given(state.standing) for o in outlooks])
        return price + np.array([a.sum() for a in after]), after

    def _two(
        self, state: State, firsts: Sequence[Outlook], after: Sequence[Floats], seconds: Sequence[Outlook]
    ) -> list[float]:
        """Return the cost of each first test when after each outcome the best second test may follow."""
        there = self._there(state)
        one = np.concatenate([o.chances for o in firsts])[:, :, there] * state.weights  # [F, 2, N]
        two = np.concatenate([o.chances for o in seconds])[:, :, there]  # [S, 2, N]
        both = one[:, None] * two[None]  # [F, S, 2, N]
        columns = np.ascontiguousarray(both.reshape(-1, *both.shape[2:]).transpose(1, 2, 0))
        cost = self.costs(columns, state).reshape(both.shape[:2])
        begins = np.cumsum([0] + [len(o.said) for o in seconds])[:-1]
        sums = np.add.reduceat(cost, begins, axis=1)  # [F, seconds]
        p = one.sum(axis=(1, 2))
        out, row = [], 0
        for first, plain in zip(firsts, after, strict=True):
            standing = state.standing | {self.tests[first.test].set_up} - {""}
            price = np.array([
                np.inf if s.test == first.test else self.tests[s.test].given(standing) for s in seconds
            ])  # fmt: skip
            best = 0.0
            for o, alone_cost in enumerate(plain.tolist()):
                with_second = p[row + o] * price + sums[row + o]
                best += min(alone_cost, float(with_second.min()))
            out.append(self.tests[first.test].given(state.standing) + best)
            row += len(plain)
        return out

    def _repair_deep(self, state: State, move: Move, seconds: Sequence[Outlook]) -> float:
        """Return the cost of a repair when two tests may follow if it fails: as far as a test first is looked at."""
        i = self.causes.index(move.what)
        p, failed = self.after_failing(state, i)
        now = self.left_now(state)
        p = min(p, 1.0)
        own = now * move.price + self.prices.behind(i) * p
        plain = self.repair_moves(failed)
        cost = plain[0].cost if plain else 0.0
        eco, after = self._eco(failed, seconds)
        price = [self.tests[o.test].given(failed.standing) for o in seconds]
        order = sorted(range(len(seconds)), key=lambda t: (eco[t], seconds[t].test))[:AFTER]
        if order:
            more = [seconds[t] for t in sorted(range(len(seconds)), key=lambda t: eco[t] - price[t])[:MORE]]
            deeper = self._two(failed, [seconds[t] for t in order], [after[t] for t in order], more)
            cost = min(cost, *deeper)
        return min(move.cost, own + p * cost)
