"""What a round says of a finding: the votes and leanings of all rules weighed into one verdict, and who speaks for a
group of findings that come from one instrument or one underlying state."""

from __future__ import annotations

from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass
from math import log10
from operator import attrgetter
from typing import TypeVar

import numpy as np

from inference.engine.verdicts import FindingResult, Leaning, Vote
from kb.model import Knowledge

BASE = 0.1  # a finding that is looked for is there in about one vehicle in ten (from memory)
# A reading barely beyond its limit may have come there by chance or a passing cause; one far beyond hardly can.
# Between NEAR and FAR standard errors the leak and the wrong verdict shrink to FAR_LEFT (from memory).
NEAR, FAR, FAR_LEFT = 3.0, 12.0, 0.2
FIRM = 0.8  # a verdict trusted at least so far is plainly seen, not leant to
UNTOLD = 10**0.05  # a likelihood pair nearer to even than this ratio says nothing

Findings = Mapping[str, FindingResult]
T = TypeVar("T")


@dataclass(frozen=True)
class Verdict:
    """What a round says of a finding: the side it leans to and the likelihood pair behind it.

    ``if_true`` and ``if_false`` are P(what was read | finding holds) and P(... | it does not), up to a common factor.
    """

    finding: str
    round: int
    if_true: float
    if_false: float
    beyond: float = 0.0  # how far the reading behind it lies beyond its limit [standard errors]

    @property
    def gross(self) -> float:
        """What is left of the chance that the finding came about otherwise: 1 near the limit, less far beyond it."""
        return gross(self.beyond)

    @property
    def holds(self) -> bool:
        return self.if_true > self.if_false

    @property
    def trust(self) -> float:
        """The larger likelihood's share of both, 0.5 (says nothing) to 1 (beyond doubt)."""
        return max(self.if_true, self.if_false) / (self.if_true + self.if_false)


def gross(beyond: float) -> float:
    """Return what is left of the chance that a finding came about otherwise, see :attr:`Verdict.gross`."""
    return 1 - (1 - FAR_LEFT) * min(max((beyond - NEAR) / (FAR - NEAR), 0.0), 1.0)


def verdict_of(finding: str, round_index: int, result: FindingResult) -> Verdict | None:
    """Weigh the votes and leanings on one finding; None where they say nothing or contradict each other.

    With h the chance that a rule for "holds" is met and f the same for "fails", what is left lies in the band where
    no rule speaks, and tells neither way. Trust is a predictive value: of the verdicts "holds" that a rule gives, the
    share ``trust`` is right. With a finding there in one vehicle in ten (:data:`BASE`) a wrong "holds" then comes
    about (1 - trust) / trust x BASE / (1 - BASE) as often as a right one. "fails" is read the plain way, since it is
    the usual state and a predictive value of it would say next to nothing. A reading far beyond its limit is less
    likely to have come about otherwise (:attr:`Verdict.gross`).
    """
    if result.state == "conflict":
        return None
    h = trust_h = f = trust_f = 0.0
    opinions: tuple[Vote | Leaning, ...] = (*result.votes, *result.leanings)
    for opinion in opinions:
        chance, trust = opinion.chance, opinion.trust or 0.5
        if opinion.state == "holds":
            if chance * trust > h * trust_h:
                h, trust_h = chance, trust
        elif chance * trust > f * trust_f:
            f, trust_f = chance, trust
    if not h and not f:
        return None
    trust_h, trust_f = trust_h or 0.5, trust_f or 0.5
    if h + f > 1:
        h, f = h / (h + f), f / (h + f)
    between = (1 - h - f) / 2
    wrong_holds = (1 - trust_h) * BASE / (1 - BASE)
    if_true = h * trust_h + f * (1 - trust_f) + between
    if_false = h * wrong_holds + f * trust_f + between
    if if_true <= if_false * UNTOLD and if_false <= if_true * UNTOLD:
        return None
    side = "holds" if if_true > if_false else "fails"
    beyond = max((v.beyond for v in result.votes if v.state == side), default=0.0)
    left = gross(beyond)
    if side == "holds":
        return Verdict(finding, round_index, if_true, if_false * left, beyond)
    return Verdict(finding, round_index, if_true * left, if_false, beyond)


@dataclass(frozen=True)
class Private:
    """Private evidence on one cause, as decibans on its odds; ``counts`` says for which of its states."""

    cause: str
    verdict: Verdict
    ratio: float
    state_only: bool  # True: weighs "present throughout" against the rest (read after the repair)

    @property
    def decibans(self) -> float:
        return 10 * log10(self.ratio)


