"""What a slot of a case can hold: a number as read, a spread as computed, a word, or the state of a code.

A slot is named ``coolant_temperature.road``, ``blue_smoke``, ``P0128``, ``engine_runs_cold``; an absent slot is
unknown. Unknown is never zero and never "no".
"""

from __future__ import annotations

import math
from bisect import bisect_right
from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Literal, get_args

CodeState = Literal["present", "absent", "not listed"]
FindingState = Literal["holds", "fails", "unknown", "conflict"]
Level = Literal["ruled out", "unlikely", "possible", "likely", "proven"]
Z10 = 1.2815515655446004  # standard deviations from the median to the 10 % or 90 % point
LEVELS: tuple[Level, ...] = ("ruled out", "unlikely", "possible", "likely", "proven")


@dataclass(frozen=True)
class Number:
    """A reading as the number it is, in its declared unit; compared as a point."""

    value: float


@dataclass(frozen=True)
class Spread:
    """A derived reading: its 10, 50 and 90 % points and, where sampled, the sorted sample behind them."""

    low: float
    mid: float
    high: float
    # mostly packed figures: thousands of them live at once in a question; packed they cannot be hashed
    sample: Sequence[float] = field(default=(), hash=False)

    def chance_above(self, limit: float) -> float:
        """Return the probability [-] that the quantity lies above ``limit``, kept within 0.005 and 0.995."""
        if self.sample:
            share = 1.0 - bisect_right(self.sample, limit) / len(self.sample)
        else:
            half = self.high - self.mid if limit > self.mid else self.mid - self.low
            if half <= 0:
                share = 0.5 if limit == self.mid else float(self.mid > limit)
            else:  # two half-normals joined at the median; 1.2816 standard deviations reach the 90 % point
                share = 0.5 * math.erfc((limit - self.mid) / half * Z10 / math.sqrt(2.0))
        return min(max(share, 0.005), 0.995)


@dataclass(frozen=True)
class Word:
    """An answer, a filter type, a layout, a code's state, a finding's state or a cause's level."""

    text: str


Value = Number | Spread | Word
LEVEL_WORDS = {level: Word(level) for level in LEVELS}
STATE_WORDS: dict[FindingState, Word] = {state: Word(state) for state in get_args(FindingState)}
