"""Rules and facts made up for tests and benchmarks: by hand, and at random from a seed."""

from __future__ import annotations

import random
from collections.abc import Mapping
from dataclasses import dataclass
from typing import Any

from inference.engine.program import Program, compile_rules
from inference.values import LEVELS, Number, Spread, Value, Word
from kb.model import Finding, Rule


def rule(id_: str, when: Mapping[str, Any], then: Mapping[str, Any], status: str = "in-use") -> Rule:
    """Make a rule of the given conditions and conclusion; the rest is filled in."""
    return Rule.model_validate(
        {
            "id": id_,
            "title": f"Rule {id_}",
            "when": dict(when),
            "then": dict(then),
            "because": "made up for a test",
            "source": "common-practice",
            "status": status,
            "since": "2026-01-01",
            "examples": {"fires": [{}], "quiet": [{}]},
        }
    )


def findings(*ids: str, decide: tuple[str, ...] = ()) -> dict[str, Finding]:
    """Make findings by id, those in ``decide`` of that stage."""
    return {
        id_: Finding.model_validate(
            {
                "id": id_,
                "title": f"{id_} holds",
                "fails": f"{id_} fails",
                "means": "made up for a test",
                "system": "heat",
                "stage": "decide" if id_ in decide else "find",
            }
        )
        for id_ in (*ids, *decide)
    }


def unit_of(slot: str) -> str:
    """Units of the made-up readings: temperatures in °C, pressures in mbar, derived ``d...`` without."""
    name = slot.partition(".")[0]
    if name.startswith("temperature"):
        return "°C"
    if name.startswith("pressure"):
        return "mbar"
    if name[0] == "d" and name[1:].isdigit():
        return "1"
    raise KeyError(slot)


@dataclass(frozen=True)
class Base:
    """A rule base: rules, findings, and the slots that its facts may fill."""

    rules: list[Rule]
    findings: dict[str, Finding]
    readings: list[str]
    derived: list[str]
    answers: list[str]
    codes: list[str]
    causes: list[str]

    def compile(self) -> Program:
        return compile_rules(self.rules, self.findings, unit_of)


def random_base(rng: random.Random, rules: int = 60, depth: int = 4) -> Base:
    """Make an acyclic base of ``rules`` random rules, with every kind of condition and ``depth`` levels."""
    size = max(4, rules // 4)
    readings = [f"pressure_{i}.{c}" for i in range(max(2, rules // 20)) for c in ("idle", "fast_idle")]
    readings += [f"temperature_{i}.road" for i in range(max(2, rules // 20))]
    derived = [f"d{i}" for i in range(max(2, rules // 25))]
    answers = [f"answer_{i}" for i in range(max(4, rules // 5))]
    codes = [f"P0{i:03d}" for i in range(max(2, rules // 12))]
    causes = [f"cause_{i}" for i in range(max(2, rules // 10))]
    layers = [[f"finding_{d}_{i}" for i in range(size // depth + 1)] for d in range(depth)]
    last = [f"verdict_{i}" for i in range(max(2, size // 4))]
    base = Base(
        [],
        findings(*(f for layer in layers for f in layer), decide=tuple(last)),
        readings,
        derived,
        answers,
        codes,
        causes,
    )
    for n in range(rules):
        decide = n % 6 == 5
        d = rng.randrange(depth)
        known = [f for layer in (layers if decide else layers[:d]) for f in layer]
        then: dict[str, Any]
        if decide and rng.random() < 0.4:
            then = {"caution": f"caution-{rng.randrange(5)}"}
        else:
            finding = rng.choice(last if decide else layers[d])
            state = rng.choice(["holds", "holds", "fails"])
            then = {"finding": finding, "state": state, "trust": rng.choice([0.7, 0.9, 0.98])}
        when: dict[str, list[dict[str, Any]]] = {
            "all": [_condition(rng, base, known, decide) for _ in range(rng.choice([1, 1, 2, 3]))],
            "any": [_condition(rng, base, known, decide) for _ in range(rng.choice([0, 0, 2, 3]))],
            "none": [_condition(rng, base, known, decide) for _ in range(rng.choice([0, 0, 0, 1]))],
            "unless": [_condition(rng, base, known, decide) for _ in range(rng.choice([0, 0, 1]))],
        }
        base.rules.append(rule(f"rule-{n:03d}", when, then))
    return base


def _condition(rng: random.Random, base: Base, known: list[str], decide: bool) -> dict[str, Any]:
    kinds = ["reading", "derived", "answer", "answer", "code"] + ["finding"] * 3 * bool(known)
    kind = rng.choice(kinds + ["cause"] * 2 * decide)
    if kind == "reading":
        slot = rng.choice(base.readings)
        unit, zero = ("°C", 50) if slot.startswith("temperature") else ("mbar", 40)
        low = zero + 5 * rng.randrange(6)
        if rng.random() < 0.2:
            return {"reading": slot, "between": [f"{low} {unit}", f"{low + 15} {unit}"]}
        return {"reading": slot, rng.choice(["above", "below", "at_least", "at_most"]): f"{low} {unit}"}
    if kind == "derived":
        return {"reading": rng.choice(base.derived), rng.choice(["above", "below"]): f"{rng.randrange(1, 6)}"}
    if kind == "answer":
        return {"answer": rng.choice(base.answers), "is": rng.choice(["yes", "no"])}
    if kind == "code":
        return {
            "code": rng.choice(base.codes),
            "is": rng.choice(["present", "present", "absent", "not_listed"]),
        }
    if kind == "cause":
        return {
            "cause": rng.choice(base.causes),
            rng.choice(["at_least", "at_most", "is"]): rng.choice(["possible", "likely"]),
        }
    return {"finding": rng.choice(known), "is": rng.choice(["holds", "holds", "fails", "unknown"])}


def random_facts(rng: random.Random, base: Base, share: float = 0.6) -> dict[str, Value]:
    """Fill about ``share`` of the slots; readings fall on limits often, spreads often lie astride one."""
    facts: dict[str, Value] = {}
    for slot in base.readings:
        zero = 50 if slot.startswith("temperature") else 40
        facts[slot] = Number(float(zero + rng.choice([2.5, 5]) * rng.randrange(-2, 12)))
    for slot in base.derived:
        mid = rng.uniform(0.5, 6.0)
        facts[slot] = Spread(mid * rng.uniform(0.6, 1), mid, mid * rng.uniform(1, 1.5))
    for slot in base.answers:
        facts[slot] = Word(rng.choice(["yes", "no", "unknown"]))
    for slot in base.codes:
        facts[slot] = Word(rng.choice(["present", "absent", "not listed"]))
    return {slot: value for slot, value in facts.items() if rng.random() < share}


def random_levels(rng: random.Random, base: Base) -> dict[str, str]:
    """Give every cause a level of belief."""
    return {cause: rng.choice(LEVELS) for cause in base.causes}
