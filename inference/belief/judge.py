"""From evidence to what is believed of each cause: probability at arrival and now, level, state and reasons."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from inference.belief.activation import Posterior, posteriors
from inference.belief.evidence import Evidence, Verdict
from inference.result import CauseResult, State, Step, Weight
from inference.values import Level
from kb.model import Knowledge

LIKELY, POSSIBLE, PROVEN = 0.5, 0.1, 0.95
SHOWN = 6  # causes for which decibans are worked out unasked


def level_of(p: float, settled: str | None) -> Level:
    """Return the word for a probability [-]; ``settled`` is "present" or "absent" if a proof or veto settled it."""
    if settled == "absent" and p < POSSIBLE:
        return "ruled out"
    if settled == "present" and p >= PROVEN:
        return "proven"
    return "likely" if p >= LIKELY else "possible" if p >= POSSIBLE else "unlikely"


def judge(knowledge: Knowledge, evidence: Evidence) -> tuple[tuple[CauseResult, ...], float]:
    """Return the causes, most probable first, without their weights, and the chance that none of them is there."""
    posterior = posteriors(evidence.net)
    chance = {c: float(posterior.causes[0, i]) for i, c in enumerate(evidence.net.names)}
    out = []
    for i, cause_id in enumerate(evidence.net.names):
        p, now = chance[cause_id], float(posterior.states[0, i, 0])
        settled = evidence.settled.get(cause_id)
        state: State = "present"
        if cause_id in evidence.not_applicable:
            state = "does not apply"
        elif cause_id in evidence.repaired:
            state, now = "repaired", 0.0
        parents = [
            parent.id
            for parent in knowledge.causes.values()
            if chance[parent.id] >= LIKELY and any(b.cause == cause_id for b in parent.brings)
        ]
        because_of = tuple(sorted(parents)) if p >= POSSIBLE else ()
        level = level_of(p, settled[0] if settled else None)
        by = settled[1].finding if settled else None
        out.append(CauseResult(cause_id, p, now, level, state, because_of, by))
    return tuple(sorted(out, key=lambda c: (-c.probability, c.id))), float(posterior.none[0])


def weigh(evidence: Evidence, causes: Sequence[str]) -> dict[str, tuple[tuple[Weight, ...], tuple[Step, ...]]]:
    """Work out, for the causes named, what each finding weighs and the waterfall from prior to posterior.

    The weight of a shared finding is the decibans by which the odds fall without it (it does not depend on order);
    a private one's is its likelihood ratio. The waterfall takes the private evidence first, then the shared findings
    in order of round and name; its steps add up to the posterior exactly.
    """
    m = len(evidence.nodes)
    wanted = [evidence.net.names.index(c) for c in causes]
    without = ~np.eye(m, dtype=np.bool_)
    growing = np.tril(np.ones((m + 1, m), dtype=np.bool_), -1)
    include = np.vstack([np.ones((1, m), dtype=np.bool_), without, growing])
    odds = _decibans(posteriors(evidence.net, include))
    out = {}
    for i in wanted:
        cause = evidence.net.names[i]
        weights = [_weight(node, float(odds[0, i] - odds[1 + j, i]), False) for j, node in enumerate(evidence.nodes)]
        mine = [p for p in evidence.private if p.cause == cause]
        weights += [_weight(p.verdict, p.decibans, True) for p in mine]
        weights = [w for w in weights if abs(w.decibans) >= 0.05]
        weights.sort(key=lambda w: (-abs(w.decibans), w.finding, w.round))
        out[cause] = (tuple(weights), _waterfall(evidence, odds[m + 1 :, i], mine))
    return out


def _weight(verdict: Verdict, decibans: float, private: bool) -> Weight:
    return Weight(verdict.finding, verdict.round, verdict.holds, decibans, private)


def _decibans(posterior: Posterior) -> np.ndarray:
    with np.errstate(divide="ignore"):
        return np.asarray(10 * (np.log10(posterior.causes) - np.log10(posterior.absent)))


def _waterfall(evidence: Evidence, growing: np.ndarray, mine: Sequence) -> tuple[Step, ...]:  # type: ignore[type-arg]
    total = float(growing[0]) - sum(p.decibans for p in mine)
    steps = [Step(None, 0, total, total)]
    for private in mine:
        total += private.decibans
        steps.append(Step(private.verdict.finding, private.verdict.round, private.decibans, total))
    for j, node in enumerate(evidence.nodes):
        gain = float(growing[j + 1] - growing[j])
        total += gain
        steps.append(Step(node.finding, node.round, gain, total))
    return tuple(steps)
