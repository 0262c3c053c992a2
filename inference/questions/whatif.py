"""What if a reading or an answer were different: the case as it stands and as it would stand, and what moved.

``whatif`` judges both and says for each cause that moved which findings moved it, in decibans "without this finding".
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import Any

from inference.belief.judge import weigh
from inference.case import Case
from inference.questions.again import Again, Standing
from inference.questions.change import WHERE, apply
from inference.result import CauseResult, GateReason
from inference.values import Value
from kb.faults import Fault, Faults
from kb.model import Knowledge

MOVED = 0.02  # a probability that moves less is not told
MOST = 5  # causes for which the reason of the move is worked out
FELT = 0.3  # dB; a finding whose weight moves less is not told as a reason


@dataclass(frozen=True)
class FactMove:
    """One slot that differs; None is not known."""

    slot: str
    round: int
    before: Value | None
    after: Value | None


@dataclass(frozen=True)
class FindingMove:
    """A finding whose state differs, and the rules that spoke before and after."""

    finding: str
    round: int
    before: str
    after: str
    by_before: tuple[str, ...]
    by_after: tuple[str, ...]


@dataclass(frozen=True)
class Push:
    """What one finding weighs on a cause before and after [dB]."""

    finding: str
    round: int
    before: float
    after: float


@dataclass(frozen=True)
class CauseMove:
    """A cause whose probability or level differs, with its place in the ranking (1: most probable)."""

    before: CauseResult
    after: CauseResult
    place_before: int
    place_after: int
    because: tuple[Push, ...]

    @property
    def cause(self) -> str:
        return self.before.id


@dataclass(frozen=True)
class WhatIf:
    """Both standings and all that moved between them: facts changed, readings derived, findings, causes, reasons."""

    before: Standing
    after: Standing
    facts: tuple[FactMove, ...]
    derived: tuple[FactMove, ...]
    findings: tuple[FindingMove, ...]
    causes: tuple[CauseMove, ...]
    reasons_gone: tuple[GateReason, ...]
    reasons_new: tuple[GateReason, ...]


def whatif(case: Case, knowledge: Knowledge, new: Mapping[str, Any], again: Again | None = None) -> WhatIf:
    """Judge the case with and without the changes.

    Parameters
    ----------
    new : slot to what would stand in the file; None leaves the fact out
    again : an evaluator of this very case, to ask several questions quickly

    Raises
    ------
    Faults : a change that cannot be read, or that contradicts the rest beyond belief
    """
    again = again or Again(case, knowledge)
    before = again.base
    after = again.of(apply(case, knowledge, new))
    if after is None:
        says = "with this change the case contradicts itself: nothing in the list of causes could show all of it"
        raise Faults([Fault(WHERE, 0, "", says)])
    asked = _asked(new)
    if "codes" in new:
        asked |= {c.code for c in case.rounds[-1].codes or ()}
    gone, come = _reasons(before, after), _reasons(after, before)
    return WhatIf(
        before,
        after,
        tuple(m for m in _facts_moved(before, after) if m.slot in asked or m.slot.partition(".")[0] in asked),
        _derived_moved(before, after),
        _findings_moved(before, after),
        _causes_moved(before, after),
        gone,
        come,
    )


def _asked(new: Mapping[str, Any]) -> set[str]:
    out = set(new)
    out |= {slot.upper() for slot in new}
    codes = new.get("codes")
    return out | {"codes_read"} | {str(c).upper() for c in codes or ()} if "codes" in new else out


def _facts_moved(before: Standing, after: Standing) -> list[FactMove]:
    out = []
    for i, (old, new) in enumerate(zip(before.facts, after.facts, strict=True)):
        slots = dict.fromkeys([*old, *new])
        out += [FactMove(s, i, old.get(s), new.get(s)) for s in slots if old.get(s) != new.get(s)]
    return out


def _derived_moved(before: Standing, after: Standing) -> tuple[FactMove, ...]:
    derived = {slot for d in (*before.derived, *after.derived) for slot in d}
    return tuple(m for m in _facts_moved(before, after) if m.slot in derived)


def _findings_moved(before: Standing, after: Standing) -> tuple[FindingMove, ...]:
    out = []
    last = len(before.findings) - 1
    rounds = [(i, b, a) for i, (b, a) in enumerate(zip(before.findings, after.findings, strict=True))]
    for i, old, new in [*rounds, (last, before.decided, after.decided)]:
        for finding in old:
            if old[finding].state != new[finding].state:
                by = [tuple(sorted({v.rule for v in r[finding].votes})) for r in (old, new)]
                out.append(FindingMove(finding, i, old[finding].state, new[finding].state, by[0], by[1]))
    return tuple(out)


def _causes_moved(before: Standing, after: Standing) -> tuple[CauseMove, ...]:
    place = {c.id: i for i, c in enumerate(after.causes, 1)}
    now = {c.id: c for c in after.causes}
    moved = [
        (i, old, now[old.id])
        for i, old in enumerate(before.causes, 1)
        if abs(old.probability - now[old.id].probability) >= MOVED
        or abs(old.now - now[old.id].now) >= MOVED
        or (old.level, old.state) != (now[old.id].level, now[old.id].state)
        or (i == 1) != (place[old.id] == 1)
    ]
    moved.sort(key=lambda m: (-abs(m[1].probability - m[2].probability), m[1].id))
    told = [old.id for _, old, _ in moved[:MOST]]
    pushes = _pushes(before, after, told)
    return tuple(CauseMove(old, new, i, place[old.id], pushes.get(old.id, ())) for i, old, new in moved)


def _pushes(before: Standing, after: Standing, causes: Sequence[str]) -> dict[str, tuple[Push, ...]]:
    if not causes:
        return {}
    weights = [weigh(s.evidence, causes) for s in (before, after)]
    out = {}
    for cause in causes:
        sums: list[dict[tuple[str, int], float]] = [{}, {}]
        for side, of in zip(sums, weights, strict=True):
            for w in of[cause]:
                side[w.finding, w.round] = side.get((w.finding, w.round), 0.0) + w.decibans
        keys = dict.fromkeys([*sums[0], *sums[1]])
        found = [Push(f, r, sums[0].get((f, r), 0.0), sums[1].get((f, r), 0.0)) for f, r in keys]
        found = [p for p in found if abs(p.after - p.before) >= FELT]
        out[cause] = tuple(sorted(found, key=lambda p: (-abs(p.after - p.before), p.finding, p.round)))
    return out


def _reasons(these: Standing, but_not: Standing) -> tuple[GateReason, ...]:
    """The reasons of one decision, by what they say, that the other does not give."""

    def all_of(s: Standing) -> list[GateReason]:
        return [*s.gate.dangers, *s.gate.not_met, *s.gate.doubts, *s.gate.likely, *s.gate.missing]

    said = {(r.finding if not r.cause else r.cause, r.says) for r in all_of(but_not)}
    return tuple(r for r in all_of(these) if (r.finding if not r.cause else r.cause, r.says) not in said)
