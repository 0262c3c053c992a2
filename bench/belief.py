"""How long the exact belief takes on nets of the usual size; prints milliseconds, asserts nothing."""

from __future__ import annotations

import statistics
import time
from collections.abc import Callable
from dataclasses import replace

import numpy as np

from inference.belief.activation import posteriors, prepare
from inference.belief.net import Net
from inference.belief.together import posteriors_of


def workshop_net(seed: int, causes: int = 36, present: int = 12, absent: int = 25, states: int = 2) -> Net:
    """Return a random net of the usual sparsity: 3 to 8 causes per finding, two complaints linked to 30."""
    rng = np.random.default_rng(seed)
    m = present + absent
    links = np.zeros((causes, states, m))
    for finding in range(m):
        linked = min(causes, 30) if finding < 2 else rng.integers(3, 9)
        for cause in rng.choice(causes, linked, replace=False):
            links[cause, :, finding] = rng.choice([0.98, 0.9, 0.7, 0.5, 0.25, 0.08], size=states)
    odds = rng.choice([0.02, 0.05, 0.1, 0.2], size=(causes, states)) * 10 ** rng.normal(0, 0.3, (causes, states))
    weights = np.column_stack([np.ones(causes), odds])
    leaks = rng.choice([0.005, 0.01, 0.02, 0.05], size=m)
    names = tuple(f"cause_{i}" for i in range(causes))
    return Net(names, weights, links, leaks, np.arange(m) < present)


def milliseconds(work: Callable[[], object], repeats: int = 15) -> float:
    """Return the median time of ``work`` [ms]."""
    taken = []
    for _ in range(repeats):
        begin = time.perf_counter()
        work()
        taken.append(time.perf_counter() - begin)
    return 1000 * statistics.median(taken)


def main() -> None:
    """Print one line per size of net: open findings, one variant, 25 variants, 25 nets of other figures."""
    print("states present absent |  open   one variant   25 variants     25 nets  [ms, median]")
    for states in (1, 2):
        for present, absent in ((4, 33), (12, 25), (18, 25), (24, 20)):
            for seed in (1, 2, 3):
                net = workshop_net(seed, present=present, absent=absent, states=states)
                every = np.ones((25, len(net.leaks)), dtype=np.bool_)
                every[np.arange(24), np.arange(24)] = False
                width = prepare(net, every[24:]).width
                slow = width > 14
                one = milliseconds(lambda net=net: posteriors(net), 3 if slow else 15)  # type: ignore[misc]
                many = milliseconds(lambda net=net, every=every: posteriors(net, every), 1 if slow else 5)  # type: ignore[misc]
                others = [replace(net, links=net.links * share) for share in np.linspace(0.5, 1, 25)]
                nets = milliseconds(lambda others=others: posteriors_of(others), 1 if slow else 5)  # type: ignore[misc]
                print(
                    f"{states:6} {present:7} {absent:6} | {width:5} {one:13.2f} {many:13.2f} {nets:11.2f}",
                    flush=True,
                )


if __name__ == "__main__":
    main()
