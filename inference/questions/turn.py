"""One turn of the answer: the fact, the value at which it turns, and what the answer is beyond."""

from __future__ import annotations

from collections.abc import Generator
from dataclasses import dataclass, field
from typing import Literal

from inference.belief.judge import POSSIBLE
from inference.case import Case, Round
from inference.change import changed
from inference.questions.again import Again, Standing
from inference.questions.instrument import WITHIN
from inference.result import Decision
from kb.faults import Faults


@dataclass(frozen=True)
class Outcome:
    """The decision and the most probable cause; None where no cause reaches "possible".

    ``speaking``: which rules speak otherwise than in the case as it stands (:meth:`Again.speaking`).
    """

    decision: Decision
    top: str | None
    speaking: frozenset[tuple[object, ...]] = field(default=frozenset(), compare=False, repr=False)


Wanted = list[Case | None]  # variations to be judged; None: a figure or word that cannot be
Search = Generator[Wanted, list[Outcome | None], list["Turn"]]


@dataclass(frozen=True)
class Turn:
    """One fact and the value from which the answer is another.

    Parameters
    ----------
    slot, round : the fact; ``given`` says whether the case holds it
    before : the value it has, None if not known: a number [unit], a word, or "present"/"not listed" for a code
    at : the value where it turns [unit], or the word that turns it
    side : where the other answer lies, seen from ``at``; "is" for words; "between" reaches to ``to``
    exact : a limit of a rule, not a value found by halving
    errors : distance from the value as it stands, in standard errors of the instrument; None where there is no value
    decision, top : decision and most probable cause (None: none stands out) on the other side
    """

    slot: str
    round: int
    given: bool
    before: float | str | None
    at: float | str
    side: Literal["above", "at least", "below", "at most", "is", "between"]
    unit: str
    exact: bool
    errors: float | None
    decision: Decision
    top: str | None
    to: float | None = None

    @property
    def within_error(self) -> bool:
        """Whether the instrument alone could have put the reading on this side: then measure again."""
        return self.errors is not None and self.errors <= WITHIN


class Standpoint:
    """The case whose answer is to be turned, and its outcome."""

    def __init__(self, again: Again) -> None:
        self.again, self.case, self.knowledge = again, again.case, again.knowledge
        self.base = outcome_of(again.base)

    def changed(self, slot: str, round_: Round, value: object) -> Case | None:
        """Return the case with one fact written new; None where that cannot be."""
        try:
            return changed(self.case, self.knowledge, {slot: value}, round_.index)
        except Faults:
            return None


def outcome_of(standing: Standing, again: Again | None = None) -> Outcome:
    """Return what may turn of what is concluded of a case, with what speaks for it if ``again`` judged it."""
    top = standing.causes[0]
    speaking = frozenset() if again is None else again.speaking(standing)
    return Outcome(standing.gate.decision, top.id if top.probability >= POSSIBLE else None, speaking)


@dataclass(frozen=True)
class Planned:
    """A search not yet begun, and how long it may take [variations that need little to be derived]."""

    length: int
    search: Search
