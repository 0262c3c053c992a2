"""The plan as data: everything that ``next`` says, nothing worded. Minutes throughout; probabilities from 0 to 1."""

from __future__ import annotations

from dataclasses import dataclass

from inference.plan.search import Kind
from inference.result import Decision


@dataclass(frozen=True)
class Action:
    """A test, a repair (named by its cause, ``remedy`` the work), handing the vehicle on, or stopping."""

    kind: Kind
    what: str = ""
    remedy: str = ""


@dataclass(frozen=True)
class After:
    """One outcome of a step: what is seen, how likely, what it makes of the causes, and what comes next.

    ``said``: findings read as holding or not; empty for a repair, where ``cured`` tells whether the check is good.
    ``decision``: the decision on a burn where the outcome by itself changes it. ``cost`` is expected from there on.
    """

    said: tuple[tuple[str, bool], ...]
    cured: bool | None
    chance: float
    top: tuple[tuple[str, float], ...]
    then: Action
    decision: Decision | None
    cost: float
    followed: bool = False  # the next step of the plan is the one for this outcome


@dataclass(frozen=True)
class PlanStep:
    """One step: its own minutes and its price (with parts, care and set-up), and what it saves over leaving it out.

    ``parts``: for a test the causes it tells apart, with the least and the most each may come to; for a repair its
    causes and their probability twice, ``proven`` where a finding settled the cause. ``shared``: the set-up stands
    already. ``needs``: gate needs it fills. ``read_again``: findings read before that the repair may have changed.
    ``before``: for a test the remedy that is as good as certain to follow, a new or cleaned filter.
    """

    action: Action
    minutes: float
    price: float
    saves: float
    parts: tuple[tuple[str, float, float], ...]
    outcomes: tuple[After, ...]
    set_up: str = ""
    shared: bool = False
    needs: tuple[str, ...] = ()
    read_again: tuple[str, ...] = ()
    proven: bool = False
    before: str = ""


@dataclass(frozen=True)
class Naive:
    """A plan that asks nothing: the causes in their order, what it is expected to cost, how often it is handed on."""

    order: tuple[str, ...]
    cost: float
    handed_on: float


@dataclass(frozen=True)
class NeededFact:
    """Something the decision on a burn waits for: the finding, the quickest test that settles it, if there is one."""

    finding: str
    says: str
    minutes: float
    test: str | None
    in_step: int | None  # 1, 2, 3 where a step of the plan fills it


@dataclass(frozen=True)
class Assumption:
    """Something the arithmetic takes for granted or cannot see; ``share`` is the figure that goes with it."""

    name: str
    share: float = 0.0
    names: tuple[str, ...] = ()


@dataclass(frozen=True)
class Plan:
    """The plan of one case.

    ``seen``: the trouble is known to be there, since nothing was repaired or it came back after the repairs
    (``repaired``, causes); if not, the vehicle may be cured and nobody has shown it yet. ``cost`` is expected until
    the vehicle is cured, the burn and the proof not counted; ``handed_on``: how often it ends with handing it on.
    """

    decision: Decision
    steps: tuple[PlanStep, ...]
    cost: float
    handed_on: float
    repairs_only: Naive
    by_probability: Naive
    by_price: Naive
    trouble: float  # probability that something is left that blocks the filter
    seen: bool
    repaired: tuple[str, ...]
    rest: float  # probability that something beside the causes planned for is there
    put_right: tuple[str, ...]  # what the decision on a burn names as wrong, to be put right first
    needed: tuple[NeededFact, ...]
    afterwards: tuple[str, ...]  # remedies that follow whatever is found: burn, reset, proof
    assumptions: tuple[Assumption, ...]
