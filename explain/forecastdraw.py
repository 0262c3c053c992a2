"""The forecast as a picture: bands of distance until the filter blocks again, and the soot on the way there.

matplotlib is imported here and nowhere else, inside the functions, since it takes half a second.
"""

from __future__ import annotations

import io
import math
import textwrap
from typing import Any

from explain.forecastview import ASH_WORTH, about, tell, title
from explain.terminal import percent
from explain.words import figure
from inference.forecast.outlook import Forecast, Outlook
from kb.model import Knowledge

NOW, THEN, FULL, FAINT = "#b3471d", "#1f6f8b", "#555555", "#d9d9d9"
FONT: dict[Any, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": 10,
    "svg.fonttype": "path",
    "svg.hashsalt": "clogwise",
}


def draw(knowledge: Knowledge, forecast: Forecast, kind: str = "svg", small: bool = False) -> bytes:
    """Return the picture as bytes; the same forecast gives the same bytes.

    Parameters
    ----------
    kind : "svg", "png" or "pdf"
    small : bars alone, for a letter
    """
    import matplotlib

    matplotlib.use("Agg")
    from matplotlib import pyplot

    tracked = [o for o in (forecast.outlooks[0], forecast.outlooks[-1]) if o.track] if not small else []
    if len(tracked) == 2 and tracked[0].id == tracked[1].id:
        tracked = tracked[:1]
    labels = ["\n".join(textwrap.wrap(title(knowledge, o), 34)) for o in forecast.outlooks]
    rows = [0.22 * sum(max(label.count("\n") + 1, 2.4) for label in labels) + 1.1]
    rows += [3.1] if tracked else []
    with matplotlib.rc_context(FONT):
        sheet, axes = pyplot.subplots(
            len(rows), 1, figsize=(8.4 if not small else 6.8, sum(rows) + 0.5), height_ratios=rows, squeeze=False,
            layout="constrained",
        )  # fmt: skip
        _bars(axes[0][0], labels, forecast)
        if tracked:
            _tracks(axes[1][0], knowledge, forecast, tracked)
        foot = [tell("forecast", "care")]
        if forecast.outlooks[0].ash >= ASH_WORTH:
            foot.insert(0, tell("forecast", "ash_now", ash=percent(forecast.outlooks[0].ash)))
        sheet.supxlabel("\n".join(foot), x=0.01, ha="left", fontsize=8, color=FULL)
        out = io.BytesIO()
        metadata: dict[str, Any] = {"svg": {"Date": None}, "pdf": {"CreationDate": None}, "png": {"Software": None}}
        sheet.savefig(out, format=kind, dpi=150, metadata=metadata[kind])
        pyplot.close(sheet)
    return out.getvalue()


def _edge(forecast: Forecast) -> float:
    """Return the distance at which the picture ends [km]: past the last finite figure, within the horizon."""
    bands = [o.distance for o in forecast.outlooks]
    finite = [v for b in bands for v in (b.low, b.mid, b.high) if math.isfinite(v)]
    most = forecast.weekly.mid * forecast.weeks
    return min(max(1.25 * max(finite, default=most / 2.0), 1000.0), 1.05 * most)


def _bars(axes: Any, labels: list[str], forecast: Forecast) -> None:
    edge, years = _edge(forecast), figure(forecast.weeks / 52.0)
    for row, outlook in enumerate(forecast.outlooks):
        colour = THEN if outlook.causes else NOW
        _bar(axes, row, outlook, edge, colour)
        told = []
        if outlook.distance.low >= edge:
            told = [tell("forecast", "not_soon", years=years)]
        else:
            if outlook.distance.mid < edge:
                told = [f"{about(outlook.distance.mid)} km"]
            if not math.isfinite(outlook.distance.high):
                told.append(tell("forecast", "share_not", holds=percent(outlook.holds), years=years))
        at = min(outlook.distance.mid, edge)
        side = "left" if at < 0.4 * edge else "right"
        axes.annotate(", ".join(told), (at, row - 0.28), ha=side, va="bottom", fontsize=8.5, color=colour)
    axes.set_yticks(range(len(labels)), labels)
    axes.set_ylim(len(labels) - 0.5, -0.75)
    axes.set_xlim(0, edge * 1.05)
    axes.set_xlabel(f"{tell('forecast', 'axis')}\n{tell('forecast', 'key')}", fontsize=8.5)
    axes.set_title(tell("forecast", "picture", case=forecast.case), loc="left", fontsize=11.5, fontweight="bold")
    axes.grid(axis="x", color=FAINT, linewidth=0.7)
    axes.set_axisbelow(True)
    axes.xaxis.set_major_formatter(lambda x, _: f"{x:,.0f}")
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(axis="y", length=0)


def _bar(axes: Any, row: int, outlook: Outlook, edge: float, colour: str) -> None:
    low, mid, high = (min(v, edge) for v in (outlook.distance.low, outlook.distance.mid, outlook.distance.high))
    if low < edge:
        axes.barh(row, high - low, left=low, height=0.5, color=colour, alpha=0.35, linewidth=0)
    if mid < edge:
        axes.plot([mid, mid], [row - 0.25, row + 0.25], color=colour, linewidth=2.5)
    if outlook.distance.high > edge:
        arrow = {"arrowstyle": "-|>", "color": colour}
        axes.annotate("", (edge * 1.04, row), (edge * 0.985, row), arrowprops=arrow)


def _tracks(axes: Any, knowledge: Knowledge, forecast: Forecast, tracked: list[Outlook]) -> None:
    edge = _edge(forecast)
    for outlook in tracked:
        colour = THEN if outlook.causes else NOW
        last = min(outlook.distance.high, edge * 1.05)
        kept = [i for i, at in enumerate(outlook.at) if at <= last]
        at = [outlook.at[i] for i in kept]
        low, mid, high = ([100.0 * outlook.track[i][k] for i in kept] for k in range(3))
        axes.fill_between(at, low, high, color=colour, alpha=0.18, linewidth=0)
        name = "\n".join(textwrap.wrap(title(knowledge, outlook), 60))
        axes.plot(at, mid, color=colour, linewidth=1.8, label=name)
    axes.axhline(100.0, color=FULL, linewidth=1, linestyle="--", label=tell("forecast", "full"))
    axes.set_xlim(0, edge * 1.05)
    axes.set_ylim(0, 112.0)
    axes.set_title(tell("forecast", "track"), loc="left", fontsize=10, fontweight="bold")
    axes.set_xlabel(f"{tell('forecast', 'axis')}\n{tell('forecast', 'key_track')}", fontsize=8.5)
    axes.set_ylabel(tell("forecast", "axis_soot"), fontsize=9)
    axes.grid(color=FAINT, linewidth=0.7)
    axes.set_axisbelow(True)
    axes.xaxis.set_major_formatter(lambda x, _: f"{x:,.0f}")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.3), ncols=1, fontsize=8.5, frameon=False)
