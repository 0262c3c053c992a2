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
from inference.belief.sweep import Turn, enter, forward

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
    masks = np.zeros(1, dtype=np.int64)
    alone, beside = np.ones((1, 1)), np.zeros((1, 1))  # columns by mask: no other cause there, some other there

    for turn, future, scale in zip(made.turns, trace.futures, trace.scales, strict=True):
        cause = turn.step.cause
        everywhere = np.broadcast_to(start, (len(start), 2, 1))
        own = weights[cause][:, None]
        gone, there = own.copy(), np.zeros_like(own)
        gone[1], there[1] = 0.0, own[1]

        def after(which: Floats, state: Floats, turn: Turn = turn, start: Floats = everywhere) -> Floats:
            entered = enter(turn.step, start, state)
            return forward(turn, which, entered).reshape(-1, state.shape[1])

        if cause in bit:
            alone = np.concatenate([after(gone, alone), after(there, alone)], axis=1) / scale
            beside = np.concatenate([after(gone, beside), after(there, beside)], axis=1) / scale
            masks = np.concatenate([masks, masks | 1 << bit[cause]])
        else:
            alone, beside = after(gone, alone) / scale, (after(own, beside) + after(there, alone)) / scale
        kept = np.maximum(future @ alone, future @ beside) >= floor
        alone, beside, masks = alone[:, kept], beside[:, kept], masks[kept]
    swept = {turn.step.cause for turn in made.turns}
    alone, beside = alone[:1], beside[:1]
    for cause in range(len(net.names)):
        if cause in swept:
            continue
        p = float(post.states[0, cause, 0])
        if cause in bit:
            alone, beside = (np.concatenate([x * (1 - p), x * p], axis=1) for x in (alone, beside))
            masks = np.concatenate([masks, masks | 1 << bit[cause]])
        else:
            alone, beside = alone * (1 - p), beside + alone * p
        kept = np.maximum(alone[0], beside[0]) >= floor
        alone, beside, masks = alone[:, kept], beside[:, kept], masks[kept]
    tables = np.zeros((2, 1 << len(causes)))
    tables[0, masks], tables[1, masks] = alone[0], beside[0]
    total = tables.sum()
    return Joint(tuple(causes), tables[0] / total, tables[1] / total, float(post.none[0]), float(max(1 - total, 0.0)))
