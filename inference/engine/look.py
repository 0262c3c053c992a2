"""Look at one rule by itself: does it fire on these facts, which conditions are met, and by how much?

Pure and cheap: the same literals as in a run, without an engine. Findings are read from the facts as given.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from inference.engine.program import Part, Program, Stage, Way
from inference.engine.run import Facts, spread_chance
from inference.values import Value


@dataclass(frozen=True)
class ConditionView:
    """One condition of a rule against the facts.

    ``state`` is that of the condition as written, whatever part it stands in; ``serves`` says whether the
    part is content with it (``none`` wants not met, ``unless`` anything but met). ``margin`` [unit] is how
    far the value lies inside the limit, negative outside; None for words and where the value is unknown.
    """

    part: Part
    text: str
    slot: str
    value: Value | None
    limit: str
    unit: str
    state: Literal["met", "not met", "unknown"]
    serves: bool
    margin: float | None


@dataclass(frozen=True)
class RuleView:
    """A rule against the facts: whether it fires, its conditions in the order written, and the likeliest way.

    ``chance`` [-] is the probability that the derived readings meet their conditions in the best way whose
    other conditions are met; None where something other than a derived reading stands against every way.
    """

    rule: str
    fires: bool
    conditions: tuple[ConditionView, ...]
    chance: float | None


def explain_rule(program: Program, rule_id: str, facts: Facts) -> RuleView:
    """Show each condition of a rule against the facts.

    Raises
    ------
    KeyError : there is no such rule in use
    RuleError : a condition cannot read the value of its slot
    """
    stage = program.stage_of(rule_id)
    ways = [stage.ways[w] for w in stage.of_rule[rule_id]]
    needs = dict.fromkeys(need for way in ways for need in way.needs)
    order: list[Part] = ["all", "any", "none", "unless"]
    views = []
    for need in sorted(needs, key=lambda n: order.index(n.part)):
        literal = stage.literals[need.literal]
        value = facts.get(literal.slot)
        outcome = stage.outcome(need.literal, value)
        state: Literal["met", "not met", "unknown"] = "unknown" if outcome is None else "met" if outcome else "not met"
        serves = stage.serves(need, facts)
        margin = literal.margin(value)
        views.append(
            ConditionView(
                need.part,
                literal.text,
                literal.slot,
                value,
                literal.limit,
                literal.unit,
                state,
                serves,
                margin,
            )
        )
    chances = [spread_chance(way, facts) for way in ways if _only_spread_in_doubt(stage, way, facts)]
    fire = any(_met(stage, way, facts) for way in ways)
    return RuleView(rule_id, fire, tuple(views), max(chances, default=None))


def fires(program: Program, rule_id: str, facts: Facts) -> bool:
    """Return whether one rule fires on these facts, taken by itself.

    Raises
    ------
    KeyError : there is no such rule in use
    RuleError : a condition cannot read the value of its slot
    """
    stage = program.stage_of(rule_id)
    return any(_met(stage, stage.ways[w], facts) for w in stage.of_rule[rule_id])


def _met(stage: Stage, way: Way, facts: Facts) -> bool:
    return all(stage.serves(need, facts) for need in way.needs)


def _only_spread_in_doubt(stage: Stage, way: Way, facts: Facts) -> bool:
    return all(stage.serves(need, facts) or stage.in_doubt(need, facts) for need in way.needs)
