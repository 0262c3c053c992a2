"""Which test tells most about the causes for a minute of work.

For each finding a test settles and nobody knows yet, the information it is expected to give is the sum over the
causes of what it takes off their uncertainty [bit]: H(c) - sum over outcomes P(outcome) H(c | outcome). For a shared
finding the two outcomes come from the exact net; for private evidence and proofs from Bayes' rule on one cause.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from inference.belief.ahead import Ahead
from inference.belief.evidence import Evidence, column_of
from inference.offered import may_be_done, still_open
from inference.result import CauseResult, GateResult, NextTest, RoundResult
from kb.model import Knowledge

PROOF_IF_THERE, PROOF_IF_NOT = 0.95, 0.02  # how often a proof comes out so, where nothing else is said (from memory)
WORTH_SAYING = 0.005  # bit


def entropy(p: np.ndarray) -> np.ndarray:
    """Return the uncertainty [bit] of yes/no probabilities."""
    p = np.clip(p, 1e-12, 1 - 1e-12)
    return np.asarray(-(p * np.log2(p) + (1 - p) * np.log2(1 - p)))


def open_findings(knowledge: Knowledge, latest: RoundResult) -> list[str]:
    """Return the findings that nobody knows yet and that some test still open could settle."""
    findings = latest.verdicts.findings
    settled = {f for t in knowledge.tests.values() if still_open(t, latest.facts) for f in t.settles}
    return sorted(f for f in settled if (r := findings.get(f)) is not None and r.state == "unknown")


def next_tests(
    knowledge: Knowledge,
    latest: RoundResult,
    unknown: Sequence[str],
    ahead: Ahead,
    causes: Sequence[CauseResult],
    gate: GateResult,
) -> tuple[NextTest, ...]:
    """Return the tests that may be done now and tell something, the most bits for a minute first.

    Parameters
    ----------
    unknown : the findings of :func:`open_findings`
    ahead : looked ahead to those of them that :func:`shared_and_open` names
    """
    now = {c.id: (c.now if c.state == "present" else 0.0) for c in causes}
    gain = shared_gains(ahead)
    for finding, bits in private_gains(knowledge, now, unknown).items():
        gain[finding] = max(gain.get(finding, 0.0), bits)
    out = []
    for test in knowledge.tests.values():
        bits = max((gain.get(f, 0.0) for f in test.settles), default=0.0)
        if (
            bits >= WORTH_SAYING
            and still_open(test, latest.facts)
            and may_be_done(knowledge, test, gate, latest.verdicts.findings)
        ):
            out.append(NextTest(test.id, test.minutes + test.set_up_minutes, bits))
    return tuple(sorted(out, key=lambda t: (-t.score, t.test)))


def shared_and_open(knowledge: Knowledge, evidence: Evidence, findings: Iterable[str]) -> list[str]:
    """Return those of ``findings`` that several causes share and for whose group nothing speaks yet."""
    spoken = {knowledge.findings[n.finding].group or n.finding for n in evidence.nodes}
    return [
        f for f in findings if column_of(knowledge, f).any() and (knowledge.findings[f].group or f) not in spoken
    ]  # fmt: skip


def shared_gains(ahead: Ahead) -> dict[str, float]:
    """Return the expected gain [bit] of each shared finding asked after."""
    p, before = ahead.fails[:, None], ahead.now.causes[0]
    after = p * entropy(ahead.if_fails) + (1 - p) * entropy(ahead.if_holds)
    bits = np.maximum(entropy(before) - after, 0).sum(axis=1)
    return dict(zip(ahead.findings, bits.tolist(), strict=True))


def private_gains(knowledge: Knowledge, now: dict[str, float], findings: Iterable[str]) -> dict[str, float]:
    """Return the expected gain [bit] of each finding that weighs on, proves or rules out a single cause."""
    wanted = set(findings)
    out: dict[str, float] = {}
    for cause in knowledge.causes.values():
        rates = {w.finding: (w.with_it, w.without_it) for w in cause.weighs if w.finding in wanted}
        for proof in cause.proofs:
            if proof.finding in wanted and proof.finding not in rates:
                there, not_there = PROOF_IF_THERE, PROOF_IF_NOT
                if (proof.state == "holds") != (proof.shows_it == "present"):
                    there, not_there = 1 - there, 1 - not_there
                rates[proof.finding] = (there, not_there)
        p = now[cause.id]
        for finding, (with_it, without) in rates.items():
            out[finding] = out.get(finding, 0.0) + _gain(p, with_it, without)
    return out


def _gain(p: float, with_it: float, without: float) -> float:
    holds = p * with_it + (1 - p) * without
    if_holds, if_fails = p * with_it / holds, p * (1 - with_it) / (1 - holds)
    h, h_holds, h_fails = (float(x) for x in entropy(np.array([p, if_holds, if_fails])))
    return max(h - holds * h_holds - (1 - holds) * h_fails, 0.0)
