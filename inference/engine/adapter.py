"""The one place that touches experta: its import, and an engine that takes facts and tells what fired.

Facts are only added, one Fact class a slot, each slot declared once. Every condition is a positive predicate
on one fact, and every way has a salience of its own, so that neither hash seed nor order of rules can show.
"""

from __future__ import annotations

import collections
import collections.abc
import logging
import operator
import weakref
from collections.abc import Callable, Mapping
from typing import Any, Literal

from inference.engine.counting import Countdown
from inference.engine.program import SERVES, Need, Stage
from inference.values import Value

Matching = Literal["counting", "rete"]


def _import_experta() -> Any:
    """Import experta 1.9.4 on today's Python, leaving no trace of the import elsewhere."""
    root = logging.getLogger()
    handlers = list(root.handlers)
    # frozendict 1.2, which experta pins, subclasses collections.Mapping; Python 3.10 took that alias away.
    had = hasattr(collections, "Mapping")
    if not had:
        collections.Mapping = collections.abc.Mapping  # type: ignore[attr-defined]
    try:
        import experta
        import experta.abstract
        import experta.activation
    finally:
        if not had:
            del collections.Mapping  # type: ignore[attr-defined]
        root.handlers[:] = handlers  # experta calls logging.basicConfig(); the host's logging is not its business
    if not hasattr(experta, "KnowledgeEngine"):  # its __init__ passes over an ImportError without a word
        raise ImportError(
            "experta is there but could not import what it needs; "
            "run: pip install experta==1.9.4 schema==0.6.7 frozendict==1.2"
        )
    return experta


experta: Any = _import_experta()
Matcher: Any = experta.abstract.Matcher
Strategy: Any = experta.abstract.Strategy
KnowledgeEngine: Any = experta.KnowledgeEngine
Fact: Any = experta.Fact
FactList: Any = experta.factlist.FactList
InitialFact: Any = experta.InitialFact
Agenda: Any = experta.agenda.Agenda
Activation: Any = experta.activation.Activation


class Held:
    """The value of one fact and the ways that it serves, compared by identity: hashing a sample of thousands would
    cost more than matching.
    """

    __slots__ = ("value", "ways")

    def __init__(self, value: Value | None, ways: tuple[int, ...] = ()) -> None:
        self.value = value
        self.ways = ways


class SlotFact(Fact):  # type: ignore[misc]
    """A fact that holds one value: nothing in it to freeze, and no pattern to look for when declared."""

    def __init__(self, held: Any = None) -> None:
        if isinstance(held, Held):
            dict.__setitem__(self, "held", held)
        else:  # a pattern of Rete, or the empty fact it fills with one
            super().__init__(**({} if held is None else {"held": held}))

    def has_field_constraints(self) -> bool:
        return False

    def has_nested_accessor(self) -> bool:
        return False


class _Tables:
    """What all engines over one stage share: the Fact class of each slot and, for counting, the Rule objects.

    A Rule object remembers the engine through which it was last reached as an attribute. These are reached
    through a plain tuple, so they bind to none; a Rete engine makes its own as attributes of its own class.
    """

    def __init__(self, stage: Stage) -> None:
        self.facts: dict[str, Any] = {s: type(f"Fact_{s}", (SlotFact,), {}) for s in stage.slots}
        self.rules = tuple(self.rule(stage, w, ()) for w in range(len(stage.ways)))
        self._predicates: dict[tuple[int, tuple[bool | None, ...]], Any] = {}

    def rule(self, stage: Stage, way: int, patterns: tuple[Any, ...]) -> Any:
        """Make the Rule of one way; its right-hand side notes that it fired."""

        def conclude(engine: Any) -> None:
            engine.fired.append(way)

        conclude.__name__ = f"{stage.ways[way].rule}/{stage.ways[way].number}"
        return experta.Rule(*patterns, salience=len(stage.ways) - way)(conclude)

    def pattern(self, stage: Stage, need: Need) -> Any:
        """Make the pattern of one need: a predicate on the slot's fact, shared by all who need the same."""
        serving = SERVES[need.part]
        key = (need.literal, serving)
        if key not in self._predicates:

            def serves(held: Held, literal: int = need.literal) -> bool:
                return stage.outcome(literal, held.value) in serving

            self._predicates[key] = serves
        kind = self.facts[stage.literals[need.literal].slot]
        return kind(held=experta.P(self._predicates[key]))


