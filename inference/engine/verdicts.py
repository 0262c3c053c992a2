"""What a run of the rules returns: the findings with their votes, the cautions, and every activation."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from inference.engine.program import Part
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
    """The result of one stage: findings and cautions sorted by id, activations by level, rule id and way."""

    findings: dict[str, FindingResult]
    cautions: dict[str, list[str]]
    fired: list[Fired]

    def as_facts(self) -> dict[str, Value]:
        """Return the findings as facts, for the next stage."""
        return {finding: STATE_WORDS[result.state] for finding, result in self.findings.items()}
