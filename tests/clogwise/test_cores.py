"""Work spread over the cores: every place is done once, errors come back, a process that dies loses nothing."""

from __future__ import annotations

import json
import subprocess
import sys
import textwrap
from collections.abc import Callable
from typing import TypeVar

import pytest

from inference.questions.again import Again
from inference.questions.tipping import tipping
from inference.read_case import read_case
from kb.model import Knowledge
from tests.conftest import CASES, ROOT

T = TypeVar("T")
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="only Linux forks")


def spread(work: str, count: int = 60, cores: int = 3) -> list[object]:
    """Run ``work`` in a process without other threads, as if it had so many cores; return what it prints."""
    program = f"""
    import json, os, signal
    os.sched_getaffinity = lambda _: set(range({cores}))
    from clogwise.cores import over_the_cores
    first = os.getpid()
    {work}
    try:
        told = over_the_cores(work, {count})
    except ZeroDivisionError as error:
        told = ["raised", str(error)]
    print(json.dumps(told))
    """
    run = subprocess.run(
        [sys.executable, "-c", textwrap.dedent(program)], cwd=ROOT, capture_output=True, text=True, check=True
    )
    assert run.stderr == ""
    told = json.loads(run.stdout)
    assert isinstance(told, list)
    return told


def test_every_place_is_done_once_and_each_part_in_a_process_of_its_own() -> None:
    told = spread("work = lambda places: [os.getpid(), *places]")
    assert len({part[0] for part in told}) == 3  # type: ignore[index]
    assert sorted(place for part in told for place in part[1:]) == list(range(60))  # type: ignore[index]


@pytest.mark.parametrize(("count", "cores"), [(60, 1), (20, 3)])
def test_little_work_and_one_core_are_not_divided(count: int, cores: int) -> None:
    assert spread("work = lambda places: len(places)", count, cores) == [count]


def test_an_error_in_another_process_is_raised_here() -> None:
    assert spread("work = lambda places: 1 / 0 if os.getpid() != first else 1")[0] == "raised"


def test_a_part_whose_process_dies_is_done_by_the_first() -> None:
    told = spread("work = lambda places: len(places) if os.getpid() == first else os.kill(os.getpid(), signal.SIGKILL)")
    assert told == [20, 20, 20]


def in_three(work: Callable[[range], T], count: int) -> list[T]:
    return [work(range(part, count, 3)) for part in range(3)]


@pytest.mark.parametrize("path", CASES[::11], ids=lambda p: p.stem)
def test_tipping_in_shares_finds_the_same_turns(path: object, knowledge: Knowledge) -> None:
    case = read_case(path, knowledge)  # type: ignore[arg-type]
    again = Again(case, knowledge)
    whole, shared = tipping(case, knowledge, again), tipping(case, knowledge, again, in_three)
    assert [(t.slot, t.at, t.side, t.decision, t.top) for t in shared.turns] == [
        (t.slot, t.at, t.side, t.decision, t.top) for t in whole.turns
    ]
    assert shared.tried == whole.tried
