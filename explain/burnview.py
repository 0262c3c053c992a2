"""What a burn should do, and how one that was read went: the lines that the gate shows of it."""

from __future__ import annotations

from rich.text import Text

from explain.burntold import reason_told
from explain.forecastview import about, tell
from explain.terminal import Line
from explain.words import phrases
from inference.derive_burn import AFTER, BURN, recorded_burn
from inference.result import Result

HOT_BY = 20.0  # min, after which the mark of 450 °C behind the filter is of no use
NEVER = 55.0  # min, from which the tables mean never


def lines(result: Result) -> list[Line]:
    """Return the lines: how long and how hot, limit and peak if one may come; the verdict on a burn that was read."""
    latest, derived = result.case.rounds[-1], result.latest.derived
    out: list[str] = []
    minutes, hot = derived.get("burn_minutes"), derived.get("burn_minutes_until_hot")
    foretold = result.gate.decision in ("clear", "hold")  # elsewhere no burn is to be lit
    if foretold and minutes is not None and hot is not None and minutes.spread.mid < NEVER:
        high = f"{minutes.spread.high:.0f}"
        low = f"{minutes.spread.low:.0f}"
        late = hot.spread.high
        key = "foretold" if late < HOT_BY else "foretold_plain"  # an additive filter may burn below 450 °C
        out.append(tell("burn", key, low=low, high=high, hot=f"{late:.0f}"))
    for slot, key in (("burn_inlet_needed", "needs"), ("burn_soot_limit", "limit"), ("burn_peak_at_idle", "peak")):
        found = derived.get(slot)
        if foretold and found is not None:
            s = found.spread
            told = {"low": about(s.low), "mid": about(s.mid), "high": about(s.high)}
            if key == "needs":
                told = {k: f"{getattr(s, k):.0f}" for k in told}
            out.append(" ".join((tell("burn", key, **told), *(found.notes[-1:] if key == "limit" else ()))))
    ended = latest.burn_completed if latest.burn_completed != "unknown" else None
    numbers = {slot: latest.number(slot) for slot in (BURN, AFTER, "burn_duration")}
    verdict = recorded_burn(derived, numbers, ended)
    if verdict is not None:
        mode = str(phrases("en_forecast")["burn"]["mode"][verdict.mode])
        because = "; ".join(reason_told(r) for r in verdict.reasons)
        out.append(tell("burn", "recorded", mode=mode, because=because))
    return [("· ", Text(told)) for told in out]
