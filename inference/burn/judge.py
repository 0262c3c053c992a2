"""A burn that was done, held against what it should have done: which of the ways to fail it took.

Pure data in, one verdict out; the numbers are the derived readings of one round, or of a burn found in a recording.
The verdict and its reasons are kinds and figures; the sentences stand in explain/lang/en_log.yaml.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from inference.values import Spread

Mode = Literal["as it should", "never hot enough", "hot but soot did not fall", "ended early", "too hot", "cannot tell"]
Kind = Literal[
    "too_hot_after", "no_heat_read", "not_past_mark", "too_cool", "too_cool_for_share", "little_time", "broken_off",
    "little_burnt", "seen_in_part", "no_time_or_pressure", "time_open", "soot_left", "soot_gone",
    "share_burnt", "pressure_open", "unseen_between", "heat_unseen",
]  # fmt: skip
TOO_HOT = 750.0  # °C after the filter, from memory; the limit at which the gate says to stop
HOT_AFTER = 450.0  # °C after the filter, the mark a technician watches for
SHORT = 0.5  # share of the soot whose burning counts as a burn
DONE = 0.8  # share burnt that counts as done
WARM = 60.0  # K under the temperature needed that still counts as hot, the sensors' error twice and the spread
OFF = 20.0  # K, two errors of a sensor: so far under the mark after the filter it was not passed
UNSEEN = 1.5  # min not recorded within a burn, up to which they change nothing (the filter's heat lags about as much)
LONG = 55.0  # min, from which a time foretold means never


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
    completed : whether it was ended by the control unit rather than broken off
    hot_by : minutes within which a burn as it should be passes 450 °C after the filter [min]
    could : share of the soot that a burn as it should be burns in that time [-]
    whole : whether both its beginning and its end were seen
    unseen : minutes between those that were not recorded; ``minutes`` and ``should`` leave them out [min]
    """

    needed: Spread
    before: float | None = None
    after: float | None = None
    minutes: float | None = None
    should: Spread | None = None
    left: Spread | None = None
    completed: bool | None = None
    hot_by: Spread | None = None
    could: Spread | None = None
    whole: bool = True
    unseen: float = 0.0


@dataclass(frozen=True)
class Reason:
    """Why a verdict is what it is: a kind, and its figures by slot (temperatures [°C], times [min], shares [-])."""

    kind: Kind
    values: tuple[tuple[str, float], ...]


@dataclass(frozen=True)
class Verdict:
    """How a burn went, and why it is said; the first reason weighs most."""

    mode: Mode
    reasons: tuple[Reason, ...]


def _reason(kind: Kind, /, **values: float) -> Reason:
    return Reason(kind, tuple(values.items()))


def judge(seen: BurnSeen) -> Verdict:
    """Say how a burn went.

    The order is that of danger, then of what explains the rest: too hot; never hot enough; ended before enough could
    burn; hot and long enough but the soot did not fall; as it should. What was not recorded in between may have burnt
    more, never less, so with it nothing is called too little.
    """
    if seen.after is not None and seen.after > TOO_HOT:
        return Verdict("too hot", (_reason("too_hot_after", after=seen.after, mark=TOO_HOT),))
    cool = _cool(seen)
    in_part = seen.unseen > UNSEEN
    if cool and not (in_part and seen.unseen > (seen.minutes or 0.0)):  # the greater part of it tells of the rest
        return Verdict("never hot enough", cool)
    if seen.before is None:
        return Verdict("cannot tell", (_reason("no_heat_read"),))
    if not seen.whole:
        return Verdict("cannot tell", (_reason("seen_in_part"),))
    early = _early(seen, seen.before)
    if in_part and seen.should is not None and (cool or (early and early[0].kind != "broken_off")):
        low, high = seen.should.low, seen.should.high
        return Verdict("cannot tell", (_reason("unseen_between", unseen=seen.unseen, low=low, high=high),))
    if early:
        return Verdict("ended early", early)
    verdict = _by_pressure(seen, seen.before)
    if in_part and verdict.mode == "as it should":
        return Verdict(verdict.mode, (*verdict.reasons, _reason("heat_unseen", unseen=seen.unseen)))
    return verdict


def _cool(seen: BurnSeen) -> tuple[Reason, ...]:
    """Reasons why it never got hot enough; none where it did, or had no time to."""
    out = []
    time = seen.minutes is None or seen.hot_by is None or seen.minutes >= min(seen.hot_by.high, LONG)
    if seen.after is not None and seen.hot_by is not None and seen.hot_by.high < LONG:
        passed = seen.after >= HOT_AFTER - OFF
        if not passed and time and seen.minutes is not None:
            out.append(_reason("not_past_mark", mark=HOT_AFTER, within=seen.hot_by.high, after=seen.after))
    before = seen.before
    if before is not None and before < seen.needed.low - WARM / 2.0 and time:
        out.append(_reason("too_cool", before=before, low=seen.needed.low, high=seen.needed.high))
    heat_lacks = (
        seen.should is not None and seen.could is not None and seen.should.mid < SHORT <= seen.could.mid
        and not _gone(seen)
    )  # fmt: skip
    if not out and heat_lacks and before is not None and before < seen.needed.high:
        assert seen.should is not None
        assert seen.could is not None
        out.append(
            _reason(
                "too_cool_for_share", before=before, minutes=seen.minutes or 0.0, low=seen.should.low,
                high=seen.should.high, could_low=seen.could.low, could_high=seen.could.high,
            )
        )  # fmt: skip
    return tuple(out)


def _early(seen: BurnSeen, before: float) -> tuple[Reason, ...]:
    """Reasons why it ended before enough could burn; none where it did not."""
    out = []
    should = seen.should
    if seen.completed is False:
        out.append(_reason("broken_off"))
    lay = seen.left is not None and seen.left.mid > SHORT  # most of it lies there still
    little = should is not None and not _gone(seen) and should.mid < (DONE if lay else SHORT)
    if should is not None and (should.high < SHORT or little):
        kind: Kind = "little_time" if should.high < SHORT else "little_burnt"
        out.append(_reason(kind, minutes=seen.minutes or 0.0, before=before, low=should.low, high=should.high))
    return tuple(out)


def _gone(seen: BurnSeen) -> bool:
    """Whether the pressure shows that most of the soot went."""
    return seen.left is not None and seen.left.high < SHORT


def _by_pressure(seen: BurnSeen, before: float) -> Verdict:
    if seen.left is None:
        if seen.should is None:
            return Verdict("cannot tell", (_reason("no_time_or_pressure", before=before),))
        if seen.should.low >= SHORT:
            return Verdict("as it should", (_reason("share_burnt", low=seen.should.low, high=seen.should.high),))
        return Verdict("cannot tell", (_reason("time_open", low=seen.should.low, high=seen.should.high),))
    if seen.left.low > SHORT:
        return Verdict("hot but soot did not fall", (_reason("soot_left", low=seen.left.low, high=seen.left.high),))
    if _gone(seen):
        return Verdict("as it should", (_reason("soot_gone", low=seen.left.low, high=seen.left.high),))
    if seen.should is not None and seen.should.low >= SHORT and seen.left.mid < SHORT:
        return Verdict("as it should", (_reason("share_burnt", low=seen.should.low, high=seen.should.high),))
    return Verdict("cannot tell", (_reason("pressure_open", low=seen.left.low, high=seen.left.high),))
