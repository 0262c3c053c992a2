"""A job in several processes: every place is done once, what fails comes to light once, nothing is left behind.

A process takes the next place when it is ready for it, so the work here takes its time: else the first would have done
it all before the others had begun.
"""

from __future__ import annotations

import json
import os
import subprocess
import sys
import textwrap
from collections.abc import Callable, Iterator
from pathlib import Path
from typing import TypeVar

import pytest
from typer.testing import CliRunner

from clogwise import cores
from clogwise.cli import app
from inference.questions.again import Again
from inference.questions.tipping import tipping
from inference.read_case import read_case
from inference.shares import Shares, undivided
from kb.model import Knowledge
from tests.conftest import CASES, ROOT

T = TypeVar("T")
pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="only Linux forks")

PROGRAM = """
import json, os, signal, sys, threading, time
sys.path.insert(0, {root!r})
os.sched_getaffinity = lambda _: set(range({cores}))
from clogwise.cores import over_the_cores
first = os.getpid()
open_before = len(os.listdir("/proc/self/fd"))
def slowly(places):
    return [os.getpid(), *(time.sleep(0.02) or place for place in places)]
{job}
try:
    told = over_the_cores(job)
except ZeroDivisionError as error:
    told = ["raised", str(error)]
left = "none"
try:
    left = str(os.waitpid(-1, os.WNOHANG))
except ChildProcessError:
    pass
opened = len(os.listdir("/proc/self/fd")) - open_before
print(json.dumps([told, first, left, opened]))
"""


def ran(job: str, cores: int = 3, said: str = "") -> tuple[list[object], int]:
    """Run a job in a process without other threads, as if it had so many cores; return its answer and the process.

    Nothing but ``said`` may be seen of it, no warning either, and no other process nor open end of a pipe may be
    left behind.
    """
    program = PROGRAM.format(root=str(ROOT), cores=cores, job=textwrap.dedent(job))
    run = subprocess.run([sys.executable, "-W", "always", "-c", program], cwd=ROOT, capture_output=True, text=True)
    assert run.stderr == ""
    *lines, last = run.stdout.splitlines()
    assert "".join(lines) == said
    told, first, left, opened = json.loads(last)
    assert (left, opened) == ("none", 0)
    return told, first


def each_once(told: list[object], count: int = 60) -> list[int]:
    """Check that every place was done once; return who did the shares."""
    by, *_ = zip(*told, strict=False)  # type: ignore[call-overload]
    shares = [share[1:] for share in told]  # type: ignore[index]
    assert sorted(place for share in shares for place in share) == list(range(count))
    return list(by)


@pytest.mark.parametrize("heap", [1024, 7])
def test_every_place_is_done_once_and_each_share_in_a_process_of_its_own(heap: int) -> None:
    told, first = ran(
        f"""
        import clogwise.cores
        clogwise.cores.HEAP = {heap}
        job = lambda shares: shares(slowly, 60)
        """
    )
    processes = each_once(told)
    assert len(set(processes)) == len(told) == 3
    assert processes[0] == first
    assert heap < 60 or all(share[1:] == sorted(share[1:]) for share in told)  # type: ignore[index]


def test_who_is_held_up_takes_less() -> None:
    told, _ = ran(
        """
        def work(places):
            return [os.getpid(), *(time.sleep(0.01 if os.getpid() == first else 0.2) or place for place in places)]
        job = lambda shares: shares(work, 60)
        """
    )
    each_once(told)
    quick, *slow = sorted((len(share) for share in told), reverse=True)  # type: ignore[arg-type]
    assert quick > 2 * sum(slow)


def test_who_has_done_everything_waits_for_nobody() -> None:
    told, first = ran(
        """
        def job(shares):
            if os.getpid() != first:
                threading.Event().wait()
            return shares(slowly, 10)
        """
    )
    assert each_once(told, 10) == [first]


