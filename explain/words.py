"""Words for values and sentences: slots filled with the case's own numbers and units, in one language.

All connecting words stand in explain/lang/<language>.yaml; nothing here is English.
"""

from __future__ import annotations

import math
import re
from collections.abc import Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

from explain.earlier import rests_on_earlier, taken_in
from inference.case import Case
from inference.engine.verdicts import FindingResult
from inference.result import GateReason, Result, RoundResult
from inference.values import Number, Spread, Value, Word
from kb.faults import Fault
from kb.model import Knowledge
from kb.slots import ROLE_GROUPS, Slots
from kb.yamlread import read_yaml

_SLOT = re.compile(r"\{([a-z][a-z0-9_.]*)\}")


@lru_cache(maxsize=4)
def phrases(language: str = "en") -> Mapping[str, Any]:
    """Return the connecting words of a language."""
    data = read_yaml(Path(__file__).parent / "lang" / f"{language}.yaml").data
    assert isinstance(data, dict)
    return data


def say(key: str, **slots: object) -> str:
    """Return the phrase ``group.name`` with its slots filled."""
    group, _, name = key.partition(".")
    return str(phrases()[group][name]).format(**slots)


def figure(value: float) -> str:
    """Return a number as a person writes it: three figures, no needless zeros, a thin gap in thousands."""
    if value == 0:
        return "0"
    size = abs(value)
    text = f"{value:,.0f}" if size >= 99.95 else f"{value:.1f}" if size >= 9.95 else f"{value:.2g}"
    if "e" in text:
        text = f"{value:.4f}"
    return text.rstrip("0").rstrip(".") if "." in text else text


def ends(low: float, high: float) -> tuple[str, str]:
    """Return the two ends of a spread, decimals no finer than a tenth of its width: "0.1" and "1.9", not "0.094"."""
    width = abs(high - low)
    if width <= 0:
        return figure(low), figure(high)
    step = min(10.0 ** (math.floor(math.log10(width) + 1e-9) - 1), 1.0)
    coarse = [min((round(end / step) * step, end), key=lambda x: len(figure(x))) for end in (low, high)]
    return figure(coarse[0] + 0.0), figure(coarse[1] + 0.0)


def quantity(value: float, unit: str) -> str:
    """Return a number with its unit; no unit for "1"."""
    return figure(value) if unit == "1" else say("value.with_unit", value=figure(value), unit=unit)


