"""Readings beside what is expected of them, as rows of words and as small vector pictures of our own.

What is expected comes from the case's own physics (a clean filter at this gas flow) or from the limits of the rules
whose other conditions this case meets; nothing is drawn where neither says anything.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from explain.letters import families
from explain.look import AGAINST, BAND, FOR, INK, LINE, SOFT, attribute, text
from explain.words import Speaker, ends, phrases, quantity, say
from inference.diagnose import program_of
from inference.result import Result, RoundResult
from inference.values import Number, Spread, Value
from kb.model import Knowledge
from kb.units import difference

INF = math.inf
CLEAN = {"gauge_pressure": "expected_clean_gauge", "sensor_pressure": "expected_clean_filter"}
UPSTREAM = {"sensor_pressure": "expected_clean_gauge"}  # the sensor stands before the filter, to atmosphere
# worked-out readings that a technician can hold against the same limits
WORKED = ("restriction_index", "soot_load", "ash_load", "soot_over_limit", "air_mass_ratio", "boost_ratio",
          "charge_cooling_share", "charge_pressure_drop", "catalyst_rise", "egr_error")  # fmt: skip
WIDE, HIGH = 210.0, 26.0  # of a picture [pt]


@dataclass(frozen=True)
class Row:
    """One reading: what was read [unit], where it is expected, and where a fault is said to begin.

    ``low`` and ``high`` bound what is expected, ``bad_below`` and ``bad_above`` are the limits of rules that find a
    fault; infinite where there is none. ``before`` is the same reading in the first round that has it. Within
    ``slack`` of an edge, what the instrument may be out by, a reading is not called outside. ``earlier`` names the
    round it was read in where that is not the latest.
    """

    slot: str
    title: str
    told: str
    unit: str
    value: tuple[float, float, float]
    worked_out: bool
    low: float = -INF
    high: float = INF
    bad_below: float = -INF
    bad_above: float = INF
    expected: str = ""
    before: float | None = None
    before_told: str = ""
    slack: float = 0.0
    earlier: str = ""

    @property
    def banded(self) -> bool:
        """Whether anything is known of what to expect."""
        return any(math.isfinite(x) for x in (self.low, self.high, self.bad_below, self.bad_above))

    @property
    def verdict(self) -> str:
        """``as expected``, ``outside``, ``between`` the two limits, or ``no limit``."""
        if not self.banded:
            return "no limit"
        low, _, high = self.value
        if low > self.bad_above or high < self.bad_below:
            return "outside"
        least = self.low if math.isfinite(self.low) else self.bad_below
        most = self.high if math.isfinite(self.high) else self.bad_above
        if low >= least and high <= most:
            return "as expected"
        no_fault_limit = not (math.isfinite(self.bad_below) or math.isfinite(self.bad_above))
        off = high < self.low - self.slack or low > self.high + self.slack
        return "outside" if no_fault_limit and off else "between"


def rows(knowledge: Knowledge, result: Result) -> list[Row]:
    """Return a row for every reading of the latest round and the worked-out ones worth checking, those off first."""
    speaker = Speaker(knowledge, result)
    latest = result.latest
    bounds = Bounds(knowledge, result)
    out = []
    for slot, value in latest.facts.items():
        base, _, _ = slot.partition(".")
        if base in knowledge.readings and isinstance(value, Number):
            out.append(_row(speaker, bounds, slot, value, False))
        elif base in WORKED and isinstance(value, Spread):
            out.append(_row(speaker, bounds, slot, value, True))
    order = {"outside": 0, "between": 1, "as expected": 2, "no limit": 3}
    return sorted(out, key=lambda r: (r.worked_out, order[r.verdict], r.slot))


def _row(speaker: Speaker, bounds: Bounds, slot: str, value: Number | Spread, worked: bool) -> Row:
    unit = speaker.units.get(slot, "1")
    three = (value.value,) * 3 if isinstance(value, Number) else (value.low, value.mid, value.high)
    low, high, bad_below, bad_above = bounds.of(slot, three[1])
    result = speaker.result
    before = None
    for round_ in result.rounds[:-1]:
        earlier = round_.facts.get(slot)
        if earlier is not None and round_.origin.get(slot, -2) != result.latest.origin.get(slot, -1):
            before = _middle(earlier)
            break
    title = speaker.slot_title(slot)
    return Row(
        slot, title[:1].upper() + title[1:], speaker.value(slot, value), unit, three, worked, low, high, bad_below,
        bad_above, _expected(low, high, bad_below, bad_above, unit), before,
        "" if before is None else quantity(before, unit), _slack(speaker, slot, value), speaker.earlier(slot),
    )  # fmt: skip


def _slack(speaker: Speaker, slot: str, value: Number | Spread) -> float:
    """Return what the instrument may be out by [unit]: 1.28 standard errors, as the intervals of what is worked out."""
    reading = speaker.knowledge.readings.get(slot.partition(".")[0])
    if reading is None or isinstance(value, Spread):
        return 0.0
    unit = "K" if reading.unit == "°C" else reading.unit
    return 1.28 * max(difference(reading.error, unit), reading.error_share * abs(value.value))


def _middle(value: Value) -> float | None:
    return value.value if isinstance(value, Number) else value.mid if isinstance(value, Spread) else None


def _expected(low: float, high: float, bad_below: float, bad_above: float, unit: str) -> str:
    """Return in words what is expected; where only a fault limit is known, that it should not be passed."""
    if math.isfinite(low) and math.isfinite(high):
        return quantity_range(low, high, unit)
    if math.isfinite(low):
        return say("band.at_least", limit=quantity(low, unit))
    if math.isfinite(high):
        return say("band.at_most", limit=quantity(high, unit))
    if math.isfinite(bad_below) and math.isfinite(bad_above):
        return quantity_range(bad_below, bad_above, unit)
    if math.isfinite(bad_below):
        return say("band.not_below", limit=quantity(bad_below, unit))
    return say("band.not_above", limit=quantity(bad_above, unit)) if math.isfinite(bad_above) else ""


def quantity_range(low: float, high: float, unit: str) -> str:
    """Return two numbers as "21.4 to 44.1 mbar"."""
    told = ends(low, high)
    both = say("value.spread", low=told[0], high=told[1])
    return both if unit == "1" else say("value.with_unit", value=both, unit=unit)


class Bounds:
    """The limits that hold for this case: of a clean filter, and of the rules whose other conditions are met."""

    def __init__(self, knowledge: Knowledge, result: Result) -> None:
        self.k, self.r = knowledge, result
        self.facts = {**result.latest.facts, **result.latest.verdicts.as_facts()}
        self.bad = {s.finding for c in knowledge.causes.values() for s in c.shows}
        self.bad |= {p.finding for c in knowledge.causes.values() for p in c.proofs
                     if p.state == "holds" and p.shows_it == "present"}  # fmt: skip
        self.bad |= {f.id for f in knowledge.findings.values() if f.lasting is not None}  # a lasting defect
        self.good = {n.finding for n in knowledge.gate.needs if n.state == "holds"} - self.bad
        self.bad |= {d.finding for d in knowledge.gate.dangers}
        self.stages = tuple(program_of(knowledge).stage(name) for name in ("find", "decide"))
        self._gather()

    def of(self, slot: str, value: float | None = None) -> tuple[float, float, float, float]:
        """Return expected low and high, and the limits below and above which a fault is found [unit of the slot].

        Where a rule names several ranges (a battery of 12 volts or of 24), the one nearest to ``value`` counts.
        """
        base, _, condition = slot.partition(".")
        clean = self._clean(base, condition, self.r.latest)
        if base in CLEAN and clean is None and condition != "key_on":
            return (-INF, INF, -INF, INF)  # without the gas flow no pressure can be judged
        low, high, bad_below, bad_above = -INF, INF, -INF, INF
        between: list[tuple[float, float]] = []
        for finding, state, first, last in self._limits(slot, value):
            good = (state == "fails") if finding in self.bad else (state == "holds")
            if good:
                low, high = max(low, first), min(high, last)
            elif first > -INF and last < INF:
                between.append((first, last))
            elif first > -INF:
                bad_above = min(bad_above, first)
            elif last < INF:
                bad_below = max(bad_below, last)
        for first, last in between:  # a fault range beside the good one begins or ends on its side
            if last <= low:
                bad_below = max(bad_below, last)
            elif first >= high:
                bad_above = min(bad_above, first)
        if clean is not None:
            return (clean.low, clean.high, -INF, INF)
        return (low, high, bad_below, bad_above) if low < high else (-INF, INF, bad_below, bad_above)

    def _clean(self, base: str, condition: str, round_: RoundResult) -> Spread | None:
        layout = self.k.layouts.get(self.r.case.layout or "")
        upstream = layout is not None and layout.pressure == "gauge_upstream"
        name = UPSTREAM[base] if base in UPSTREAM and upstream else CLEAN.get(base, "")
        found = round_.facts.get(f"{name}.{condition}") if name else None
        return found if isinstance(found, Spread) else None

    def setting(self, finding: str, state: str) -> Iterator[tuple[str, float, float]]:
        """Yield slot and range [unit of the slot] of each single reading that would set a finding to a state."""
        for slot, found, wanted, low, high in self._single:
            if (found, wanted) == (finding, state):
                yield slot, low, high

    def _limits(self, slot: str, value: float | None) -> Iterator[tuple[str, str, float, float]]:
        met = self._met.get(slot, {})
        alone = {key: ranges for key, ranges in met.items() if key in self._alone}
        for (_, finding, state), ranges in (alone or met).items():
            nearest = ranges if value is None else [min(ranges, key=lambda r: max(r[0] - value, value - r[1], 0.0))]
            yield from ((finding, state, first, last) for first, last in nearest)

    def _gather(self) -> None:
        """Go through the rules once: those that rest on one number, and of these the ones otherwise met here."""
        self._single: list[tuple[str, str, str, float, float]] = []
        self._met: dict[str, dict[tuple[str, str, str], list[tuple[float, float]]]] = {}
        self._alone: set[tuple[str, str, str]] = set()  # they rest on that number only, and so go before the others
        for stage in self.stages:
            for way in stage.ways:
                rule = stage.rules[way.rule]
                finding, state = rule.then.finding, rule.then.state
                if finding is None:
                    continue
                own = [n for n in way.needs if n.part in ("all", "any")]
                numbers = [n for n in own if stage.literals[n.literal].kind == "number"]
                if len(numbers) != 1:
                    continue  # with two numbers in one rule, one may only say when the other counts
                literal = stage.literals[numbers[0].literal]
                if len(own) == 1:
                    self._single.append((literal.slot, finding, state, literal.low, literal.high))
                others = (n for n in way.needs if n is not numbers[0])
                if finding in self.bad | self.good and all(stage.serves(n, self.facts) for n in others):
                    ranges = self._met.setdefault(literal.slot, {}).setdefault((rule.id, finding, state), [])
                    ranges.append((literal.low, literal.high))
                    if len(own) == 1:
                        self._alone.add((rule.id, finding, state))


def picture(row: Row, wide: float = WIDE, high: float = HIGH) -> str:
    """Return a row as SVG: the band expected, the limits of a fault, and a mark at what was read.

    A ring stands for "as expected", a filled diamond for "outside", a half-filled square for "between"; what was read
    in an earlier round is an open triangle with a line to the new value.
    """
    first, last = _scale(row)
    pad = 12.0

    def x(value: float) -> float:
        return pad + (min(max(value, first), last) - first) / (last - first) * (wide - 2 * pad)

    mid = high / 2
    out = [f'<path d="M{pad} {mid}H{wide - pad}" stroke="{LINE}" stroke-width="1"/>']
    if math.isfinite(row.low) or math.isfinite(row.high):
        left, right = x(row.low), x(row.high)
        out.append(f'<rect x="{left:.1f}" y="{mid - 8}" width="{right - left:.1f}" height="16" fill="{BAND}"/>')
        for edge, known in ((left, row.low), (right, row.high)):
            if math.isfinite(known):
                out.append(f'<path d="M{edge:.1f} {mid - 8}v16" stroke="{SOFT}" stroke-width="1"/>')
    for limit, way in ((row.bad_below, -1), (row.bad_above, 1)):
        if math.isfinite(limit):  # a barbed limit: on the barbs' side a rule finds a fault
            at = x(limit)
            barbs = "".join(f"M{at:.1f} {mid + y}l{4 * way} -3" for y in (-5, 0, 5, 8))
            out.append(f'<path d="M{at:.1f} {mid - 8}v16{barbs}" stroke="{AGAINST}" stroke-width="1.2" fill="none"/>')
    if row.before is not None:
        a, b = x(row.before), x(row.value[1])
        out.append(f'<path d="M{a:.1f} {mid}H{b:.1f}" stroke="{INK}" stroke-width="1" stroke-dasharray="2 2"/>')
        out.append(f'<path d="M{a - 4:.1f} {mid + 4}h8l-4 -8z" fill="#fff" stroke="{INK}" stroke-width="1.2"/>')
    if row.value[2] > row.value[0]:
        a, b = x(row.value[0]), x(row.value[2])
        out.append(f'<path d="M{a:.1f} {mid}H{b:.1f}M{a:.1f} {mid - 4}v8M{b:.1f} {mid - 4}v8" stroke="{INK}" '
                   f'stroke-width="2"/>')  # fmt: skip
    out.append(_mark(row.verdict, x(row.value[1]), mid))
    label = described(row)
    fonts = ", ".join(f"'{f}'" for f in families()[:1]) or "Arial"
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}" height="{high:g}" viewBox="0 0 {wide:g} {high:g}" '
        f'role="img" aria-label={attribute(label)} font-family="{fonts}">'
        f"<title>{text(label)}</title>{''.join(out)}</svg>"
    )


def described(row: Row) -> str:
    """Return a row in words: what was read and when, what is expected, and the verdict."""
    verdict = phrases()["band"]["verdict"][row.verdict]
    value = row.told
    if row.earlier:
        value = say("band.with_round", value=value, read=say("band.read_earlier", round=row.earlier))
    return say("band.describe", title=row.title, value=value, expected=row.expected or "–", verdict=verdict)


def key() -> list[dict[str, str]]:
    """Return the key to the marks: a small SVG and its word each."""
    words = phrases()["band"]["verdict"]
    drawn = {
        "as expected": _mark("as expected", 9, 9), "between": _mark("between", 9, 9), "outside": _mark("outside", 9, 9),
        "before": f'<path d="M5 13h8l-4 -8z" fill="#fff" stroke="{INK}" stroke-width="1.2"/>',
        "band": f'<rect x="1" y="2" width="16" height="14" fill="{BAND}" stroke="{SOFT}" stroke-width="0.8"/>',
        "limit": f'<path d="M9 2v14M9 4l4 -3M9 9l4 -3M9 14l4 -3" fill="none" stroke="{AGAINST}" stroke-width="1.2"/>',
    }  # fmt: skip
    head = '<svg xmlns="http://www.w3.org/2000/svg" width="18" height="18" viewBox="0 0 18 18" aria-hidden="true">'
    return [{"svg": f"{head}{svg}</svg>", "word": str(words[name])} for name, svg in drawn.items()]


def _mark(verdict: str, x: float, y: float) -> str:
    if verdict == "outside":
        return f'<path d="M{x:.1f} {y - 6.5}l6.5 6.5l-6.5 6.5l-6.5 -6.5z" fill="{AGAINST}" stroke="#fff"/>'
    if verdict == "between":
        return (
            f'<path d="M{x - 5:.1f} {y - 5}h10v10h-10z" fill="#fff" stroke="{INK}" stroke-width="1.6"/>'
            f'<path d="M{x - 5:.1f} {y}h10v5h-10z" fill="{INK}"/>'
        )
    ink = FOR if verdict == "as expected" else INK
    return f'<circle cx="{x:.1f}" cy="{y}" r="4.6" fill="#fff" stroke="{ink}" stroke-width="2.4"/>'


def _scale(row: Row) -> tuple[float, float]:
    """Return the ends of the axis: all that is drawn, with a tenth to spare at each side."""
    marks = [v for v in (*row.value, row.low, row.high, row.bad_below, row.bad_above) if math.isfinite(v)]
    if row.before is not None:
        marks.append(row.before)
    first, last = min(marks), max(marks)
    if first >= 0 and first < 0.6 * last:
        first = 0.0
    room = (last - first) * 0.12 or max(abs(last) * 0.2, 1.0)
    return (first if first == 0 else first - room), last + room
