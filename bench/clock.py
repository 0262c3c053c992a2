"""How long ``clogwise tipping`` searches, by the clock, in a process that parts before it loads anything, as that does.

Run it with ``python -m bench.clock cases/school-run.yaml``; ``--one-core`` has it done in one process. It prints
milliseconds, reading and judging the case as it stands not counted in. :mod:`bench.questions` asks it of many cases.
"""

from __future__ import annotations

import subprocess
import sys
import time
from pathlib import Path

from clogwise.cores import over_the_cores
from inference.shares import Shares, undivided


def searched(path: Path, shares: Shares) -> float:
    """Return how long it takes [ms] to find all that turns one case."""
    from inference.questions.again import Again
    from inference.questions.tipping import tipping
    from inference.read_case import read_case
    from kb.load import load

    knowledge = load()
    case = read_case(path, knowledge)
    again = Again(case, knowledge, sparing=True)
    began = time.perf_counter()
    tipping(case, knowledge, again, shares)
    return 1e3 * (time.perf_counter() - began)


def of_a_command(path: Path, *options: str) -> float:
    """Return the same [ms], measured in a process of its own."""
    command = [sys.executable, "-m", "bench.clock", str(path), *options]
    return float(subprocess.run(command, stdout=subprocess.PIPE, text=True, check=True).stdout)


def main(path: str, *options: str) -> None:
    """Print the time of one case [ms]."""
    if "--one-core" in options:
        print(f"{searched(Path(path), undivided):.1f}")
    else:
        print(f"{over_the_cores(lambda shares: searched(Path(path), shares)):.1f}")


if __name__ == "__main__":
    main(*sys.argv[1:])
