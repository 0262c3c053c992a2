"""The least proof: the smallest sets of facts that alone carry the decision and the most probable cause.

``least_sets`` is a hitting-set tree searched by size (Reiter 1987, Artificial Intelligence 32, 57-95; from memory): a
set that does not suffice is grown to a largest one that still does not, and every sufficient set must hold a fact
outside that one. Whether a set suffices is found by judging the case with all other facts left out. Belief is not
monotone, so each set found is checked: it suffices, and no longer does with any one of its facts dropped.
"""

from __future__ import annotations

import heapq
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from typing import Literal

from inference.case import Case
from inference.change import without
from inference.questions.again import Again, Standing
from inference.result import GateReason
from inference.values import LEVELS
from kb.model import Knowledge

MOST_SETS = 3  # sets told for each goal
MOST_TESTS = 300  # subsets judged for each goal
Facts = frozenset[str]


@dataclass(frozen=True)
class Goal:
    """Something to be carried: the decision, one reason of a hold, or the most probable cause at its level or above.

    ``id`` is the decision, the reason's finding (or cause), or the cause.
    """

    kind: Literal["decision", "reason", "cause"]
    id: str
    says: str = ""


@dataclass(frozen=True)
class Carried:
    """The sets that carry a goal, smallest first; ``truncated`` says that the search was stopped before its end.

    No set at all, and not truncated: the goal needs no fact (with nothing known it is the same).
    """

    goal: Goal
    sets: tuple[Facts, ...]
    truncated: bool
    tested: int
    needs_none: bool


@dataclass(frozen=True)
class LeastProof:
    """The facts of the case and, for each goal, the smallest sets that carry it."""

    facts: tuple[str, ...]
    carried: tuple[Carried, ...]


def least_sets(
    facts: Iterable[str], suffices: Callable[[Facts], bool], most: int | None = None, tests: int | None = None
) -> tuple[list[Facts], bool, int]:
    """Return minimal sufficient sets, smallest first; whether the search was cut short; how many sets were tested.

    Parameters
    ----------
    facts : all facts; together they must suffice
    suffices : whether a set is enough. If more facts never undo it, the sets are all the minimal ones in order of
        size; if they can, each set returned still is minimal, but a smaller one elsewhere may be overlooked
    most, tests : bounds on the sets returned and on the sets tested; None: none
    """
    return _Tree(facts, suffices, most, tests).search()


class _Enough(Exception):  # noqa: N818  not an error
    """The bound on tests is reached."""


class _Tree:
    def __init__(
        self, facts: Iterable[str], suffices: Callable[[Facts], bool], most: int | None, tests: int | None
    ) -> None:
        self.all = frozenset(facts)
        self.order = sorted(self.all)
        self.ask, self.most, self.bound = suffices, most, tests
        self.known: dict[Facts, bool] = {}
        self.labels: list[Facts] = []
        self.found: list[Facts] = []

    def search(self) -> tuple[list[Facts], bool, int]:
        try:
            cut = self._search()
        except _Enough:
            cut = True
        self.found.sort(key=lambda s: (len(s), sorted(s)))
        return self.found, cut, len(self.known)

    def _search(self) -> bool:
        if not self.suffices(self.all):
            return False
        waiting: list[tuple[int, tuple[str, ...]]] = [(0, ())]
        seen: set[Facts] = {frozenset()}
        while waiting:
            if self.most is not None and len(self.found) >= self.most:
                return True
            node = frozenset(heapq.heappop(waiting)[1])
            if any(one <= node for one in self.found):
                continue
            label = next((la for la in self.labels if not la & node), None)
            if label is None and self.suffices(node):
                least = self._shrunk(node)
                if least not in self.found:
                    self.found.append(least)
                continue
            if label is None:
                label = self.all - self._grown(node)
                self.labels.append(label)
            for fact in sorted(label):
                child = node | {fact}
                if child not in seen:
                    seen.add(child)
                    heapq.heappush(waiting, (len(child), tuple(sorted(child))))
        return False

    def suffices(self, facts: Facts) -> bool:
        if facts not in self.known:
            if self.bound is not None and len(self.known) >= self.bound:
                raise _Enough
            self.known[facts] = self.ask(facts)
        return self.known[facts]

    def _grown(self, node: Facts) -> Facts:
        """Return a largest insufficient set that holds ``node``, adding facts by halves."""
        out = node
        stack: list[Sequence[str]] = [[f for f in self.order if f not in node]]
        while stack:
            chunk = stack.pop()
            if not chunk:
                continue
            if not self.suffices(out | set(chunk)):
                out = out | set(chunk)
            elif len(chunk) > 1:
                half = len(chunk) // 2
                stack += [chunk[half:], chunk[:half]]
        return out

    def _shrunk(self, node: Facts) -> Facts:
        """Drop what is not needed (nothing, where more facts never undo sufficiency)."""
        while True:
            smaller = next((node - {f} for f in sorted(node) if self.suffices(node - {f})), None)
            if smaller is None:
                return node
            node = smaller