def test_more_cores_than_there_is_memory_for_are_left_alone() -> None:
    told, _ = ran("job = lambda shares: shares(slowly, 60)", cores=64)
    assert len(set(each_once(told))) == len(told) == cores.MOST


def test_on_one_core_nothing_is_divided() -> None:
    told, first = ran("job = lambda shares: shares(lambda places: [os.getpid(), *places], 60)", cores=1)
    assert told == [[first, *range(60)]]


def test_while_other_threads_run_nothing_is_divided() -> None:
    told, first = ran(
        """
        stop = threading.Event()
        threading.Thread(target=stop.wait, daemon=True).start()
        job = lambda shares: shares(lambda places: [os.getpid(), *places], 60)
        """
    )
    assert told == [[first, *range(60)]]


def test_threads_of_a_library_are_not_warned_of() -> None:
    """They stop themselves at a fork; from Python 3.12 on it warns of them."""
    told, _ = ran(
        """
        import _thread, time
        _thread.start_new_thread(time.sleep, (60,))
        job = lambda shares: shares(slowly, 60)
        """
    )
    assert len(set(each_once(told))) == 3


def test_an_error_in_another_process_comes_to_light_here() -> None:
    told, _ = ran("job = lambda shares: shares(lambda places: [1 / (place - 1) for place in places], 60)")
    assert told == ["raised", "division by zero"]


@pytest.mark.parametrize(
    "fails",
    [
        "os.kill(os.getpid(), signal.SIGKILL)",
        "1 / 0",
        "sys.exit(3)",
        "os.kill(os.getpid(), signal.SIGINT)",
        "lambda: 'cannot be handed over'",
    ],
)
def test_what_another_process_fails_at_is_done_here(fails: str) -> None:
    told, first = ran(
        f"""
        def work(places):
            if os.getpid() != first:
                list(zip(range(4), places))
                return {fails}
            return slowly(places)
        job = lambda shares: shares(work, 60)
        """
    )
    assert each_once(told) == [first, first]


def test_where_no_more_processes_are_allowed_those_there_do_the_work() -> None:
    told, first = ran(
        """
        fork, begun = os.fork, []
        def at_most_one():
            begun.append(1)
            if len(begun) > 1:
                raise BlockingIOError(11, "Resource temporarily unavailable")
            return fork()
        os.fork = at_most_one
        job = lambda shares: shares(slowly, 60)
        """
    )
    by = each_once(told)
    assert len(by) == 2
    assert by.count(first) == 1


@pytest.mark.parametrize("allowed", range(4))
def test_where_no_more_pipes_are_allowed_the_work_is_done_all_the_same(allowed: int) -> None:
    told, first = ran(
        f"""
        pipe, made = os.pipe, []
        def so_many():
            made.append(1)
            if len(made) > {allowed}:
                raise OSError(24, "Too many open files")
            return pipe()
        os.pipe = so_many
        job = lambda shares: shares(slowly, 60)
        """
    )
    by = each_once(told)
    assert len(by) == max(allowed, 1)  # one pipe hands the work out, one more brings each other's answer
    assert by.count(first) == 1


def test_ended_processes_may_be_cleared_away_by_the_system() -> None:
    """As where a process was started by one that asks not to be told of those that end."""
    told, _ = ran(
        """
        signal.signal(signal.SIGCHLD, signal.SIG_IGN)
        job = lambda shares: shares(slowly, 60)
        """
    )
    assert len(set(each_once(told))) == 3


SAYS = """
    print("begun", flush=True)
    os.write(1, b"begun\\n")
    os.system("echo begun")
    assert os.getpid() == first or sys.stdin.read() == ""
    os.write(2, b"seen of others") if os.getpid() != first else None
"""


def test_what_the_others_say_is_not_seen() -> None:
    job = f"def job(shares):{SAYS}    return shares(lambda places: print('work', flush=True) or slowly(places), 60)"
    told, _ = ran(job, said="begun" * 3 + "work")
    assert len(set(each_once(told))) == 3