_tables: weakref.WeakKeyDictionary[Stage, _Tables] = weakref.WeakKeyDictionary()


class _Counting(Matcher):  # type: ignore[misc]
    """The counting matcher behind experta's matcher interface."""

    def __init__(self, engine: Any) -> None:
        super().__init__(weakref.proxy(engine))  # no cycle, so that an engine's facts go when it goes
        self.reset()

    def reset(self) -> None:
        self.countdown = Countdown(self.engine.stage)

    def changes(self, adding: Any = None, deleting: Any = None) -> tuple[list[Any], list[Any]]:
        if deleting:
            raise RuntimeError("facts are only added here, never taken back")
        tables = self.engine.tables
        ready: list[int] = []
        for fact in adding or ():
            if type(fact) is not InitialFact:
                ready += self.countdown.take(fact["held"].ways)
        # the facts of an activation are left out: no two activations share a rule, and the verdicts hold them
        return [Activation(tables.rules[way], ()) for way in ready], []


class _BySalience(Strategy):  # type: ignore[misc]
    """Highest salience first; no two ways share one, so that nothing else need be compared."""

    def _update_agenda(self, agenda: Any, added: Any, removed: Any) -> None:
        if added:
            agenda.activations.extend(added)
            agenda.activations.sort(key=operator.attrgetter("rule.salience"))


class _Engine(KnowledgeEngine):  # type: ignore[misc]
    """An experta engine over one stage."""

    def __init__(self, stage: Stage, tables: _Tables) -> None:
        self.stage = stage
        self.tables = tables
        self.fired: list[int] = []
        super().__init__()


class _OnceEach(FactList):  # type: ignore[misc]
    """A fact list for facts that are never taken back and of which each slot is declared once."""

    def declare(self, fact: Any) -> Any:
        fact.__factid__ = self.last_index
        self[self.last_index] = fact
        self.last_index += 1
        self.added.append(fact)
        return fact


class _CountingEngine(_Engine):
    __matcher__ = _Counting
    __strategy__ = _BySalience

    def declare(self, *facts: Any) -> None:
        """Declare facts between two runs, as experta does once it has looked for patterns; there are none."""
        for fact in facts:
            self.facts.declare(fact)
        self.strategy.update_agenda(self.agenda, *self.get_activations())

    def get_activations(self) -> tuple[list[Any], list[Any]]:
        """Ask the matcher only where something was declared since; experta asks after every rule that fired."""
        return super().get_activations() if self.facts.added else ([], [])

    def reset(self) -> None:
        """Begin anew: what experta's own reset does where there are no DefFacts to look for."""
        self.agenda, self.facts = Agenda(), _OnceEach()
        self.matcher.reset()
        self.facts.declare(InitialFact())


def open_engine(stage: Stage, matcher: Matching = "counting") -> Callable[[Mapping[str, Value | None]], list[int]]:
    """Open an engine over one stage and return the function that feeds it.

    That function takes the values of slots not declared before (None: known to be unknown), runs to the end
    and returns the ways that fired, in firing order. ``matcher`` is our counting one or experta's own Rete.
    """
    tables = _tables.get(stage)
    if tables is None:
        tables = _tables[stage] = _Tables(stage)
    if matcher == "counting":
        engine: Any = _CountingEngine(stage, tables)
    else:
        rules = {
            f"way_{w}": tables.rule(stage, w, tuple(tables.pattern(stage, need) for need in way.needs))
            for w, way in enumerate(stage.ways)
        }
        engine = type("_ReteEngine", (_Engine,), rules)(stage, tables)
    engine.reset()

    def add(values: Mapping[str, Value | None]) -> list[int]:
        told = len(engine.fired)
        # a fact that serves no need of any way could match nothing
        engine.declare(
            *(
                tables.facts[slot](Held(value, ways))
                for slot, value in values.items()
                if slot in tables.facts and (ways := stage.served_by(slot, value))
            )
        )
        engine.run()
        fired: list[int] = engine.fired[told:]
        return fired

    return add
