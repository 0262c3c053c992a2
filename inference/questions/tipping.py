"""What would turn the answer: every fact that alone, at another value, changes the decision or the most probable cause.

Rules are steps, so for a reading that only rules look at, the values between two limits are all alike: the turn is
found exactly. A reading from which others are derived moves the belief smoothly: its turn is found by stepping away
in growing multiples of the instrument's error and halving the step in which the answer turned.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise
from typing import Literal

from inference.belief.judge import POSSIBLE
from inference.case import Case, Round
from inference.change import changed
from inference.questions.again import Again, Standing
from inference.questions.ground import open_facts
from inference.questions.instrument import WITHIN, error_of
from inference.result import Decision
from kb.faults import Faults
from kb.model import Knowledge, Reading
from kb.units import number

FINE = 0.25  # errors: a smooth turn is narrowed down to this, or to a fiftieth of its distance
GROWS = 4  # each step away from the value as it stands is so many times the one before
HAIR = 1e-9  # share of a limit by which "just beyond it" lies beyond it; figures are read to twelve digits
STEPS = 6  # points looked at across the range of a reading that is not known yet
Outcome = tuple[Decision, str | None]


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


@dataclass(frozen=True)
class Tipping:
    """Decision and most probable cause as they stand, and every turn, the nearest in instrument errors first."""

    decision: Decision
    top: str | None
    turns: tuple[Turn, ...]
    asked: tuple[str, ...]  # facts not given yet that were tried, because the decision lacks them
    tried: int  # variations judged


def outcome_of(standing: Standing) -> Outcome:
    """Return the decision and the most probable cause; None where no cause reaches "possible"."""
    top = standing.causes[0]
    return standing.gate.decision, top.id if top.probability >= POSSIBLE else None


def tipping(case: Case, knowledge: Knowledge, again: Again | None = None) -> Tipping:
    """Find every single fact that would turn the answer; see the module for how."""
    search = _Search(again or Again(case, knowledge))
    asked = open_facts(knowledge, search.again.base, case)
    turns = [t for slot, round_ in _facts(case) for t in search.turns(slot, round_, True)]
    for slot in asked:
        turns += search.turns(slot, case.rounds[-1], False)
    turns.sort(key=lambda t: (not t.given, t.errors if t.errors is not None else math.inf, t.slot, str(t.at)))
    return Tipping(*search.base, tuple(turns), asked, search.tried)


def _facts(case: Case) -> Iterator[tuple[str, Round]]:
    """Every fact of the case with the round it was written in; usage once, with the latest."""
    for round_ in case.rounds:
        yield from ((slot, round_) for slot in round_.readings)
        yield from ((name, round_) for name, said in round_.answers.items() if said != "unknown")
        yield from ((code, round_) for code in sorted({c.code for c in round_.codes or ()}))
    yield from ((slot, case.rounds[-1]) for slot in case.usage)


class _Search:
    def __init__(self, again: Again) -> None:
        self.again, self.case, self.knowledge = again, again.case, again.knowledge
        self.base = outcome_of(again.base)
        self.tried = 0

    def turns(self, slot: str, round_: Round, given: bool) -> list[Turn]:
        """Return the turns of one fact."""
        reading = self.knowledge.readings.get(slot.partition(".")[0])
        if reading is not None:
            return list(_Number(self, slot, round_, reading, given).turns())
        if slot in self.knowledge.questions:
            before = round_.answers.get(slot) if given else None
            options = [o for o in self.knowledge.questions[slot].options if o != before]
            return [t for o in options for t in self._word(slot, round_, before, o, given)]
        if slot == "codes":
            return list(self._word(slot, round_, None, "none", given))
        return list(self._word(slot, round_, "present", "not listed", given))

    def _word(self, slot: str, round_: Round, before: str | None, value: str, given: bool) -> Iterator[Turn]:
        found = self.outcome(slot, round_, [] if slot == "codes" else value)
        if found is not None and found != self.base:
            yield Turn(slot, round_.index, given, before, value, "is", "1", True, None, *found)

    def outcome(self, slot: str, round_: Round, value: object) -> Outcome | None:
        """Judge the case with one answer or code written new; None where that cannot be."""
        try:
            case = changed(self.case, self.knowledge, {slot: value}, round_.index)
            return self.judge(case, derive=slot in self.knowledge.questions)
        except Faults:
            return None

    def judge(self, case: Case, derive: bool = True) -> Outcome | None:
        """Judge a changed case; ``derive`` False where no derived reading can have moved."""
        self.tried += 1
        standing = self.again.of(case, derive)
        return outcome_of(standing) if standing else None


class _Number:
    """The search along one reading."""

    def __init__(self, search: _Search, slot: str, round_: Round, reading: Reading, given: bool) -> None:
        self.search, self.slot, self.round, self.given = search, slot, round_, given
        self.unit = reading.unit
        self.value = round_.number(slot) if given else None
        span = reading.usual.get(slot.partition(".")[2]) or reading.usual.get("any") or reading.possible
        self.step = (number(span.high, self.unit) - number(span.low, self.unit)) / 50 or 1e-9
        least, most = number(reading.possible.low, self.unit), number(reading.possible.high, self.unit)
        stages = (search.again.program.find, search.again.program.decide)
        literals = [stage.literals[i] for stage in stages for i in stage.by_slot.get(slot, ())]
        limits = {x for literal in literals for x in (literal.low, literal.high)}
        self.limits = sorted(x for x in limits if least <= x <= most)
        reach = [
            number(span.low, self.unit),
            number(span.high, self.unit),
            *([] if self.value is None else [self.value]),
        ]
        reach += [x + side * self._error(x) for x in self.limits for side in (-1, 1)]  # a step beyond every limit
        self.low, self.high = max(least, min(reach)), min(most, max(reach))
        self._known: dict[float, Outcome | None] = {}
        self.smooth = self._is_smooth()

    def turns(self) -> Iterator[Turn]:
        if self.value is None:
            yield from self._ranges()
            return
        for up in (True, False):
            if (turn := self._nearest(self.value, up)) is not None:
                yield turn

    def _is_smooth(self) -> bool:
        """Whether any derived reading moves with this one."""
        middle = (self.low + self.high) / 2
        a, b = (middle, self.low) if self.value is None else (self.value, middle)
        b = b if a != b else self.high
        try:
            return not self.search.again.derive_alike(self._case(a), self._case(b))
        except Faults:
            return True

    def _case(self, x: float) -> Case:
        written = x if self.unit == "1" else f"{x!r} {self.unit}"
        return changed(self.search.case, self.search.knowledge, {self.slot: written}, self.round.index)

    def outcome(self, x: float) -> Outcome | None:
        """Judge the case with the reading at ``x``; None where that cannot be."""
        if x not in self._known:
            try:
                self._known[x] = self.search.judge(self._case(x), self.smooth)
            except Faults:
                self._known[x] = None
        return self._known[x]

    def _error(self, x: float) -> float:
        """One error of the instrument; for what is counted, not measured, a step of the usual range."""
        return error_of(self.search.case, self.search.knowledge, self.slot, x) or self.step

    def _nearest(self, start: float, up: bool) -> Turn | None:
        """Walk away from the value; stop at the first other answer."""
        base, last = self.search.base, start
        for x in self._walk(start, up):
            found = self.outcome(x)
            if found is None:
                return None  # beyond what can be true together with the rest
            if found != base:
                return self._turn(start, *self._narrow(last, x, found))
            last = x
        return None

    def _walk(self, start: float, up: bool) -> list[float]:
        """One value in each stretch between two limits; for a smooth reading growing steps away as well."""
        end = self.high if up else self.low
        edges = sorted({start, end, *(x for x in self.limits if min(start, end) < x < max(start, end))})
        points: set[float] = set()
        if self.smooth and start != end:
            step = WITHIN * self._error(start)
            while step < abs(end - start):
                points.add(start + step if up else start - step)
                step *= GROWS
            points.add(end)
        points |= {(a + b) / 2 for a, b in pairwise(edges) if not any(a < x < b for x in points)}
        return sorted(points - {start}, reverse=not up)

    def _narrow(self, same: float, other: float, found: Outcome) -> tuple[float, bool, bool, Outcome]:
        """Return where it turns, whether that is a rule's limit, whether the limit itself has turned, and to what."""
        low, high = sorted((same, other))
        crossed = [x for x in self.limits if low <= x <= high]
        if not self.smooth and crossed:  # between two limits all values are alike, so it turns at the last one crossed
            at = crossed[-1] if other > same else crossed[0]
            turned = self.outcome(at)
            return at, True, turned not in (None, self.search.base), found
        for limit in crossed:  # a limit first: it is exact, and costs less than halving
            hair = max(abs(limit), 1.0) * HAIR * (1 if other > same else -1)
            before, beyond = self.outcome(limit - hair), self.outcome(limit + hair)
            if before == self.search.base and beyond not in (None, self.search.base):
                turned = self.outcome(limit)
                return limit, True, turned not in (None, self.search.base), beyond or found
        here, there = same, other
        fine = FINE * self._error(other)
        while abs(there - here) > max(fine, abs(there - same) * 0.02):
            middle = (here + there) / 2
            at_middle = self.outcome(middle)
            if at_middle is None or at_middle == self.search.base:
                here = middle
            else:
                there, found = middle, at_middle
        return there, False, True, found

    def _turn(self, start: float, at: float, exact: bool, itself: bool, found: Outcome) -> Turn:
        up = at > start or (at == start and not itself and self._above(start, found))
        side: Literal["above", "at least", "below", "at most"]
        side = ("at least" if itself else "above") if up else ("at most" if itself else "below")
        error = error_of(self.search.case, self.search.knowledge, self.slot, start)
        errors = abs(at - start) / error if error else None
        return Turn(
            self.slot, self.round.index, self.given, start, at, side, self.unit, exact, errors, *found
        )  # fmt: skip

    def _above(self, start: float, found: Outcome) -> bool:
        return any(x > start and o == found for x, o in self._known.items())

    def _ranges(self) -> Iterator[Turn]:
        """A reading not known yet: the ranges of values that would turn the answer, one turn for each other answer."""
        edges = sorted({self.low, *self.limits, self.high})
        points = {(a + b) / 2 for a, b in pairwise(edges)}
        if self.smooth:
            points |= {self.low + (self.high - self.low) * i / STEPS for i in range(STEPS + 1)}
        told: set[Outcome] = set()
        order = sorted(points)
        for i, x in enumerate(order):
            found = self.outcome(x)
            if found is None or found == self.search.base or found in told:
                continue
            told.add(found)
            last = i
            while last + 1 < len(order) and self.outcome(order[last + 1]) == found:
                last += 1
            low = max([e for e in edges if e <= x], default=x) if not self.smooth else x
            high = min([e for e in edges if e >= order[last]], default=x) if not self.smooth else order[last]
            yield Turn(
                self.slot, self.round.index, False, None, low, "between", self.unit, not self.smooth, None, *found,
                to=high,
            )  # fmt: skip
