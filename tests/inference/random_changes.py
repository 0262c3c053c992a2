"""Changes of a case at random: readings given or newly given, near limits of rules too, answers, codes, usage."""

from __future__ import annotations

import random

from inference.case import Case
from inference.change import changed, slots_that_change, without
from inference.questions.again import Again
from inference.questions.least import facts_of
from kb.faults import Faults
from kb.model import Knowledge
from kb.units import number

UNNAMED = "P1999"  # a code that the knowledge does not name


def at_random(again: Again, rng: random.Random) -> Case:
    """Return the case with one to three facts of any of its rounds written new or left out."""
    out = again.case
    for _ in range(rng.choice((1, 1, 2, 3))):
        out = _one(again, out, rng)
    return out


def _one(again: Again, case: Case, rng: random.Random) -> Case:
    knowledge, round_ = again.knowledge, rng.choice(case.rounds)
    kind = rng.choice(("gone", "given", "given", "any", "any", "usage", "code", "codes"))
    facts: dict[str, list[str]] = {
        "given": [*round_.readings, *round_.answers],
        "usage": [*case.usage],
        "code": [*knowledge.codes, UNNAMED],
        "codes": ["codes"],
    }
    if kind == "gone":
        return without(case, knowledge, rng.sample(facts_of(case), 1) if facts_of(case) else [])
    slot = rng.choice(facts.get(kind) or slots_that_change(knowledge))
    try:
        return changed(case, knowledge, {slot: _value(again, slot, rng)}, round_.index)
    except Faults:  # it cannot be together with the rest
        return case


def _value(again: Again, slot: str, rng: random.Random) -> object:
    knowledge: Knowledge = again.knowledge
    if slot in knowledge.questions:
        return rng.choice([*knowledge.questions[slot].options, "unknown"])
    if slot == "codes":
        return rng.sample([*knowledge.codes, UNNAMED], rng.randint(0, 3))
    reading = knowledge.readings.get(slot.partition(".")[0])
    if reading is None:
        return rng.choice(("present", "not listed"))
    span = reading.usual.get(slot.partition(".")[2]) or reading.usual.get("any") or reading.possible
    low, high = number(span.low, reading.unit), number(span.high, reading.unit)
    x = rng.uniform(low - 0.3 * (high - low), high + 0.5 * (high - low))
    stages = (again.program.find, again.program.decide)
    literals = [stage.literals[i] for stage in stages for i in stage.by_slot.get(slot, ())]
    limits = [x for literal in literals for x in (literal.low, literal.high) if abs(x) < 1e300]
    if limits and rng.random() < 0.4:
        x = rng.choice(limits) * rng.choice((1.0, 1.0, 1.0001, 0.9999))
    x = min(max(x, number(reading.possible.low, reading.unit)), number(reading.possible.high, reading.unit))
    return x if reading.unit == "1" else f"{x!r} {reading.unit}"
