"""The counting matcher: each new fact lowers a counter in just the ways that its value serves.

A way whose counter reaches nought is activated. Linear in the number of conditions read (Dowling & Gallier
1984, "Linear-time algorithms for testing the satisfiability of propositional Horn formulae", J. Logic
Programming 1(3) 267-284). Each distinct literal is tested once per fact, however many rules share it.
"""

from __future__ import annotations

from collections.abc import Iterable

from inference.engine.program import Stage


class Countdown:
    """The counters of one run over one stage; facts are only ever added, each slot once."""

    def __init__(self, stage: Stage) -> None:
        self._left = list(stage.sizes)

    def take(self, served: Iterable[int]) -> list[int]:
        """Take a fact by the ways that it brings nearer, once a need, and return those that it completes."""
        left, ready = self._left, []
        for way in served:
            left[way] -= 1
            if not left[way]:
                ready.append(way)
        return ready
