"""How long an answer takes: ``why`` from a cold start, ``diagnose`` and its parts in a warm process.

    .venv/bin/python -m bench.why

Best and median of several runs; a shared machine makes single runs meaningless.
"""

from __future__ import annotations

import gc
import os
import statistics
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path

from inference.belief.activation import posteriors
from inference.belief.judge import judge, weigh
from inference.case import Case
from inference.derive import derive
from inference.diagnose import diagnose, evidence_of, find, judge_case, program_of
from inference.engine.run import run
from inference.facts import round_facts
from inference.read_case import read_case
from kb.load import load

ROOT = Path(__file__).parent.parent


def milliseconds(work: Callable[[], object], times: int = 15) -> tuple[float, float]:
    """Return the best and the median time of ``work`` [ms] after one run to warm up."""
    work()
    taken = []
    for _ in range(times):
        start = time.perf_counter()
        work()
        taken.append(1000 * (time.perf_counter() - start))
    return min(taken), statistics.median(taken)


def cold(case: Path) -> None:
    """Run the whole command in a process of its own."""
    done = subprocess.run(
        [sys.executable, "-m", "clogwise", "why", str(case)], cwd=ROOT, capture_output=True, env=os.environ, check=True
    )
    assert done.stdout


def main() -> None:
    knowledge = load()
    gc.collect()
    gc.freeze()
    paths = [p for p in sorted((ROOT / "cases").glob("*.yaml")) if not p.name.endswith(".expected.yaml")]
    cases = [read_case(p, knowledge) for p in paths]

    def told(name: str, work: Callable[[], object], times: int = 15) -> None:
        best, median = milliseconds(work, times)
        print(f"{name:34} best {best:8.2f} ms   median {median:8.2f} ms")

    told("clogwise why, cold process", lambda: cold(paths[0]), 5)
    each = [milliseconds(lambda c=c: diagnose(c, knowledge), 3)[0] for c in cases]  # type: ignore[misc]
    print(f"{'diagnose, over all cases':34} best {min(each):8.2f} ms   median {statistics.median(each):8.2f} ms")
    one = cases[len(cases) // 2]
    told("diagnose, one case", lambda: diagnose(one, knowledge))
    told("  without weights and next tests", lambda: judge_case(one, knowledge))
    parts(one, told)


def parts(case: Case, told: Callable[[str, Callable[[], object]], None]) -> None:
    """Time what a diagnosis consists of."""
    knowledge = load()
    derived = derive(case, knowledge)
    facts = round_facts(case, knowledge, derived)
    program = program_of(knowledge)
    rounds = find(case, knowledge)
    evidence = evidence_of(case, knowledge, rounds)
    causes, _ = judge(knowledge, evidence, posteriors(evidence.net))
    told("  derive", lambda: derive(case, knowledge))
    told("  facts", lambda: round_facts(case, knowledge, derived))
    told("  rules of one round", lambda: run(program, facts.slots[-1], "find"))
    told("  evidence", lambda: evidence_of(case, knowledge, rounds))
    told("  belief", lambda: judge(knowledge, evidence, posteriors(evidence.net)))
    told("  weights", lambda: weigh(evidence, [c.id for c in causes[:6]]))


if __name__ == "__main__":
    main()
