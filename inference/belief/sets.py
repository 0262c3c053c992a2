"""The most probable sets of causes together; single probabilities hide which causes go in pairs.

A tree of decisions "there / not there", cause by cause in the order of the sweep. The sweep back gives the
exact probability of all sets below a node, which bounds every one of them; nodes below the sought probability
are cut.
"""

from __future__ import annotations

import numpy as np

from inference.belief.activation import CELLS, posteriors_traced
from inference.belief.net import Bools, Floats, Net
from inference.belief.sweep import Turn, enter, forward

LEAST = 1e-4


def best_sets(net: Net, top: int = 5, least: float = LEAST) -> list[tuple[frozenset[str], float]]:
    """Return the ``top`` most probable sets of present causes, most probable first, with their probability.

    Guaranteed: the figures are exact, and no set left out is more probable than one returned. Sets less
    probable than ``least`` are not looked for, so fewer may come, none of them missing. A cause counts as
    there in any of its present states. Ties go by name.

    Raises as :func:`inference.belief.activation.posteriors`.
    """
    tree = _Tree(net)
    floor = 0.05
    while True:
        floor = max(floor, least)
        found = tree.sets_above(floor)
        if len(found) >= top or floor <= least:
            break
        floor /= 8
    found.sort(key=lambda one: (-round(one[1], 12), sorted(one[0])))
    return found[:top]


class _Tree:
    def __init__(self, net: Net) -> None:
        made, trace, post = posteriors_traced(net)
        self.net = net
        self.turns = made.turns
        self.start = made.start
        self.weights = made.weights[:, :, 0]
        self.futures = trace.futures
        self.scales = trace.scales
        self.portion = max(1, CELLS >> made.width)
        swept = {turn.step.cause for turn in made.turns}
        self.free = [cause for cause in range(len(net.names)) if cause not in swept]
        self.absent = post.absent[0]

    def sets_above(self, floor: float) -> list[tuple[frozenset[str], float]]:
        """Return every set of at least this probability; at most 1/floor nodes are open at any depth."""
        names = self.net.names
        found = []
        waiting: list[tuple[int, Floats, Bools]] = [(0, np.ones((1, 1)), np.zeros((1, len(names)), dtype=np.bool_))]
        while waiting:
            depth, state, there = waiting.pop()
            nodes = len(there)
            if not nodes:
                continue
            if nodes > self.portion:
                half = nodes // 2
                waiting += [(depth, state[:, :half], there[:half]), (depth, state[:, half:], there[half:])]
            elif depth < len(self.turns):
                waiting.append((depth + 1, *self._branch(depth, state, there, floor)))
            else:
                mass, there = self._free(state[0], there, floor)
                for row, chance in zip(there, mass.tolist(), strict=True):
                    found.append((frozenset(names[cause] for cause in np.flatnonzero(row)), chance))
        return found

    def _branch(self, depth: int, state: Floats, there: Bools, floor: float) -> tuple[Floats, Bools]:
        turn: Turn = self.turns[depth]
        cause = turn.step.cause
        entered = enter(turn.step, self.start, state)
        without, with_it = self.weights[cause, :, None].copy(), self.weights[cause, :, None].copy()
        without[1:] = 0.0
        with_it[0] = 0.0
        apart = [forward(turn, own, entered).reshape(-1, len(there)) for own in (without, with_it)]
        after = np.concatenate(apart, axis=1) / self.scales[depth]
        members = np.concatenate([there, there])
        members[len(there) :, cause] = True
        kept = self.futures[depth] @ after >= floor
        return after[:, kept], members[kept]

    def _free(self, mass: Floats, there: Bools, floor: float) -> tuple[Floats, Bools]:
        """Decide the causes that no present finding links; they are independent of all others."""
        for cause in self.free:
            members = np.concatenate([there, there])
            members[len(there) :, cause] = True
            mass = np.concatenate([mass * self.absent[cause], mass * (1 - self.absent[cause])])
            kept = mass >= floor
            mass, there = mass[kept], members[kept]
        return mass, there
