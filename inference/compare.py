"""Two rounds of one case held against each other: the pressure at equal flow, what else moved, and whether it held."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from inference.case import BURNS
from inference.derive import DerivedReading
from inference.log.notes import Note, note
from inference.result import Result, RoundResult
from inference.values import Number, Spread, Value
from kb.model import Knowledge

Held = Literal["held", "did not hold", "cannot tell"]
INDEX = "restriction_index.fast_idle"
FELL = 0.8  # of the earlier restriction: below it the restriction fell, beyond what the readings' errors explain
SAME = 0.9  # of the earlier restriction: above it in the middle, and surely not free, it counts as unchanged
FREE = 1.5  # times a clean filter, up to which it counts as free
FAR_ENOUGH = 500.0  # km, after which a filter that is still free says something where its past interval is not known
PART = 0.6  # of the past interval between blockings, after which a filter that is still free says something
EMPTIED = ("filter cleaned", "filter replaced")
# Derived readings worth a row of their own, in this order
ROWS = (
    INDEX, "soot_load", "ash_load", "sensor_index.fast_idle", "sensor_minus_gauge.fast_idle", "air_mass_ratio.idle",
    "egr_error.idle", "boost_ratio.full_load", "coolant_soak_error", "warm_up_excess", "burn_completion",
)  # fmt: skip


@dataclass(frozen=True)
class Row:
    """One slot in both rounds, None where it is not known there."""

    slot: str
    first: Value | None
    last: Value | None
    unit: str


@dataclass(frozen=True)
class EqualFlow:
    """The hand gauge at about 2,500 1/min brought to the later round's flow [mbar], and that flow [g/s]."""

    first: Spread
    last: Spread
    flow: float


@dataclass(frozen=True)
class Comparison:
    """Two rounds by their index, what is side by side, and the verdict with its reasons."""

    first: int
    last: int
    driven: float | None  # km between them
    equal_flow: EqualFlow | None
    rows: tuple[Row, ...]
    verdict: Held
    because: tuple[Note, ...]


def compare(knowledge: Knowledge, result: Result) -> Comparison:
    """Hold the first round that has a hand gauge (else the first) against the latest.

    Raises
    ------
    ValueError : the case has only one round
    """
    if len(result.rounds) < 2:
        raise ValueError("two rounds are wanted")
    last = len(result.rounds) - 1
    first = next((i for i, r in enumerate(result.rounds[:-1]) if INDEX in r.derived), 0)
    a, b = result.rounds[first], result.rounds[last]
    km = (result.case.rounds[first].odometer_km, result.case.rounds[last].odometer_km)
    driven = km[1] - km[0] if km[0] is not None and km[1] is not None else None
    verdict, because = _verdict(knowledge, result, first, last, driven)
    return Comparison(first, last, driven, _equal_flow(a, b), _rows(knowledge, result, a, b, last), verdict, because)


def _equal_flow(a: RoundResult, b: RoundResult) -> EqualFlow | None:
    """Bring the earlier hand gauge to the later flow: index times the clean filter there, plus the pipe behind."""
    was, now = a.derived.get(INDEX), b.derived.get(INDEX)
    filter_, whole = b.derived.get("expected_clean_filter.fast_idle"), b.derived.get("expected_clean_gauge.fast_idle")
    flow = b.derived.get("exhaust_mass_flow.fast_idle")
    if was is None or now is None or filter_ is None or whole is None or flow is None:
        return None
    pipe = max(whole.spread.mid - filter_.spread.mid, 0.0)

    def brought(index: DerivedReading) -> Spread:
        low, mid, high = (max(i, 0.0) * filter_.spread.mid + pipe for i in _three(index.spread))
        return Spread(low, mid, high)

    return EqualFlow(brought(was), brought(now), flow.spread.mid)


def _three(spread: Spread) -> tuple[float, float, float]:
    return spread.low, spread.mid, spread.high


def _rows(knowledge: Knowledge, result: Result, a: RoundResult, b: RoundResult, last: int) -> tuple[Row, ...]:
    """Readings taken in both rounds (in the order of readings.yaml), then the derived readings worth a row."""
    rows = []
    taken = result.case.rounds[last].readings
    for reading in knowledge.readings.values():
        for slot in [f"{reading.id}.{c}" for c in reading.conditions] or [reading.id]:
            before, after = a.facts.get(slot), b.facts.get(slot)
            if isinstance(before, Number) and isinstance(after, Number) and slot in taken and reading.group != "usage":
                rows.append(Row(slot, before, after, reading.unit))
    for slot in ROWS:
        was, now = a.derived.get(slot), b.derived.get(slot)
        if was is not None and now is not None:
            rows.append(Row(slot, was.spread, now.spread, now.unit))
    return tuple(rows)


