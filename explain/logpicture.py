"""Pictures of a recorded drive: pressure against flow with what the physics expects, and a burn over time.

matplotlib is imported here and only when a picture is asked for. The same recording gives the same bytes.
"""

from __future__ import annotations

import io
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

import numpy as np

from explain.logview import words
from explain.look import AGAINST, DECISION, FOR, INK, LINE, SOFT
from inference.log.bands import Bin
from inference.log.episodes import Burn
from inference.log.summary import Summary

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FORMATS = ("svg", "png")
CLEAN = DECISION["clear"]
MOST_DOTS = 4000
BEFORE, AFTER = 300.0, 420.0  # s shown before and after a burn
SETTINGS: Any = {
    "svg.hashsalt": "clogwise", "font.size": 10, "axes.spines.top": False, "axes.spines.right": False,
    "axes.edgecolor": LINE, "axes.labelcolor": INK, "text.color": INK, "xtick.color": INK, "ytick.color": INK,
    "figure.facecolor": "white", "savefig.facecolor": "white", "font.family": "DejaVu Sans", "svg.fonttype": "path",
}  # fmt: skip


@dataclass(frozen=True)
class Predicted:
    """What a burn should be like, for drawing beside a recorded one.

    Parameters
    ----------
    minutes : since its beginning [min]
    low, high : bounds of the temperature after the filter at each of them [°C]
    """

    minutes: Sequence[float]
    low: Sequence[float]
    high: Sequence[float]


def draw_log(
    summary: Summary, format_: str, hot_enough: float = 550.0, predicted: Predicted | None = None
) -> bytes | None:
    """Return the picture: pressure against flow, and under it the last burn; None where there is nothing to draw.

    Parameters
    ----------
    summary : the recording
    format_ : svg or png
    hot_enough : temperature before the filter that serves this kind of filter [°C]
    predicted : band of a predicted burn, drawn behind the recorded one
    """
    with_fit = summary.gas is not None and summary.bands is not None
    burn = summary.burns[-1] if summary.burns else None
    parts = [p for p, there in (("fit", with_fit), ("burn", burn is not None)) if there]
    if not parts:
        return None
    import matplotlib as mpl

    with mpl.rc_context(SETTINGS):
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        figure = Figure(figsize=(8.6, 4.9 * len(parts)), layout="constrained")
        FigureCanvasAgg(figure)
        axes = figure.subplots(len(parts), 1, squeeze=False)[:, 0]
        for part, axis in zip(parts, axes, strict=True):
            if part == "fit":
                pressure_against_flow(summary, axis)
            elif burn is not None:
                burn_over_time(summary, burn, axis, hot_enough, predicted)
        return _bytes(figure, format_)


def _bytes(figure: Figure, format_: str) -> bytes:
    out = io.BytesIO()
    metadata: dict[str, Any] = {"Date": None} if format_ == "svg" else {"Software": None}
    figure.savefig(out, format=format_, dpi=130, metadata=metadata)
    return out.getvalue()


