"""What counts as cured: nothing is left that would block the filter again.

A cause that is there need not be what blocked it: alone it brings the trouble on only so often (``blocks``, from how
often it shows the complaint). So the trouble is gone when each cause there was either removed or is not at work, and
what is left over of it needs no repair. Once the trouble has been seen (the complaint stands, or the check after a
repair found it), some cause must be at work, and what is there is held to account by how well it could be.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

import numpy as np

from inference.belief.net import Floats

SURELY = 1 - 1e-9  # above this a subset cannot be what blocks the filter


@dataclass(frozen=True)
class Cure:
    """``blocks`` [K]: how often each cause alone brings the trouble on; ``holds``: how often a repair removes its cause
    for good (with several causes there all must hold)."""

    blocks: tuple[float, ...]
    holds: float = 1.0

    def gone(self, done: int) -> np.ndarray:
        """Return [2^K] the probability that the trouble is gone with the causes of each subset there and the repairs
        of ``done`` (a bit mask) done; of the causes alone, whether or not the trouble was seen before."""
        return _gone(self, done)

    def weights(self, alone: Floats, seen: int | None) -> Floats:
        """Return [2^K, B] the weights of the subsets that can be what was seen, each over its chance to show it.

        ``seen``: the repairs after which the trouble was still seen; None where it was not looked for.
        """
        return alone if seen is None else alone * _over(self, seen)[:, None]

    def left(self, alone: Floats, total: Floats, seen: int | None) -> Floats:
        """Return [2^K, B] the probability that the trouble is there when the repairs of a subset have been done.

        Parameters
        ----------
        alone : [2^K, B] probability of each subset of causes with nothing beside it
        total : [B] probability of all, with what lies beside them (which no repair here cures)
        seen : as in :meth:`weights`
        """
        after = _gone(self, len(alone) - 1)  # every cause repaired: taken out of each step of the sum below
        gone = alone * (after if seen is None else after * _over(self, seen))[:, None]
        width = gone.shape[1]
        for i, (stays, goes) in enumerate(self._shares()):
            halves = gone.reshape(-1, 2, 1 << i, width)
            without, with_it = halves[:, 0], halves[:, 1]
            idle = with_it * (stays / goes) if stays else None
            with_it += without
            if idle is not None:
                without += idle
        if seen is not None:
            gone -= np.einsum("n,nb->b", _over(self, seen) * self.gone(seen), alone)
        np.subtract(total, gone, out=gone)
        return np.asarray(np.maximum(gone, 0.0, out=gone))

    def _shares(self) -> list[tuple[float, float]]:
        """Return, by cause, how often the trouble of it stays away while it is there, and after its repair."""
        return [(1 - q, self.holds + (1 - self.holds) * (1 - q)) for q in self.blocks]


@lru_cache(maxsize=512)
def _gone(cure: Cure, done: int) -> np.ndarray:
    out = np.ones(1)
    for i, (stays, goes) in enumerate(cure._shares()):
        out = np.concatenate([out, out * (goes if done >> i & 1 else stays)])
    out.setflags(write=False)
    return out


@lru_cache(maxsize=512)
def _over(cure: Cure, seen: int) -> np.ndarray:
    gone = _gone(cure, seen)
    out = np.where(gone < SURELY, 1 / np.maximum(1 - gone, 1e-12), 0.0)
    out.setflags(write=False)
    return out


def at_work(blocks: Sequence[float], shares: Sequence[float]) -> float:
    """Return how often one of several causes is at work when one is there, each with its share."""
    total = sum(shares)
    return sum(b * s for b, s in zip(blocks, shares, strict=True)) / total if total else 0.0
