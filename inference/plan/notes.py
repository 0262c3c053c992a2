"""What stands beside a plan: the facts a burn waits for, and what the arithmetic takes for granted."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from inference.plan.answer import Assumption, NeededFact, PlanStep
from inference.plan.joint import Joint
from inference.plan.prices import Tariff, with_others
from inference.plan.reach import Reach
from inference.result import Result
from kb.model import Knowledge

TOLD = 3  # needed facts that are told
LIKELY_PAIR = 0.1  # two causes at once, from which on it is said
LIKELY_REST = 0.1


def needed_facts(knowledge: Knowledge, result: Result, steps: Sequence[PlanStep]) -> tuple[NeededFact, ...]:
    """Return what the decision on a burn waits for and what finds it out, the quickest first.

    Told only while the decision is "hold" and facts are missing. What makes the place safe is told only when nothing
    else holds the burn up: it is looked after when the burn is lit.
    """
    gate = result.gate
    if gate.decision != "hold":
        return ()
    facts = {**result.latest.facts, **result.latest.verdicts.as_facts(), **result.decided.as_facts()}
    reach = Reach(knowledge, facts)
    in_steps = {need: i for i, step in reversed(list(enumerate(steps, 1))) for need in step.needs}
    out = []
    held_anyway = any(r.finding not in knowledge.gate.set_up for r in gate.because)
    for reason in gate.missing:
        if held_anyway and reason.finding in knowledge.gate.set_up:
            continue
        ways = reach.ways(reason.finding)
        wanted = ways[0] if ways else frozenset()
        test = min(
            (t for t in knowledge.tests.values() if wanted and wanted <= set(t.gives)),
            key=lambda t: (t.minutes + t.set_up_minutes, t.id),
            default=None,
        )
        out.append(
            NeededFact(
                reason.finding,
                reason.says,
                reason.minutes,
                test.id if test else None,
                in_steps.get(reason.finding),
            )
        )
    return tuple(out)


def assumptions_of(
    knowledge: Knowledge, prices: Tariff, found: Joint, rest: float, order: Sequence[str]
) -> tuple[Assumption, ...]:
    """Return what the plan takes for granted, with the figure that says how far."""
    count = np.array([int(m).bit_count() for m in range(len(found.alone))])
    both = found.alone + found.beside
    several = float(both[count >= 2].sum())
    out = [Assumption("repairs_hold", prices.holds), Assumption("cured"), Assumption("tests_clear")]
    if several >= LIKELY_PAIR:
        out.append(Assumption("several", several))
    if rest >= LIKELY_REST:
        out.append(Assumption("rest", rest))
    brought = [r for c in order for r in with_others(knowledge, knowledge.causes[c].remedy)[1:]]
    twice = sorted({r for r in brought if brought.count(r) > 1})
    if twice:
        out.append(Assumption("shared_work", names=tuple(twice)))
    pairs = [b.cause for c in order for b in knowledge.causes[c].brings if b.cause in order]
    if pairs:
        out.append(Assumption("brings", names=tuple(sorted(set(pairs)))))
    out.append(Assumption("prices"))
    return tuple(out)
