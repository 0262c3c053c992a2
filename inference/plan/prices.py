"""What tests and repairs cost, in minutes of labour: their own time, parts, getting ready, care with hazards."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

from kb.model import Knowledge, Remedy, ServiceTest
from kb.units import number


@dataclass(frozen=True)
class Tariff:
    """kb/plan.yaml in minutes."""

    parts: dict[str, float]
    tests: dict[str, float]
    care: dict[int, float]
    check: float
    holds: float
    noticed: float
    comeback: float
    refer: float
    least: float
    worth: float


def tariff(knowledge: Knowledge) -> Tariff:
    """Return the price list of the knowledge."""
    p = knowledge.plan
    return Tariff(
        {size: number(price, "min") for size, price in p.parts.items()},
        {size: number(price, "min") for size, price in p.tests.items()},
        {rank: number(price, "min") for rank, price in p.care.items()},
        number(p.check, "min"),
        p.repair_holds,
        p.noticed,
        number(p.comeback, "min"),
        number(p.refer, "min"),
        p.least,
        number(p.worth, "min"),
    )


def test_price(knowledge: Knowledge, prices: Tariff, test: ServiceTest) -> float:
    """Return what a test costs once its set-up stands: minutes, outside work and care [min]."""
    return test.minutes + prices.tests[test.cost] + _care(knowledge, prices, test.hazards)


def repair_minutes(knowledge: Knowledge, remedy: Remedy) -> float:
    """Return the minutes of a remedy with those it brings along."""
    return sum(knowledge.remedies[r].minutes for r in with_others(knowledge, remedy.id))


def repair_price(knowledge: Knowledge, prices: Tariff, remedy: Remedy) -> float:
    """Return what a remedy costs with what it brings along, its parts, care, and the check after it [min]."""
    remedies = [knowledge.remedies[r] for r in with_others(knowledge, remedy.id)]
    parts = sum(prices.parts[r.parts] for r in remedies)
    hazards = [h for r in remedies for h in r.hazards]
    return repair_minutes(knowledge, remedy) + parts + _care(knowledge, prices, hazards) + prices.check


def left_behind(knowledge: Knowledge, prices: Tariff, remedy: str) -> float:
    """Return what a remedy costs on top when something else is left behind: a comeback, unless the check shows it."""
    return (1.0 if remedy in knowledge.plan.seen_later else 1 - prices.noticed) * prices.comeback


def with_others(knowledge: Knowledge, remedy: str) -> list[str]:
    """Return a remedy and all it brings along, itself first."""
    out = [remedy]
    for one in out:
        out += [other for other in knowledge.remedies[one].also if other not in out]
    return out


def _care(knowledge: Knowledge, prices: Tariff, hazards: Iterable[str]) -> float:
    return max((prices.care.get(knowledge.cautions[h].rank, 0.0) for h in hazards), default=0.0)
