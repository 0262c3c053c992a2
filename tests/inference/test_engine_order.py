"""Nothing shows of order, hash seed or matcher: shuffled rules, three seeds and Rete give the same verdicts."""

from __future__ import annotations

import os
import random
import subprocess
import sys
from pathlib import Path

import pytest

from inference.engine.program import compile_rules
from inference.engine.run import run
from tests.inference.rulebases import Base, random_base, random_facts, random_levels, unit_of

ROOT = Path(__file__).parents[2]


def story(base: Base, seed: int, matcher: str = "counting") -> str:
    """Run both stages on three cases and tell everything that came of it."""
    rng = random.Random(seed)
    program = compile_rules(base.rules, base.findings, unit_of)
    told = []
    for _ in range(3):
        facts = random_facts(rng, base)
        found = run(program, facts, "find", matcher=matcher)  # type: ignore[arg-type]
        levels = random_levels(rng, base)
        decided = run(program, {**facts, **found.as_facts()}, "decide", levels, matcher)  # type: ignore[arg-type]
        told += [repr(v) for verdicts in (found, decided) for v in (verdicts, verdicts.fired)]
    return "\n".join(told)


@pytest.mark.parametrize("seed", range(4))
def test_rete_says_the_same(seed: int) -> None:
    base = random_base(random.Random(seed), 60)
    assert story(base, seed) == story(base, seed, "rete")


def test_shuffling_the_rules_changes_nothing() -> None:
    base = random_base(random.Random(11), 120)
    first = story(base, 2)
    assert "Vote(" in first
    assert "Leaning(" in first
    for seed in range(20):
        random.Random(seed).shuffle(base.rules)
        assert story(base, 2) == first


@pytest.mark.parametrize("matcher", ["counting", "rete"])
def test_the_hash_seed_changes_nothing(matcher: str) -> None:
    script = (
        "import random\n"
        "from tests.inference.rulebases import random_base\n"
        "from tests.inference.test_engine_order import story\n"
        f"print(story(random_base(random.Random(11), 60), 2, '{matcher}'))\n"
    )
    told = {
        subprocess.run(
            [sys.executable, "-c", script],
            env={**os.environ, "PYTHONHASHSEED": seed, "PYTHONPATH": str(ROOT)},
            cwd=ROOT,
            capture_output=True,
            text=True,
            check=True,
        ).stdout
        for seed in ("0", "1", "4711")
    }
    assert len(told) == 1
    assert "Fired(" in told.pop()


def test_runs_do_not_touch_one_another() -> None:
    """One program, two cases by turns: what one engine was told, the next does not know."""
    base = random_base(random.Random(5), 80)
    program = base.compile()
    one, two = (random_facts(random.Random(s), base) for s in (1, 2))
    first = repr(run(program, one, "find"))
    assert repr(run(program, two, "find")) != first
    assert repr(run(program, one, "find")) == first
    assert repr(run(program, one, "find", matcher="rete")) == first
    assert repr(run(program, one, "find")) == first
