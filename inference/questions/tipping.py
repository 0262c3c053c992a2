"""What would turn the answer: every fact that alone, at another value, changes the decision or the most probable cause.

How one reading is followed is said in :mod:`inference.questions.along`. Every search is a generator that says which
variations it wants judged next; all searches go on side by side, so that what they want is judged together.
"""

from __future__ import annotations

import math
from collections import deque
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from inference.case import Case, Round
from inference.questions.again import Again
from inference.questions.along import Along
from inference.questions.ground import open_facts
from inference.questions.turn import Outcome, Planned, Search, Standpoint, Turn, Wanted, outcome_of
from inference.result import Decision
from inference.shares import Shares, undivided
from kb.model import Knowledge

AT_A_TIME = 32  # variations judged together: fewer share less work, with more the last searches would end one by one


@dataclass(frozen=True)
class Tipping:
    """Decision and most probable cause as they stand, and every turn, the nearest in instrument errors first."""

    decision: Decision
    top: str | None
    turns: tuple[Turn, ...]
    asked: tuple[str, ...]  # facts not given yet that were tried, because the decision lacks them
    tried: int  # variations judged


def tipping(case: Case, knowledge: Knowledge, again: Again | None = None, shares: Shares = undivided) -> Tipping:
    """Find every single fact that would turn the answer; see the module for how.

    ``shares`` may spread the searches over the processor's cores; what they find is the same.
    """
    search = _Search(again or Again(case, knowledge, sparing=True))
    asked = open_facts(knowledge, search.again.base, case)
    planned = [one for slot, round_ in _facts(case) for one in search.along(slot, round_, True)]
    planned += [one for slot in asked for one in search.along(slot, case.rounds[-1], False)]
    order = sorted(range(len(planned)), key=lambda place: -planned[place].length)  # a long one begun last is waited for

    def found(share: Iterator[int]) -> tuple[dict[int, list[Turn]], int]:
        before = search.tried
        turns = search.side_by_side((order[i], planned[order[i]].search) for i in share)
        return turns, search.tried - before

    told = shares(found, len(order))
    by_place = {place: some for part, _ in told for place, some in part.items()}
    turns = [turn for place in sorted(by_place) for turn in by_place[place]]
    turns.sort(key=lambda t: (not t.given, t.errors if t.errors is not None else math.inf, t.slot, str(t.at)))
    return Tipping(
        search.here.base.decision, search.here.base.top, tuple(turns), asked, sum(tried for _, tried in told)
    )


def _facts(case: Case) -> Iterator[tuple[str, Round]]:
    """Every fact of the case with the round it was written in; usage once, with the latest."""
    for round_ in case.rounds:
        yield from ((slot, round_) for slot in round_.readings)
        yield from ((name, round_) for name, said in round_.answers.items() if said != "unknown")
        yield from ((code, round_) for code in sorted({c.code for c in round_.codes or ()}))
    yield from ((slot, case.rounds[-1]) for slot in case.usage)


class _Search:
    def __init__(self, again: Again) -> None:
        self.again, self.knowledge = again, again.knowledge
        self.here = Standpoint(again)
        self.tried = 0

    def along(self, slot: str, round_: Round, given: bool) -> list[Planned]:
        """Return the searches for the turns of one fact."""
        reading = self.knowledge.readings.get(slot.partition(".")[0])
        if reading is not None:
            return Along(self.here, slot, round_, reading, given).searches()
        before: str | None
        if slot in self.knowledge.questions:
            before = round_.answers.get(slot) if given else None
            options = [o for o in self.knowledge.questions[slot].options if o != before]
        elif slot == "codes":
            before, options = None, ["none"]
        else:
            before, options = "present", ["not listed"]
        return [Planned(len(options), self._words(slot, round_, before, options, given))]

    def side_by_side(self, searches: Iterator[tuple[int, Search]]) -> dict[int, list[Turn]]:
        """Run searches, judging together what they want next; return what each found.

        One is begun only when those begun want too little, so that none is left to be finished by itself.
        """
        found: dict[int, list[Turn]] = {}
        begun: deque[tuple[int, Search, Wanted]] = deque()

        def go_on(place: int, search: Search, told: list[Outcome | None] | None = None) -> None:
            try:
                begun.append((place, search, search.send(told) if told is not None else next(search)))
            except StopIteration as end:
                found[place] = end.value

        while True:
            asked: list[tuple[int, Search, Wanted]] = []
            cases: Wanted = []
            while len(cases) < AT_A_TIME:
                if begun:
                    asked.append(begun.popleft())
                    cases += asked[-1][2]
                elif (new := next(searches, None)) is not None:
                    go_on(*new)
                else:
                    break
            if not asked:
                return found
            outcomes = iter(self._judge(cases))
            for place, search, wanted in asked:
                go_on(place, search, [next(outcomes) for _ in wanted])

    def _judge(self, cases: Wanted) -> list[Outcome | None]:
        real = [case for case in cases if case is not None]
        self.tried += len(real)
        standings = iter(self.again.of_all(real))
        out: list[Outcome | None] = []
        for case in cases:
            standing = None if case is None else next(standings)
            out.append(outcome_of(standing, self.again) if standing else None)
        return out

    def _words(self, slot: str, round_: Round, before: str | None, options: Sequence[str], given: bool) -> Search:
        outcomes = yield [self.here.changed(slot, round_, [] if slot == "codes" else option) for option in options]
        return [
            Turn(slot, round_.index, given, before, option, "is", "1", True, None, found.decision, found.top)
            for option, found in zip(options, outcomes, strict=True)
            if found is not None and found != self.here.base
        ]
