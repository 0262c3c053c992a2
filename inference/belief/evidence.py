"""From the findings of all rounds to the belief net: which verdict counts, once, for which cause and how firmly.

A cause is absent (state 0), present throughout (1), or present and then removed (2). Evidence is (finding, round):

* a verdict of a rule is believed as far as its trust and the chance of its derived readings go; it reaches the net
  as a likelihood pair, folded into leak and links (:mod:`inference.belief.soft`);
* of the findings that come from one instrument or one underlying state, one speaks for the group;
* the same verdict in a later round counts again only if something was repaired between;
* the two complaint findings tell why the filter blocked, so they are taken from the first round that knows them:
  after a burn a free filter says nothing about the cause;
* a private finding of one cause is a likelihood ratio on that cause alone, a proof or a veto settles it.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from math import log10

import numpy as np

from inference.belief.activation import Net
from inference.belief.soft import fold_absent, fold_present
from inference.engine.verdicts import FindingResult, Leaning, Vote
from kb.model import Cause, Knowledge

COMPLAINT = ("filter_reported_blocked", "filter_really_restricted")
LIMIT = 1e3  # 30 dB: no private evidence weighs more
REMOVED_IF_NAMED = 0.9  # a repair that names the cause removes it nine times in ten (from memory)
REMOVED_IF_UNNAMED = 0.3  # a repair that names nothing may have removed any cause (from memory)
BASE = 0.1  # a finding that is looked for is there in about one vehicle in ten (from memory)
# A reading barely beyond its limit may have come there by chance or a passing cause; one far beyond hardly can.
# Between NEAR and FAR standard errors the leak and the wrong verdict shrink to FAR_LEFT (from memory).
NEAR, FAR, FAR_LEFT = 3.0, 12.0, 0.2
FIRM = 0.8  # a verdict trusted at least so far is plainly seen, not leant to
UNTOLD = 0.05  # a likelihood pair nearer to even than this (in decades) says nothing

Findings = Mapping[str, FindingResult]


@dataclass(frozen=True)
class Verdict:
    """What a round says of a finding: the side it leans to and the likelihood pair behind it.

    ``if_true`` and ``if_false`` are P(what was read | finding holds) and P(... | it does not), up to a common factor.
    """

    finding: str
    round: int
    if_true: float
    if_false: float
    beyond: float = 0.0  # how far the reading behind it lies beyond its limit [standard errors]

    @property
    def gross(self) -> float:
        """What is left of the chance that the finding came about otherwise: 1 near the limit, less far beyond it."""
        return 1 - (1 - FAR_LEFT) * min(max((self.beyond - NEAR) / (FAR - NEAR), 0.0), 1.0)

    @property
    def holds(self) -> bool:
        return self.if_true > self.if_false

    @property
    def trust(self) -> float:
        """The larger likelihood's share of both, 0.5 (says nothing) to 1 (beyond doubt)."""
        return max(self.if_true, self.if_false) / (self.if_true + self.if_false)

    @property
    def says_something(self) -> bool:
        return abs(log10(self.if_true / self.if_false)) > UNTOLD


@dataclass(frozen=True)
class Private:
    """Private evidence on one cause, as decibans on its odds; ``counts`` says for which of its states."""

    cause: str
    verdict: Verdict
    ratio: float
    state_only: bool  # True: weighs "present throughout" against the rest (read after the repair)

    @property
    def decibans(self) -> float:
        return 10 * log10(self.ratio)


@dataclass
class Evidence:
    """All that is known about the causes, ready for :func:`inference.belief.activation.posteriors`.

    ``nodes`` lists the shared findings in the order of the net's columns. ``settled`` holds, by cause, the proof that
    settles it; ``clashes`` names causes proven and ruled out at once (neither is then taken).
    """

    net: Net
    nodes: list[Verdict]
    private: list[Private]
    settled: dict[str, tuple[str, Verdict]] = field(default_factory=dict)
    clashes: list[str] = field(default_factory=list)
    repaired: set[str] = field(default_factory=set)
    not_applicable: set[str] = field(default_factory=set)


