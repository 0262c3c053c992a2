"""From the findings of all rounds to the belief net: which verdict counts, once, for which cause and how firmly.

A cause is absent (state 0), present throughout (1), or present and then removed (2; left out of the net where nothing
was repaired). Evidence is (finding, round):

* a verdict of a rule is believed as far as its trust and the chance of its derived readings go; it reaches the net
  as a likelihood pair, folded into leak and links (:mod:`inference.belief.soft`);
* of the findings that come from one instrument or one underlying state, one speaks for the group;
* the same verdict in a later round counts again only if something was repaired between;
* the two complaint findings tell why the filter blocked, so they are taken from the first round that knows them:
  after a burn a free filter says nothing about the cause;
* a private finding of one cause is a likelihood ratio on that cause alone, and of several looks at it the surer or
  the later firm one counts; a proof or a veto settles the cause.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from inference.belief.activation import Net
from inference.belief.soft import fold_absent, fold_present
from inference.belief.verdict import FIRM, Alone, Findings, Linked, Memory, Private, Speakers, Verdict, in_groups
from kb.model import Cause, Knowledge

COMPLAINT = ("filter_reported_blocked", "filter_really_restricted")
LIMIT = 1e3  # 30 dB: no private evidence weighs more
REMOVED_IF_NAMED = 0.9  # a repair that names the cause removes it nine times in ten (from memory)
REMOVED_IF_UNNAMED = 0.3  # a repair that names nothing may have removed any cause (from memory)


@dataclass(frozen=True)
class Evidence:
    """All that is known about the causes, ready for :func:`inference.belief.activation.posteriors`.

    ``nodes`` lists the shared findings in the order of the net's columns. ``settled`` holds, by cause, the proof that
    settles it; ``clashes`` names causes proven and ruled out at once (neither is then taken).
    """

    net: Net
    nodes: list[Verdict]
    private: list[Private]
    settled: dict[str, tuple[str, Verdict]]
    clashes: list[str]
    repaired: set[str]
    not_applicable: set[str]


def gather(
    knowledge: Knowledge,
    rounds: Sequence[Findings],
    removed_at: Mapping[str, int],
    unnamed_repair_at: int | None,
    filter_type: str | None,
    memory: Memory | None = None,
    changed: Collection[str] = (),
) -> Evidence:
    """Build the net of one case.

    Parameters
    ----------
    rounds : the findings of each round, in time
    removed_at : cause to the first round that comes after its named repair
    unnamed_repair_at : the first round that comes after a repair which names no cause, None without one
    filter_type : the vehicle's filter type, None if unknown
    memory : of a case that differs in its findings alone; what it holds is taken over where they are the same
    changed : the findings that differ in any round from those first gathered with the memory
    """
    tables, memory = _tables_of(knowledge), memory or Memory()
    speakers = Speakers(knowledge, rounds, memory, changed)
    nodes = _shared_nodes(speakers, tables, sorted({*removed_at.values(), unnamed_repair_at or 0} - {0}))
    index = tables.index
    touched = set().union(*(tables.heard_by.get(finding, ()) for finding in changed)) if memory.alone else index
    anew: dict[str, Alone] = {}
    for cause_id in touched:
        cause, gone_from = knowledge.causes[cause_id], removed_at.get(cause_id, unnamed_repair_at)
        prior = _prior(cause, gone_from, cause_id in removed_at)
        if cause.only_types and filter_type is not None and filter_type not in cause.only_types:
            anew[cause_id] = Alone(np.array([prior[0], 0.0, 0.0]), [], None, False, applies=False)
        else:
            anew[cause_id] = _alone(speakers, cause, gone_from, prior)
    if not memory.alone:
        memory.alone, memory.weights = anew, np.array([one.weights for one in anew.values()])
    alone, weights = {**memory.alone, **anew}, memory.weights.copy()
    for cause_id, one in anew.items():
        weights[index[cause_id]] = one.weights
    private = [own for one in alone.values() for own in one.private]
    settled = {cause_id: one.settled for cause_id, one in alone.items() if one.settled is not None}
    clashes = [cause_id for cause_id, one in alone.items() if one.clash]
    not_applicable = {cause_id for cause_id, one in alone.items() if not one.applies}
    repaired = set()
    _lift_parents(knowledge, index, weights, settled, private)
    for cause_id, first in removed_at.items():
        if cause_id in index and _repair_proved(knowledge, knowledge.causes[cause_id], rounds, first):
            weights[index[cause_id], 1] = 0
            repaired.add(cause_id)
            if not weights[index[cause_id]].any():
                weights[index[cause_id], 2] = 1
    held = memory.linked or _nothing_linked([removed_at.get(cause_id, unnamed_repair_at) for cause_id in index])
    linked = _links(speakers, nodes, held)
    net = Net(tuple(index), weights[:, : 1 + linked[0].shape[1]], *linked)
    return Evidence(net, nodes, private, settled, clashes, repaired, not_applicable)


@dataclass(frozen=True)
class _Tables:
    """What of the knowledge gather looks up.

    ``index``: by cause its row in the net; ``shared``: groups of shared findings, ``group_of`` the place there of each;
    ``groups``: by cause, those of its private findings; ``heard_by``: by private finding, its causes; ``columns``: by
    finding, as far as asked for, see :func:`column_of`.
    """

    index: Mapping[str, int]
    shared: tuple[tuple[str, ...], ...]
    group_of: Mapping[str, int]
    heard_by: Mapping[str, frozenset[str]]
    groups: Mapping[str, tuple[tuple[str, ...], ...]]
    columns: dict[str, np.ndarray]


_tables: list[tuple[Knowledge, _Tables]] = []  # of the knowledge used last; it never changes


def _tables_of(knowledge: Knowledge) -> _Tables:
    if not _tables or _tables[0][0] is not knowledge:
        causes = knowledge.causes.values()
        weighed = {c.id: {w.finding for w in c.weighs} for c in causes}
        private = {c.id: weighed[c.id] | {p.finding for p in c.proofs} for c in causes}
        shared = in_groups(knowledge, {shown.finding for c in causes for shown in c.shows})
        made = _Tables(
            {cause_id: row for row, cause_id in enumerate(knowledge.causes)},
            shared,
            {finding: place for place, members in enumerate(shared) for finding in members},
            {f: frozenset(c for c, own in private.items() if f in own) for f in set().union(*private.values())},
            {c.id: in_groups(knowledge, weighed[c.id]) for c in causes},
            {},
        )
        _tables[:] = [(knowledge, made)]
    return _tables[0][1]


def _alone(speakers: Speakers, cause: Cause, gone_from: int | None, prior: Sequence[float]) -> Alone:
    weights = np.array(prior)
    private = _private_of(speakers, cause, gone_from)
    for one in private:
        weights[1 : 2 if one.state_only else 3] *= one.ratio
    settled, clash = _settle(speakers, cause, gone_from, weights)
    return Alone(weights, private, settled, clash)


def _prior(cause: Cause, gone_from: int | None, named: bool) -> list[float]:
    p = cause.prior.p
    removed = 0.0 if gone_from is None else REMOVED_IF_NAMED if named else REMOVED_IF_UNNAMED
    return [1 - p, p * (1 - removed), p * removed]


def _shared_nodes(speakers: Speakers, tables: _Tables, repairs: Sequence[int]) -> list[Verdict]:
    touched = {tables.group_of[finding] for finding in speakers.changed if finding in tables.group_of}
    out = speakers.shared(0, tables.shared, touched)
    last = {verdict.finding: verdict for verdict in out}
    for r in range(1, len(speakers.rounds)):
        for verdict in speakers.shared(r, tables.shared, touched):
            before = last.get(verdict.finding)
            if before is not None:
                if verdict.finding in COMPLAINT:
                    continue
                if before.holds == verdict.holds and not any(before.round < at <= r for at in repairs):
                    if verdict.trust > before.trust:  # the same thing seen more surely: it replaces the first look
                        out[out.index(before)] = last[verdict.finding] = verdict
                    continue
            out.append(verdict)
            last[verdict.finding] = verdict
    return out


def _links(speakers: Speakers, nodes: Sequence[Verdict], held: Linked) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Return links [n, K, m], leaks [m] and which findings are present [m]; K is 1 where nothing can be removed.

    ``held``: the columns that are known already.
    """
    places: list[int] = []
    made: list[tuple[np.ndarray, float, bool]] = []
    for node in nodes:
        place = held.at.get(id(node))
        if place is None:
            place = len(held.leaks) + len(made)
            made.append(_links_of(speakers.knowledge, node, held.gone))
        places.append(place)
    links, leaks, present = held.links, held.leaks, held.present
    if made:
        links = np.concatenate([links, *(own[:, :, None] for own, _, _ in made)], axis=2)
        leaks = np.concatenate([leaks, [leak for _, leak, _ in made]])
        present = np.concatenate([present, [holds for _, _, holds in made]])
    columns = np.array(places, dtype=np.intp)
    links, leaks, present = links.take(columns, axis=2), leaks[columns], present[columns]
    if speakers.memory.linked is None:
        at = {id(node): place for place, node in enumerate(nodes)}
        speakers.memory.linked = Linked(tuple(nodes), at, links, leaks, present, held.gone)
    return links, leaks, present


