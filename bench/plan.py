"""How long the plan and the choice of the next question take, case by case; prints milliseconds, asserts nothing.

.venv/bin/python bench/plan.py [CASES]
"""

from __future__ import annotations

import statistics
import sys
import time
from collections.abc import Callable
from pathlib import Path

from inference.diagnose import diagnose
from inference.plan.asking import next_fact
from inference.plan.build import Planner
from inference.read_case import read_case
from kb.load import load

REPEATS = 5


def milliseconds(work: Callable[[], object]) -> tuple[float, float]:
    """Return the median time by the clock and of the processor [ms]; they differ on a machine that is shared."""
    clock, own = [], []
    work()
    for _ in range(REPEATS):
        begin, begin_own = time.perf_counter(), time.process_time()
        work()
        clock.append(time.perf_counter() - begin)
        own.append(time.process_time() - begin_own)
    return 1000 * statistics.median(clock), 1000 * statistics.median(own)


def main() -> None:
    """Time every case of a folder."""
    folder = Path(sys.argv[1] if len(sys.argv) > 1 else "cases")
    knowledge = load()
    times: dict[str, list[tuple[float, float]]] = {"plan": [], "ask": []}
    for path in sorted(p for p in folder.glob("*.yaml") if not p.stem.endswith(".expected")):
        result = diagnose(read_case(path, knowledge), knowledge)
        plan = milliseconds(lambda r=result: Planner(knowledge, r).plan())  # type: ignore[misc]
        ask = milliseconds(lambda r=result: next_fact(knowledge, r))  # type: ignore[misc]
        times["plan"].append(plan)
        times["ask"].append(ask)
        print(f"{path.stem:20} plan {plan[0]:5.0f} ms (own {plan[1]:4.0f}), ask {ask[0]:5.0f} ms (own {ask[1]:4.0f})")
    for name, rows in times.items():
        clock, own = zip(*rows, strict=True)
        print(
            f"{name}: median {statistics.median(clock):.0f} ms, worst {max(clock):.0f} ms; "
            f"of the processor {statistics.median(own):.0f} and {max(own):.0f} ms, over {len(rows)} cases"
        )


if __name__ == "__main__":
    main()
