"""The belief net: causes, of which several may be there at once, and the evidence nodes they may set off.

Two layers (BN2O). Each cause is absent or in one of K present states; each evidence node is a leaky noisy-OR
of the causes, in the net form (Díez): a link says how often this cause ALONE sets the node off, the leak how
often it goes off with none of the listed causes there.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Bools = NDArray[np.bool_]
BELOW_ONE = float(np.nextafter(1.0, 0.0))


class ImpossibleEvidence(ValueError):  # noqa: N818  named for what it is
    """Nothing the net allows could have produced this evidence: proofs, vetoes and findings contradict."""


@dataclass(frozen=True)
class Net:
    """Causes, evidence and what links them. All evidence is hard; fold trust in first (:mod:`.soft`).

    Parameters
    ----------
    names : the n causes
    weights : [n, 1 + K] weight of absent and of each present state [-]; prior times private likelihood
        ratios, in any scale per cause. A proof sets the weight of absent to 0, a veto the weights of all
        present states.
    links : [n, K, m] probability that this cause in this state alone sets the node off, in [0, 1) [-]
    leaks : [m] probability that the node goes off with no listed cause there, in [0, 1] [-]
    present : [m] whether the node was observed to have gone off (else: observed not to). A node that was not
        observed has no place in the net.

    Raises
    ------
    ValueError
        on shapes that do not fit or numbers out of range; the sentence names the field.
    """

    names: tuple[str, ...]
    weights: Floats
    links: Floats
    leaks: Floats
    present: Bools

    def __post_init__(self) -> None:
        n, m = len(self.names), len(self.leaks)
        if self.weights.ndim != 2 or self.weights.shape[0] != n or self.weights.shape[1] < 2:
            raise ValueError(f"weights has shape {self.weights.shape}; it must be ({n}, 1 + present states)")
        shape = (n, self.weights.shape[1] - 1, m)
        if self.links.shape != shape:
            raise ValueError(f"links has shape {self.links.shape}; with these causes and leaks it must be {shape}")
        if self.leaks.shape != (m,) or self.present.shape != (m,) or self.present.dtype != np.bool_:
            raise ValueError(f"leaks and present must each hold {m} entries, present of type bool")
        if not _within(self.weights, 0.0, np.finfo(float).max):
            raise ValueError("weights holds a number that is negative or not finite; a weight is nought or more")
        if not _within(self.links, 0.0, BELOW_ONE):
            raise ValueError("links holds a number outside [0, 1); no cause sets a node off with certainty")
        if not _within(self.leaks, 0.0, 1.0):
            raise ValueError("leaks holds a number outside [0, 1]")
        if len(set(self.names)) != n:
            raise ValueError("names holds a cause twice; every cause has one row")

    def index(self, cause: str) -> int:
        """Return the row of ``cause``; a ValueError names an unknown one."""
        if cause not in self.names:
            raise ValueError(f"the net has no cause '{cause}'; it has {', '.join(self.names)}")
        return self.names.index(cause)


def _within(numbers: Floats, low: float, high: float) -> bool:
    """Whether all numbers lie between the two, these included; one that is no number does not."""
    if not numbers.size:
        return True
    return bool(np.minimum.reduce(numbers, axis=None) >= low and np.maximum.reduce(numbers, axis=None) <= high)


def variants(net: Net, include: Bools | Sequence[Sequence[bool]] | None) -> Bools:
    """Return ``include`` as a [B, m] array; None is one variant that counts everything."""
    if include is None:
        return np.ones((1, len(net.leaks)), dtype=np.bool_)
    given = np.asarray(include)
    if given.ndim != 2 or given.shape[1] != len(net.leaks) or given.dtype != np.bool_:
        raise ValueError(f"include has shape {given.shape}; it must be bool (variants, {len(net.leaks)})")
    return given
