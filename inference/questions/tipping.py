"""What would turn the answer: every fact that alone, at another value, changes the decision or the most probable cause.

Rules are steps, but how far a reading lies beyond a limit counts as well, and what is derived from it moves smoothly.
So each reading is followed away from its value, across every limit and in growing multiples of the instrument's error;
where the answer turned, the limits crossed are tried first (they are exact), then the step is halved.

Every search is a generator that says which variations it wants judged next; all searches go on side by side, so that
what they want is judged together.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Iterator, Sequence
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
from inference.shares import Shares, undivided
from kb.faults import Faults
from kb.model import Knowledge, Reading
from kb.units import number

FINE, FINE_SHARE = 0.25, 0.05  # a smooth turn is narrowed down to so many errors, or this share of its distance
GROWS = 4  # each step away from the value as it stands is so many times the one before
HAIR = 1e-9  # share of a limit by which "just beyond it" lies beyond it; figures are read to twelve digits
AT_A_TIME = 48  # variations judged together: more would fill the memory faster than they share work
AT_ONCE = 2  # so few limits are looked at together, more by halving
DERIVING = 5  # so many times as long takes a variation from which much is derived
STEPS = 6  # points looked at across the range of a reading that is not known yet
Outcome = tuple[Decision, str | None]
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


def tipping(case: Case, knowledge: Knowledge, again: Again | None = None, shares: Shares = undivided) -> Tipping:
    """Find every single fact that would turn the answer; see the module for how.

    ``shares`` may spread the searches over the processor's cores; what they find is the same.
    """
    search = _Search(again or Again(case, knowledge, sparing=True))
    asked = open_facts(knowledge, search.again.base, case)
    planned = [one for slot, round_ in _facts(case) for one in search.along(slot, round_, True)]
    planned += [one for slot in asked for one in search.along(slot, case.rounds[-1], False)]
    dealt = sorted(range(len(planned)), key=lambda place: -planned[place].length)  # so that the shares are alike

    def found(share: range) -> tuple[dict[int, list[Turn]], int]:
        before, places = search.tried, [dealt[i] for i in share]
        turns = search.side_by_side([planned[place].search for place in places])
        return dict(zip(places, turns, strict=True)), search.tried - before

    told = shares(found, len(dealt))
    by_place = {place: some for part, _ in told for place, some in part.items()}
    turns = [turn for place in sorted(by_place) for turn in by_place[place]]
    turns.sort(key=lambda t: (not t.given, t.errors if t.errors is not None else math.inf, t.slot, str(t.at)))
    return Tipping(*search.base, tuple(turns), asked, sum(tried for _, tried in told))


def _facts(case: Case) -> Iterator[tuple[str, Round]]:
    """Every fact of the case with the round it was written in; usage once, with the latest."""
    for round_ in case.rounds:
        yield from ((slot, round_) for slot in round_.readings)
        yield from ((name, round_) for name, said in round_.answers.items() if said != "unknown")
        yield from ((code, round_) for code in sorted({c.code for c in round_.codes or ()}))
    yield from ((slot, case.rounds[-1]) for slot in case.usage)


@dataclass(frozen=True)
class _Planned:
    """A search not yet begun, and how long it may take [variations that need little to be derived]."""

    length: int
    search: Search


class _Search:
    def __init__(self, again: Again) -> None:
        self.again, self.case, self.knowledge = again, again.case, again.knowledge
        self.base = outcome_of(again.base)
        self.tried = 0

    def along(self, slot: str, round_: Round, given: bool) -> list[_Planned]:
        """Return the searches for the turns of one fact."""
        reading = self.knowledge.readings.get(slot.partition(".")[0])
        if reading is not None:
            return _Number(self, slot, round_, reading, given).searches()
        before: str | None
        if slot in self.knowledge.questions:
            before = round_.answers.get(slot) if given else None
            options = [o for o in self.knowledge.questions[slot].options if o != before]
        elif slot == "codes":
            before, options = None, ["none"]
        else:
            before, options = "present", ["not listed"]
        return [_Planned(len(options), self._words(slot, round_, before, options, given))]

    def side_by_side(self, searches: Sequence[Search]) -> list[list[Turn]]:
        """Run all searches, judging together what they want next; return what each found."""
        found: list[list[Turn]] = [[] for _ in searches]
        wants: dict[int, Wanted] = {}

        def go_on(place: int, told: list[Outcome | None] | None) -> None:
            try:
                wants[place] = searches[place].send(told) if told is not None else next(searches[place])
            except StopIteration as end:
                found[place] = end.value

        for place in range(len(searches)):
            go_on(place, None)
        while wants:
            asked, wants = wants, {}
            outcomes = iter(self._judge([case for wanted in asked.values() for case in wanted]))
            for place, wanted in asked.items():
                go_on(place, [next(outcomes) for _ in wanted])
        return found

    def _judge(self, cases: Wanted) -> list[Outcome | None]:
        real = [case for case in cases if case is not None]
        self.tried += len(real)
        rounds = (real[at : at + AT_A_TIME] for at in range(0, len(real), AT_A_TIME))
        standings = (standing for some in rounds for standing in self.again.of_all(some))
        out: list[Outcome | None] = []
        for case in cases:
            standing = None if case is None else next(standings)
            out.append(outcome_of(standing) if standing else None)
        return out

    def _words(self, slot: str, round_: Round, before: str | None, options: Sequence[str], given: bool) -> Search:
        outcomes = yield [self.changed(slot, round_, [] if slot == "codes" else option) for option in options]
        return [
            Turn(slot, round_.index, given, before, option, "is", "1", True, None, *found)
            for option, found in zip(options, outcomes, strict=True)
            if found is not None and found != self.base
        ]

    def changed(self, slot: str, round_: Round, value: object) -> Case | None:
        """Return the case with one fact written new; None where that cannot be."""
        try:
            return changed(self.case, self.knowledge, {slot: value}, round_.index)
        except Faults:
            return None


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
        self.smooth = search.again.moves_derived(slot)
        counted = self.unit == "1" and not error_of(search.case, search.knowledge, slot, self.value or 1.0)
        self.whole = counted and self.value is not None and self.value.is_integer()
        self._known: dict[float, Outcome | None] = {}

    def searches(self) -> list[_Planned]:
        """Return one search up and one down; for a reading not known yet one over its whole range."""
        if self.value is None:
            points = self._over_the_range()
            return [_Planned(self._length(points), self._ranges(points))]
        walks = [self._walk(self.value, up) for up in (True, False)]
        return [_Planned(self._length(walk), self._nearest(self.value, walk)) for walk in walks]

    def _length(self, points: Sequence[float]) -> int:
        return len(points) * (DERIVING if self.smooth else 1)

    def _judged(self, *points: float) -> Generator[Wanted, list[Outcome | None], list[Outcome | None]]:
        """Have the case judged with the reading at each of these points."""
        new = [x for x in dict.fromkeys(points) if x not in self._known]
        if new:
            self._known.update(zip(new, (yield [self._case(x) for x in new]), strict=True))
        return [self._known[x] for x in points]

    def _case(self, x: float) -> Case | None:
        return self.search.changed(self.slot, self.round, x if self.unit == "1" else f"{x!r} {self.unit}")

    def _error(self, x: float) -> float:
        """One error of the instrument; for what is counted, not measured, a step of the usual range."""
        return error_of(self.search.case, self.search.knowledge, self.slot, x) or self.step

    def _nearest(self, start: float, points: Sequence[float]) -> Search:
        """Follow the reading away from its value to the first other answer."""
        base, last = self.search.base, start
        for x, found in zip(points, (yield from self._judged(*points)), strict=True):
            if found is None:
                return []  # beyond what can be true together with the rest
            if found != base:
                return [self._turn(start, *(yield from self._narrow(last, x, found)))]
            last = x
        return []

    def _walk(self, start: float, up: bool) -> list[float]:
        """Growing steps away, the end, and one value in each stretch between two limits that has none of these.

        In the first of several stretches the rules speak as they do, and the end stands for the last unless it is a
        limit itself.
        """
        end = self.high if up else self.low
        edges = sorted({start, end, *(x for x in self.limits if min(start, end) < x < max(start, end))})
        points: set[float] = set()
        if start != end and (self.smooth or len(edges) > 2):
            step = WITHIN * self._error(start)
            while step < abs(end - start):
                points.add(start + step if up else start - step)
                step *= GROWS
            points.add(end)
        spoken_for = {start} if len(edges) > 2 else set()
        if end in points and end not in self.limits:
            spoken_for.add(end)
        points |= {
            (a + b) / 2
            for a, b in pairwise(edges)
            if spoken_for.isdisjoint((a, b)) and not any(a < x < b for x in points)
        }
        return sorted(points - {start}, reverse=not up)

    def _narrow(
        self, same: float, other: float, found: Outcome
    ) -> Generator[Wanted, list[Outcome | None], tuple[float, bool, bool, Outcome]]:
        """Return where it turns, whether that is a rule's limit, whether the limit itself has turned, and to what."""
        sign = 1 if other > same else -1
        low, high = sorted((same, other))
        crossed = [x for x in self.limits if low <= x <= high][::sign]
        places: list[float] = [same]
        jumps: list[float | None] = []  # between each place and the next: the limit that lies there, or None
        for limit in crossed:
            hair = max(abs(limit), 1.0) * HAIR * sign
            before = [] if limit == same else [limit - hair]
            places += [*before, limit + hair]
            jumps += [*(None for _ in before), limit]
        places.append(other)
        jumps.append(None)
        if len(crossed) <= AT_ONCE:
            yield from self._judged(*places[1:-1], *crossed)
        here, there = 0, len(jumps)  # the last place that stands and the first that has turned
        while there - here > 1:
            middle = (here + there) // 2
            (outcome,) = yield from self._judged(places[middle])
            if self._stands(outcome):
                here = middle
            else:
                there, found = middle, outcome or found
        exactly = jumps[here]
        if exactly is not None:
            (itself,) = yield from self._judged(exactly)
            return exactly, True, not self._stands(itself), found
        return (yield from self._halved(places[here], places[there], same, found))

    def _stands(self, outcome: Outcome | None) -> bool:
        return outcome is None or outcome == self.search.base

    def _halved(
        self, here: float, there: float, start: float, found: Outcome
    ) -> Generator[Wanted, list[Outcome | None], tuple[float, bool, bool, Outcome]]:
        """Halve the step in which the answer turned, see :meth:`_narrow`."""
        fine = FINE * self._error(there)
        while abs(there - here) > max(fine, abs(there - start) * FINE_SHARE):
            middle = (here + there) / 2
            (outcome,) = yield from self._judged(middle)
            if self._stands(outcome):
                here = middle
            else:
                there, found = middle, outcome or found
        if self.whole:  # what is counted turns at a whole number
            counted = math.ceil(there) if there > here else math.floor(there)
            (outcome,) = yield from self._judged(float(counted))
            if not self._stands(outcome):
                there, found = float(counted), outcome or found
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

    def _edges(self) -> list[float]:
        return sorted({self.low, *self.limits, self.high})

    def _over_the_range(self) -> list[float]:
        """A value in each stretch between two limits, and steps over the whole range of what moves smoothly."""
        points = {(a + b) / 2 for a, b in pairwise(self._edges())}
        if self.smooth:
            points |= {self.low + (self.high - self.low) * i / STEPS for i in range(STEPS + 1)}
        return sorted(points)

    def _ranges(self, order: Sequence[float]) -> Search:
        """A reading not known yet: the ranges of values that would turn the answer, one turn for each other answer."""
        edges = self._edges()
        told: set[Outcome] = set()
        outcomes = yield from self._judged(*order)
        turns = []
        for i, (x, found) in enumerate(zip(order, outcomes, strict=True)):
            if found is None or found == self.search.base or found in told:
                continue
            told.add(found)
            last = i
            while last + 1 < len(order) and outcomes[last + 1] == found:
                last += 1
            low = max([e for e in edges if e <= x], default=x) if not self.smooth else x
            high = min([e for e in edges if e >= order[last]], default=x) if not self.smooth else order[last]
            turns.append(
                Turn(self.slot, self.round.index, False, None, low, "between", self.unit, not self.smooth, None, *found,
                     to=high)
            )  # fmt: skip
        return turns
