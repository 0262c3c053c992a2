"""What an earlier round found of the vehicle for good, and the latest round has not looked at again.

A defect does not heal because nobody asked after it. A ``lasting`` finding that held stands for the decision until
work that ends it is named in the case, or until a new look says otherwise. What the moment decides (an engine still
cold, a soot load) is not lasting and is found anew in each round.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from inference.case import Case, Round
from inference.engine.program import Need, Stage, Way
from inference.engine.verdicts import FindingResult, Vote
from inference.values import STATE_WORDS, Value, Word
from kb.model import Finding, Knowledge

Findings = Mapping[str, FindingResult]
Facts = Mapping[str, Value]
AGAINST_A_BURN = ("steers the burn", "harm", "inhibits")  # roles of codes; the others report the load or nothing
NOT_LISTED = Word("not listed")  # nobody has shown that the monitor of this code has run


@dataclass(frozen=True)
class Stood:
    """The findings the decision is taken on; ``since`` says of those that stand from before in which round they were
    last found, by its index.
    """

    findings: Findings
    since: Mapping[str, int] = field(default_factory=dict)


def standing(
    case: Case, knowledge: Knowledge, stage: Stage, facts: Sequence[Facts], findings: Sequence[Findings]
) -> Stood:
    """Return the findings of the latest round, and those of earlier rounds that still stand.

    Parameters
    ----------
    stage : the compiled rules that made the findings (stage "find")
    facts : known slots of each round, in time
    findings : final findings of each round, in time
    """
    latest = findings[-1]
    if len(findings) == 1:
        return Stood(latest)
    lasting = [(name, entry) for name, entry in knowledge.findings.items() if entry.lasting is not None]
    held: dict[str, dict[tuple[str, int], tuple[int, Vote]]] = {}
    unmended: dict[str, set[str]] = {}  # by finding, the codes stored whose work has not been named
    for i, round_ in enumerate(case.rounds):
        done = work_named(case, case.rounds[i - 1], round_) if i else frozenset()
        for name, entry in lasting:
            found = findings[i].get(name)
            if found is None or (name not in held and not found.votes):
                continue
            votes = held.get(name, {})
            codes = unmended.setdefault(name, set())
            codes -= {c for c in codes if not done.isdisjoint(_work_on(c, knowledge))}
            if _ended(entry, done) or (_by_codes(entry) and not codes):
                votes = {}
            votes = {
                key: (at, vote)
                for key, (at, vote) in votes.items()
                if not _looked_again(entry, stage, vote, found, facts[i], findings[i])
            }
            if not votes:
                codes.clear()
            if _by_codes(entry):
                codes |= {c.code for c in round_.codes or () if knowledge.role_of(c.code) in AGAINST_A_BURN}
            votes |= {(v.rule, v.way): (i, v) for v in found.votes if v.state == "holds"}
            if _settled(entry, findings[i]):
                votes = {}
            held[name] = votes
    last = len(findings) - 1
    carried = {name: [(at, v) for at, v in votes.values() if at < last] for name, votes in held.items()}
    stands = {name: votes for name, votes in carried.items() if votes and latest[name].state != "holds"}
    if not stands:
        return Stood(latest)
    merged = {
        name: replace(latest[name], state="holds", votes=tuple(vote for _, vote in votes))
        for name, votes in stands.items()
    }
    return Stood({**latest, **merged}, {name: max(at for at, _ in votes) for name, votes in stands.items()})


def work_named(case: Case, earlier: Round, later: Round) -> frozenset[str]:
    """Return what is known to have been done between two rounds that follow each other: causes, jobs and events.

    Work that may lie between them, or that the case does not name, ends nothing.
    """
    between = [e for e in case.history if case.before(e, earlier) is False and case.before(e, later) is True]
    named = {name for e in between for name in (e.event, *e.repaired, *e.jobs)}
    return frozenset(named | set(later.repaired) | set(later.jobs))


def rests_on(findings: Findings, stage: Stage, since: Mapping[str, int]) -> dict[str, int]:
    """Return the findings of stage "decide" that rest on what stands from before, each with the round of that."""
    out: dict[str, int] = {}
    for name, found in findings.items():
        for vote in found.votes:
            if vote.state != found.state:
                continue
            slots = [stage.literals[need.literal].slot for need in _signs(stage.way(vote.rule, vote.way))]
            if rounds := [since[slot] for slot in slots if slot in since]:
                out[name] = max(rounds)
    return out


def _ended(entry: Finding, done: frozenset[str]) -> bool:
    return entry.lasting is not None and not done.isdisjoint(entry.lasting.ends)


def _by_codes(entry: Finding) -> bool:
    return entry.lasting is not None and entry.lasting.by_codes


def _work_on(code: str, knowledge: Knowledge) -> list[str]:
    """Return the causes whose repair, and the jobs, that are work on what a code tells of."""
    return knowledge.code_groups[knowledge.codes[code].group].points_at


def _settled(entry: Finding, findings: Findings) -> bool:
    """Whether a surer finding than this one is known now: who has looked into the filter need not fear for it."""
    looks = entry.lasting.looked_at if entry.lasting is not None else []
    return any((found := findings.get(look)) is not None and found.state in ("holds", "fails") for look in looks)


def _looked_again(
    entry: Finding, stage: Stage, vote: Vote, found: FindingResult, facts: Facts, findings: Findings
) -> bool:
    """Whether a later round speaks against what a rule once said.

    It does where the finding fails there by a rule at least as sure, or by any rule once a sign of this one is known to
    be otherwise; and where that is its only sign, or one that a person looked at. A reading that merely belongs to the
    circumstances (air pressure, how many sensors were read) is no new look by itself.
    """
    if entry.lasting is None or entry.lasting.event:
        return False  # what has happened is not undone by a milder day
    fails = found.state == "fails"
    if fails and any((v.trust or 0) >= (vote.trust or 0) for v in found.votes):
        return True
    signs = _signs(stage.way(vote.rule, vote.way))
    for need in signs:
        literal = stage.literals[need.literal]
        value = facts.get(literal.slot)
        if literal.kind == "finding" and literal.slot in findings:
            value = STATE_WORDS[findings[literal.slot].state]
        if value == NOT_LISTED or stage.outcome(need.literal, value) is not False:
            continue
        if fails or len(signs) == 1 or literal.kind in ("word", "finding"):
            return True
    return False


def _signs(way: Way) -> list[Need]:
    return [need for need in way.needs if need.part in ("all", "any")]
