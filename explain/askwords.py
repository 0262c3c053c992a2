"""Words that the answers to questions share: findings of a standing as sentences, decisions, exact figures."""

from __future__ import annotations

from collections.abc import Mapping

from pydantic import BaseModel

from explain.words import Speaker, figure, phrases, say, strongest_rule
from inference.engine.verdicts import FindingResult
from inference.questions.again import Standing
from inference.result import GateReason
from inference.values import Value, Word
from kb.model import Knowledge
from kb.slots import Slots

OPPOSITE = {"holds": "fails", "fails": "holds"}


class StandingSpeaker(Speaker):
    """A speaker for a case as it stands or would stand, which keeps no activations."""

    def __init__(self, knowledge: Knowledge, standing: Standing) -> None:
        self.knowledge = knowledge
        self.units = Slots(knowledge).unit_by_slot
        self.standing = standing

    def known(self) -> Mapping[str, Value]:
        """Return the facts of the latest round."""
        return self.standing.facts[-1]

    def finding_says(self, finding: str, round_index: int) -> str:
        """Return why a finding stands as it does; see :meth:`explain.words.Speaker.finding_says`."""
        here: Mapping[str, FindingResult] = self.standing.findings[round_index]
        result = here.get(finding) or self.standing.decided.get(finding)
        entry = self.knowledge.findings[finding]
        facts: dict[str, Value] = {**self.standing.facts[round_index], **{f: Word(r.state) for f, r in here.items()}}
        if result is None:
            return entry.title
        rule = strongest_rule(result) if result.state in ("holds", "fails") else None
        if rule is None and result.state not in ("holds", "fails") and result.leanings:
            rule = max(result.leanings, key=lambda x: (x.chance, x.rule)).rule
        if rule is not None:
            return self.fill(self.knowledge.rules[rule].because, facts)
        return entry.fails if result.state == "fails" else entry.title


def value_word(speaker: Speaker, slot: str, value: Value | None, facts: Mapping[str, Value] | None = None) -> str:
    """Return a value in words: a finding as "it is so", an open question as "not answered".

    ``facts`` : of the round it was read in, where that is not the latest
    """
    k = speaker.knowledge
    if slot in k.findings:
        return str(phrases()["ask"]["state"][value.text if isinstance(value, Word) else "unknown"])
    if slot in k.causes and isinstance(value, Word):
        return str(phrases()["level"][value.text])
    if value is None and slot in k.questions:
        return say("ask.not_answered")
    return speaker.value(slot, value, facts)


def wanted(text: str, slot: str, part: str) -> str:
    """Return what a condition asks of its slot, from its own text ("coolant_temperature.road below 75 °C")."""
    limit = text.removeprefix(slot).strip()
    state = phrases()["ask"]["state"].get(limit.removeprefix("is "))
    if state and part == "none" and limit.removeprefix("is ") in OPPOSITE:
        return say("ask.wanted", limit=phrases()["ask"]["state"][OPPOSITE[limit.removeprefix("is ")]])
    limit = str(state) if state else limit.removeprefix("is ")
    limit = str(phrases()["code"].get(limit, limit)).replace("_", " ")  # the case format's words join theirs
    key = {"none": "ask.wanted_not", "unless": "ask.unless"}.get(part, "ask.wanted")
    return say(key, limit=limit)


class FactShape(BaseModel):
    """One slot before and after, in words."""

    slot: str
    title: str
    round: str
    before: str
    after: str


def decision_word(decision: str) -> str:
    """Return a decision as it stands at the head of an answer."""
    return str(phrases()["decision"][decision])


def sharp(value: float, unit: str) -> str:
    """Return a figure to four figures with its unit, as exact as a limit is written."""
    text = f"{value:,.4g}" if abs(value) < 1e4 else figure(value)
    return text if unit == "1" else say("value.with_unit", value=text, unit=unit)


def signed(decibans: float) -> str:
    """Return decibans with their sign, whole from 10 up."""
    return f"{decibans:+.0f}" if abs(decibans) >= 9.95 else f"{decibans:+.1f}"


def lower(title: str) -> str:
    """Begin a title in the middle of a sentence with a small letter, unless it begins with an abbreviation."""
    return title if title[1:2].isupper() else title[:1].lower() + title[1:]


def reason_says(knowledge: Knowledge, reason: GateReason) -> str:
    """Return a reason of the gate, with the cause behind it where one is."""
    if reason.cause:
        return f"{reason.says} ({lower(knowledge.causes[reason.cause].title)})"
    return reason.says