def verdict_of(finding: str, round_index: int, result: FindingResult) -> Verdict | None:
    """Weigh the votes and leanings on one finding; None where they say nothing or contradict each other.

    With h the chance that a rule for "holds" is met and f the same for "fails", what is left lies in the band where
    no rule speaks, and tells neither way. Trust is a predictive value: of the verdicts "holds" that a rule gives, the
    share ``trust`` is right. With a finding there in one vehicle in ten (:data:`BASE`) a wrong "holds" then comes
    about (1 - trust) / trust x BASE / (1 - BASE) as often as a right one. "fails" is read the plain way, since it is
    the usual state and a predictive value of it would say next to nothing. A reading far beyond its limit is less
    likely to have come about otherwise (:attr:`Verdict.gross`).
    """
    if result.state == "conflict":
        return None
    best = {"holds": (0.0, 0.5), "fails": (0.0, 0.5)}
    opinions: list[Vote | Leaning] = [*result.votes, *result.leanings]
    for opinion in opinions:
        told = (opinion.chance, opinion.trust or 0.5)
        best[opinion.state] = max(best[opinion.state], told, key=lambda o: o[0] * o[1])
    (h, trust_h), (f, trust_f) = best["holds"], best["fails"]
    if not h and not f:
        return None
    if h + f > 1:
        h, f = h / (h + f), f / (h + f)
    between = (1 - h - f) / 2
    wrong_holds = (1 - trust_h) * BASE / (1 - BASE)
    out = Verdict(
        finding,
        round_index,
        h * trust_h + f * (1 - trust_f) + between,
        h * wrong_holds + f * trust_f + between,
    )
    if not out.says_something:
        return None
    side = "holds" if out.holds else "fails"
    far = replace(out, beyond=max((v.beyond for v in result.votes if v.state == side), default=0.0))
    if far.holds:
        return replace(far, if_false=far.if_false * far.gross)
    return replace(far, if_true=far.if_true * far.gross)


def speakers(knowledge: Knowledge, findings: Findings, round_index: int, wanted: set[str]) -> dict[str, Verdict]:
    """Return the verdicts of one round that count, one for each group.

    The most specific firm one that holds, else the firmest that holds, else the most specific that fails: a leaning
    must not silence what was plainly seen.
    """
    by_group: dict[str, list[Verdict]] = {}
    for name in sorted(wanted & findings.keys()):
        verdict = verdict_of(name, round_index, findings[name])
        if verdict is not None:
            by_group.setdefault(knowledge.findings[name].group or f"alone:{name}", []).append(verdict)
    chosen = [max(members, key=lambda v: _speaks_first(knowledge, v)) for members in by_group.values()]
    return {v.finding: v for v in sorted(chosen, key=lambda v: v.finding)}


def _speaks_first(knowledge: Knowledge, v: Verdict) -> tuple[bool, bool, int, float, str]:
    return v.holds, v.holds and v.trust >= FIRM, knowledge.findings[v.finding].rank, v.trust, v.finding


