"""A long piece of work spread over the processor's cores, where the system can fork safely; else done in one go."""

from __future__ import annotations

import os
import sys
import threading
import warnings
from collections.abc import Callable
from contextlib import suppress
from typing import TYPE_CHECKING, TypeVar

if TYPE_CHECKING:
    from multiprocessing.connection import Connection

T = TypeVar("T")
MOST = 8  # processes; more would wait for memory
LEAST = 12  # places that are worth a process of their own


def over_the_cores(work: Callable[[range], T], count: int) -> list[T]:
    """Have ``work`` done on the places 0 to ``count`` - 1 in parts, each every so-many-th place; return each part.

    A forked process begins with all that this one has worked out, so nothing but its answer is handed over. Where
    there is no fork (Windows), where it is not safe (macOS, or while other threads run) and on one core the work is
    done in one go. Raises what ``work`` raises in any of the processes.
    """
    cores = len(os.sched_getaffinity(0)) if sys.platform == "linux" else 1
    parts = min(cores, MOST, count // LEAST)
    if parts < 2 or threading.active_count() > 1:
        return [work(range(count))]
    from multiprocessing import get_context

    fork = get_context("fork")
    ends: list[Connection] = []
    for part in range(1, parts):
        here, there = fork.Pipe(duplex=False)
        child = fork.Process(target=_part, args=(work, range(part, count, parts), there), daemon=True)
        with warnings.catch_warnings():
            # Python 3.12 on warns of the threads of the algebra library, which stops them at a fork by itself
            warnings.simplefilter("ignore", DeprecationWarning)
            child.start()
        there.close()
        ends.append(here)
    told = [work(range(0, count, parts))]
    for part, here in enumerate(ends, start=1):
        try:
            answer = here.recv()
        except EOFError:  # the process was ended from outside
            answer = work(range(part, count, parts))
        if isinstance(answer, Exception):
            raise answer
        told.append(answer)
    return told


def _part(work: Callable[[range], T], places: range, told: Connection) -> None:
    with suppress(KeyboardInterrupt):  # who stopped it hears of it from the first process
        try:
            told.send(work(places))
        except Exception as error:
            told.send(error)
