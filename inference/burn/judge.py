"""A burn that was done, held against what it should have done: which of the ways to fail it took.

Pure data in, one verdict out; the numbers are the derived readings of one round, or of a burn found in a recording.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from inference.values import Spread

Mode = Literal["as it should", "never hot enough", "hot but soot did not fall", "ended early", "too hot", "cannot tell"]
TOO_HOT = 750.0  # °C after the filter, from memory; the limit at which the gate says to stop
SHORT = 0.5  # share of the soot whose burning counts as a burn
WARM = 60.0  # K under the temperature needed that still counts as hot, the sensors' error twice and the spread


@dataclass(frozen=True)
class BurnSeen:
    """What was seen of a burn; None is not known.

    Parameters
    ----------
    before : highest lasting temperature before the filter [°C]
    after : highest temperature after it [°C]
    minutes : how long it lasted [min]
    needed : temperature before the filter that 80 % in twenty minutes needs [°C]
    should : share of the soot that should have burnt in that time at that temperature [-]
    left : share of the extra pressure that it left behind [-]
    completed : whether the control unit says that it completed
    """

    needed: Spread
    before: float | None = None
    after: float | None = None
    minutes: float | None = None
    should: Spread | None = None
    left: Spread | None = None
    completed: bool | None = None


@dataclass(frozen=True)
class Verdict:
    """How a burn went, and the plain reason."""

    mode: Mode
    because: str


def judge(seen: BurnSeen) -> Verdict:
    """Say how a burn went.

    The order is that of danger, then of what explains the rest: too hot; never hot enough; ended before enough could
    burn; hot and long enough but the soot did not fall; as it should.
    """
    if seen.after is not None and seen.after > TOO_HOT:
        return Verdict("too hot", f"after the filter it reached {seen.after:.0f} °C, above {TOO_HOT:.0f} °C")
    if seen.before is None:
        return Verdict("cannot tell", "the temperature before the filter was not read during the burn")
    if seen.before < seen.needed.low - WARM / 2.0:
        return Verdict(
            "never hot enough",
            f"before the filter it reached {seen.before:.0f} °C; {seen.needed.low:.0f} to {seen.needed.high:.0f} °C"
            " is needed",
        )
    if seen.should is not None and seen.should.high < SHORT:
        return Verdict(
            "ended early",
            f"in {seen.minutes or 0:.0f} min at {seen.before:.0f} °C at most {seen.should.high:.0%} can have burnt",
        )
    if seen.completed is False:
        return Verdict("ended early", "it was broken off before the control unit ended it")
    if seen.left is None:
        if seen.should is None:
            return Verdict("cannot tell", "it was hot enough, but neither its time nor the pressure after it was read")
        if seen.should.low >= SHORT:
            return Verdict("as it should", f"hot and long enough for {seen.should.low:.0%} of the soot or more to burn")
        return Verdict("cannot tell", "it was hot enough; whether it lasted long enough is open without the pressure")
    if seen.left.low > SHORT:
        return Verdict(
            "hot but soot did not fall",
            f"it was hot enough, yet {seen.left.low:.0%} or more of the extra pressure is still there: ash, or a burn"
            " that only looked hot",
        )
    if seen.left.high < SHORT:
        return Verdict("as it should", f"no more than {seen.left.high:.0%} of the extra pressure is left")
    return Verdict("cannot tell", "the pressure before and after lie too near each other for their errors")
