"""One stage of the rules run again after some facts changed: only what they can reach is looked at anew.

The result is what :func:`inference.engine.run.run` finds on the new facts (a test compares them over all cases);
activations and cautions are not kept, so this serves questions that need findings alone.
"""

from __future__ import annotations

import weakref
from collections.abc import Collection, Mapping

from inference.engine.program import Stage
from inference.engine.run import STANDS_FOR, spread_chance, vote
from inference.engine.verdicts import FindingResult, Leaning, Side, Vote
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


def redo(stage: Stage, before: Findings, facts: Facts, moved: Collection[str]) -> dict[str, FindingResult]:
    """Return the findings of a stage on new facts.

    Parameters
    ----------
    before : the stage's findings on the old facts
    facts : all new facts; none of them may be a finding that the stage itself concludes
    moved : the slots whose value differs from the old one

    Raises
    ------
    RuleError : a condition cannot read the value of its slot
    """
    reach = reach_of(stage)
    out = dict(before)
    known = {**facts, **words(before)}
    waiting = {f for slot in moved for f in reach.touched.get(slot, ())}
    for level in stage.levels:
        for finding in level:
            if finding not in waiting:
                continue
            new = _finding(stage, reach.ways[finding], known)
            if new.state != out[finding].state:
                known[finding] = STATE_WORDS[new.state]
                waiting |= reach.touched.get(finding, set())
            if new != out[finding]:
                out[finding] = new
    return out


def words(findings: Findings) -> dict[str, Value]:
    """Return the states of findings as facts."""
    return {finding: STATE_WORDS[result.state] for finding, result in findings.items()}


def _finding(stage: Stage, ways: Collection[int], known: Facts) -> FindingResult:
    votes: list[Vote] = []
    leanings: dict[str, Leaning] = {}
    quiet: list[int] = []
    spoke: set[str] = set()
    for w in ways:
        way = stage.ways[w]
        if all(stage.serves(need, known) for need in way.needs):
            votes.append(vote(stage, way, known))
            spoke.add(way.rule)
        elif any(isinstance(known.get(stage.literals[n.literal].slot), Spread) for n in way.needs):
            quiet.append(w)
    for w in quiet:
        way = stage.ways[w]
        if way.rule in spoke:
            continue
        doubted = [stage.in_doubt(need, known) for need in way.needs]
        if not any(doubted) or not all(
            d or stage.serves(need, known) for d, need in zip(doubted, way.needs, strict=True)
        ):
            continue
        likely = spread_chance(stage, way, known)
        if way.rule not in leanings or likely > leanings[way.rule].chance:
            then = stage.rules[way.rule].then
            leanings[way.rule] = Leaning(way.rule, way.number, then.state, then.trust, likely)
    sides: set[Side] = {v.state for v in votes}
    return FindingResult(_state(sides), tuple(votes), tuple(leanings[r] for r in sorted(leanings)))


def _state(sides: set[Side]) -> FindingState:
    return next(state for state, stands in STANDS_FOR.items() if set(stands) == sides)
