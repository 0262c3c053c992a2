"""Expected cost to a cure when several causes may be there at once: arithmetic over subsets of causes.

A subset of K causes is a bit mask. ``chances`` [2^K, B] holds, for B states of knowledge, the probability that exactly
the causes of the mask are there (rows need not sum to 1: the rest is something that no repair in the list cures).
Repair i costs ``costs[i]`` and removes cause i; after each repair it is seen whether the trouble is gone. It is gone
when every cause there has been removed, P(gone | T) = sum over S inside T of P(S); so the next repair is paid with
probability 1 - P(gone | T). The best order is found exactly by dynamic programming over the subsets T already done
(Bellman); with a single cause it is the order of chance over cost (Kadane and Simon).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from inference.belief.net import Floats

TINY = 1e-12


@dataclass(frozen=True)
class Prices:
    """What the order of work is judged by, in minutes.

    ``repairs`` [K]: each repair with the check that follows. ``refer``: handing the vehicle on to those who find what
    is there for sure and repair it at the same price; None where that is no choice. ``left_behind``: what a repair
    costs on top when something is left behind (the chance that nobody notices times the price of a comeback), for
    all of them or [K] for each.
    """

    repairs: tuple[float, ...]
    refer: float | None = None
    left_behind: float | tuple[float, ...] = 0.0

    def behind(self, i: int) -> float:
        """What repair i costs on top when something is left behind."""
        return self.left_behind if isinstance(self.left_behind, float | int) else self.left_behind[i]


@lru_cache(maxsize=16)
def sizes(k: int) -> np.ndarray:
    """Return [2^k] how many causes each subset holds."""
    return np.array([mask.bit_count() for mask in range(1 << k)])


def inside(chances: Floats) -> Floats:
    """Return [2^K, B] the probability that all causes there lie inside each subset (sum over subsets)."""
    total = np.array(chances, dtype=float)
    count, width = total.shape
    step = 1
    while step < count:
        view = total.reshape(-1, 2, step, width)
        view[:, 1] += view[:, 0]
        step *= 2
    return total


def left(chances: Floats, holds: float = 1.0) -> Floats:
    """Return [2^K, B] the probability that the trouble is still there when the causes of a subset have been repaired.

    ``holds`` [-] is how often a repair removes its cause for good; with several causes there all must hold.
    """
    weighed = chances if holds == 1.0 else chances * holds ** sizes(_bits(chances))[:, None]
    return np.maximum(1.0 - inside(weighed), 0.0)


def handed_on(left_over: Floats, whole: Floats, prices: Prices, blocks: Sequence[float] | None = None) -> Floats:
    """Return [2^K, B] what handing the vehicle on costs from each subset of repairs done on [min].

    ``whole`` [2^K, B]: probability of each subset of causes, whatever else is there. What is there and not repaired
    yet is repaired then, with ``blocks`` [K] as often as it is at work. Without that choice the cost is infinite
    unless the vehicle is cured.
    """
    if prices.refer is None:
        return np.where(left_over <= TINY, 0.0, np.inf)
    ends = left_over * prices.refer
    width = whole.shape[1]
    for i, price in enumerate(
        prices.repairs if blocks is None else np.multiply(prices.repairs, blocks).tolist()
    ):  # plain sums: the matrix product would wake threads for little work
        halves = whole.reshape(-1, 2, 1 << i, width)
        marginal = halves[:, 1].sum(axis=(0, 1))
        ends.reshape(-1, 2, 1 << i, width)[:, 0] += price * marginal
    return np.asarray(ends)


def best_costs(left_over: Floats, ends: Floats, prices: Prices) -> Floats:
    """Return [2^K, B] the least expected cost [min] from each subset of repairs done on, not knowing if it is cured.

    ``ends``: what giving up costs there (:func:`handed_on`). Divide by ``left_over`` of the subset for the cost once
    it is known that the trouble is still there.
    """
    cost = ends.copy()
    own = np.array(prices.repairs)
    behind = [prices.behind(i) for i in range(len(own))]
    steps = sorted(set(behind))
    kind = np.array([steps.index(b) for b in behind], dtype=np.intp)
    extra = np.array(steps)[:, None, None]
    onward = np.repeat(cost[None], len(steps), axis=0)  # the same with what was left behind on the way there
    onward[:, -1:] += extra * left_over[-1:]
    for rows, bits, after in _levels(_bits(left_over)):
        go = left_over[rows][:, None] * own[bits][:, :, None] + onward[kind[bits], after]
        cost[rows] = np.minimum(cost[rows], go.min(axis=1))
        onward[:, rows] = cost[rows] + extra * left_over[rows]
    return cost


@lru_cache(maxsize=16)
def _levels(k: int) -> list[tuple[np.ndarray, np.ndarray, np.ndarray]]:
    """Return, from the largest subsets down: [m] subsets, [m, k - size] what may join each, and the subset then."""
    out = []
    masks = np.arange(1 << k)
    for size in range(k - 1, -1, -1):
        rows = masks[sizes(k) == size]
        bits = np.array([[i for i in range(k) if not row >> i & 1] for row in rows.tolist()])
        out.append((rows, bits, rows[:, None] | (1 << bits)))
    return out


def best_order(left_over: Floats, ends: Floats, prices: Prices, done: int = 0) -> list[int]:
    """Return the repairs in the best order from ``done`` on, up to where the vehicle is cured or handed on.

    ``left_over`` and ``ends`` are [2^K, 1]; ties go to the lower place.
    """
    cost = best_costs(left_over, ends, prices)[:, 0]
    u = left_over[:, 0]
    k = _bits(left_over)
    order: list[int] = []
    while u[done] > TINY:
        moves = [
            (u[done] * prices.repairs[i] + prices.behind(i) * u[done | 1 << i] + cost[done | 1 << i], i)
            for i in range(k)
            if not done >> i & 1
        ]
        if not moves:
            break
        best, i = min(moves)
        if ends[done, 0] < best - 1e-9:
            break
        order.append(i)
        done |= 1 << i
    return order


def cost_of(left_over: Floats, ends: Floats, prices: Prices, order: Sequence[int], done: int = 0) -> float:
    """Return the expected cost [min] of doing the repairs in this order and handing the vehicle on if all fail."""
    u = left_over[:, 0]
    total = 0.0
    for i in order:
        total += u[done] * prices.repairs[i]
        done |= 1 << i
        total += u[done] * prices.behind(i)
    return float(total + ends[done, 0])


def _bits(table: Floats) -> int:
    return len(table).bit_length() - 1