@dataclass(frozen=True)
class Alone:
    """What is known of one cause by itself: the weights of its three states [-] and the private evidence in them."""

    weights: np.ndarray
    private: list[Private]
    settled: tuple[str, Verdict] | None
    clash: bool
    applies: bool = True  # False: the vehicle's kind of filter cannot have it


@dataclass(frozen=True)
class Linked:
    """The columns of a net, one for each of ``nodes``; ``at``: by the identity of a verdict, its column.

    ``gone`` [n, K]: the round from which a cause in a state is there no more, infinity for there throughout.
    """

    nodes: tuple[Verdict, ...]
    at: Mapping[int, int]
    links: np.ndarray
    leaks: np.ndarray
    present: np.ndarray
    gone: np.ndarray


class Memory:
    """What was made of the findings first gathered, those of a case as it stands, for the changes of that case.

    It belongs to one knowledge base and one frame (vehicle, history, repairs). Of what a change makes of a finding
    the last is kept as well.
    """

    def __init__(self) -> None:
        self.alone: dict[str, Alone] = {}
        self.weights = np.empty((0, 3))  # of all causes, as they stand in ``alone``
        self.spoken: list[list[Verdict | None]] = []  # by round and group of shared findings
        self.linked: Linked | None = None
        self._first: dict[object, tuple[object, object]] = {}
        self._last: dict[object, tuple[object, object]] = {}

    def of(self, key: object, seen: object, work: Callable[[], T]) -> T:
        """Return what ``work`` makes of ``seen``; what it made before while this is the very same object."""
        for table in (self._first, self._last):
            held = table.get(key)
            if held is not None and held[0] is seen:
                return held[1]  # type: ignore[return-value]
        made = work()
        (self._last if key in self._first else self._first)[key] = seen, made
        return made


class Speakers:
    """The verdicts of all rounds, one for each group of findings.

    ``changed`` names the findings that differ, in some round, from those first gathered with this memory.
    """

    def __init__(
        self, knowledge: Knowledge, rounds: Sequence[Findings], memory: Memory, changed: Collection[str] = ()
    ) -> None:
        self.knowledge, self.rounds, self.memory, self.changed = knowledge, rounds, memory, changed

    def verdict(self, finding: str, round_index: int) -> Verdict | None:
        """Return what a round says of a finding; None where it says nothing."""
        result = self.rounds[round_index].get(finding)
        if result is None or not (result.votes or result.leanings):
            return None
        return self.memory.of((finding, round_index), result, lambda: verdict_of(finding, round_index, result))

    def shared(self, round_index: int, groups: Sequence[tuple[str, ...]], touched: Collection[int]) -> list[Verdict]:
        """Return the verdicts of one round that count, one for each group, in the order of their names.

        A group that is not ``touched`` speaks as it did.
        """
        spoken = self.memory.spoken
        if round_index == len(spoken):
            spoken.append([self.of_group(round_index, members) for members in groups])
        chosen = list(spoken[round_index])
        for place in touched:
            chosen[place] = self.of_group(round_index, groups[place])
        return sorted((v for v in chosen if v is not None), key=attrgetter("finding"))

    def of_group(self, round_index: int, members: tuple[str, ...]) -> Verdict | None:
        """Return the verdict that speaks for a group.

        Of those that hold the most specific firm one, where one stands plainly seen before one that is leant to; else
        the firmest that holds, else the most specific that fails.
        """
        found = [v for name in members if (v := self.verdict(name, round_index)) is not None]
        return max(found, key=self._speaks_first) if len(found) > 1 else found[0] if found else None

    def _speaks_first(self, v: Verdict) -> tuple[bool, bool, bool, int, float, str]:
        firm = v.holds and v.trust >= FIRM
        seen = firm and self.rounds[v.round][v.finding].state == "holds"
        return v.holds, seen, firm, self.knowledge.findings[v.finding].rank, v.trust, v.finding


def in_groups(knowledge: Knowledge, findings: set[str]) -> tuple[tuple[str, ...], ...]:
    """Return these findings by the group of which one speaks; a finding without a group stands alone."""
    groups: dict[str, list[str]] = {}
    for name in sorted(findings & knowledge.findings.keys()):
        groups.setdefault(knowledge.findings[name].group or f"alone:{name}", []).append(name)
    return tuple(tuple(members) for members in groups.values())