def _nothing_linked(gone_from: Sequence[int | None]) -> Linked:
    """Return the columns of a net before any finding has one."""
    gone = np.array([[np.inf, np.inf if at is None else at] for at in gone_from])
    if np.isinf(gone).all():
        gone = gone[:, :1]
    return Linked((), {}, np.empty((*gone.shape, 0)), np.empty(0), np.empty(0, dtype=np.bool_), gone)


def _links_of(knowledge: Knowledge, node: Verdict, gone: np.ndarray) -> tuple[np.ndarray, float, bool]:
    leak = knowledge.findings[node.finding].leak or 0.0
    column = column_of(knowledge, node.finding)
    if node.holds:
        leak = fold_present(leak * node.gross, node.trust)
    else:
        column, leak = fold_absent(column, leak, node.trust)
    return column[:, None] * (node.round < gone), leak, node.holds


def column_of(knowledge: Knowledge, finding: str) -> np.ndarray:
    """Return how often each cause alone shows the finding [-], worked out once for each finding."""
    columns = _tables_of(knowledge).columns
    if finding not in columns:
        causes = knowledge.causes.values()
        shows = {c.id: {s.finding: s.how_often for s in c.shows} for c in causes}
        leak = knowledge.findings[finding].leak or 0.0
        columns[finding] = np.array([_link(shows, cause, finding, leak) for cause in causes])
    return columns[finding]


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


