"""Which test tells most about the causes for a minute of work.

For each finding a test settles and nobody knows yet, the information it is expected to give is the sum over the
causes of what it takes off their uncertainty [bit]: H(c) - sum over outcomes P(outcome) H(c | outcome). For a shared
finding the two outcomes come from the exact net; for private evidence and proofs from Bayes' rule on one cause.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from inference.belief.activation import Net, posteriors
from inference.belief.evidence import Evidence
from inference.offered import may_be_done, still_open
from inference.result import CauseResult, GateResult, NextTest, RoundResult
from kb.model import Knowledge

PROOF_IF_THERE, PROOF_IF_NOT = 0.95, 0.02  # how often a proof comes out so, where nothing else is said (from memory)
WORTH_SAYING = 0.005  # bit


def entropy(p: np.ndarray) -> np.ndarray:
    """Return the uncertainty [bit] of yes/no probabilities."""
    p = np.clip(p, 1e-12, 1 - 1e-12)
    return np.asarray(-(p * np.log2(p) + (1 - p) * np.log2(1 - p)))


def next_tests(
    knowledge: Knowledge,
    latest: RoundResult,
    evidence: Evidence,
    causes: Sequence[CauseResult],
    gate: GateResult,
) -> tuple[NextTest, ...]:
    """Return the tests that may be done now and tell something, the most bits for a minute first."""
    findings = latest.verdicts.findings
    offered = [
        test
        for test in knowledge.tests.values()
        if still_open(test, latest.facts) and may_be_done(knowledge, test, gate, findings)
    ]
    open_findings = {
        f for test in offered for f in test.settles if (r := findings.get(f)) is not None and r.state == "unknown"
    }
    now = {c.id: (c.now if c.state == "present" else 0.0) for c in causes}
    gain = shared_gains(knowledge, evidence, sorted(open_findings))
    for finding, bits in private_gains(knowledge, now, open_findings).items():
        gain[finding] = max(gain.get(finding, 0.0), bits)
    out = []
    for test in offered:
        bits = max((gain.get(f, 0.0) for f in test.settles), default=0.0)
        if bits >= WORTH_SAYING:
            out.append(NextTest(test.id, test.minutes + test.set_up_minutes, bits))
    return tuple(sorted(out, key=lambda t: (-t.score, t.test)))


def shared_gains(knowledge: Knowledge, evidence: Evidence, findings: Sequence[str]) -> dict[str, float]:
    """Return the expected gain [bit] of each shared finding, all in one batch: outcomes by their absence.

    P(absent) is the ratio of two evidence masses, and what is believed if it is present follows by subtraction.
    """
    spoken = {knowledge.findings[n.finding].group or n.finding for n in evidence.nodes}
    rates = {f: _column(knowledge, evidence, f) for f in findings}
    wanted = [f for f in findings if rates[f].any() and (knowledge.findings[f].group or f) not in spoken]
    if not wanted:
        return {}
    net, m, k = evidence.net, len(evidence.nodes), len(wanted)
    columns = np.stack([rates[f] for f in wanted], axis=1)  # [n, k]
    columns = np.stack([columns, np.zeros_like(columns)], axis=1)  # what was removed shows nothing now
    leaks = np.array([knowledge.findings[f].leak or 0.0 for f in wanted])
    wider = Net(
        net.names,
        net.weights,
        np.concatenate([net.links, columns], axis=2),
        np.concatenate([net.leaks, leaks]),
        np.concatenate([net.present, np.zeros(k, dtype=np.bool_)]),
    )
    include = np.zeros((k + 1, m + k), dtype=np.bool_)
    include[:, :m] = True
    include[np.arange(1, k + 1), m + np.arange(k)] = True
    found = posteriors(wider, include)
    p_absent = np.exp(found.evidence[1:] - found.evidence[0])
    before, if_absent = found.causes[0], found.causes[1:]
    if_present = (before - if_absent * p_absent[:, None]) / np.maximum(1 - p_absent, 1e-12)[:, None]
    after = p_absent[:, None] * entropy(if_absent) + (1 - p_absent)[:, None] * entropy(if_present)
    bits = np.maximum(entropy(before) - after, 0).sum(axis=1)
    return dict(zip(wanted, bits.tolist(), strict=True))


def _column(knowledge: Knowledge, evidence: Evidence, finding: str) -> np.ndarray:
    shows = _shows(knowledge).get(finding, {})
    return np.array([shows.get(c, 0.0) for c in evidence.net.names])


_tables: list[tuple[Knowledge, dict[str, dict[str, float]]]] = []  # of the knowledge used last; it never changes


def _shows(knowledge: Knowledge) -> dict[str, dict[str, float]]:
    """Return, by finding, how often each cause shows it."""
    if not _tables or _tables[0][0] is not knowledge:
        table: dict[str, dict[str, float]] = {}
        for cause in knowledge.causes.values():
            for shown in cause.shows:
                table.setdefault(shown.finding, {})[cause.id] = shown.how_often
        _tables[:] = [(knowledge, table)]
    return _tables[0][1]


def private_gains(knowledge: Knowledge, now: dict[str, float], findings: Iterable[str]) -> dict[str, float]:
    """Return the expected gain [bit] of each finding that weighs on, proves or rules out a single cause."""
    wanted = set(findings)
    out: dict[str, float] = {}
    for cause in knowledge.causes.values():
        rates = {w.finding: (w.with_it, w.without_it) for w in cause.weighs if w.finding in wanted}
        for proof in cause.proofs:
            if proof.finding in wanted:
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
