"""What a run of the rules returns: the findings with their votes, the cautions, and every activation."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cached_property
from typing import Literal

from inference.engine.program import Part, Stage, Way
from inference.values import STATE_WORDS, FindingState, Value

Side = Literal["holds", "fails"]


@dataclass(frozen=True)
class Met:
    """One condition of a way that fired, and the value that met it (None: unknown, under ``unless``)."""

    part: Part
    text: str
    slot: str
    value: Value | None
    limit: str
    unit: str
    outcome: bool | None


@dataclass(frozen=True)
class Fired:
    """One activation: a rule, the way in which it was met, the facts it read and what it concluded.

    ``concludes`` is a finding's or a caution's id, ``verdict`` "holds" or "fails", or "show" for a caution.
    """

    rule: str
    way: int
    level: int
    facts: tuple[tuple[str, Value | None], ...]
    conditions: tuple[Met, ...]
    concludes: str
    verdict: Literal["holds", "fails", "show"]


@dataclass(frozen=True)
class Vote:
    """A rule's verdict on a finding. ``chance`` [-] is the probability that its derived readings truly meet
    their conditions (their intervals lie beyond the limits, but an interval is not everything); 1 without
    any. ``beyond`` is how far its readings lie beyond their limits, in standard errors, the least of them; 0
    where it reads none or their errors are not known.
    """

    rule: str
    way: int
    state: Side
    trust: float | None
    chance: float
    beyond: float = 0.0


@dataclass(frozen=True)
class Leaning:
    """What a rule would say if the derived readings that lie astride its limits fell its way.

    All its other conditions are met; ``chance`` [-] is the probability that these are too. At most one a
    rule, the likeliest of its ways, and none for a rule that fired.
    """

    rule: str
    way: int
    state: Side
    trust: float | None
    chance: float


@dataclass(frozen=True)
class FindingResult:
    """The final state of a finding, what the facts gave of it, and the votes of all rules that fired."""

    state: FindingState
    votes: tuple[Vote, ...] = ()
    leanings: tuple[Leaning, ...] = ()
    given: FindingState | None = None


@dataclass(frozen=True)
class Verdicts:
    """The result of one stage: findings and cautions sorted by id, the ways that fired by level, rule id and way.

    ``ways`` are places in ``stage.ways``; ``known`` holds the facts and the final findings.
    """

    findings: dict[str, FindingResult]
    cautions: dict[str, list[str]]
    ways: tuple[int, ...]
    stage: Stage = field(compare=False, repr=False)
    known: Mapping[str, Value] = field(compare=False, repr=False)

    @cached_property
    def fired(self) -> list[Fired]:
        """Every activation in full; written out only when an explanation asks for it."""
        return [_fired(self.stage, self.stage.ways[w], self.known) for w in self.ways]

    def as_facts(self) -> dict[str, Value]:
        """Return the findings as facts, for the next stage."""
        return states_of(self.findings)


def states_of(findings: Mapping[str, FindingResult]) -> dict[str, Value]:
    """Return the states of findings as facts."""
    return {finding: STATE_WORDS[result.state] for finding, result in findings.items()}


def _fired(stage: Stage, way: Way, known: Mapping[str, Value]) -> Fired:
    met = []
    for need in way.needs:
        literal = stage.literals[need.literal]
        value = known.get(literal.slot)
        outcome = stage.outcome(need.literal, value)
        met.append(Met(need.part, literal.text, literal.slot, value, literal.limit, literal.unit, outcome))
    then = stage.rules[way.rule].then
    facts = tuple((slot, known.get(slot)) for slot in dict.fromkeys(m.slot for m in met))
    verdict: Side | Literal["show"] = "show" if then.finding is None else then.state
    concludes = then.finding or then.caution or ""
    return Fired(way.rule, way.number, way.level, facts, tuple(met), concludes, verdict)
