"""Why this cause rather than that one: the findings sorted by how much more they speak for the one than the other.

Each finding's share is its decibans "without this finding" for A less those for B (REASONING: contrast); beside them
stand the two priors. What would part the two further: findings nobody knows yet that one shows far oftener.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from math import log10

from inference.belief.ahead import look_ahead
from inference.belief.evidence import Evidence
from inference.belief.judge import waterfall, weigh
from inference.result import CauseResult
from kb.model import Knowledge

FELT = 0.05  # dB; less is not told
PARTS = 3.0  # dB; a finding not known yet must part the two causes by at least this


@dataclass(frozen=True)
class Share:
    """What one finding of one round weighs on each of the two causes [dB]."""

    finding: str
    round: int
    holds: bool
    on_a: float
    on_b: float

    @property
    def apart(self) -> float:
        return self.on_a - self.on_b


@dataclass(frozen=True)
class Parting:
    """A finding not known yet that would part the two: the gap in dB for A over B if it holds and if it fails."""

    finding: str
    if_holds: float
    if_fails: float


@dataclass(frozen=True)
class Contrast:
    """``gap`` is how far the odds of A stand above those of B [dB], ``prior_gap`` how far they stood at the start."""

    a: CauseResult
    b: CauseResult
    prior_gap: float
    gap: float
    shares: tuple[Share, ...]
    partings: tuple[Parting, ...]


def contrast(
    knowledge: Knowledge, evidence: Evidence, a: CauseResult, b: CauseResult, states: Mapping[str, str]
) -> Contrast:
    """Compare two causes.

    Parameters
    ----------
    states : finding to its state in the latest round, to know what is not known yet
    """
    weights = weigh(evidence, [a.id, b.id])
    on: dict[tuple[str, int, bool], list[float]] = {}
    for side, cause in enumerate((a.id, b.id)):
        for w in weights[cause]:
            on.setdefault((w.finding, w.round, w.holds), [0.0, 0.0])[side] += w.decibans
    shares = [Share(f, r, h, both[0], both[1]) for (f, r, h), both in on.items()]
    shares = [s for s in shares if abs(s.apart) >= FELT]
    shares.sort(key=lambda s: (-abs(s.apart), s.finding, s.round))
    start, end = [], []
    for cause in (a.id, b.id):
        steps = waterfall(knowledge, evidence, cause)
        start.append(steps[0].total)
        end.append(steps[-1].total)
    partings = partings_of(knowledge, evidence, a.id, b.id, [f for f, s in states.items() if s == "unknown"])
    return Contrast(a, b, start[0] - start[1], end[0] - end[1], tuple(shares), partings)


def partings_of(
    knowledge: Knowledge, evidence: Evidence, a: str, b: str, unknown: Sequence[str]
) -> tuple[Parting, ...]:
    """Return the findings not known yet that would part two causes, the strongest first."""
    shown = {s.finding for c in (a, b) for s in knowledge.causes[c].shows}
    spoken = {knowledge.findings[n.finding].group or n.finding for n in evidence.nodes}
    wanted = sorted(
        f
        for f in unknown
        if f in shown and knowledge.findings[f].leak and (knowledge.findings[f].group or f) not in spoken
    )
    if not wanted:
        return ()
    ahead = look_ahead(knowledge, evidence, wanted)
    holds, fails = ahead.if_holds, ahead.if_fails
    i, j = evidence.net.index(a), evidence.net.index(b)
    out = [
        Parting(f, _decibans(holds[n, i]) - _decibans(holds[n, j]), _decibans(fails[n, i]) - _decibans(fails[n, j]))
        for n, f in enumerate(wanted)
    ]
    out = [p for p in out if abs(p.if_holds - p.if_fails) >= PARTS]
    return tuple(sorted(out, key=lambda p: (-abs(p.if_holds - p.if_fails), p.finding)))


def _decibans(p: float) -> float:
    p = min(max(float(p), 1e-12), 1 - 1e-12)
    return 10 * log10(p / (1 - p))
