"""Plain words for the customer's page: dates, lists, how to drive, what is still to be checked."""

from __future__ import annotations

from datetime import date

from explain.words import phrases, say
from inference.result import Result
from kb.model import Knowledge

CHECKS = 3  # systems named as not yet checked


def plain(day: date | None) -> str:
    """Return a date as people write it ("3 March 2026"); empty where there is none."""
    return "" if day is None else f"{day.day} {phrases()['month'][str(day.month)]} {day.year}"


def lower(sentence: str) -> str:
    """Begin a sentence in the middle of another with a small letter."""
    return sentence if sentence[1:2].isupper() or sentence[:2] == "I " else sentence[:1].lower() + sentence[1:]


def listed(items: list[str]) -> str:
    """Return words as a list with an "and" before the last."""
    if len(items) < 2:
        return "".join(items)
    return say("letter.and", first=", ".join(items[:-1]), last=items[-1])


def driving_words(knowledge: Knowledge, result: Result) -> tuple[str, str]:
    """Return the finding behind the advice on driving ("" where nothing is known) and the advice in plain words."""
    told = phrases()["letter_driving"]
    for entry in knowledge.gate.driving:
        if entry.say == result.gate.driving:
            finding = entry.finding or ""
            return finding, str(told.get(finding, entry.say) if finding else told["not_known"])
    return "", result.gate.driving


def open_checks(knowledge: Knowledge, result: Result) -> tuple[str, tuple[str, ...]]:
    """Return what the tests still worth doing are about, in plain words, and those tests."""
    told = phrases()["letter_system"]
    about: dict[str, None] = {}
    tests = []
    for t in result.next_tests:
        systems = [knowledge.findings[f].system for f in knowledge.tests[t.test].settles]
        first = next((s for s in systems if s in told), None)
        if first is None or (len(about) == CHECKS and told[first] not in about):
            continue
        about.setdefault(str(told[first]))
        tests.append(f"test:{t.test}")
    return listed(list(about)), tuple(tests)
