"""How long the questions take on the worked cases, and how much the quick path saves over judging each change anew.

Run it with ``python -m bench.questions``. Times depend on the machine; the ratios, taken in one run, do not.
"""

from __future__ import annotations

import os
import statistics
import time
from collections.abc import Callable
from pathlib import Path

from bench.clock import of_a_command
from inference.change import changed
from inference.diagnose import diagnose, judge_case
from inference.questions.again import Again
from inference.questions.least import least_proof
from inference.questions.tipping import tipping
from inference.questions.whatif import whatif
from inference.read_case import read_case
from kb.faults import Faults
from kb.load import load

CASES = Path(__file__).parent.parent / "cases"
EVERY = 5  # every fifth case is asked
AIMS = {"diagnose": 15.0, "whatif": 30.0, "tipping": 200.0}  # ms, median, on a machine with nothing else to do
ONE = {"blue_smoke": "yes"}


def milliseconds(work: Callable[[], object], turns: int) -> float:
    """Return the median processor time of ``work`` [ms], which other programs on the machine disturb least."""
    taken = []
    for _ in range(turns):
        began = time.process_time()
        work()
        taken.append(1e3 * (time.process_time() - began))
    return statistics.median(taken)


def measure() -> dict[str, list[float]]:
    """Return the time of each question by case [ms], and the number of variations that tipping judged."""
    knowledge = load()
    paths = sorted(p for p in CASES.glob("*.yaml") if not p.name.endswith(".expected.yaml"))[::EVERY]
    out: dict[str, list[float]] = {}
    for path in paths:
        case = read_case(path, knowledge)
        again, sparing = Again(case, knowledge), Again(case, knowledge, sparing=True)
        answers = {**ONE, **({"oil_level": "55 %"} if case.rounds[-1].number("oil_level") else {})}
        try:
            other = changed(case, knowledge, answers)
        except Faults:
            continue
        questions: dict[str, tuple[Callable[[], object], int]] = {
            "diagnose": (lambda c=case: diagnose(c, knowledge), 7),  # type: ignore[misc]
            "judged anew": (lambda c=other: judge_case(c, knowledge), 7),  # type: ignore[misc]
            "judged again": (lambda a=again, c=other: a.of(c), 7),  # type: ignore[misc]
            "whatif": (lambda a=again, c=case, n=answers: whatif(c, knowledge, n, a), 7),  # type: ignore[misc]
            "tipping": (lambda a=sparing, c=case: tipping(c, knowledge, a), 1),  # type: ignore[misc]
            "proof": (lambda a=again, c=case: least_proof(c, knowledge, a), 1),  # type: ignore[misc]
        }
        for name, (ask, turns) in questions.items():
            out.setdefault(name, []).append(milliseconds(ask, turns))
        out.setdefault("variations", []).append(float(tipping(case, knowledge, sparing).tried))
        out.setdefault("one core", []).append(of_a_command(path, "--one-core"))
        out.setdefault("all cores", []).append(of_a_command(path))
    return out


def main() -> bool:
    """Print the medians and ratios; return whether a change is judged again in less time than anew."""
    found = measure()
    middle = {name: statistics.median(times) for name, times in found.items()}
    print(f"{len(found['diagnose'])} cases, processor time, median (aim) and worst:")
    for name in ("diagnose", "judged anew", "judged again", "whatif", "tipping", "proof"):
        aim = f"(aim {AIMS[name]:.0f})" if name in AIMS else ""
        print(f"  {name:13} {middle[name]:9.1f} ms  {aim:10}  worst {max(found[name]):9.1f} ms")
    quick = statistics.median(a / b for a, b in zip(found["judged anew"], found["judged again"], strict=True))
    one = statistics.median(t / v for t, v in zip(found["tipping"], found["variations"], strict=True))
    print(f"  one change judged again: {quick:.1f} times as fast as anew")
    print(f"  tipping judges {middle['variations']:.0f} variations, {one:.1f} ms each,", end=" ")
    print(f"which is {middle['judged anew'] / one:.1f} times as fast as judging each anew")
    gain = statistics.median(a / b for a, b in zip(found["one core"], found["all cores"], strict=True))
    print(f"  tipping by the clock: {middle['one core']:.0f} ms on one core, {middle['all cores']:.0f} ms", end=" ")
    print(f"on {os.cpu_count()} ({gain:.2f} times as fast)")
    return quick > 1.0


if __name__ == "__main__":
    raise SystemExit(0 if main() else 1)