def _private_of(speakers: Speakers, cause: Cause, gone_from: int | None) -> list[Private]:
    rates = {w.finding: w for w in cause.weighs}
    groups = _tables_of(speakers.knowledge).groups[cause.id]
    heard: dict[tuple[int, bool], Verdict] = {}  # by group, before and after the repair
    for r in range(len(speakers.rounds)):
        after = gone_from is not None and r >= gone_from
        for place, members in enumerate(groups):
            verdict = speakers.of_group(r, members)
            if verdict is None:
                continue
            before = heard.get((place, after))
            if before is None or _goes_before(verdict, before):
                heard[place, after] = verdict
    out: list[Private] = []
    for (_, after), verdict in sorted(heard.items(), key=lambda kept: (kept[1].round, kept[1].finding)):
        rate = rates[verdict.finding]
        with_it = verdict.if_true * rate.with_it + verdict.if_false * (1 - rate.with_it)
        without = verdict.if_true * rate.without_it + verdict.if_false * (1 - rate.without_it)
        ratio = min(max(with_it / without, 1 / LIMIT), LIMIT)
        out.append(Private(cause.id, verdict, ratio, after))
    return out


def _goes_before(later: Verdict, earlier: Verdict) -> bool:
    """Whether a later look at what speaks of one cause takes the place of an earlier one.

    It does where it sees the same more surely, or firmly something else: it knows all that the earlier one knew.
    """
    return later.trust > earlier.trust if later.holds == earlier.holds else later.trust >= FIRM


def _settle(
    speakers: Speakers, cause: Cause, gone_from: int | None, weights: np.ndarray
) -> tuple[tuple[str, Verdict] | None, bool]:
    """Let proofs and vetoes condition the cause's states; both at once is a clash, and neither is then taken."""
    found: dict[str, list[Verdict]] = {"present": [], "absent": []}
    for r, findings in enumerate(speakers.rounds):
        for proof in cause.proofs:
            result = findings.get(proof.finding)
            verdict = speakers.verdict(proof.finding, r) if result and result.state == proof.state else None
            if verdict is not None:
                found[proof.shows_it].append(verdict)
    before = [v for v in found["absent"] if gone_from is None or v.round < gone_from]
    if found["present"] and before:
        return None, True
    allowed = np.ones(3)
    settled: tuple[str, Verdict] | None = None
    if found["present"]:
        allowed[0] = 0
        settled = ("present", found["present"][0])
        if gone_from is not None and any(v.round >= gone_from for v in found["present"]):
            allowed[2] = 0
    if before:
        allowed[1:] = 0
        settled = ("absent", before[0])
    elif found["absent"]:
        allowed[1] = 0
        if not found["present"]:
            settled = ("absent", found["absent"][0])
        if not (weights * allowed).any():
            return settled, False
    weights *= allowed
    return settled, False


def _lift_parents(
    knowledge: Knowledge, index: Mapping[str, int], weights: np.ndarray,
    settled: Mapping[str, tuple[str, Verdict]], private: list[Private],
) -> None:  # fmt: skip
    """A consequence that is proven speaks for the cause that brings it about, one that is ruled out against it."""
    if not settled:
        return
    for cause in knowledge.causes.values():
        for brought in cause.brings:
            found = settled.get(brought.cause)
            if found is None or cause.id in settled:
                continue
            p, w = knowledge.causes[brought.cause].prior.p, brought.how_often
            ratio = (p + w * (1 - p)) / p if found[0] == "present" else 1 - w
            ratio = min(max(ratio, 1 / LIMIT), LIMIT)
            weights[index[cause.id], 1:] *= ratio
            private.append(Private(cause.id, found[1], ratio, False))


def _repair_proved(knowledge: Knowledge, cause: Cause, rounds: Sequence[Findings], first: int) -> bool:
    """Whether the rounds after the repair prove that it held: a veto of the cause, or the remedy's own proof.

    The latest look at a finding counts, so a repair that was good at first is no longer proved when the fault is
    read again; and the remedy's proofs must agree.
    """

    def last(name: str) -> str | None:
        states = (r.state for findings in reversed(rounds[first:]) if (r := findings.get(name)) is not None)
        return next((s for s in states if s in ("holds", "fails")), None)

    if any(last(p.finding) == p.state for p in cause.proofs if p.shows_it == "absent"):
        return True
    shown = [(state, p.state) for p in knowledge.remedies[cause.remedy].proof_findings if (state := last(p.finding))]
    return bool(shown) and all(state == wanted for state, wanted in shown)
