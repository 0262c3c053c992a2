"""A picture for the customer: how much a clean filter and this one hold the gas back, as bars of our own.

The dark part of a bar is sure (the low end of what was measured), the hatched part may be (up to the high end).
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from explain.letters import families, width
from explain.look import BAND, FOR, INK, LINE, PAPER, SOFT, attribute, text
from explain.words import figure, phrases, say
from inference.result import Result
from inference.values import Spread

SLOTS = ("restriction_index.fast_idle", "restriction_index.idle")
LABEL, BAR, STEP, SIZE = 92.0, 250.0, 24.0, 11.0
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
        if found and found[-1][0] == len(result.rounds) - 1:
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
    scale = BAR / longest
    high = STEP * len(found) + 30
    wide = LABEL + BAR + 20
    told = in_words(found)
    fonts = ", ".join(f"'{f}'" for f in families()[:1]) or "Arial"
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}" height="{high:g}" viewBox="0 0 {wide:g} {high:g}" '
        f'role="img" aria-label={attribute(told)} font-family="{fonts}, Arial, sans-serif" font-size="{SIZE:g}" '
        f'fill="{INK}"><title>{text(told)}</title><defs><pattern id="may" width="5" height="5" '
        f'patternUnits="userSpaceOnUse" patternTransform="rotate(45)"><rect width="5" height="5" fill="{BAND}"/>'
        f'<path d="M0 0v5" stroke="{FOR}" stroke-width="2.4"/></pattern></defs>'
    ]
    for i, bar in enumerate(found):
        y = STEP * i + 4
        sure, most = max(min(bar.low, longest), 0.0) * scale, min(bar.high, longest) * scale
        clean = bar.low == bar.high == 1.0
        ink = SOFT if clean else FOR
        out.append(f'<text x="{LABEL - 8 - width(bar.name, SIZE):.1f}" y="{y + 11.5}">{text(bar.name)}</text>')
        out.append(f'<rect x="{LABEL}" y="{y}" width="{sure:.1f}" height="15" fill="{ink}"/>')
        if most > sure:
            out.append(
                f'<rect x="{LABEL + sure:.1f}" y="{y}" width="{most - sure:.1f}" height="15" fill="url(#may)" '
                f'stroke="{FOR}" stroke-width="0.8"/>'
            )
        if bar.high > longest:
            x = LABEL + most
            out.append(
                f'<path d="M{x - 7:.1f} {y - 2}l4 19M{x - 3:.1f} {y - 2}l4 19" stroke="{PAPER}" stroke-width="2"/>'
            )
    foot = STEP * len(found) + 4
    out.append(f'<path d="M{LABEL} {foot}h{BAR}" stroke="{LINE}"/>')
    step = 1 if longest <= 8 else 2
    for n in range(0, int(longest) + 1, step):
        x = LABEL + n * scale
        out.append(f'<path d="M{x:.1f} {foot}v4" stroke="{LINE}"/>')
        out.append(f'<text x="{x - width(str(n), 9) / 2:.1f}" y="{foot + 13}" font-size="9" fill="{SOFT}">{n}</text>')
    axis = str(phrases()["breath"]["axis"])
    out.append(f'<text x="{LABEL}" y="{foot + 24}" font-size="9" fill="{SOFT}">{text(axis)}</text></svg>')
    return "".join(out)
