"""The search for a turn along one reading: away from its value, or over its whole range where it is not known.

Rules are steps, but how far a reading lies beyond a limit counts as well, and what is derived from it moves smoothly.
So the reading is followed across every limit and in growing multiples of the instrument's error; where the answer
turned, the limits crossed are tried first (they are exact), then the step is halved.
"""

from __future__ import annotations

import math
from collections.abc import Generator, Sequence
from itertools import pairwise
from typing import Literal

from inference.case import Case, Round
from inference.questions.instrument import WITHIN, error_of
from inference.questions.turn import Outcome, Planned, Search, Standpoint, Turn, Wanted
from kb.model import Reading
from kb.units import number

FINE, FINE_SHARE = 0.25, 0.05  # a smooth turn is narrowed down to so many errors, or this share of its distance
GROWS = 4  # each step away from the value as it stands is so many times the one before
HAIR = 1e-9  # share of a limit by which "just beyond it" lies beyond it; figures are read to twelve digits
STEPS = 6  # points looked at across the range of a reading that is not known yet


class Along:
    """The searches along one reading; ``given`` says whether the case holds it."""

    def __init__(self, here: Standpoint, slot: str, round_: Round, reading: Reading, given: bool) -> None:
        self.here, self.slot, self.round, self.given = here, slot, round_, given
        self.unit = reading.unit
        self.value = round_.number(slot) if given else None
        span = reading.usual.get(slot.partition(".")[2]) or reading.usual.get("any") or reading.possible
        self.step = (number(span.high, self.unit) - number(span.low, self.unit)) / 50 or 1e-9
        least, most = number(reading.possible.low, self.unit), number(reading.possible.high, self.unit)
        stages = (here.again.program.find, here.again.program.decide)
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
        self.derived = here.again.derived_from(slot)
        self.smooth = self.derived > 0
        counted = self.unit == "1" and not error_of(here.case, here.knowledge, slot, self.value or 1.0)
        self.whole = counted and self.value is not None and self.value.is_integer()
        self._known: dict[float, Outcome | None] = {}

    def searches(self) -> list[Planned]:
        """Return one search up and one down; for a reading not known yet one over its whole range."""
        if self.value is None:
            points = self._over_the_range()
            return [Planned(self._length(points), self._ranges(points))]
        walks = [self._walk(self.value, up) for up in (True, False)]
        return [Planned(self._length(walk), self._nearest(self.value, walk)) for walk in walks]

    def _length(self, points: Sequence[float]) -> int:
        return len(points) * (1 + self.derived)

    def _judged(self, *points: float) -> Generator[Wanted, list[Outcome | None], list[Outcome | None]]:
        """Have the case judged with the reading at each of these points."""
        new = [x for x in dict.fromkeys(points) if x not in self._known]
        if new:
            self._known.update(zip(new, (yield [self._case(x) for x in new]), strict=True))
        return [self._known[x] for x in points]

    def _case(self, x: float) -> Case | None:
        return self.here.changed(self.slot, self.round, x if self.unit == "1" else f"{x!r} {self.unit}")

    def _error(self, x: float) -> float:
        """One error of the instrument; for what is counted, not measured, a step of the usual range."""
        return error_of(self.here.case, self.here.knowledge, self.slot, x) or self.step

    def _nearest(self, start: float, points: Sequence[float]) -> Search:
        """Follow the reading away from its value to the first other answer."""
        base, last, up = self.here.base, start, bool(points) and points[0] > start
        self._known[start] = base
        followed = yield from self._followed([start, *points], nearest=True)
        for x, found in zip(points, followed[1:], strict=False):
            if found is None:
                return []  # beyond what can be true together with the rest
            if found != base:
                return [self._turn(start, up, *(yield from self._narrow(last, x, found)))]
            last = x
        return []

    def _followed(
        self, points: Sequence[float], nearest: bool = False
    ) -> Generator[Wanted, list[Outcome | None], list[Outcome | None]]:
        """Return the outcome at each of some points in order; one between two that are alike is taken to be like them.

        ``nearest``: only what leads to the first other answer is wanted; what lies beyond one is left out.
        """
        every_other = points[(len(points) - 1) % 2 :: 2]
        found = dict(zip(every_other, (yield from self._judged(*every_other)), strict=True))
        if nearest:
            base = self.here.base
            others = (place for place, x in enumerate(points) if found.get(x, base) != base)
            points = points[: next(others, len(points)) + 1]
        for a, x, b in zip(points, points[1:], points[2:], strict=False):
            if x not in found and self._alike(a, b, found[a], found[b]):
                found[x] = found[a]
        left = [x for x in points if x not in found]
        found |= zip(left, (yield from self._judged(*left)), strict=True)
        return [found[x] for x in points]

    def _alike(self, a: float, b: float, here: Outcome | None, there: Outcome | None) -> bool:
        """Whether the same rules speak at two values, no limit between them, and come to the same."""
        return (
            here is not None and there is not None and here == there and here.speaking == there.speaking
            and not any(a <= x <= b or b <= x <= a for x in self.limits)
        )  # fmt: skip

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
        return outcome is None or outcome == self.here.base

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

    def _turn(self, start: float, up: bool, at: float, exact: bool, itself: bool, found: Outcome) -> Turn:
        side: Literal["above", "at least", "below", "at most"]
        side = ("at least" if itself else "above") if up else ("at most" if itself else "below")
        error = error_of(self.here.case, self.here.knowledge, self.slot, start)
        errors = abs(at - start) / error if error else None
        return Turn(
            self.slot, self.round.index, self.given, start, at, side, self.unit, exact, errors,
            found.decision, found.top,
        )  # fmt: skip

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
        outcomes = yield from self._followed(order)
        turns = []
        for i, (x, found) in enumerate(zip(order, outcomes, strict=True)):
            if found is None or found == self.here.base or found in told:
                continue
            told.add(found)
            last = i
            while last + 1 < len(order) and outcomes[last + 1] == found:
                last += 1
            low = max([e for e in edges if e <= x], default=x) if not self.smooth else x
            high = min([e for e in edges if e >= order[last]], default=x) if not self.smooth else order[last]
            turns.append(
                Turn(self.slot, self.round.index, False, None, low, "between", self.unit, not self.smooth, None,
                     found.decision, found.top, to=high)
            )  # fmt: skip
        return turns
