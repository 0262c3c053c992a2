"""The engine against others: counting matcher, experta's own Rete and CLIPS on the same rules and facts.

All three run in one process, so that their ratio says something on any machine. Run it with
``python -m bench.engine``. Rete builds its network with every engine; CLIPS builds once, and its time of a run
takes in telling it the facts and reading the verdicts back, as that of the others does.
"""

from __future__ import annotations

import random
import statistics
import time
from collections.abc import Callable

from inference.engine.run import run
from inference.values import Value
from tests.inference.rulebases import random_base, random_facts, unit_of
from tests.outside.clips_rules import ClipsRules

RULES, CASES, TURNS = 260, 6, 15
AT_LEAST = {"rete": 20.0, "clips": 1.0}  # times faster than these the counting matcher must be


def seconds(work: Callable[[], object]) -> float:
    began = time.perf_counter()
    work()
    return time.perf_counter() - began


def measure() -> dict[str, float]:
    """Return the median time of one run of the stage "find", in ms, by matcher; the verdicts must agree."""
    rng = random.Random(1)
    base = random_base(rng, RULES)
    built = seconds(lambda: base.compile())
    program = base.compile()
    clips_built = seconds(lambda: ClipsRules(base.rules, base.findings, "find", unit_of))
    clips = ClipsRules(base.rules, base.findings, "find", unit_of)
    cases: list[dict[str, Value]] = [random_facts(rng, base) for _ in range(CASES)]
    times: dict[str, list[float]] = {"counting": [], "rete": [], "clips": []}
    run(program, cases[0], "find")
    for _ in range(TURNS):
        for facts in cases:
            times["counting"].append(seconds(lambda f=facts: run(program, f, "find")))  # type: ignore[misc]
            times["clips"].append(seconds(lambda f=facts: clips.run(f)))  # type: ignore[misc]
    for facts in cases:  # afterwards, since the networks it leaves behind make every collection of garbage dear
        times["rete"].append(seconds(lambda f=facts: run(program, f, "find", matcher="rete")))  # type: ignore[misc]
    for facts in cases:
        ours = {f: r.state for f, r in run(program, facts, "find").findings.items()}
        assert ours == clips.run(facts)[0], "counting and CLIPS disagree"
    out = {name: 1e3 * statistics.median(found) for name, found in times.items()}
    return out | {"compile": 1e3 * built, "clips_build": 1e3 * clips_built, "facts": float(len(cases[0]))}


def main() -> bool:
    """Print the times and their ratios; return whether the counting matcher is as much faster as it should."""
    found = measure()
    print(f"{RULES} rules, about {found['facts']:.0f} facts, stage 'find', median of {CASES} cases:")
    print(f"  counting matcher  {found['counting']:8.2f} ms   (rules compiled once: {found['compile']:.0f} ms)")
    print(f"  experta's Rete    {found['rete']:8.2f} ms   {found['rete'] / found['counting']:6.1f} times that")
    print(
        f"  CLIPS             {found['clips']:8.2f} ms   {found['clips'] / found['counting']:6.1f} times that"
        f"   (network built once: {found['clips_build']:.0f} ms)"
    )
    return all(found[other] >= times * found["counting"] for other, times in AT_LEAST.items())


if __name__ == "__main__":
    raise SystemExit(0 if main() else 1)