def _verdict(
    knowledge: Knowledge, result: Result, first: int, last: int, driven: float | None
) -> tuple[Held, tuple[Note, ...]]:
    failed, because = _worked_on(knowledge, result)
    was, now = result.rounds[first].derived.get(INDEX), result.rounds[last].derived.get(INDEX)
    if failed:
        return "did not hold", tuple(failed)
    if was is None or now is None:
        return "cannot tell", (*because, note("no_gauge_before" if was is None else "no_gauge_after"))
    change = _change(result, first, last)
    times = {"before": was.spread.mid, "now": now.spread.mid}
    stays = change.low > FELL or (change.mid > SAME and now.spread.low > FREE)
    if stays and now.spread.low > 1.0:
        if _nothing_took_it_out(result, first, last, driven):
            return "cannot tell", (*because, note("not_burnt", now=now.spread.mid))
        return "did not hold", (note("not_fallen", **times),)
    if change.high >= FELL and now.spread.mid > FREE:
        return "cannot tell", (*because, note("either", **times))
    if now.spread.mid > FREE and now.spread.low > 1.0:
        return "cannot tell", (*because, note("fallen_not_free", **times))
    because.append(note("fallen", **times))
    need = _far_enough(result)
    if driven is None:
        return "cannot tell", (*because, note("no_odometer"))
    if driven < need:
        return "cannot tell", (*because, note("not_far", driven=driven, need=need))
    return "held", (*because, note("still_free", driven=driven))


def _change(result: Result, first: int, last: int) -> Spread:
    """Return the later restriction over the earlier one; the derived change where the two rounds follow each other."""
    derived = result.rounds[last].derived.get("index_change.fast_idle")
    gauged = [i for i in range(last) if INDEX in result.rounds[i].derived]
    if derived is not None and gauged[-1:] == [first]:
        return derived.spread
    was, now = result.rounds[first].derived[INDEX].spread, result.rounds[last].derived[INDEX].spread
    return Spread(now.low / max(was.high, 0.05), now.mid / max(was.mid, 0.05), now.high / max(was.low, 0.05))


def _nothing_took_it_out(result: Result, first: int, last: int, driven: float | None) -> bool:
    """Whether it was hardly driven since and no burn or cleaning is told of: a repair alone takes no soot out."""
    case = result.case
    far = case.rounds[last].when == "follow-up" if driven is None else driven >= _far_enough(result)
    if far:
        return False  # driven so far, it should have burnt itself clean
    between = case.between(case.rounds[first], case.rounds[last])
    return not any(
        r.burn_completed == "yes" or (r.when == "after burn" and r.burn_completed != "no")
        for r in case.rounds[first + 1 : last + 1]
    ) and not any((e.event in BURNS and e.completed == "yes") or e.event in EMPTIED for e in between)


def _far_enough(result: Result) -> float:
    interval = result.rounds[0].derived.get("blocking_interval")
    return PART * interval.spread.mid if interval is not None else FAR_ENOUGH


def _worked_on(knowledge: Knowledge, result: Result) -> tuple[list[Note], list[Note]]:
    """Note of every cause that was worked on what speaks against its repair, and what proves it."""
    said: list[Note] = []
    proven: list[Note] = []
    worked_on = result.case.repaired_by(result.case.rounds[-1])
    findings = result.latest.verdicts.findings
    for cause in sorted(worked_on & set(knowledge.causes)):
        remedy = knowledge.remedies[knowledge.causes[cause].remedy]
        for proof in remedy.proof_findings:
            state = findings[proof.finding].state if proof.finding in findings else "unknown"
            if state in ("holds", "fails"):
                against = (state == proof.state) == (proof.shows_it == "present")
                (said if against else proven).append(note("shows", cause=cause, finding=proof.finding, state=state))
        now = result.cause(cause).now
        if not said and now >= 0.5:
            said.append(note("still_likely", cause=cause, chance=now))
    return said, proven
