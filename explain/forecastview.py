"""The forecast in words on a terminal, and as JSON; nothing is computed here."""

from __future__ import annotations

import math

from pydantic import BaseModel
from rich.console import Console
from rich.text import Text

from explain.jsonout import rounded
from explain.terminal import Line, percent, print_block
from explain.words import figure, phrases
from inference.forecast.outlook import Band, Forecast, Outlook
from inference.log.notes import Note
from kb.model import Knowledge

ASH_WORTH = 0.2  # share of the vehicles that ash blocks, from which it is said


class OutlookShape(BaseModel):
    """One outlook; arrays are 10, 50 and 90 % points, null where it lies beyond the horizon."""

    id: str
    without: list[str]
    distance_km: list[float | None]
    weeks: list[float | None]
    not_within_horizon: float
    gained_g_per_week: list[float]
    burnt_g_per_week: list[float]
    warm_minutes_per_week: list[float]
    burn_completes_on_a_trip: list[float]
    blocked_by_ash: float


class ForecastShape(BaseModel):
    """What ``clogwise forecast CASE --json`` prints."""

    case: str
    horizon_weeks: float
    km_per_week: list[float]
    limit_g_per_l: list[float]
    explains_the_past: float | None
    outlooks: list[OutlookShape]
    notes: list[str]


def tell(group: str, name: str, **slots: object) -> str:
    """Return a phrase of explain/lang/en_forecast.yaml with its slots filled."""
    return str(phrases("en_forecast")[group][name]).format(**slots)


def shape(forecast: Forecast) -> ForecastShape:
    """Return the forecast as it leaves the program."""
    return ForecastShape(
        case=forecast.case,
        horizon_weeks=forecast.weeks,
        km_per_week=_three(forecast.weekly),
        limit_g_per_l=_three(forecast.limit),
        explains_the_past=None if forecast.fits is None else rounded(forecast.fits),
        outlooks=[
            OutlookShape(
                id=o.id,
                without=list(o.causes),
                distance_km=_open(o.distance),
                weeks=_open(o.weeks),
                not_within_horizon=rounded(o.holds),
                gained_g_per_week=_three(o.gained),
                burnt_g_per_week=_three(o.burnt),
                warm_minutes_per_week=_three(o.hot),
                burn_completes_on_a_trip=_three(o.completes),
                blocked_by_ash=rounded(o.ash),
            )
            for o in forecast.outlooks
        ],
        notes=[taken(n) for n in forecast.notes],
    )


def taken(note: Note) -> str:
    """Return what a forecast rests on as a sentence."""
    if note.kind in ("not_told", "recorded_instead"):
        slots = {k: figure(float(v)) for k, v in note.slots.items() if k != "slot"}
        return str(phrases("en_forecast")["forecast_notes"][note.kind][note.slots["slot"]]).format(**slots)
    return tell("forecast_notes", note.kind, **note.slots)


def _three(band: Band) -> list[float]:
    return [rounded(band.low), rounded(band.mid), rounded(band.high)]


def _open(band: Band) -> list[float | None]:
    return [rounded(v) if math.isfinite(v) else None for v in (band.low, band.mid, band.high)]


def title(knowledge: Knowledge, outlook: Outlook) -> str:
    """Return what an outlook is called: as things stand, or what was put right."""
    if not outlook.causes:
        return tell("forecast", "now")
    if len(outlook.causes) == 1:
        cause = knowledge.causes[outlook.causes[0]]
        return tell("forecast", "changed" if cause.kind == "habit" else "without", cause=small(cause.title))
    return tell("forecast", "all")


def small(text: str) -> str:
    """Return a title as it stands within a sentence; an abbreviation keeps its capitals."""
    return text if text[1:2].isupper() else text[:1].lower() + text[1:]


def about(value: float) -> str:
    """Return a distance or count to two figures, since more would pretend to know."""
    if value <= 0:
        return "0"
    step = 10 ** (math.floor(math.log10(value)) - 1)
    return figure(round(value / step) * step)


def sentence(forecast: Forecast, outlook: Outlook) -> str:
    """Return one outlook's distance and weeks in words, and whether it is ash that ends it."""
    says = _distance(forecast, outlook)
    if outlook.ash >= ASH_WORTH:
        says += " " + tell("forecast", "ash", ash=percent(outlook.ash))
    return says


def _distance(forecast: Forecast, outlook: Outlook) -> str:
    d, w, years = outlook.distance, outlook.weeks, figure(forecast.weeks / 52.0)
    if not math.isfinite(d.low):
        return tell("forecast", "holds", years=years)
    if not math.isfinite(d.mid):
        slots = {"low": about(d.low), "weeks": about(w.low), "holds": percent(outlook.holds)}
        return tell("forecast", "mostly", years=years, **slots)
    if not math.isfinite(d.high):
        slots = {"low": about(d.low), "mid": about(d.mid), "weeks": about(w.mid), "holds": percent(outlook.holds)}
        return tell("forecast", "open", years=years, **slots)
    return tell(
        "forecast",
        "blocks",
        low=about(d.low),
        mid=about(d.mid),
        high=about(d.high),
        soon=about(w.low),
        late=about(w.high),
    )


def show(knowledge: Knowledge, forecast: Forecast, out: Console) -> None:
    """Print the forecast."""
    weekly = tell("forecast", "weekly", low=about(forecast.weekly.low), high=about(forecast.weekly.high))
    out.print(Text(f"{forecast.case} · {weekly}", style="bold"))
    lines: list[Line] = []
    for outlook in forecast.outlooks:
        body = Text(title(knowledge, outlook), style="bold")
        body.append(f": {sentence(forecast, outlook)}", style="not bold")
        lines.append(("· ", body))
    print_block(out, tell("forecast", "heading"), lines)
    now = forecast.outlooks[0]
    burnt = {"burnt_low": about(now.burnt.low), "burnt_high": about(now.burnt.high)}
    week = [tell("forecast", "gained", low=about(now.gained.low), high=about(now.gained.high), **burnt)]
    if now.hot.high < 1.0:
        week.append(tell("forecast", "never_warm"))
    else:
        week.append(tell("forecast", "warm", low=about(now.hot.low), high=about(now.hot.high)))
    if now.completes.high < 0.01:
        week.append(tell("forecast", "never_completes"))
    else:
        low, high = percent(now.completes.low), percent(now.completes.high)
        week.append(tell("forecast", "completes", low=low, high=high))
    print_block(out, tell("forecast", "week"), [("· ", Text(t)) for t in week])
    notes = [*(taken(n) for n in forecast.notes), tell("forecast", "care")]
    print_block(out, tell("forecast", "taken"), [("· ", Text(t, style="dim")) for t in notes])
