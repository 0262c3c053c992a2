"""How a long work is handed over to be done in shares, without knowing by whom."""

from __future__ import annotations

from collections.abc import Callable
from typing import Protocol, TypeVar

T = TypeVar("T")


class Shares(Protocol):
    """Has a work done in shares: each call gets the places of its share out of ``count``; gives what each returned."""

    def __call__(self, work: Callable[[range], T], count: int) -> list[T]: ...


def undivided(work: Callable[[range], T], count: int) -> list[T]:
    """Do the work in one share."""
    return [work(range(count))]
