"""How a long work is handed over to be done in shares, without knowing by whom."""

from __future__ import annotations

from collections.abc import Callable, Iterator
from typing import Protocol, TypeVar

T = TypeVar("T")


class Shares(Protocol):
    """Has a work done in shares, and gives what each share returned.

    Each is handed places out of ``count``, one when it asks for one, until all are given out.
    """

    def __call__(self, work: Callable[[Iterator[int]], T], count: int) -> list[T]: ...


def undivided(work: Callable[[Iterator[int]], T], count: int) -> list[T]:
    """Do the work in one share."""
    return [work(iter(range(count)))]
