"""The noisy-OR joint summed state by state: slow, obvious, and sharing no code with the sweep."""

from __future__ import annotations

import itertools
from dataclasses import dataclass

import numpy as np

from inference.belief.net import Bools, Floats, Net


@dataclass(frozen=True)
class Joint:
    """Every assignment of states to causes (``states`` [a, n], 0 absent) with its weight (``mass`` [a])."""

    net: Net
    states: np.ndarray[tuple[int, int], np.dtype[np.intp]]
    mass: Floats

    @property
    def chances(self) -> Floats:
        """[n, 1 + K] probability of each state."""
        count = self.net.weights.shape[1]
        sums = [[self.mass[column == state].sum() for state in range(count)] for column in self.states.T]
        return np.array(sums) / self.mass.sum()

    @property
    def none(self) -> float:
        """Probability that no cause is there."""
        return float(self.mass[~self.states.any(axis=1)].sum() / self.mass.sum())

    @property
    def log_evidence(self) -> float:
        """Natural log of P(findings)."""
        return float(np.log(self.mass.sum()) - np.log(self.net.weights.sum(axis=1)).sum())


def joint(net: Net, include: Bools | None = None) -> Joint:
    """Weigh every assignment under the evidence that counts (``include`` [m], None: all)."""
    counted = np.ones(len(net.leaks), dtype=np.bool_) if include is None else include
    n, count = net.weights.shape
    states = np.array(list(itertools.product(range(count), repeat=n)), dtype=np.intp)
    quiet = np.concatenate([np.ones((n, 1, len(net.leaks))), 1.0 - net.links], axis=1)
    mass = np.ones(len(states))
    absent = np.tile(1.0 - net.leaks, (len(states), 1))
    for cause in range(n):
        mass = mass * net.weights[cause, states[:, cause]]
        absent = absent * quiet[cause, states[:, cause]]
    factors = np.where(net.present, 1.0 - absent, absent)
    return Joint(net, states, mass * factors[:, counted].prod(axis=1))


def random_net(
    seed: int, causes: int, states: int, evidence: int, density: float = 0.5, present: float = 0.6, zeros: bool = True
) -> Net:
    """Return a net of random numbers; with ``zeros`` some leaks are 0, some states ruled out, some causes proven."""
    rng = np.random.default_rng(seed)
    links = rng.uniform(0.01, 0.99, (causes, states, evidence)) * (rng.random((causes, states, evidence)) < density)
    weights = rng.uniform(0.01, 1.0, (causes, states + 1))
    leaks = rng.uniform(0.001, 0.3, evidence)
    if zeros:
        leaks[rng.random(evidence) < 0.15] = 0.0
        weights[rng.random(causes) < 0.1, 0] = 0.0
        weights[:, -1][rng.random(causes) < 0.2] = 0.0
        weights[weights.sum(axis=1) == 0, 0] = 1.0
    names = tuple(f"c{place}" for place in range(causes))
    return Net(names, weights, links, leaks, rng.random(evidence) < present)