def facts_of(case: Case) -> tuple[str, ...]:
    """Return every fact of the case by name, sorted; "codes" stands for the list having been read."""
    out: set[str] = set(case.usage)
    for r in case.rounds:
        out |= set(r.readings) | {name for name, said in r.answers.items() if said != "unknown"}
        out |= {c.code for c in r.codes or ()} | ({"codes"} if r.codes is not None else set())
    return tuple(sorted(out))


def only(case: Case, knowledge: Knowledge, kept: Facts) -> Case:
    """Return the case with all facts but ``kept`` left out; a code that is kept keeps the list read."""
    gone = set(facts_of(case)) - kept
    if any(c.code in kept for r in case.rounds for c in r.codes or ()):
        gone.discard("codes")
    return without(case, knowledge, gone)


def goals_of(standing: Standing) -> list[Goal]:
    """Return what there is to carry in an answer."""
    gate = standing.gate
    out: list[Goal] = []
    if gate.decision == "hold":
        out += [Goal("reason", r.cause or r.finding, r.says) for r in _named(standing)]
    out = out or [Goal("decision", gate.decision)]
    top = standing.causes[0]
    if top.level in ("possible", "likely", "proven"):
        out.append(Goal("cause", top.id))
    return out


def _named(standing: Standing) -> tuple[GateReason, ...]:
    gate = standing.gate
    return (*gate.not_met, *gate.doubts, *gate.likely)


def reached(goal: Goal, base: Standing, now: Standing | None) -> bool:
    """Say whether a case that stands ``now`` still carries the goal."""
    if now is None:
        return False
    if goal.kind == "decision":
        return now.gate.decision == goal.id
    if goal.kind == "reason":
        return any((r.cause or r.finding) == goal.id for r in _named(now))
    top, was = now.causes[0], base.causes[0]
    return top.id == goal.id and LEVELS.index(top.level) >= LEVELS.index(was.level)


def least_proof(
    case: Case, knowledge: Knowledge, again: Again | None = None, most: int = MOST_SETS, tests: int = MOST_TESTS
) -> LeastProof:
    """Find, for the decision and the most probable cause, the smallest sets of facts that carry them.

    A set is judged as a change of the case or, where it holds less than half of it, of the case with nothing known.
    """
    again = again or Again(case, knowledge)
    facts = facts_of(case)
    nothing = Again(only(case, knowledge, frozenset()), knowledge)
    judged: dict[Facts, Standing | None] = {frozenset(facts): again.base}

    def stands(kept: Facts) -> Standing | None:
        if kept not in judged:
            nearer = nothing if 2 * len(kept) < len(facts) else again
            judged[kept] = nearer.of(only(case, knowledge, kept))
        return judged[kept]

    carried = []
    for goal in goals_of(again.base):
        sets, cut, tested = least_sets(facts, lambda s, g=goal: reached(g, again.base, stands(s)), most, tests)  # type: ignore[misc]
        none = sets == [frozenset()]
        carried.append(Carried(goal, () if none else tuple(sets), cut and not none, tested, none))
    return LeastProof(facts, tuple(carried))
