"""What is said of a recorded burn: what was seen, what was foretold of it, how it went and why."""

from __future__ import annotations

from typing import Any

from explain.words import figure, phrases
from inference.burn.foretell import Foretold
from inference.burn.judge import LONG, UNSEEN, Reason, Verdict
from inference.log.episodes import Burn
from inference.log.held import Held
from inference.values import Spread

NEARLY = 0.95  # share from which it is nearly all
SHARES = ("low", "high", "could_low", "could_high")  # slots that are shares, but in the reason named below
OF_HEAT = "too_cool"
ANOTHER = 5.0  # min in which a burn can end, the gas cool and another get hot (from memory)


def words(group: str, name: str, /, **slots: object) -> str:
    """Return a phrase about recordings with its slots filled."""
    return str(phrases("en_log")[group][name]).format(**slots)


def seen_told(burn: Burn, number: int, mark: float) -> str:
    """Return what one burn was like, in sentences."""
    parts = [
        words(
            "burn", "line_with_gap" if burn.gaps else "line", number=number, begin=figure(burn.begin / 60.0),
            minutes=figure(round(burn.minutes, 1)), elapsed=figure(round(burn.elapsed, 1)),
            plateau=f"{burn.before_filter:.0f}", hot=figure(round(burn.hot_minutes, 1)), mark=figure(mark),
        )
    ]  # fmt: skip
    if burn.gap_minutes > UNSEEN:
        parts.append(words("burn", "gap", minutes=figure(round(burn.gap_minutes, 1))))
    if burn.gap_minutes > ANOTHER:
        parts.append(words("burn", "gap_long"))
    if burn.before_catalyst is not None:
        parts.append(words("burn", "catalyst", lift=f"{burn.before_filter - burn.before_catalyst:.0f}"))
    if burn.after_filter is not None:
        parts.append(words("burn", "after_with_gap" if burn.gaps else "after", after=f"{burn.after_filter:.0f}"))
    if burn.cut_at_start:
        parts.append(words("burn", "cut"))
    parts.append(words("ended", burn.ended))
    if burn.left is not None:
        parts.append(words("burn", "left", low=f"{burn.left[0]:.2f}", high=f"{burn.left[2]:.2f}"))
    return " ".join(parts)


def foretold_told(held: Held, burn: Burn) -> str | None:
    """Return what was foretold of a burn, None where nothing was."""
    if held.should is None:
        return None
    parts = [_due(held.should)]
    if held.burnt is not None:
        parts.append(_burnt(held.burnt, "heat_recorded" if burn.gaps else "heat"))
    return " ".join(parts)


def basis_told(held: Held) -> str:
    """Return what of the gas was taken from the recording."""
    return str(phrases("en_log")["foretold"]["basis"][" and ".join(held.recorded) or "nothing"])


def _due(should: Foretold) -> str:
    hot, done = should.until_hot, should.until_done
    if hot.high < LONG:
        says = words("foretold", "hot", high=_minutes(hot.high))
    elif hot.low < LONG:
        says = words("foretold", "hot_open", low=_minutes(hot.low))
    else:
        says = words("foretold", "no_mark")
    if done.high < LONG:
        return says + words("foretold", "done", low=_minutes(done.low), high=_minutes(done.high))
    return says + (words("foretold", "done_open", low=_minutes(done.low)) if done.low < LONG else ".")


def _burnt(share: Spread, kind: str) -> str:
    heat = words("foretold", kind)
    if share.low >= NEARLY:
        return words("foretold", "burnt_all", heat=heat)
    if share.high <= 1.0 - NEARLY:
        return words("foretold", "burnt_none", heat=heat)
    return words("foretold", "burnt", heat=heat, low=_percent(share.low), high=_percent(share.high))


def verdict_told(verdict: Verdict) -> str:
    """Return how a burn went and why, one sentence."""
    reasons = "; ".join(reason_told(r) for r in verdict.reasons)
    return words("mode", verdict.mode) + (f": {reasons}." if reasons else ".")


def reason_told(reason: Reason) -> str:
    """Return one reason, a clause without its full stop."""
    slots: dict[str, Any] = {}
    for name, value in reason.values:
        if name in SHARES and reason.kind != OF_HEAT:
            slots[name] = _percent(value)
        elif name in ("minutes", "unseen"):
            slots[name] = figure(round(value, 1))
        elif name == "within":
            slots[name] = _minutes(value)
        else:
            slots[name] = f"{value:.0f}"
    return words("reason", reason.kind, **slots)


def _minutes(value: float) -> str:
    return f"{max(value, 1.0):.0f}"


def _percent(share: float) -> str:
    return f"{min(99.0, 100.0 * share):.0f}" if share < 1.0 else "100"
