"""From evidence to what is believed of each cause: probability at arrival and now, level, state and reasons."""

from __future__ import annotations

from collections.abc import Sequence
from math import log10

import numpy as np

from inference.belief.activation import Posterior
from inference.belief.decibans import parted, totals, without_each
from inference.belief.evidence import Evidence
from inference.belief.net import Floats
from inference.belief.verdict import Verdict
from inference.result import CauseResult, State, Step, Weight
from inference.values import Level
from kb.model import Knowledge

LIKELY, POSSIBLE, PROVEN = 0.5, 0.1, 0.95
MOST_DB, LEAST_DB = 30.0, 0.05  # evidence never weighs more than the first; below the second it is not told
ALIKE = 12  # decimals: causes that differ by less stand in the order of their names, however they were worked out
SHOWN = 6  # causes for which decibans are worked out unasked


def level_of(p: float, settled: str | None) -> Level:
    """Return the word for a probability [-]; ``settled`` is "present" or "absent" if a proof or veto settled it."""
    if settled == "absent" and p < POSSIBLE:
        return "ruled out"
    if settled == "present" and p >= PROVEN:
        return "proven"
    return "likely" if p >= LIKELY else "possible" if p >= POSSIBLE else "unlikely"


def judge(
    knowledge: Knowledge, evidence: Evidence, posterior: Posterior, least: float = 0.0
) -> tuple[tuple[CauseResult, ...], float]:
    """Return the causes, most probable first, without their weights, and the chance that none of them is there.

    ``posterior`` is that of the evidence's net (B = 1). Causes less probable than ``least``, which is POSSIBLE at the
    most, are left out: they are unlikely. The most probable stays, and so do those of which something else is known.
    """
    names = evidence.net.names
    chances, still = posterior.causes[0].tolist(), posterior.states[0, :, 0].tolist()
    ranks = (-posterior.causes[0].round(ALIKE)).tolist()
    apart = evidence.settled.keys() | evidence.not_applicable | evidence.repaired
    first = min(ranks)
    told = [i for i, name in enumerate(names) if chances[i] >= least or ranks[i] == first or name in apart]
    likely = (knowledge.causes[names[i]] for i in told if chances[i] >= LIKELY)
    bringing = {parent.id: {b.cause for b in parent.brings} for parent in likely if parent.brings}
    out = []
    for i in sorted(told, key=lambda i: (ranks[i], names[i])):
        cause_id, p, now = names[i], chances[i], still[i]
        if p < POSSIBLE and cause_id not in apart:  # most of them
            out.append(CauseResult(cause_id, p, now, "unlikely", "present", (), None))
            continue
        settled = evidence.settled.get(cause_id)
        state: State = "present"
        if cause_id in evidence.not_applicable:
            state = "does not apply"
        elif cause_id in evidence.repaired:
            state, now = "repaired", 0.0
        because_of: tuple[str, ...] = ()
        if bringing and p >= POSSIBLE:
            because_of = tuple(sorted(parent for parent, brought in bringing.items() if cause_id in brought))
        level = level_of(p, settled[0] if settled else None)
        by = settled[1].finding if settled else None
        out.append(CauseResult(cause_id, p, now, level, state, because_of, by))
    return tuple(out), float(posterior.none[0])


def weigh(evidence: Evidence, causes: Sequence[str], shared: Floats | None = None) -> dict[str, tuple[Weight, ...]]:
    """Work out, for the causes named, what each finding weighs: the decibans by which the odds fall without it.

    It does not depend on the order of asking. Private evidence weighs its likelihood ratio; a proof or a veto that
    settles the cause is given as the most that any evidence may weigh. ``shared`` [m, n]: the decibans of the shared
    findings, where they are known already.
    """
    if shared is None:
        shared = without_each(evidence.net) if evidence.nodes else np.zeros((0, len(evidence.net.names)))
    out = {}
    for cause in causes:
        i = evidence.net.names.index(cause)
        weights = [_weight(n, float(db), False) for n, db in zip(evidence.nodes, shared[:, i], strict=True)]
        weights += [_weight(p.verdict, p.decibans, True) for p in evidence.private if p.cause == cause]
        if cause in evidence.settled:
            side, verdict = evidence.settled[cause]
            weights = [w for w in weights if w.finding != verdict.finding]
            weights.append(_weight(verdict, MOST_DB if side == "present" else -MOST_DB, True))
        weights = [w for w in weights if abs(w.decibans) >= LEAST_DB]
        out[cause] = tuple(sorted(weights, key=lambda w: (-abs(w.decibans), w.finding, w.round)))
    return out


def waterfall(knowledge: Knowledge, evidence: Evidence, cause: str) -> tuple[Step, ...]:
    """Return how the belief in a cause grew from its prior: private evidence first, then the shared findings.

    The shared findings come in order of round and name. The steps add up to the posterior exactly, unless a proof or
    a veto settles the cause; that stands last, as the most that any evidence may weigh.
    """
    total = 10 * log10(knowledge.causes[cause].prior.p / (1 - knowledge.causes[cause].prior.p))
    steps = [Step(None, 0, total, total)]

    def take(verdict: Verdict, decibans: float) -> None:
        nonlocal total
        total += decibans
        steps.append(Step(verdict.finding, verdict.round, decibans, total))

    for private in evidence.private:
        if private.cause == cause:
            take(private.verdict, private.decibans)
    column = totals(evidence.net, range(len(evidence.nodes)))[:, evidence.net.index(cause)]
    for node, rise in zip(evidence.nodes, parted(column[1:], column[:-1]).tolist(), strict=True):
        take(node, rise)
    if cause in evidence.settled:
        side, verdict = evidence.settled[cause]
        take(verdict, MOST_DB if side == "present" else -MOST_DB)
    return tuple(steps)


def _weight(verdict: Verdict, decibans: float, private: bool) -> Weight:
    return Weight(verdict.finding, verdict.round, verdict.holds, decibans, private)
