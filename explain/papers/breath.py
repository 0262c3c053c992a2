"""Pictures for the customer, as bars of our own: how much a filter holds the gas back, and how far it will go.

The dark part of a bar is sure (the low end of what was measured), the striped part may be (up to the high end).
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Sequence
from dataclasses import dataclass

from explain.letters import families, width
from explain.look import BAND, FOR, INK, LINE, PAPER, SOFT, attribute, text
from explain.words import figure, phrases, say
from inference.forecast.outlook import Band
from inference.result import Result
from inference.values import Spread

SLOTS = ("restriction_index.fast_idle", "restriction_index.idle")
LABEL, BAR, STEP, SIZE = 92.0, 250.0, 24.0, 11.0
LEAST = 0.5  # times a clean filter; a reading below is no resistance to draw, but a tapping to look at
MOST = 12.0  # times a clean filter; a longer bar is broken off


@dataclass(frozen=True)
class Bar:
    """One filter: its name and how many times a clean filter's resistance it shows, from low to high."""

    name: str
    low: float
    high: float


def bars(result: Result) -> list[Bar]:
    """Return the bars of the first and the last round in which the resistance is known, the clean filter first."""
    words = phrases()["breath"]
    for slot in SLOTS:
        found = [
            (i, x) for i, r in enumerate(result.rounds)
            if isinstance(x := r.facts.get(slot), Spread) and r.origin.get(slot, i) == i
        ]  # fmt: skip
        if found and found[-1][0] == len(result.rounds) - 1 and found[-1][1].high >= LEAST:
            out = [Bar(str(words["clean"]), 1.0, 1.0)]
            if len(found) > 1:
                out.append(Bar(str(words["before"]), found[0][1].low, found[0][1].high))
            out.append(Bar(str(words["now"]), found[-1][1].low, found[-1][1].high))
            return out
    return []


def in_words(found: Sequence[Bar]) -> str:
    """Return the picture in words."""
    told = [
        say("breath.bar", name=b.name, low=figure(round(b.low, 1)), high=figure(round(b.high, 1)))
        if b.high > b.low else say("breath.one", name=b.name) for b in found
    ]  # fmt: skip
    return say("breath.alt", bars=" ".join(told))


def picture(found: Sequence[Bar]) -> str:
    """Return the bars as SVG, with a scale of "times a clean filter" below."""
    longest = min(max([b.high for b in found] + [2.0]), MOST)
    return drawn(found, longest, 1.0 if longest <= 8 else 2.0, str(phrases()["breath"]["axis"]), in_words(found))


def distances(now: Band, then: Band | None, told: str) -> str:
    """Return how far it is until the filter blocks again, as bars of the same kind; "" where no end can be foreseen.

    Parameters
    ----------
    now, then : as things stand, and once the work is done [km]; infinite where no end is foreseen
    told : the picture in words
    """
    words = phrases()["breath"]
    found = [Bar(str(words["as_it_is"]), now.low, now.high)]
    if then is not None:
        found.append(Bar(str(words["once_done"]), then.low, then.high))
    finite = [v for b in found for v in (b.low, b.high) if math.isfinite(v)]
    if not finite:
        return ""
    longest = max(1.25 * max(finite), 100.0)
    step = next(s for s in (m * 10**e for e in range(1, 8) for m in (1, 2, 5)) if longest / s <= 6)
    return drawn(found, longest, float(step), str(words["km"]), told)


def drawn(found: Sequence[Bar], longest: float, step: float, axis: str, told: str) -> str:
    """Return bars as SVG over a scale from 0 to ``longest``, marked every ``step``; what goes beyond has an arrow."""
    scale = BAR / longest
    high = STEP * len(found) + 30
    label = max(LABEL, *(width(b.name, SIZE) + 10 for b in found))
    wide = label + BAR + 20
    striped = f"may-{zlib.crc32(told.encode()):08x}"  # two pictures on one page need ids of their own
    fonts = ", ".join(f"'{f}'" for f in families()[:1]) or "Arial"
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}" height="{high:g}" viewBox="0 0 {wide:g} {high:g}" '
        f'role="img" aria-label={attribute(told)} font-family="{fonts}, Arial, sans-serif" font-size="{SIZE:g}" '
        f'fill="{INK}"><title>{text(told)}</title><defs><pattern id="{striped}" width="5" height="5" '
        f'patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="5" height="5" fill="{BAND}"/>'
        f'<path d="M0 0v5" stroke="{FOR}" stroke-width="2.4"/></pattern></defs>'
    ]
    for i, bar in enumerate(found):
        y = STEP * i + 4
        sure, most = max(min(bar.low, longest), 0.0) * scale, min(bar.high, longest) * scale
        ink = SOFT if bar.low == bar.high else FOR
        out.append(f'<text x="{label - 8 - width(bar.name, SIZE):.1f}" y="{y + 11.5}">{text(bar.name)}</text>')
        out.append(f'<rect x="{label:g}" y="{y}" width="{sure:.1f}" height="15" fill="{ink}"/>')
        if most > sure:
            out.append(
                f'<rect x="{label + sure:.1f}" y="{y}" width="{most - sure:.1f}" height="15" fill="url(#{striped})" '
                f'stroke="{FOR}" stroke-width="0.8"/>'
            )
        if bar.high > longest:
            x = label + most
            out.append(f'<path d="M{x + 2:.1f} {y + 1}l9 6.5l-9 6.5z" fill="{FOR}" stroke="{PAPER}"/>')
    foot = STEP * len(found) + 4
    out.append(f'<path d="M{label:g} {foot}h{BAR}" stroke="{LINE}"/>')
    for n in range(int(longest / step) + 1):
        x, mark = label + n * step * scale, figure(n * step)
        out.append(f'<path d="M{x:.1f} {foot}v4" stroke="{LINE}"/>')
        at = x - width(mark, 9) / 2
        out.append(f'<text x="{at:.1f}" y="{foot + 13}" font-size="9" fill="{SOFT}">{mark}</text>')
    out.append(f'<text x="{label:g}" y="{foot + 24}" font-size="9" fill="{SOFT}">{text(axis)}</text></svg>')
    return "".join(out)
