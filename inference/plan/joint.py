"""Which causes are there together now: the joint distribution of the few that are planned for, the rest in one.

The sweep of the belief (inference.belief.activation) is run once more with a column for every subset of the chosen
causes still in play; subsets below a floor are cut by their exact probability. The causes not chosen only leave a mark
whether any of them is there. A cause that was there and has been removed counts as not there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inference.belief.activation import posteriors_traced
from inference.belief.net import Floats, Net
from inference.belief.sweep import enter, forward

FLOOR = 1e-5  # subsets below are cut; where many findings are open at once, each doubling takes twice the floor
OPEN = 6  # findings open at once up to which the floor stays as it is


@dataclass(frozen=True)
class Joint:
    """Probability of each subset of ``causes`` (bit i: causes[i] is there now).

    ``alone`` [2^K]: and no other listed cause with it; ``beside`` [2^K]: and some other one. ``unlisted``: that
    no listed cause was ever there (part of ``alone[0]``). ``lost``: probability of the subsets that were cut, shared
    out over the rest.
    """

    causes: tuple[str, ...]
    alone: Floats
    beside: Floats
    unlisted: float
    lost: float


def joint(net: Net, causes: Sequence[str], floor: float = FLOOR) -> Joint:
    """Return the joint distribution of ``causes`` in a net whose first present state is "there now".

    Raises as :func:`inference.belief.activation.posteriors`; ValueError for a cause the net does not have.
    """
    made, trace, post = posteriors_traced(net)
    floor *= 2.0 ** max(made.width - OPEN, 0)
    bit = {net.index(cause): i for i, cause in enumerate(causes)}
    weights = made.weights[:, :, 0]
    start = made.start[:, :, :1]
    state = np.ones((1, 1))
    masks = np.zeros(1, dtype=np.int64)
    others = np.zeros(1, dtype=np.bool_)

    def split(own: Floats) -> tuple[Floats, Floats]:
        gone, there = own[:, None].copy(), np.zeros((len(own), 1))
        there[1] = own[1]
        gone[1] = 0.0
        return gone, there

    for turn, future, scale in zip(made.turns, trace.futures, trace.scales, strict=True):
        cause = turn.step.cause
        entered = enter(turn.step, np.broadcast_to(start, (len(start), 2, 1)), state)
        gone, there = split(weights[cause])
        without = forward(turn, gone, entered).reshape(-1, len(masks)) / scale
        with_it = forward(turn, there, entered).reshape(-1, len(masks)) / scale
        state, masks, others = _branch(bit.get(cause), without, with_it, masks, others)
        kept = future @ state >= floor
        state, masks, others = state[:, kept], masks[kept], others[kept]
    swept = {turn.step.cause for turn in made.turns}
    mass = state[:1]
    for cause in range(len(net.names)):
        if cause not in swept:
            p = float(post.states[0, cause, 0])
            mass, masks, others = _branch(bit.get(cause), mass * (1 - p), mass * p, masks, others)
            kept = mass[0] >= floor
            mass, masks, others = mass[:, kept], masks[kept], others[kept]
    tables = np.zeros((2, 1 << len(causes)))
    np.add.at(tables, (others.astype(int), masks), mass[0])
    total = tables.sum()
    return Joint(tuple(causes), tables[0] / total, tables[1] / total, float(post.none[0]), float(max(1 - total, 0.0)))


def _branch(
    bit: int | None, without: Floats, with_it: Floats, masks: np.ndarray, others: np.ndarray
) -> tuple[Floats, np.ndarray, np.ndarray]:
    """Double the columns; those of a cause that is not planned for are laid together again."""
    if bit is not None:
        return (
            np.concatenate([without, with_it], axis=1),
            np.concatenate([masks, masks | (1 << bit)]),
            np.concatenate([others, others]),
        )
    state = np.concatenate([without, with_it], axis=1)
    keys = np.concatenate([masks * 2 + others, masks * 2 + 1])
    order = np.argsort(keys, kind="stable")
    unique, begins = np.unique(keys[order], return_index=True)
    merged: Floats = np.add.reduceat(state[:, order], begins, axis=1)
    return merged, unique >> 1, (unique & 1).astype(np.bool_)
