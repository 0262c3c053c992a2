"""The forecast for the customer's letter: a small picture, what it shows in words, and plain sentences."""

from __future__ import annotations

import math
from dataclasses import dataclass

from explain.forecastview import about, sentence, tell, title
from explain.papers.breath import distances
from inference.forecast.outlook import Forecast
from kb.model import Knowledge


@dataclass
class ForLetter:
    """What explain.papers.letter shows of a forecast: an SVG, its words, and sentences with what they rest on."""

    svg: str
    alt: str
    sentences: tuple[tuple[str, tuple[str, ...]], ...]


def for_letter(knowledge: Knowledge, forecast: Forecast) -> ForLetter:
    """Return the forecast as the letter shows it: as things stand, and once the work is done."""
    now, then = forecast.outlooks[0], forecast.outlooks[-1]
    d, w = now.distance, now.weeks
    rests = ("forecast", "usage")
    if not math.isfinite(d.low):
        says = tell("letter", "now_holds")
    elif not math.isfinite(d.high):
        says = tell("letter", "now_open", low=about(d.low))
    else:
        says = tell("letter", "now", low=about(d.low), high=about(d.high), soon=about(w.low), late=about(w.high))
    sentences: list[tuple[str, tuple[str, ...]]] = [(says, rests)]
    if then.causes:
        mended = tuple(f"cause:{cause}" for cause in then.causes)
        # one in ten, and half, of such vehicles have blocked by then
        low, middle = then.distance.low, then.distance.mid
        if not math.isfinite(low):
            says = tell("letter", "then_holds")
        else:
            says = tell("letter", "then" if math.isfinite(middle) else "then_half", low=about(low))
        sentences.append((says, (*rests, *mended)))
    sentences.append((tell("letter", "care"), rests))
    lines = " ".join(f"{title(knowledge, o)}: {sentence(forecast, o)}" for o in forecast.outlooks)
    alt = tell("forecast", "alt", lines=lines)
    svg = distances(now.distance, then.distance if then.causes else None, alt)
    return ForLetter(svg, alt, tuple(sentences))
