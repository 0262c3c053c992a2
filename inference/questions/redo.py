"""One stage of the rules run again after some facts changed: only what they can reach is looked at anew.

The result is what :func:`inference.engine.run.run` finds on the new facts (a test compares them over all cases);
activations and cautions are not kept, so this serves questions that need findings alone.
"""

from __future__ import annotations

import weakref
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from typing import NamedTuple

from inference.engine.program import SERVES, Stage, Way
from inference.engine.run import STANDS_FOR, spread_chance, vote
from inference.engine.verdicts import FindingResult, Leaning, Vote, states_of
from inference.values import STATE_WORDS, Spread, Value

Facts = Mapping[str, Value]
Findings = Mapping[str, FindingResult]
Moved = dict[str, Value | None]  # new values by slot; None: not known any more


def with_moved(facts: Facts, moved: Moved) -> dict[str, Value]:
    """Return all facts after some have moved."""
    out = dict(facts)
    for slot, value in moved.items():
        if value is None:
            out.pop(slot, None)
        else:
            out[slot] = value
    return out


_STATE_OF = {frozenset(sides): state for state, sides in STANDS_FOR.items()}


class Reach:
    """Which findings each slot can touch at first hand, the ways that conclude each finding, what each way needs.

    ``needs``: by way its literals, each with the outcomes that serve it and its slot.
    """

    def __init__(self, stage: Stage) -> None:
        self.ways: dict[str, tuple[int, ...]] = {}
        self.touched: dict[str, set[str]] = {}
        self.levels = [frozenset(level) for level in stage.levels]
        self.needs = [
            tuple((need.literal, SERVES[need.part], stage.literals[need.literal].slot) for need in way.needs)
            for way in stage.ways
        ]
        for w, way in enumerate(stage.ways):
            finding = stage.rules[way.rule].then.finding
            if finding is None:
                continue
            self.ways[finding] = (*self.ways.get(finding, ()), w)
            for need in way.needs:
                self.touched.setdefault(stage.literals[need.literal].slot, set()).add(finding)


_reach: weakref.WeakKeyDictionary[Stage, Reach] = weakref.WeakKeyDictionary()


def reach_of(stage: Stage) -> Reach:
    """Return the tables of a stage (kept with it)."""
    if stage not in _reach:
        _reach[stage] = Reach(stage)
    return _reach[stage]


class Stand:
    """One stage as it stands on some facts: its findings, their states as facts, the outcome of every literal, and by
    way every vote.
    """

    def __init__(self, stage: Stage, facts: Facts, findings: Findings) -> None:
        self.stage, self.findings, self.states = stage, findings, states_of(findings)
        known = self.known = {**facts, **self.states}
        self.outcomes = [stage.outcome(i, known.get(literal.slot)) for i, literal in enumerate(stage.literals)]
        voted = {(vote.rule, vote.way): vote for found in findings.values() for vote in found.votes}
        self.votes = [voted.get((way.rule, way.number)) for way in stage.ways]
        self._read = stage.by_slot.keys() - findings.keys()
        self._leant: dict[int, float | None] = {}

    def leans(self, w: int) -> float | None:
        """Return the chance [-] of a way that is held back only by derived readings astride a limit, else None."""
        if w not in self._leant:
            met = _met(reach_of(self.stage).needs[w], self.known, self.outcomes)
            self._leant[w] = spread_chance(self.stage.ways[w], self.known) if met is None else None
        return self._leant[w]

    def moved(self, now: Moved) -> Moved:
        """Return those of ``now`` that the stage reads and that differ from what it stands on; None: not known."""
        known = self.known
        return {
            slot: new
            for slot in now.keys() & self._read
            if (new := now[slot]) is not (old := known.get(slot)) and new != old
        }


@dataclass(frozen=True)
class Redone:
    """The findings of a stage after a change, and those of them that are others than before."""

    findings: Findings
    changed: frozenset[str] = frozenset()


def redo(stand: Stand, now: Moved) -> Redone:
    """Return the findings of a stage on new facts.

    Parameters
    ----------
    now : of every slot that may have moved its new value, None where it is not known any more; a finding that the
        stage itself concludes is not looked at

    Raises
    ------
    RuleError : a condition cannot read the value of its slot
    """
    moved = stand.moved(now)
    if not moved:
        return Redone(stand.findings)
    stage = stand.stage
    reach = reach_of(stage)
    out = dict(stand.findings)
    now_so = _Now(with_moved(stand.known, moved), list(stand.outcomes), set())

    def take(slot: str) -> set[str]:
        value = now_so.known.get(slot)
        for literal in stage.by_slot.get(slot, ()):
            now_so.outcomes[literal] = stage.outcome(literal, value)
            now_so.touched.update(stage.readers[literal])
        return reach.touched.get(slot, set())

    waiting: set[str] = set().union(*map(take, moved))
    changed = set()
    for level in reach.levels:
        for finding in waiting & level:  # in any order: none of a level reads another of it
            new = _finding(stand, reach, finding, now_so)
            if new.state != out[finding].state:
                now_so.known[finding] = STATE_WORDS[new.state]
                waiting |= take(finding)
            if new is not out[finding] and new != out[finding]:
                out[finding] = new
                changed.add(finding)
    return Redone(out, frozenset(changed))


class _Now(NamedTuple):
    """The facts as moved, the outcome of each literal on them, and the ways that read any that moved."""

    known: dict[str, Value]
    outcomes: list[bool | None]
    touched: set[int]


def _finding(stand: Stand, reach: Reach, finding: str, now: _Now) -> FindingResult:
    stage = stand.stage
    opinions: list[tuple[Way, Vote | None, float | None]] = []  # of ways that are met, or held back by a leaning
    spoke: set[str] = set()
    same = True
    for w in reach.ways[finding]:
        spoken, likely = stand.votes[w], None
        if w not in now.touched:
            likely = stand.leans(w) if spoken is None else None
        else:
            met = _met(reach.needs[w], now.known, now.outcomes)
            same = same and met is False and spoken is None and stand.leans(w) is None
            spoken = vote(stage, stage.ways[w], now.known) if met else None
            likely = spread_chance(stage.ways[w], now.known) if met is None else None
        if spoken is not None:
            spoke.add(spoken.rule)
        if spoken is not None or likely is not None:
            opinions.append((stage.ways[w], spoken, likely))
    if same:  # whatever moved is held back by something else, now as before
        return stand.findings[finding]
    votes = tuple(spoken for _, spoken, _ in opinions if spoken is not None)
    leanings: dict[str, Leaning] = {}
    for way, _, likely in opinions:
        if likely is None or way.rule in spoke:
            continue
        if way.rule not in leanings or likely > leanings[way.rule].chance:
            then = stage.rules[way.rule].then
            leanings[way.rule] = Leaning(way.rule, way.number, then.state, then.trust, likely)
    state = _STATE_OF[frozenset(v.state for v in votes)]
    return FindingResult(state, votes, tuple(leanings[r] for r in sorted(leanings)))


def _met(
    needs: Sequence[tuple[int, tuple[bool | None, ...], str]], known: Facts, outcomes: Sequence[bool | None]
) -> bool | None:
    """Return whether a way is met; None where only derived readings astride their limits hold it back."""
    met: bool | None = True
    for i, serves, slot in needs:
        outcome = outcomes[i]
        if outcome in serves:
            continue
        if outcome is not None or not isinstance(known.get(slot), Spread):
            return False
        met = None
    return met
