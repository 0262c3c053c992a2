"""A job done on several of the processor's cores, where the system can fork safely; else done in one go.

The processes part before the job begins, so each has memory of its own: parting in its midst costs as much again as a
tenth of a second's work, since every page that both then touch is copied.
"""

from __future__ import annotations

import os
import pickle
import signal
import sys
import threading
import warnings
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass
from typing import BinaryIO, NoReturn, TypeVar

from inference.shares import Shares, undivided

T = TypeVar("T")
MOST = 4  # processes, each with the whole knowledge in its memory


def over_the_cores(job: Callable[[Shares], T]) -> T:
    """Do ``job`` and return what it returns; the work that it hands to its argument is done in shares.

    Every process does the whole job up to that work, and of it every so-many-th place; the others then end, and this
    one goes on. So the job must come to the same work in each, and what it prints before is printed once. Where there
    is no fork (Windows), where it is not safe (macOS, or while other threads run) and on one core nothing is divided;
    the share of a process that could not be begun, or failed, is done here. Raises what the job raises here.
    """
    cores = len(os.sched_getaffinity(0)) if sys.platform == "linux" else 1
    parts = min(cores, MOST)
    if parts < 2 or threading.active_count() > 1:
        return job(undivided)
    others: list[tuple[int, BinaryIO]] = []
    try:
        with suppress(OSError):  # the system allows no more of them
            for part in range(1, parts):
                others.append(_begin(job, part, parts))
        return job(_First(parts, tuple(answer for _, answer in others)))
    finally:
        for process, answer in others:
            answer.close()
            _end(process)


def _begin(job: Callable[[Shares], T], part: int, parts: int) -> tuple[int, BinaryIO]:
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
        _other(job, part, parts, there)
    os.close(there)
    return process, os.fdopen(here, "rb")


def _end(process: int) -> None:
    """End a process if it has not ended by itself, so that none is left behind."""
    # no such process: who started this one may have left it to the system to clear away what has ended
    with suppress(ChildProcessError, ProcessLookupError):
        if os.waitpid(process, os.WNOHANG)[0] == 0:
            os.kill(process, signal.SIGKILL)
            os.waitpid(process, 0)


@dataclass(frozen=True)
class _First:
    """This process's way to share: it does the first share and gathers the answers of the others."""

    parts: int
    answers: tuple[BinaryIO, ...]

    def __call__(self, work: Callable[[range], T], count: int) -> list[T]:
        told = [work(range(0, count, self.parts))]
        for part in range(1, self.parts):
            try:
                told.append(pickle.load(self.answers[part - 1]))
            except (IndexError, EOFError, pickle.UnpicklingError):  # not begun, or failed: what failed is seen here
                told.append(work(range(part, count, self.parts)))
        return told


def _other(job: Callable[[Shares], T], part: int, parts: int, told: int) -> NoReturn:
    """Do the job in a process of its own, in silence, as far as its share; then end."""

    def share(work: Callable[[range], object], count: int) -> NoReturn:
        answer = pickle.dumps(work(range(part, count, parts)))  # whole or not at all
        with os.fdopen(told, "wb") as out:
            out.write(answer)
        os._exit(0)

    with suppress(BaseException):  # nothing may go on from here into what this process has of the first
        silence = os.open(os.devnull, os.O_RDWR)
        for stream in (0, 1, 2):
            os.dup2(silence, stream)
        job(share)
    os._exit(1)