def gather(
    knowledge: Knowledge,
    rounds: Sequence[Findings],
    removed_at: Mapping[str, int],
    unnamed_repair_at: int | None,
    filter_type: str | None,
) -> Evidence:
    """Build the net of one case.

    Parameters
    ----------
    rounds : the findings of each round, in time
    removed_at : cause to the first round that comes after its named repair
    unnamed_repair_at : the first round that comes after a repair which names no cause, None without one
    filter_type : the vehicle's filter type, None if unknown
    """
    causes = list(knowledge.causes.values())
    index = {cause.id: i for i, cause in enumerate(causes)}
    shared = {shown.finding for cause in causes for shown in cause.shows}
    gone_from = {c.id: removed_at.get(c.id, unnamed_repair_at) for c in causes}
    nodes = _shared_nodes(knowledge, rounds, shared, sorted({*removed_at.values(), unnamed_repair_at or 0} - {0}))
    weights = np.array([_prior(c, gone_from[c.id], c.id in removed_at) for c in causes])
    evidence = Evidence(Net((), np.zeros((0, 3)), np.zeros((0, 2, 0)), np.zeros(0), np.zeros(0, bool)), nodes, [])
    for cause in causes:
        if cause.only_types and filter_type is not None and filter_type not in cause.only_types:
            evidence.not_applicable.add(cause.id)
            weights[index[cause.id], 1:] = 0
            continue
        for one in _private_of(knowledge, cause, rounds, gone_from[cause.id]):
            evidence.private.append(one)
            weights[index[cause.id], 1 : 2 if one.state_only else 3] *= one.ratio
        _settle(knowledge, cause, rounds, gone_from[cause.id], weights[index[cause.id]], evidence)
    _lift_parents(knowledge, index, weights, evidence)
    for cause_id, first in removed_at.items():
        if cause_id in index and _repair_proved(knowledge, knowledge.causes[cause_id], rounds, first):
            weights[index[cause_id], 1] = 0
            evidence.repaired.add(cause_id)
            if not weights[index[cause_id]].any():
                weights[index[cause_id], 2] = 1
    links, leaks, present = _links(knowledge, causes, nodes, gone_from)
    evidence.net = Net(tuple(index), weights, links, leaks, present)
    return evidence


def _prior(cause: Cause, gone_from: int | None, named: bool) -> list[float]:
    p = cause.prior.p
    removed = 0.0 if gone_from is None else REMOVED_IF_NAMED if named else REMOVED_IF_UNNAMED
    return [1 - p, p * (1 - removed), p * removed]


def _shared_nodes(
    knowledge: Knowledge, rounds: Sequence[Findings], shared: set[str], repairs: Sequence[int]
) -> list[Verdict]:
    out: list[Verdict] = []
    last: dict[str, Verdict] = {}
    for r, findings in enumerate(rounds):
        for name, verdict in speakers(knowledge, findings, r, shared).items():
            before = last.get(name)
            if before is not None:
                if name in COMPLAINT:
                    continue
                if before.holds == verdict.holds and not any(before.round < at <= r for at in repairs):
                    if verdict.trust > before.trust:  # the same thing seen more surely: it replaces the first look
                        out[out.index(before)] = last[name] = verdict
                    continue
            out.append(verdict)
            last[name] = verdict
    return out


