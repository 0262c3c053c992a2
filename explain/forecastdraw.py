"""The forecast as a picture: bands of distance until the filter blocks again, and the soot on the way there.

matplotlib is imported here and nowhere else, inside the functions, since it takes half a second.
"""

from __future__ import annotations

import io
import math
import textwrap
from typing import Any

from explain.forecastview import about, tell, title
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
    bars = 0.55 * len(forecast.outlooks) + 1.3
    with matplotlib.rc_context(FONT):
        rows = [bars, 3.2] if tracked else [bars]
        figure, axes = pyplot.subplots(
            len(rows), 1, figsize=(7.6 if not small else 6.2, sum(rows)), height_ratios=rows, squeeze=False,
            layout="constrained",
        )  # fmt: skip
        _bars(axes[0][0], knowledge, forecast)
        if tracked:
            _tracks(axes[1][0], knowledge, forecast, tracked)
        out = io.BytesIO()
        metadata: dict[str, Any] = {"svg": {"Date": None}, "pdf": {"CreationDate": None}, "png": {"Software": None}}
        figure.savefig(out, format=kind, dpi=150, metadata=metadata[kind])
        pyplot.close(figure)
    return out.getvalue()


def _edge(forecast: Forecast) -> float:
    """Return the distance at which the picture ends [km]: past the last finite figure, within the horizon."""
    bands = [o.distance for o in forecast.outlooks]
    finite = [v for b in bands for v in (b.low, b.mid, b.high) if math.isfinite(v)]
    most = forecast.weekly.mid * forecast.weeks
    return min(max(1.25 * max(finite, default=most / 2.0), 1000.0), 1.05 * most)


def _bars(axes: Any, knowledge: Knowledge, forecast: Forecast) -> None:
    edge = _edge(forecast)
    names = []
    for row, outlook in enumerate(forecast.outlooks):
        colour = NOW if row == 0 else THEN
        low, mid, high = (min(v, edge) for v in (outlook.distance.low, outlook.distance.mid, outlook.distance.high))
        beyond = not math.isfinite(outlook.distance.high) or outlook.distance.high > edge
        if low < edge:
            axes.barh(row, high - low, left=low, height=0.5, color=colour, alpha=0.35, linewidth=0)
            if mid < edge:
                axes.plot([mid, mid], [row - 0.25, row + 0.25], color=colour, linewidth=2.5)
                axes.annotate(
                    f"{about(outlook.distance.mid)} km", (mid, row - 0.28), ha="center", va="bottom", fontsize=8,
                    color=colour,
                )  # fmt: skip
        if beyond:
            axes.annotate(
                "", (edge * 1.04, row), (edge * 0.985, row), arrowprops={"arrowstyle": "-|>", "color": colour}
            )
        if low >= edge:
            axes.annotate(
                tell("forecast", "not_soon"), (edge * 0.97, row), ha="right", va="center", fontsize=8.5, color=colour
            )
        names.append("\n".join(textwrap.wrap(title(knowledge, outlook), 30)))
    axes.set_yticks(range(len(names)), names)
    axes.set_ylim(len(names) - 0.5, -0.65)
    axes.set_xlim(0, edge * 1.05)
    axes.set_xlabel("\n".join(textwrap.wrap(tell("forecast", "axis"), 46)), fontsize=9)
    axes.set_title(tell("forecast", "picture"), loc="left", fontsize=11, fontweight="bold")
    axes.grid(axis="x", color=FAINT, linewidth=0.7)
    axes.set_axisbelow(True)
    axes.xaxis.set_major_formatter(lambda x, _: f"{x:,.0f}")
    for side in ("top", "right", "left"):
        axes.spines[side].set_visible(False)
    axes.tick_params(axis="y", length=0)


def _tracks(axes: Any, knowledge: Knowledge, forecast: Forecast, tracked: list[Outlook]) -> None:
    edge = _edge(forecast)
    for outlook in tracked:
        colour = THEN if outlook.causes else NOW
        at = list(outlook.at)
        low, mid, high = ([row[i] for row in outlook.track] for i in range(3))
        axes.fill_between(at, low, high, color=colour, alpha=0.18, linewidth=0)
        axes.plot(at, mid, color=colour, linewidth=1.8, label=title(knowledge, outlook))
    axes.axhspan(forecast.limit.low, forecast.limit.high, color=FULL, alpha=0.12, linewidth=0)
    axes.axhline(forecast.limit.mid, color=FULL, linewidth=1, linestyle="--", label=tell("forecast", "full"))
    axes.set_xlim(0, edge * 1.05)
    axes.set_ylim(0, forecast.limit.high * 1.15)
    axes.set_xlabel(tell("forecast", "axis_driven"))
    axes.set_ylabel(tell("forecast", "axis_soot"))
    axes.grid(color=FAINT, linewidth=0.7)
    axes.set_axisbelow(True)
    axes.xaxis.set_major_formatter(lambda x, _: f"{x:,.0f}")
    for side in ("top", "right"):
        axes.spines[side].set_visible(False)
    axes.legend(loc="upper center", bbox_to_anchor=(0.5, -0.2), ncols=1, fontsize=8.5, frameon=False)
