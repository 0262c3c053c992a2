"""The whole answer to one case, as data: everything ``explain`` needs, nothing worded, nothing drawn.

Numbers are plain floats; they are rounded to six digits where they leave the program (explain/jsonout.py).
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal, NamedTuple

from inference.case import Case
from inference.derive import DerivedReading
from inference.engine.verdicts import Verdicts
from inference.standing import Stood
from inference.values import Level, Value

Decision = Literal["do not burn", "not needed", "hold", "clear"]
State = Literal["present", "repaired", "does not apply"]


@dataclass(frozen=True)
class GateReason:
    """One reason of the gate: the finding behind it and what to say of it. ``minutes`` orders what is quickest.

    ``since`` is the index of an earlier round it stands from, None where the latest round found it.
    """

    finding: str
    says: str
    instead: str = ""
    minutes: float = 0.0
    cause: str | None = None
    since: int | None = None


@dataclass(frozen=True)
class GateResult:
    """The decision on a forced regeneration, with everything that speaks to it whichever decision won.

    ``dangers`` forbid it, ``doubts`` make the readings uncertain, ``not_met`` are needs known to be wrong, ``missing``
    needs not known, ``likely`` causes that would endanger a burn or at once refill the filter, ``met`` needs known
    and good.
    """

    decision: Decision
    dangers: tuple[GateReason, ...]
    doubts: tuple[GateReason, ...]
    not_met: tuple[GateReason, ...]
    missing: tuple[GateReason, ...]
    likely: tuple[GateReason, ...]
    met: tuple[str, ...]
    driving: str

    @property
    def because(self) -> tuple[GateReason, ...]:
        """The reasons that carry the decision, the weightiest or quickest first."""
        if self.decision == "do not burn":
            return self.dangers
        if self.decision == "hold":
            return (*self.not_met, *self.doubts, *self.likely, *self.missing)
        return ()


@dataclass(frozen=True)
class Weight:
    """What one finding of one round weighs for or against a cause: decibans "without this finding"."""

    finding: str
    round: int
    holds: bool
    decibans: float
    private: bool


@dataclass(frozen=True)
class Step:
    """One step of the waterfall: the evidence taken next in order of asking, and the decibans after it."""

    finding: str | None  # None: the prior
    round: int
    decibans: float
    total: float


class CauseResult(NamedTuple):  # no dataclass: one question makes ten thousand of them
    """What is believed of one cause. ``probability`` is why the filter blocked, ``now`` what is there still."""

    id: str
    probability: float
    now: float
    level: Level
    state: State
    because_of: tuple[str, ...]
    settled_by: str | None
    weights: tuple[Weight, ...] = ()

    @property
    def speaks_for(self) -> tuple[Weight, ...]:
        return tuple(w for w in self.weights if w.decibans > 0)

    @property
    def speaks_against(self) -> tuple[Weight, ...]:
        return tuple(w for w in self.weights if w.decibans < 0)


@dataclass(frozen=True)
class NextTest:
    """A test worth doing: what it is expected to tell about the causes [bit] and what it costs [min]."""

    test: str
    minutes: float
    gain_bits: float

    @property
    def score(self) -> float:
        """Bits for a minute of work."""
        return self.gain_bits / self.minutes


@dataclass(frozen=True)
class WorkStep:
    """One job in the order of work, the causes or the decision that call for it, and the other jobs it is done for.

    ``spared_by``: jobs earlier in the order; where one of them did what it should, this one is not needed.
    """

    remedy: str
    because: tuple[str, ...]
    serves: tuple[str, ...] = ()
    spared_by: tuple[str, ...] = ()


@dataclass(frozen=True)
class RoundResult:
    """One round: its known slots, where each was taken, what was derived and what the rules made of it."""

    facts: dict[str, Value]
    origin: dict[str, int]
    derived: dict[str, DerivedReading]
    verdicts: Verdicts


@dataclass(frozen=True)
class Result:
    """Everything concluded from one case with one version of the knowledge."""

    case: Case
    knowledge_hash: str
    rounds: tuple[RoundResult, ...]
    decided: Verdicts  # the stage that may read causes, for the latest round
    gate: GateResult
    causes: tuple[CauseResult, ...]  # most probable first; all of them
    none_listed: float
    next_tests: tuple[NextTest, ...]
    work: tuple[WorkStep, ...]
    cautions: tuple[str, ...]
    conflicts: tuple[tuple[str, int], ...]  # finding, round
    clashes: tuple[str, ...]  # causes proven and ruled out at once
    unused: tuple[str, ...]  # codes read that no knowledge names
    stands: Stood  # the findings the decision was taken on: the latest round's, and what stands from before

    @property
    def latest(self) -> RoundResult:
        return self.rounds[-1]

    def cause(self, cause_id: str) -> CauseResult:
        """Return the result of one cause; KeyError if there is no such cause."""
        for cause in self.causes:
            if cause.id == cause_id:
                return cause
        raise KeyError(cause_id)