def test_a_job_that_fails_before_it_shares_fails_once() -> None:
    told, _ = ran(f"def job(shares):{SAYS}    1 / 0", said="begun" * 3)
    assert told == ["raised", "division by zero"]


def test_a_job_that_fails_here_waits_for_nobody() -> None:
    told, _ = ran("job = lambda shares: 1 / 0 if os.getpid() == first else threading.Event().wait()")
    assert told == ["raised", "division by zero"]


def test_a_job_that_shares_nothing_or_twice_is_done_all_the_same() -> None:
    assert ran("job = lambda shares: [7]")[0] == [7]
    told, first = ran("job = lambda shares: [shares(slowly, 60), shares(slowly, 30)]")
    assert len(each_once(told[0])) == 3  # type: ignore[arg-type]
    assert each_once(told[1], 30) == [first]  # type: ignore[arg-type]


@pytest.mark.parametrize("ends", ["return shares(work, 9)", "1 / 0", "sys.exit(3)", "pytest.fail('here')"])
def test_nothing_of_the_first_process_goes_on_in_another(ends: str, tmp_path: Path) -> None:
    """A test run is one of many things that another process must not go on with: it would be reported twice."""
    (tmp_path / "test_inside.py").write_text(
        textwrap.dedent(
            f"""
            import atexit, os, sys, time
            import pytest
            from clogwise.cores import over_the_cores
            from inference.shares import undivided

            first = os.getpid()

            def note(what):
                with open("noted", "a") as out:
                    out.write(what + "\\n")

            @pytest.fixture
            def house():
                atexit.register(note, "end of the process")
                yield
                note("end of the test")

            def work(places):
                assert os.getpid() == first
                return [time.sleep(0.01) or place for place in places]

            def job(shares):
                if os.getpid() == first:
                    return shares(work, 9)
                {ends}

            def test_it(house, monkeypatch):
                monkeypatch.setattr(os, "sched_getaffinity", lambda _: {{0, 1, 2}}, raising=False)
                assert sorted(place for share in over_the_cores(job) for place in share) == [*range(9)]
                note("end of the job")
            """
        )
    )
    run = subprocess.run(
        [sys.executable, "-m", "pytest", "-q", "-p", "no:cacheprovider", "-c", os.devnull, "test_inside.py"],
        cwd=tmp_path, env={**os.environ, "PYTHONPATH": str(ROOT)}, capture_output=True, text=True,
    )  # fmt: skip
    assert run.stdout.count("passed") == 1, run.stdout
    assert run.returncode == 0
    noted = (tmp_path / "noted").read_text().splitlines()
    assert noted == ["end of the job", "end of the test", "end of the process"]


def test_a_case_that_comes_through_a_pipe_is_read_by_one_process_alone(monkeypatch: pytest.MonkeyPatch) -> None:
    def as_two_processes(job: Callable[[Shares], T]) -> T:
        job(undivided)
        return job(undivided)

    def asked(of: str) -> str:
        told = CliRunner().invoke(app, ["tipping", of])
        assert told.exit_code == 0, told.output
        return told.output

    monkeypatch.setattr(cores, "over_the_cores", as_two_processes)
    path = next(p for p in CASES if p.stem == "tram-stop")
    here, there = os.pipe()
    with os.fdopen(there, "wb") as into:
        into.write(path.read_bytes())
    try:
        assert asked(f"/dev/fd/{here}") == asked(str(path))
    finally:
        os.close(here)


def in_three(work: Callable[[Iterator[int]], T], count: int) -> list[T]:
    return [work(iter(range(part, count, 3))) for part in range(3)]


@pytest.mark.parametrize("path", CASES[::11], ids=lambda p: p.stem)
def test_tipping_in_shares_finds_the_same_turns(path: Path, knowledge: Knowledge) -> None:
    case = read_case(path, knowledge)
    again = Again(case, knowledge, sparing=True)
    whole, shared = tipping(case, knowledge, again), tipping(case, knowledge, again, in_three)
    assert shared == whole