def pressure_against_flow(summary: Summary, axis: Axes) -> None:
    """Draw the rows, the fit, and the bands of a clean filter and of one at the soot limit."""
    assert summary.gas is not None
    assert summary.bands is not None
    pressure = summary.drive.channels["filter_pressure"]
    volume = summary.gas.volume * 3600.0
    use = np.flatnonzero(
        summary.now & summary.drive.running & np.isfinite(pressure) & np.isfinite(volume) & (volume > 1.0)
    )
    some = use[:: max(1, use.size // MOST_DOTS)]
    bins = summary.bands.bins
    axis.plot(
        volume[some], pressure[some], ".", ms=3, alpha=0.35, color=FOR, mec="none", label=words("picture", "rows"),
        rasterized=some.size > 1000,
    )  # fmt: skip
    for name, colour, hatch, label in (
        ("clean", CLEAN, "", words("picture", "clean")),
        ("limit", AGAINST, "///", _limit_words(summary)),
    ):
        known = [b for b in bins if getattr(b, name) is not None]
        if len(known) > 1:
            _band(axis, known, name, colour, hatch, label)
    if summary.fit is not None:
        at = [b.volume for b in bins]
        fitted = [summary.fit.at(b.volume, b.temperature + 273.15) for b in bins]
        axis.plot(at, fitted, "-", color=INK, lw=1.6, label=words("picture", "fit"))
    axis.set_xlabel(words("picture", "volume"))
    axis.set_ylabel(words("picture", "pressure"))
    axis.set_title(words("picture", "fit_title", name=PurePath(summary.log.name).name), loc="left", fontsize=11)
    axis.set_xlim(left=0)
    low = float(np.min(pressure[use], initial=0.0))
    axis.set_ylim(bottom=min(0.0, 1.1 * low))
    axis.axhline(0.0, color=LINE, lw=0.6)
    axis.legend(loc="upper left", frameon=False, fontsize=9, markerscale=2)


def _limit_words(summary: Summary) -> str:
    limit = summary.bands.limit if summary.bands else None
    if limit is None:
        return ""
    if limit[0] == limit[1]:
        return words("picture", "limit_one", low=f"{limit[0]:g}")
    return words("picture", "limit", low=f"{limit[0]:g}", high=f"{limit[1]:g}")


def _band(axis: Axes, bins: Sequence[Bin], name: str, colour: str, hatch: str, label: str) -> None:
    at = [b.volume for b in bins]
    three = np.array([getattr(b, name) for b in bins])
    axis.fill_between(at, three[:, 0], three[:, 2], color=colour, alpha=0.16, lw=0, hatch=hatch, label=label)
    axis.plot(at, three[:, 1], "--", color=colour, lw=1.0)


def burn_over_time(
    summary: Summary, burn: Burn, axis: Axes, hot_enough: float, predicted: Predicted | None = None
) -> None:
    """Draw the exhaust temperatures about one burn, the mark it should pass, and the road speed under them."""
    drive = summary.drive
    begin = drive.time[burn.first]
    end = drive.time[burn.last - 1]
    rows = np.flatnonzero(
        (drive.time >= begin - BEFORE) & (drive.time <= end + AFTER) & (drive.segment == drive.segment[burn.first])
    )
    rows = rows[:: max(1, rows.size // MOST_DOTS)]
    minutes = (drive.time[rows] - begin) / 60.0
    axis.axvspan(0.0, float(end - begin) / 60.0, color="#f3ead9", lw=0)
    if predicted is not None:
        axis.fill_between(
            list(predicted.minutes), list(predicted.low), list(predicted.high), color=CLEAN, alpha=0.18, lw=0,
            label=words("picture", "predicted"),
        )  # fmt: skip
    lines = (("before_catalyst", FOR, ":"), ("before_filter", AGAINST, "-"), ("after_filter", INK, "--"))
    for place, colour, style in lines:
        values = drive.get(f"exhaust_temperature_{place}")
        if values is not None:
            axis.plot(minutes, values[rows], style, color=colour, lw=1.5, label=words("picture", place))
    axis.axhline(hot_enough, color=LINE, lw=0.8, ls=(0, (6, 4)))
    axis.annotate(
        words("picture", "mark", mark=f"{hot_enough:g}"), (1.0, hot_enough), xycoords=("axes fraction", "data"),
        ha="right", va="bottom", fontsize=8.5,
    )  # fmt: skip
    speed = drive.get("vehicle_speed")
    if speed is not None:
        under = axis.twinx()
        under.fill_between(minutes, 0.0, np.nan_to_num(speed[rows]), color=SOFT, alpha=0.25, lw=0)
        under.set_ylim(0.0, 420.0)
        under.set_yticks([0, 50, 100])
        under.set_ylabel(words("picture", "speed"), loc="bottom")
        under.spines["right"].set_visible(True)
    axis.set_ylim(bottom=0.0)
    axis.set_xlabel(words("picture", "minutes"))
    axis.set_ylabel(words("picture", "temperature"))
    number = summary.burns.index(burn) + 1
    title = words("picture", "burn_title", number=number, name=PurePath(summary.log.name).name)
    axis.set_title(title, loc="left", fontsize=11)
    axis.legend(loc="center left", frameon=False, fontsize=9, bbox_to_anchor=(0.0, 0.62))
