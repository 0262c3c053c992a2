"""How likely each outcome of a test is, for every subset of the causes that may be there.

A test settles findings. What a finding will be read as follows from the same figures the belief is made of: shared
findings from the leaky noisy-OR of the causes there, private evidence from its two rates, a proof from how often a
proof comes out so; but for a proof also from how far the rules that set the finding are to be trusted, read the way
:func:`inference.belief.verdict.verdict_of` reads them. So a planned outcome moves the belief as the real one will.
A finding that several causes bear on privately has its usual rate multiplied by each one's likelihood ratio.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass
from functools import lru_cache
from typing import Any

import numpy as np

from inference.belief.evidence import Evidence
from inference.belief.net import Floats
from inference.belief.verdict import BASE
from inference.nexttest import PROOF_IF_NOT, PROOF_IF_THERE
from kb.model import Knowledge

MOST_TOLD = 2  # findings of one test whose outcomes are told apart
SECOND = 0.3  # the second finding counts if it tells at least this share of what the first does


@dataclass(frozen=True)
class Outlook:
    """One test and its outcomes: ``said`` [O] the finding states of each, ``chances`` [O, 2, 2^K] its probability.

    The middle axis: no cause beside those planned for, or some other one as well.
    """

    test: str
    said: tuple[tuple[tuple[str, bool], ...], ...]
    chances: Floats


@dataclass(frozen=True)
class Scene:
    """The causes planned for and what they look like: :class:`inference.plan.joint.Joint` with the rest's weights.

    ``rest``: the causes taken together and the share each has in them.
    """

    causes: tuple[str, ...]
    rest: Mapping[str, float]


def reader_rates(knowledge: Knowledge) -> dict[str, tuple[float, float]]:
    """Return, by finding, P(read as holding | it holds) and P(read as holding | it does not).

    They are solved from the two likelihood ratios that verdict_of gives a "holds" and a "fails" of its best rules.
    """
    return _reader_rates(Held(knowledge))


class Held:
    """A knowledge base as a key of a cache: by its hash."""

    def __init__(self, knowledge: Knowledge) -> None:
        self.knowledge = knowledge

    def __hash__(self) -> int:
        return hash(self.knowledge.hash)

    def __eq__(self, other: object) -> bool:
        return isinstance(other, Held) and other.knowledge.hash == self.knowledge.hash


@lru_cache(maxsize=4)
def _reader_rates(held: Held) -> dict[str, tuple[float, float]]:
    trust: dict[tuple[str, str], float] = {}
    for rule in held.knowledge.rules.values():
        if rule.then.finding is not None and rule.status != "retired":
            key = (rule.then.finding, rule.then.state)
            trust[key] = max(trust.get(key, 0.5), rule.then.trust or 0.5)
    out = {}
    for finding in {f for f, _ in trust}:
        holds, fails = trust.get((finding, "holds"), 0.5), trust.get((finding, "fails"), 0.5)
        up = holds / ((1 - holds) * BASE / (1 - BASE))
        down = (1 - fails) / fails
        wrong = (1 - down) / (up - down) if up > down else 0.0
        out[finding] = (min(up * wrong, 1.0), wrong)
    return out


class Outlooks:
    """Makes the outlook of any test; tables over the subsets are made once a finding."""

    def __init__(self, knowledge: Knowledge, evidence: Evidence, scene: Scene) -> None:
        self.k, self.scene = knowledge, scene
        self.spoken = {knowledge.findings[n.finding].group or n.finding for n in evidence.nodes}
        self.rates = reader_rates(knowledge)
        self._tables: dict[str, Floats | None] = {}

    def of(self, test: str, findings: Sequence[str], weights: Floats, again: Collection[str] = ()) -> Outlook | None:
        """Return the outlook of a test on those of its findings that are open; None if it tells nothing.

        Parameters
        ----------
        findings : the open ones
        weights : [2, 2^K] probability of each subset as things stand
        again : findings read before that a repair may have changed, so that they count anew
        """
        told: list[tuple[float, str, Floats]] = []
        groups: set[str] = set()
        for finding in findings:
            group = self.k.findings[finding].group or finding
            if group in self.spoken and finding not in again:
                continue
            table = self._table(finding)
            if table is not None:
                told.append((bits(weights, table), finding, table))
        told.sort(key=lambda t: (-t[0], t[1]))
        chosen: list[tuple[float, str, Floats]] = []
        for one in told:
            group = self.k.findings[one[1]].group or one[1]
            if one[0] < 1e-6 or group in groups or (chosen and one[0] < SECOND * chosen[0][0]):
                continue
            groups.add(group)
            chosen.append(one)
        chosen = chosen[:MOST_TOLD]
        if not chosen:
            return None
        said: list[tuple[tuple[str, bool], ...]] = [()]
        chances = np.ones((1, *weights.shape))
        for _, finding, table in chosen:
            said = [(*s, (finding, holds)) for holds in (True, False) for s in said]
            chances = np.concatenate([chances * table, chances * (1 - table)])
        return Outlook(test, tuple(said), chances)

    def _table(self, finding: str) -> Floats | None:
        if finding not in self._tables:
            self._tables[finding] = self._make(finding)
        return self._tables[finding]

    def _make(self, finding: str) -> Floats | None:
        """Return [2, 2^K] the chance that the finding is read as holding; None where no cause bears on it."""
        shows, pairs = links_of(Held(self.k), finding)
        if not shows and not pairs:
            return None
        read_right, read_wrong = self.rates.get(finding, (0.0, 0.0))
        if read_right <= read_wrong:
            return None
        causes = self.scene.causes
        if shows:
            leak = self.k.findings[finding].leak or 0.0
            silent = (1 - leak) * subset_products([1 - shows.get(c, 0.0) for c in causes])
            other = sum(share * shows.get(c, 0.0) for c, share in self.scene.rest.items())
            shown = 1 - np.stack([silent, silent * (1 - other)])
            holds = read(shown, read_right, read_wrong)
            fails = 1 - holds
        mine = {c: pairs[c] for c in causes if c in pairs}
        if not shows and not mine:
            return None
        if mine:
            rates = {c: p.read(read_right, read_wrong) for c, p in mine.items()}
            usual = max(without for _, without in rates.values())
            if not shows:
                holds = np.full((2, 1 << len(causes)), usual)
                fails = 1 - holds
            for_it = {c: a / b for c, (a, b) in rates.items()}
            against = {c: (1 - a) / (1 - b) for c, (a, b) in rates.items()}
            holds = holds * subset_products([for_it.get(c, 1.0) for c in causes])
            fails = fails * subset_products([against.get(c, 1.0) for c in causes])
        return np.asarray(holds / (holds + fails))


def read(rate: Any, right: float, wrong: float) -> Any:
    """Return the chance that a finding is read as holding when it is there so often."""
    return rate * right + (1 - rate) * wrong


@dataclass(frozen=True)
class Pair:
    """How often a finding holds with one cause and without it; a proof is taken as it is read (``settles``)."""

    with_it: float
    without: float
    settles: bool = False

    def read(self, right: float, wrong: float) -> tuple[float, float]:
        if self.settles:
            return self.with_it, self.without
        return float(read(self.with_it, right, wrong)), float(read(self.without, right, wrong))


@lru_cache(maxsize=1024)
def links_of(held: Held, finding: str) -> tuple[dict[str, float], dict[str, Pair]]:
    """Return how often each cause shows the finding, and the private pairs."""
    shows: dict[str, float] = {}
    pairs: dict[str, Pair] = {}
    for cause in held.knowledge.causes.values():
        for link in cause.shows:
            if link.finding == finding:
                shows[cause.id] = link.how_often
        for rate in cause.weighs:
            if rate.finding == finding:
                pairs[cause.id] = Pair(rate.with_it, rate.without_it)
        for proof in cause.proofs:
            if proof.finding == finding:
                there, not_there = PROOF_IF_THERE, PROOF_IF_NOT
                if (proof.state == "holds") != (proof.shows_it == "present"):
                    there, not_there = 1 - there, 1 - not_there
                pairs[cause.id] = Pair(there, not_there, True)
    return shows, pairs


def subset_products(factors: Sequence[float]) -> Floats:
    """Return [2^K] the product of the factors of the causes in each subset."""
    out = np.ones(1)
    for factor in factors:
        out = np.concatenate([out, out * factor])
    return out


def bits(weights: Floats, table: Floats) -> float:
    """Return how much [bit] a yes/no with probability ``table`` tells about which causes are there."""
    p = float((weights * table).sum())

    def h(x: Floats | float) -> Floats:
        y = np.clip(x, 1e-12, 1 - 1e-12)
        return np.asarray(-(y * np.log2(y) + (1 - y) * np.log2(1 - y)))

    return float(h(p) - (weights * h(table)).sum())
