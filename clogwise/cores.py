"""A job done on several of the processor's cores, where the system can fork safely; else done in one go.

The processes part before the job begins, so each has memory of its own: parting in its midst costs as much again as a
tenth of a second's work, since every page that both then touch is copied.
"""

from __future__ import annotations

import os
import pickle
import signal
import struct
import sys
import threading
import warnings
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from typing import BinaryIO, NoReturn, TypeVar

from inference.shares import Shares, undivided

T = TypeVar("T")
MOST = 4  # processes, each with the whole knowledge in its memory
HEAP = 1024  # numbers handed out: the smallest pipe (4 kB) takes them before anybody reads


def over_the_cores(job: Callable[[Shares], T]) -> T:
    """Do ``job`` and return what it returns; the work that it hands to its argument is done in shares.

    Every process does the whole job up to that work, and of it one place after the other, whichever nobody has taken
    yet; the others then end, and this one goes on. So the job must come to the same work in each, and what it prints
    before is printed once. Where there is no fork (Windows), where it is not safe (macOS, or while other threads run)
    and on one core nothing is divided; what a process that could not be begun, or failed, has taken is done here.
    Raises what the job raises here.
    """
    cores = len(os.sched_getaffinity(0)) if sys.platform == "linux" else 1
    parts = min(cores, MOST)
    if parts < 2 or threading.active_count() > 1:
        return job(undivided)
    try:
        heap = _Heap()
    except OSError:  # no pipe to be had: the system allows no more of them
        return job(undivided)
    others: list[tuple[int, BinaryIO]] = []
    with heap:
        try:
            with suppress(OSError):  # the system allows no more of them
                for _ in range(1, parts):
                    others.append(_begin(job, heap))
            return job(_First(heap, [answer for _, answer in others]))
        finally:
            for process, answer in others:
                answer.close()
                _end(process)


class _Heap:
    """A heap of numbers from which each process takes the next: a pipe, filled before they part.

    Nobody waits for anybody, and who fails holds nothing back but what it took.
    """

    def __init__(self) -> None:
        self._top, into = os.pipe()
        os.write(into, struct.pack(f"{HEAP}H", *range(HEAP)))
        os.close(into)

    def __enter__(self) -> _Heap:
        return self

    def __exit__(self, *_: object) -> None:
        os.close(self._top)

    def places(self, count: int, taken: list[int]) -> Iterator[int]:
        """Yield places out of ``count`` that no other process takes; note each in ``taken``."""
        while number := os.read(self._top, 2):
            (first,) = struct.unpack("H", number)
            if first >= count:
                return
            for place in range(first, count, HEAP):
                taken.append(place)
                yield place


def _begin(job: Callable[[Shares], T], heap: _Heap) -> tuple[int, BinaryIO]:
    """Begin one of the other processes; return its id and where its answer is read. OSError where it cannot be."""
    here, there = os.pipe()
    try:
        with warnings.catch_warnings():
            # Python 3.12 on warns of the threads of the algebra library, which stops them at a fork by itself
            warnings.simplefilter("ignore", DeprecationWarning)
            process = os.fork()
    except OSError:
        os.close(here)
        os.close(there)
        raise
    if not process:
        _other(job, heap, there)
    os.close(there)
    return process, os.fdopen(here, "rb")


def _end(process: int) -> None:
    """End a process if it has not ended by itself, so that none is left behind."""
    # no such process: who started this one may have left it to the system to clear away what has ended
    with suppress(ChildProcessError, ProcessLookupError):
        if os.waitpid(process, os.WNOHANG)[0] == 0:
            os.kill(process, signal.SIGKILL)
            os.waitpid(process, 0)


@dataclass
class _First:
    """This process's way to share: it works as the others do, then gathers their answers."""

    heap: _Heap
    answers: list[BinaryIO]
    shared: bool = False

    def __call__(self, work: Callable[[Iterator[int]], T], count: int) -> list[T]:
        if self.shared:  # the others have ended with the first work
            return undivided(work, count)
        self.shared = True
        taken: list[int] = []
        told = [work(self.heap.places(count, taken))]
        left = set(range(count)).difference(taken)
        for answer in self.answers:
            if not left:  # nobody else took anything
                break
            with suppress(EOFError, ValueError, pickle.UnpicklingError):  # it failed: what failed is seen here
                theirs, said = pickle.load(answer)
                left.difference_update(theirs)
                told.append(said)
        return [*told, work(iter(sorted(left)))] if left else told


def _other(job: Callable[[Shares], T], heap: _Heap, told: int) -> NoReturn:
    """Do the job in a process of its own, in silence, as far as its share; then end."""

    def share(work: Callable[[Iterator[int]], object], count: int) -> NoReturn:
        taken: list[int] = []
        answer = pickle.dumps((taken, work(heap.places(count, taken))))  # whole or not at all
        with os.fdopen(told, "wb") as out:
            out.write(answer)
        os._exit(0)

    with suppress(BaseException):  # nothing may go on from here into what this process has of the first
        silence = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(silence, stream)
        job(share)
    os._exit(1)
