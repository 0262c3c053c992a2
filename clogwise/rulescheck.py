"""``clogwise rules check``: load everything, look at the base as a whole, run every example, report all faults."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from typing import Any

from pydantic import BaseModel

from inference.engine.look import fires
from inference.engine.program import Program
from inference.values import Number, Spread, Value, Word
from kb.faults import Faults
from kb.model import Knowledge, Rule
from kb.slots import Slots
from kb.units import UnitError, number


class Report(BaseModel):
    """What the check found. ``faults`` is empty when all is well."""

    rules: int
    examples: int
    findings: int
    causes: int
    codes: int
    faults: list[str]

    def lines(self) -> Iterator[str]:
        yield from self.faults
        yield (
            f"{self.rules} rules with {self.examples} examples, {self.findings} findings, {self.causes} causes, "
            f"{self.codes} codes: " + (f"{len(self.faults)} faults" if self.faults else "no faults")
        )


def check_all() -> Report:
    """Load the knowledge afresh (no cache), check it as a whole and run every example."""
    from inference.diagnose import program_of
    from kb.lint import lint
    from kb.load import read_all

    try:
        knowledge = read_all()
    except Faults as found:
        return Report(rules=0, examples=0, findings=0, causes=0, codes=0, faults=[str(f) for f in found.faults])
    program = program_of(knowledge)
    faults = [str(fault) for fault in lint(knowledge)]
    count = 0
    for rule in knowledge.rules.values():
        for wanted, example in examples(rule):
            count += 1
            says = wrong(knowledge, program, rule, example, wanted)
            if says:
                faults.append(f"{knowledge.places[f'rules:{rule.id}']}: {rule.id}: {says}")
    return Report(
        rules=len(knowledge.rules), examples=count, findings=len(knowledge.findings), causes=len(knowledge.causes),
        codes=len(knowledge.codes), faults=faults,
    )  # fmt: skip


def examples(rule: Rule) -> Iterator[tuple[bool, Mapping[str, Any]]]:
    """Yield every example of a rule with whether it must fire."""
    for example in rule.examples.fires:
        yield True, example
    for example in (*rule.examples.quiet, *rule.examples.boundary):
        yield False, example


def wrong(knowledge: Knowledge, program: Program, rule: Rule, example: Mapping[str, Any], wanted: bool) -> str | None:
    """Return what is wrong with one example, None if the rule does what the example says."""
    try:
        slots = Slots(knowledge)
        facts = {slot: example_value(slots, slot, text) for slot, text in example.items() if text != "unknown"}
    except UnitError as error:
        return str(error)
    if fires(program, rule.id, facts) == wanted:
        return None
    return f"should {'fire' if wanted else 'stay quiet'} on {dict(example)}"


def example_value(slots: Slots, slot: str, text: object) -> Value:
    """Return the value an example gives a slot: a quantity, "low to high", or a word.

    Raises
    ------
    UnitError : the text fits neither the slot's unit nor one of its words
    """
    if slot not in slots.unit_by_slot:
        word = str(text).replace("_", " ") if str(text) == "not_listed" else str(text)
        known = slots.words_by_slot.get(slot, ())
        if known and str(text) not in known:
            raise UnitError(f"{slot}: '{text}' is none of {', '.join(known)}")
        return Word(word)
    unit = slots.unit(slot)
    if slot not in slots.derived:
        return Number(number(text, unit))
    low, _, high = str(text).partition(" to ")
    ends = [_figure(part, high or low, unit) for part in ((low, high) if high else (low, low))]
    return Spread(ends[0], (ends[0] + ends[1]) / 2, ends[1])


def _figure(text: str, with_unit: str, unit: str) -> float:
    """Read one end of a spread; "2 to 5 mbar" gives its unit once, at the end."""
    try:
        return number(text, unit)
    except UnitError:
        bare = text.strip().rstrip("%").strip()
        tail = with_unit.strip().lstrip("-+0123456789. ")
        return number(f"{bare} {tail}" if tail else f"{bare} {unit}" if unit != "1" else bare, unit)