def _links(
    knowledge: Knowledge, causes: Sequence[Cause], nodes: Sequence[Verdict], gone_from: Mapping[str, int | None]
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    links = np.zeros((len(causes), 2, len(nodes)))
    leaks, present = np.zeros(len(nodes)), np.zeros(len(nodes), dtype=np.bool_)
    gone = np.array([np.inf if gone_from[c.id] is None else gone_from[c.id] for c in causes], dtype=float)
    for j, node in enumerate(nodes):
        leak = knowledge.findings[node.finding].leak or 0.0
        present[j] = node.holds
        column = _column(knowledge, causes, node.finding)
        if node.holds:
            links[:, 0, j], leaks[j] = column, fold_present(leak * node.gross, node.trust)
        else:
            links[:, 0, j], leaks[j] = fold_absent(column, leak, node.trust)
        links[:, 1, j] = np.where(node.round >= gone, 0.0, links[:, 0, j])
    return links, leaks, present


_columns: list[tuple[Knowledge, dict[str, np.ndarray]]] = []  # of the knowledge used last; it never changes


def _column(knowledge: Knowledge, causes: Sequence[Cause], finding: str) -> np.ndarray:
    """Return how often each cause alone shows the finding [-], worked out once for each finding."""
    held = _columns[0] if _columns else None
    if held is None or held[0] is not knowledge:
        held = (knowledge, {})
        _columns[:] = [held]
    table = held[1]
    if finding not in table:
        shows = {c.id: {s.finding: s.how_often for s in c.shows} for c in knowledge.causes.values()}
        leak = knowledge.findings[finding].leak or 0.0
        table[finding] = np.array([_link(shows, cause, finding, leak) for cause in causes])
    return table[finding]


def _link(shows: Mapping[str, Mapping[str, float]], cause: Cause, finding: str, leak: float) -> float:
    """How often the cause alone shows the finding, itself or through what it brings about."""
    direct = shows[cause.id].get(finding)
    if direct is not None:
        return direct
    silent = 1.0
    for brought in cause.brings:
        silent *= 1 - brought.how_often * shows[brought.cause].get(finding, 0.0)
    through = 1 - silent
    return through if through > leak else 0.0


def _private_of(knowledge: Knowledge, cause: Cause, rounds: Sequence[Findings], gone_from: int | None) -> list[Private]:
    rates = {w.finding: w for w in cause.weighs}
    out: list[Private] = []
    said: dict[str, bool] = {}
    for r, findings in enumerate(rounds):
        after = gone_from is not None and r >= gone_from
        for name, verdict in speakers(knowledge, findings, r, set(rates)).items():
            key = f"{name}:{after}"
            if said.get(key) == verdict.holds or (not after and key in said):
                continue  # counted once before the repair and once after it
            said[key] = verdict.holds
            rate = rates[name]
            with_it = verdict.if_true * rate.with_it + verdict.if_false * (1 - rate.with_it)
            without = verdict.if_true * rate.without_it + verdict.if_false * (1 - rate.without_it)
            ratio = min(max(with_it / without, 1 / LIMIT), LIMIT)
            out.append(Private(cause.id, verdict, ratio, after))
    return out


def _settle(
    knowledge: Knowledge, cause: Cause, rounds: Sequence[Findings], gone_from: int | None,
    weights: np.ndarray, evidence: Evidence,
) -> None:  # fmt: skip
    """Let proofs and vetoes condition the cause's states; both at once is a clash, and neither is then taken."""
    found: dict[str, list[Verdict]] = {"present": [], "absent": []}
    for r, findings in enumerate(rounds):
        for proof in cause.proofs:
            result = findings.get(proof.finding)
            verdict = verdict_of(proof.finding, r, result) if result and result.state == proof.state else None
            if verdict is not None:
                found[proof.shows_it].append(verdict)
    before = [v for v in found["absent"] if gone_from is None or v.round < gone_from]
    if found["present"] and before:
        evidence.clashes.append(cause.id)
        return
    allowed = np.ones(3)
    if found["present"]:
        allowed[0] = 0
        evidence.settled[cause.id] = ("present", found["present"][0])
        if gone_from is not None and any(v.round >= gone_from for v in found["present"]):
            allowed[2] = 0
    if before:
        allowed[1:] = 0
        evidence.settled[cause.id] = ("absent", before[0])
    elif found["absent"]:
        allowed[1] = 0
        if not found["present"]:
            evidence.settled[cause.id] = ("absent", found["absent"][0])
        if not (weights * allowed).any():
            return
    weights *= allowed


def _lift_parents(knowledge: Knowledge, index: Mapping[str, int], weights: np.ndarray, evidence: Evidence) -> None:
    """A consequence that is proven speaks for the cause that brings it about, one that is ruled out against it."""
    for cause in knowledge.causes.values():
        for brought in cause.brings:
            settled = evidence.settled.get(brought.cause)
            if settled is None or cause.id in evidence.settled:
                continue
            p, w = knowledge.causes[brought.cause].prior.p, brought.how_often
            ratio = (p + w * (1 - p)) / p if settled[0] == "present" else 1 - w
            ratio = min(max(ratio, 1 / LIMIT), LIMIT)
            weights[index[cause.id], 1:] *= ratio
            evidence.private.append(Private(cause.id, settled[1], ratio, False))


def _repair_proved(knowledge: Knowledge, cause: Cause, rounds: Sequence[Findings], first: int) -> bool:
    """Whether a round after the repair proves that it held: the remedy's own proof or a veto of the cause."""
    proofs = [(p.finding, p.state) for p in cause.proofs if p.shows_it == "absent"]
    proofs += [(p.finding, p.state) for p in knowledge.remedies[cause.remedy].proof_findings]
    return any(
        (result := findings.get(name)) is not None and result.state == state
        for findings in rounds[first:]
        for name, state in proofs
    )
