"""A literal: one condition of a rule made ready to test against the value of one slot, in three values.

True is known to be met, False known not to be, None unknown. A reading is compared as the point it is; a
derived reading by its interval: wholly within the wanted range is True, wholly outside False, astride a limit
unknown.
"""

from __future__ import annotations

import math
import typing
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from inference.values import LEVELS, Number, Spread, Value, Word
from kb.faults import nearest
from kb.model import Test
from kb.units import UnitError, number

Kind = typing.Literal["number", "word", "code", "finding", "level"]
UnitOf = Callable[[str], str]
INF = math.inf

SUBJECTS = ("reading", "answer", "code", "codes", "finding", "cause", "filter", "layout")
COMPARISONS = ("above", "below", "at_least", "at_most", "between", "is_", "one_of")
_LIMITS = ("above", "below", "at_least", "at_most", "between")
_WORDS = ("is_", "one_of")

# What the state of a code says to each wanted state; "not listed" without a proof that the monitor ran is not
# present, yet not shown to be absent either.
_CODE: dict[str, dict[str, bool | None]] = {
    "present": {"present": True, "absent": False, "not listed": False},
    "absent": {"present": False, "absent": True, "not listed": None},
    "not listed": {"present": False, "absent": True, "not listed": True},
}
_STATES = ("holds", "fails", "unknown")


@dataclass(frozen=True)
class Literal:
    """One testable condition on one slot.

    Parameters
    ----------
    slot : name of the slot it reads
    kind : how the value is read
    text : the condition as one would write it in a line, "coolant_temperature.road below 75 °C"
    limit : the limit as the rule writes it, "75 °C"
    unit : unit of ``low`` and ``high``; "" for words
    low, high : the wanted range of a number [unit], open or closed at each end
    words : the wanted words
    """

    slot: str
    kind: Kind
    text: str
    limit: str
    unit: str = ""
    low: float = -INF
    high: float = INF
    low_closed: bool = False
    high_closed: bool = False
    words: tuple[str, ...] = field(default=())

    def test(self, value: Value | None) -> bool | None:
        """Return whether ``value`` is known to meet the condition; None (a missing slot) is unknown.

        Raises
        ------
        TypeError, ValueError : the value is of a kind that this condition cannot read
        """
        if self.kind == "number":
            return self._test_number(value)
        if value is None:
            text = "unknown"
        elif isinstance(value, Word):
            text = value.text
        else:
            raise TypeError(f"a word is wanted here, not {type(value).__name__}")
        if self.kind == "finding":
            if text in ("holds", "fails"):
                return text in self.words
            if text not in ("unknown", "conflict"):
                raise ValueError(f"'{text}' is no state of a finding; holds, fails, unknown or conflict is")
            return True if "unknown" in self.words else None
        if text == "unknown":
            return None
        if self.kind == "code":
            if text not in _CODE["present"]:
                raise ValueError(f"'{text}' is no state of a code; present, absent or not listed is")
            return _any_of(_CODE[word][text] for word in self.words)
        if self.kind == "level" and text not in LEVELS:
            raise ValueError(f"'{text}' is no level; {', '.join(LEVELS)} are")
        return text in self.words

    def _test_number(self, value: Value | None) -> bool | None:
        if value is None:
            return None
        if isinstance(value, Word):
            if value.text == "unknown":
                return None
            text = value.text  # the number of temperature sensors of a layout comes as a word
            if not text.isdigit():
                raise TypeError(f"a number is wanted here, not the word '{text}'")
            value = Number(float(text))
        first, last = (value.value, value.value) if isinstance(value, Number) else (value.low, value.high)
        if not first <= last:
            raise ValueError("the value is no number, or its low end lies above its high end")
        above = first > self.low or (self.low_closed and first == self.low)
        below = last < self.high or (self.high_closed and last == self.high)
        if above and below:
            return True
        under = last < self.low or (not self.low_closed and last == self.low)
        over = first > self.high or (not self.high_closed and first == self.high)
        return False if under or over else None

    def margin(self, value: Value | None) -> float | None:
        """Return how far inside the wanted range the value lies [unit]; negative outside, None for words."""
        if self.kind != "number" or value is None or isinstance(value, Word):
            return None
        at = value.value if isinstance(value, Number) else value.mid
        return min(at - self.low, self.high - at)

    def region(self, wanted: bool) -> list[tuple[float, float]]:
        """Return the ranges [unit] in which the condition is met (or, with ``wanted`` False, is not)."""
        if wanted:
            return [(self.low, self.high)]
        return [(a, b) for a, b in ((-INF, self.low), (self.high, INF)) if a < b]


@dataclass(frozen=True)
class Together:
    """Literals on one quantity, each with whether it is to be met or not.

    ``ranges``: where it meets them all [unit]; they are intersected, since two limits on one quantity are not
    independent.
    """

    slot: str
    parts: tuple[tuple[Literal, bool], ...]
    ranges: tuple[tuple[float, float], ...]

    def chance(self, value: Spread) -> float:
        """Return the probability [-] that the quantity meets every part at once, kept within 0.005 and 0.995.

        A quantity without width meets them or not.
        """
        if value.low == value.high:
            return 0.995 if all(literal.test(value) is wanted for literal, wanted in self.parts) else 0.005
        total = 0.0
        for low, high in self.ranges:
            total += (1.0 if low == -INF else value.chance_above(low)) - (
                0.0 if high == INF else value.chance_above(high)
            )
        return min(max(total, 0.005), 0.995)


