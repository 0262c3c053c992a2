"""What each finding did to the odds of a cause, in decibans: 10 log10 of the odds.

3 dB double the odds, 10 dB are tenfold. Steps of a waterfall depend on the order of asking, since findings
interact through other causes; a leave-one-out figure does not. Neither is a property of the finding alone. All
rows of a figure come from one batch.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from inference.belief.activation import Posterior, posteriors
from inference.belief.net import Floats, Net


def odds_in_decibans(post: Posterior, states: Sequence[int] | None = None) -> Floats:
    """Return [B, n] decibans for the cause being in one of ``states`` (numbered from 0; None: any present).

    Both sides of the odds are sums of positive numbers, so they are good far from even; +inf and -inf stand
    for a proven cause and one ruled out.
    """
    count = post.states.shape[2]
    counted = list(range(count)) if states is None else list(states)
    others = [state for state in range(count) if state not in counted]
    there = post.states[:, :, counted].sum(axis=2)
    not_there = post.absent + post.states[:, :, others].sum(axis=2)
    with np.errstate(divide="ignore"):
        return np.asarray(10 * (np.log10(there) - np.log10(not_there)))


def totals(net: Net, order: Sequence[int], states: Sequence[int] | None = None) -> Floats:
    """Return [1 + len(order), n] decibans of every cause: before any, then after each of ``order``."""
    if len(set(order)) != len(order) or not set(order) <= set(range(len(net.leaks))):
        raise ValueError(f"order is {list(order)}; it must name each place of 0 to {len(net.leaks) - 1} at most once")
    include = np.zeros((1 + len(order), len(net.leaks)), dtype=np.bool_)
    for row, evidence in enumerate(order):
        include[row + 1 :, evidence] = True
    return odds_in_decibans(posteriors(net, include), states)


def without_each(net: Net, states: Sequence[int] | None = None) -> Floats:
    """Return [m, n] decibans that each piece of evidence adds to each cause, all the rest being known."""
    count = len(net.leaks)
    include = np.ones((count + 1, count), dtype=np.bool_)
    include[np.arange(count), np.arange(count)] = False
    found = odds_in_decibans(posteriors(net, include), states)
    return parted(found[-1], found[:-1])


def parted(with_all: Floats, without: Floats) -> Floats:
    """Return what is missing [dB] in each row; 0 between two equal infinities (settled with it and without it)."""
    with np.errstate(invalid="ignore"):
        return np.where(with_all == without, 0.0, with_all - without)
