"""What a look at one cause alone is expected to tell: by the figures of its own where the knowledge gives them."""

from __future__ import annotations

import math

import pytest

from inference.nexttest import PROOF_IF_NOT, PROOF_IF_THERE, private_gains
from kb.model import Knowledge


def told(p: float, there: float, without: float) -> float:
    """By hand: entropy of the cause before, less the mean entropy after [bit]."""

    def entropy(x: float) -> float:
        return -sum(q * math.log2(q) for q in (x, 1 - x) if q)

    holds = p * there + (1 - p) * without
    return entropy(p) - holds * entropy(p * there / holds) - (1 - holds) * entropy(p * (1 - there) / (1 - holds))


def test_figures_of_its_own_go_before_those_of_any_proof(knowledge: Knowledge) -> None:
    now = dict.fromkeys(knowledge.causes, 0.3)
    both = 0
    for cause in knowledge.causes.values():
        own = {w.finding: (w.with_it, w.without_it) for w in cause.weighs}
        for proof in cause.proofs:
            others = [c for c in knowledge.causes.values() if c is not cause]
            shared = any(proof.finding in {w.finding for w in c.weighs} | {q.finding for q in c.proofs} for c in others)
            twice = sum(q.finding == proof.finding for q in cause.proofs) > 1
            if shared or twice or proof.state != "holds" or proof.shows_it != "present":
                continue
            wanted = told(0.3, *own.get(proof.finding, (PROOF_IF_THERE, PROOF_IF_NOT)))
            assert private_gains(knowledge, now, [proof.finding])[proof.finding] == pytest.approx(wanted, rel=1e-6)
            both += proof.finding in own
    assert both