class Speaker:
    """Fills the sentences of the knowledge with the facts of one case.

    Parameters
    ----------
    knowledge : where titles, units and rules come from
    result : the case's result
    """

    def __init__(self, knowledge: Knowledge, result: Result) -> None:
        self.knowledge = knowledge
        self.result = result
        self.units = Slots(knowledge).unit_by_slot

    def value(self, slot: str, value: Value | None, facts: Mapping[str, Value] | None = None) -> str:
        """Return a slot's value in words: with its unit, a spread as low to high, unknown as "not read".

        A group of codes that is reported names the codes of it among ``facts``, those of the latest round unasked.
        """
        unit = self.units.get(slot, "1")
        if value is None:
            return say("value.unknown")
        if isinstance(value, Number):
            return quantity(value.value, unit)
        if isinstance(value, Spread):
            low, high = ends(value.low, value.high)
            if low == high:
                return quantity(value.mid, unit)
            both = say("value.spread", low=low, high=high)
            return both if unit == "1" else say("value.with_unit", value=both, unit=unit)
        known = phrases()["code" if self.is_code(slot) else "value"]
        told = str(known.get(value.text, value.text))
        codes = codes_behind(self.knowledge, slot, self.known() if facts is None else facts)
        return say("code.which", state=told, codes=", ".join(codes)) if codes and value.text == "present" else told

    def known(self) -> Mapping[str, Value]:
        """Return the facts of the latest round."""
        return self.result.latest.facts

    def is_code(self, slot: str) -> bool:
        """Whether a slot is a trouble code, a group of codes or what such a group means for a burn."""
        k = self.knowledge
        return slot in k.codes or slot in k.code_groups or slot.startswith("role_") or slot == "any_code"

    def fill(self, sentence: str, facts: Mapping[str, Value]) -> str:
        """Replace every ``{slot}`` of a sentence by the slot's value in words, a role of codes by the codes it has."""

        def told(slot: str) -> str:
            if slot not in ROLE_GROUPS:
                return self.value(slot, facts.get(slot), facts)
            codes = [self.slot_title(code) for code in codes_behind(self.knowledge, slot, facts)]
            return say("code.and", first=", ".join(codes[:-1]), last=codes[-1]) if codes[1:] else (
                codes[0] if codes else say("code.some")
            )  # fmt: skip

        return _SLOT.sub(lambda m: told(m[1]), sentence)

    def slot_title(self, slot: str) -> str:
        """Return what a slot is, with the condition it was taken at ("Coolant temperature on the road")."""
        k = self.knowledge
        name, _, condition = slot.partition(".")
        if name in k.readings or name in k.derived:
            title = (k.readings.get(name) or k.derived[name]).title
            at = str(phrases()["condition"].get(condition, condition)) if condition else ""
            return title if title.endswith(at) else f"{title} {at}"
        if slot in k.questions:
            return k.questions[slot].text
        if slot in k.code_groups:
            return say("code.group", title=k.code_groups[slot].title)
        if slot in k.codes:
            return say("code.one", code=slot, meaning=k.codes[slot].meaning)
        if slot in k.findings:
            return k.findings[slot].title
        return str(phrases()["slot"].get(slot, slot.replace("_", " ").replace(".", " ")))

    def warned(self, warning: Fault) -> str:
        """Return what is unusual in the case, with the reading it is said of before it."""
        field = warning.field.partition(".readings.")[2] or warning.field.removeprefix("usage.")
        if field.partition(".")[0] not in self.knowledge.readings:
            return warning.says
        title = self.slot_title(field)
        return f"{title[:1].upper()}{title[1:]}: {warning.says}"

    def finding_says(self, finding: str, round_index: int) -> str:
        """Return why a finding stands as it does: the strongest rule's own sentence, else the finding's.

        In the latest round, of one that stands from before, the sentence of the round that found it.
        """
        if round_index == len(self.result.rounds) - 1:
            round_index = self.result.stands.since.get(finding, round_index)
        round_ = self.result.rounds[round_index]
        result = round_.verdicts.findings.get(finding) or self.result.decided.findings.get(finding)
        entry = self.knowledge.findings[finding]
        if result is None or result.state not in ("holds", "fails"):
            if result is not None and result.leanings:
                best = max(result.leanings, key=lambda x: (x.chance, x.rule))
                return self.fill(self.knowledge.rules[best.rule].because, self.facts_at(round_))
            return entry.title
        rule = strongest_rule(result)
        if rule is None:
            return entry.title if result.state == "holds" else entry.fails
        return self.fill(self.knowledge.rules[rule].because, self.facts_at(round_))

    def reason_why(self, reason: GateReason) -> str:
        """Return what is behind a reason of the gate, and from which round where that is an earlier one."""
        says = self.finding_says(reason.finding, len(self.result.rounds) - 1)
        if reason.since is not None:
            return f"{says} {say('why.since', round=round_told(self.result, reason.since))}"
        read_in = rests_on_earlier(self.result, reason.finding)
        if read_in is None:
            return says
        return f"{says} {say('why.read_earlier', round=round_told(self.result, read_in))}"

    def earlier(self, slot: str) -> str:
        """Return the name and day of the earlier round a fact of the latest one is from; empty if it is not."""
        at = taken_in(self.result, slot)
        return "" if at is None else round_told(self.result, at)

    def facts_at(self, round_: RoundResult) -> Mapping[str, Value]:
        return {**round_.facts, **round_.verdicts.as_facts()}


def codes_behind(knowledge: Knowledge, slot: str, facts: Mapping[str, Value]) -> list[str]:
    """Return the codes among ``facts`` that make a group of codes, or a role of codes in a burn, "reported"."""
    if slot not in ROLE_GROUPS and slot not in knowledge.code_groups:
        return []
    present = [c for c in knowledge.codes if isinstance(v := facts.get(c), Word) and v.text == "present"]

    def belongs(code: str) -> bool:
        if slot in knowledge.code_groups:
            return knowledge.codes[code].group == slot
        return knowledge.role_of(code) == ROLE_GROUPS[slot]

    return sorted(filter(belongs, present))


def round_told(result: Result, index: int) -> str:
    """Return the name of a round and its day, as one says it: "arrival, 2026-03-02"."""
    return told_round(result.case, index)


def told_round(case: Case, index: int) -> str:
    """Return :func:`round_told` of a case alone."""
    day, name = case.rounds[index].date, names_of(case)[index]
    return f"{name}, {day}" if day else name


def round_names(result: Result) -> list[str]:
    """Return a name for each round: its kind, numbered where a kind occurs twice."""
    return names_of(result.case)


def names_of(case: Case) -> list[str]:
    """Return :func:`round_names` of a case alone."""
    whens = [r.when for r in case.rounds]
    return [w if whens.count(w) == 1 else f"{w} {whens[: i + 1].count(w)}" for i, w in enumerate(whens)]


def strongest_rule(result: FindingResult) -> str | None:
    """Return the rule that speaks for a finding's state with the most trust, None where none voted for it."""
    votes = [v for v in result.votes if v.state == result.state]
    return max(votes, key=lambda v: ((v.trust or 0) * v.chance, v.rule)).rule if votes else None