def together(parts: Iterable[tuple[Literal, bool]]) -> Together:
    """Line up literals on one slot; ValueError if they are on several."""
    parts = tuple(parts)
    (slot,) = {literal.slot for literal, _ in parts}
    left = [(-INF, INF)]
    for literal, wanted in parts:
        left = [(max(a, c), min(b, d)) for a, b in left for c, d in literal.region(wanted) if max(a, c) < min(b, d)]
    return Together(slot, parts, tuple(left))


def _any_of(outcomes: Iterable[bool | None]) -> bool | None:
    seen = set(outcomes)
    return True if True in seen else None if None in seen else False


class LiteralError(ValueError):
    """A condition that cannot be compiled; the message says what was read and what would be right."""


def compile_test(test: Test, unit_of: UnitOf) -> Literal:
    """Make a literal of one condition of a rule.

    Parameters
    ----------
    test : the condition as the knowledge files give it
    unit_of : unit of a reading's or derived reading's slot; raises KeyError for an unknown one

    Raises
    ------
    LiteralError : not exactly one subject and one comparison, or a limit that does not fit the subject
    """
    subjects = [s for s in SUBJECTS if getattr(test, s) is not None]
    comparisons = [c for c in COMPARISONS if getattr(test, c) is not None]
    if len(subjects) != 1:
        told = " and ".join(subjects) or "nothing"
        raise LiteralError(f"a condition is about one thing ({', '.join(SUBJECTS)}); this one names {told}")
    subject, name = subjects[0], str(getattr(test, subjects[0]))
    if len(comparisons) != 1:
        told = " and ".join(c.rstrip("_") for c in comparisons) or "none"
        raise LiteralError(f"the condition on '{name}' needs one comparison; it has {told}")
    comparison = comparisons[0]
    written = getattr(test, comparison)
    if subject == "reading":
        return _number_literal(name, comparison, written, lambda: unit_of(name))
    if subject == "layout" and name == "temperatures" and comparison in _LIMITS:
        return _number_literal("layout.temperatures", comparison, written, lambda: "1")
    if subject == "cause":
        return _level_literal(name, comparison, written)
    if comparison not in _WORDS:
        raise LiteralError(f"'{comparison}' compares readings; '{name}' takes 'is' or 'one_of'")
    words = tuple(written) if comparison == "one_of" else (written,)
    kind: Kind = "word"
    if subject in ("code", "codes"):
        kind, words = "code", tuple(word.replace("_", " ") for word in words)
        _known(words, _CODE, f"the state of code '{name}'")
    elif subject == "finding":
        kind = "finding"
        _known(words, _STATES, f"the state of finding '{name}'")
    elif "unknown" in words:
        raise LiteralError(f"'{name}' cannot be asked to be unknown; unknown neither meets nor fails a condition")
    slot = f"{subject}.{name}" if subject in ("filter", "layout") else name
    shown = " or ".join(words)
    return Literal(slot, kind, f"{slot} is {shown}", shown, words=words)


def _known(words: Iterable[str], known: Iterable[str], what: str) -> None:
    known = list(known)
    for word in words:
        if word not in known:
            raise LiteralError(f"{what} is one of {', '.join(known)}; '{word}' is not{nearest(word, known)}")


def _number_literal(slot: str, comparison: str, written: typing.Any, unit: Callable[[], str]) -> Literal:
    if comparison not in _LIMITS:
        raise LiteralError(f"'{slot}' is a number; compare it with {', '.join(_LIMITS)}")
    try:
        in_unit = unit()
    except KeyError:
        raise LiteralError(f"there is no reading or derived reading '{slot}'") from None
    texts = written if comparison == "between" else [written]
    try:
        limits = [number(text, in_unit) for text in texts]
    except UnitError as error:
        raise LiteralError(f"the limit of '{slot}': {error}") from None
    if comparison == "between":
        if len(limits) != 2 or not limits[0] < limits[1]:
            raise LiteralError(f"'between' on '{slot}' takes two limits, the lower first; {texts} is read")
        shown = f"{texts[0]} and {texts[1]}"
        low, high = limits
        return Literal(slot, "number", f"{slot} between {shown}", shown, in_unit, low, high, True, True)
    text = f"{slot} {comparison.replace('_', ' ')} {written}"
    closed = comparison in ("at_least", "at_most")
    if comparison in ("above", "at_least"):
        return Literal(slot, "number", text, written, in_unit, low=limits[0], low_closed=closed)
    return Literal(slot, "number", text, written, in_unit, high=limits[0], high_closed=closed)


def _level_literal(cause: str, comparison: str, written: typing.Any) -> Literal:
    if comparison not in (*_WORDS, "at_least", "at_most"):
        raise LiteralError(f"the level of '{cause}' takes is, one_of, at_least or at_most, not {comparison}")
    words = tuple(written) if comparison == "one_of" else (written,)
    _known(words, LEVELS, f"the level of '{cause}'")
    shown = " or ".join(words)
    at = LEVELS.index(words[0])
    if comparison == "at_least":
        words = LEVELS[at:]
    elif comparison == "at_most":
        words = LEVELS[: at + 1]
    said = comparison.replace("_", " ") if comparison in ("at_least", "at_most") else "is"
    return Literal(cause, "level", f"{cause} {said} {shown}", shown, words=words)
