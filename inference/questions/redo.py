"""One stage of the rules run again after some facts changed: only what they can reach is looked at anew.

The result is what :func:`inference.engine.run.run` finds on the new facts (a test compares them over all cases);
activations and cautions are not kept, so this serves questions that need findings alone.
"""

from __future__ import annotations

import weakref
from collections.abc import Collection, Mapping

from inference.engine.program import SERVES, Stage, Way
from inference.engine.run import STANDS_FOR, spread_chance, vote
from inference.engine.verdicts import FindingResult, Leaning, Side, Vote, states_of
from inference.values import STATE_WORDS, FindingState, Spread, Value

Facts = Mapping[str, Value]
Findings = Mapping[str, FindingResult]


class Reach:
    """Which findings each slot can touch at first hand, and the ways that conclude each finding."""

    def __init__(self, stage: Stage) -> None:
        self.ways: dict[str, tuple[int, ...]] = {}
        self.touched: dict[str, set[str]] = {}
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
    """One stage as it stands on some facts: its findings, their states as facts, the outcome of every literal."""

    def __init__(self, stage: Stage, facts: Facts, findings: Findings) -> None:
        self.stage, self.findings, self.states = stage, findings, states_of(findings)
        known = {**facts, **self.states}
        self.values = [known.get(slot) for slot in stage.slots]
        self.outcomes = [stage.outcome(i, known.get(literal.slot)) for i, literal in enumerate(stage.literals)]

    def moved(self, facts: Facts) -> list[str]:
        """Return the slots, the stage's own findings aside, whose value differs from the one it stands on."""
        own = self.findings
        return [
            slot
            for slot, a, b in zip(self.stage.slots, self.values, map(facts.get, self.stage.slots), strict=True)
            if a is not b and slot not in own and a != b
        ]


def redo(stand: Stand, facts: Facts, moved: Collection[str]) -> Findings:
    """Return the findings of a stage on new facts.

    Parameters
    ----------
    facts : all new facts; none of them may be a finding that the stage itself concludes
    moved : the slots whose value differs from the one on which the stage stands

    Raises
    ------
    RuleError : a condition cannot read the value of its slot
    """
    if not moved:
        return stand.findings
    stage = stand.stage
    reach = reach_of(stage)
    out = dict(stand.findings)
    known = {**facts, **stand.states}
    new_outcomes: dict[int, bool | None] = {}

    def take(slot: str) -> set[str]:
        for literal in stage.by_slot.get(slot, ()):
            new_outcomes[literal] = stage.outcome(literal, known.get(slot))
        return reach.touched.get(slot, set())

    waiting: set[str] = set().union(*map(take, moved))
    for level in stage.levels:
        for finding in level:
            if finding not in waiting:
                continue
            new = _finding(stand, reach.ways[finding], known, new_outcomes)
            if new.state != out[finding].state:
                known[finding] = STATE_WORDS[new.state]
                waiting |= take(finding)
            if new != out[finding]:
                out[finding] = new
    return out


def _finding(
    stand: Stand, ways: Collection[int], known: Facts, new_outcomes: Mapping[int, bool | None]
) -> FindingResult:
    stage, old_outcomes = stand.stage, stand.outcomes
    votes: list[Vote] = []
    leanings: dict[str, Leaning] = {}
    quiet: list[Way] = []
    spoke: set[str] = set()
    for w in ways:
        way = stage.ways[w]
        met, doubted = True, False
        for need in way.needs:
            i = need.literal
            outcome = new_outcomes[i] if i in new_outcomes else old_outcomes[i]
            doubt = outcome is None and isinstance(known.get(stage.literals[i].slot), Spread)
            doubted |= doubt
            if outcome not in SERVES[need.part]:
                met = False
                if not doubt:
                    break
        else:
            if met:
                votes.append(vote(stage, way, known))
                spoke.add(way.rule)
            elif doubted:
                quiet.append(way)
    for way in quiet:
        if way.rule in spoke:
            continue
        likely = spread_chance(stage, way, known)
        if way.rule not in leanings or likely > leanings[way.rule].chance:
            then = stage.rules[way.rule].then
            leanings[way.rule] = Leaning(way.rule, way.number, then.state, then.trust, likely)
    sides: set[Side] = {v.state for v in votes}
    return FindingResult(_state(sides), tuple(votes), tuple(leanings[r] for r in sorted(leanings)))


def _state(sides: set[Side]) -> FindingState:
    return next(state for state, stands in STANDS_FOR.items() if set(stands) == sides)
