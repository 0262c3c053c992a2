"""Pictures of a recorded drive: pressure against flow with what the physics expects, and a burn over time.

matplotlib is imported here and only when a picture is asked for. The same recording gives the same bytes.
"""

from __future__ import annotations

import io
import textwrap
from collections.abc import Sequence
from pathlib import PurePath
from typing import TYPE_CHECKING, Any

import numpy as np

from explain.burntold import verdict_told, words
from explain.logview import told
from explain.look import AGAINST, DECISION, FOR, INK, LINE, SOFT
from explain.words import figure
from inference.burn.judge import HOT_AFTER, LONG
from inference.log.bands import Bin
from inference.log.held import Held, rows_about
from inference.log.summary import Summary
from inference.physics.valid import Array

if TYPE_CHECKING:
    from matplotlib.axes import Axes
    from matplotlib.figure import Figure

FORMATS = ("svg", "png")
Gaps = list[tuple[float, float]]
CLEAN = DECISION["clear"]
MOST_DOTS = 4000
BEFORE, AFTER = 300.0, 420.0  # s shown before and after a burn
SHOWN = 20.0  # min from its beginning shown at the least: a burn's time
FAULTS = (
    "sensor_flat", "sensor_backwards", "sensor_wanders", "sensor_lags", "sensor_saturates", "sensor_zero_off",
    "fit_zero_off", "fit_scatters",
)  # fmt: skip
DURING, GAP = "#f3ead9", "#c9cfd4"
SETTINGS: Any = {
    "svg.hashsalt": "clogwise", "font.size": 10, "axes.spines.top": False, "axes.spines.right": False,
    "axes.edgecolor": LINE, "axes.labelcolor": INK, "text.color": INK, "xtick.color": INK, "ytick.color": INK,
    "figure.facecolor": "white", "savefig.facecolor": "white", "font.family": "DejaVu Sans", "svg.fonttype": "path",
}  # fmt: skip


def draw_log(summary: Summary, format_: str, hot_enough: float = 550.0) -> bytes | None:
    """Return the picture: pressure against flow, and under it the last burn with the soot reckoned to be left.

    None where there is nothing to draw.

    Parameters
    ----------
    summary : the recording
    format_ : svg or png
    hot_enough : temperature before the filter that serves this kind of filter [°C]
    """
    parts = []
    if summary.gas is not None and summary.bands is not None:
        parts.append(("fit", 4.9))
    if summary.burns:
        parts.append(("burn", 5.4))
        if summary.held[-1].should is not None:
            parts.append(("soot", 2.5))
    if not parts:
        return None
    import matplotlib as mpl

    with mpl.rc_context(SETTINGS):
        from matplotlib.backends.backend_agg import FigureCanvasAgg
        from matplotlib.figure import Figure

        heights = [height for _, height in parts]
        figure = Figure(figsize=(8.6, sum(heights)))
        figure.set_layout_engine("constrained", hspace=0.06)
        FigureCanvasAgg(figure)
        axes = figure.subplots(len(parts), 1, squeeze=False, height_ratios=heights)[:, 0]
        place = {name: axis for (name, _), axis in zip(parts, axes, strict=True)}
        if "fit" in place:
            pressure_against_flow(summary, place["fit"])
        if "burn" in place:
            last = len(summary.burns) - 1
            burn_over_time(summary, last, place["burn"], hot_enough)
            if "soot" in place:
                soot_over_time(summary, last, place["soot"])
                place["soot"].set_xlim(place["burn"].get_xlim())
                place["burn"].set_xlabel("")
        _settle(figure)
        return _bytes(figure, format_, _title(summary))


def _settle(figure: Figure) -> None:
    """Lay the picture out and round the places: the layout's solver does not give the same last bits each time."""
    engine = figure.get_layout_engine()
    if engine is None:
        return
    engine.execute(figure)
    figure.set_layout_engine("none")
    for axis in figure.axes:
        box = axis.get_position()
        axis.set_position((round(box.x0, 4), round(box.y0, 4), round(box.width, 4), round(box.height, 4)))


def _title(summary: Summary) -> str:
    """Return what the picture shows, for who cannot see it."""
    name = PurePath(summary.log.name).name
    if not summary.burns:
        return words("picture", "fit_title", name=name)
    count = len(summary.burns)
    title = words("picture", "burn_title", number=count, count=count, name=name)
    return f"{title}. {verdict_told(summary.held[-1].verdict)}"


def _bytes(figure: Figure, format_: str, title: str) -> bytes:
    out = io.BytesIO()
    metadata: dict[str, Any] = {"Date": None} if format_ == "svg" else {"Software": None}
    metadata["Title"] = title
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
        volume[some], pressure[some], ".", ms=3, alpha=0.5, color=FOR, mec="none", rasterized=some.size > 1000,
        label=words("picture", _which(summary)),
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
    title = words("picture", "fit_title", name=PurePath(summary.log.name).name)
    fault = next((told(n) for n in summary.notes if n.kind in FAULTS), "")
    axis.set_title(f"{title}\n{wrapped(fault)}".rstrip(), loc="left", fontsize=11)
    axis.set_xlim(left=0)
    low = float(np.min(pressure[use], initial=0.0))
    axis.set_ylim(bottom=min(0.0, 1.1 * low))
    axis.axhline(0.0, color=LINE, lw=0.6)
    axis.legend(loc="upper left", frameon=False, fontsize=9, markerscale=2)


def _which(summary: Summary) -> str:
    """Name of the phrase that says which rows are drawn: those that speak of the filter as it was at the end."""
    kinds = {n.kind for n in summary.notes}
    return next((k for k in ("rows_after_burn", "rows_before_burn") if k.replace("rows", "pressure") in kinds), "rows")


def _limit_words(summary: Summary) -> str:
    limit = summary.bands.limit if summary.bands else None
    if limit is None:
        return ""
    low, high = (figure(round(x, 1)) for x in limit)
    return words("picture", "limit_one", low=low) if low == high else words("picture", "limit", low=low, high=high)


def _band(axis: Axes, bins: Sequence[Bin], name: str, colour: str, hatch: str, label: str) -> None:
    at = [b.volume for b in bins]
    three = np.array([getattr(b, name) for b in bins])
    axis.fill_between(at, three[:, 0], three[:, 2], color=colour, alpha=0.16, lw=0, hatch=hatch, label=label)
    axis.plot(at, three[:, 1], "--", color=colour, lw=1.0)


def burn_over_time(summary: Summary, index: int, axis: Axes, hot_enough: float) -> None:
    """Draw the exhaust temperatures about one burn, what was foretold of it, and the road speed under them."""
    drive, burn, held = summary.drive, summary.burns[index], summary.held[index]
    begin, end = drive.time[burn.first], drive.time[burn.last - 1]
    rows = rows_about(drive, burn, BEFORE, float(end - begin) + AFTER)
    rows = rows[:: max(1, rows.size // MOST_DOTS)]
    minutes = (drive.time[rows] - begin) / 60.0
    upto = max(float(minutes[-1]), SHOWN)
    gaps = _gaps(summary, index)
    axis.axvspan(0.0, float(end - begin) / 60.0, color=DURING, lw=0, label=words("picture", "during"))
    _unrecorded(axis, gaps, words("picture", "gap"))
    _foretold(axis, held, "after", upto, "should", "came", gaps)
    lines = (("before_catalyst", FOR, ":", 1.4), ("before_filter", AGAINST, "-", 1.2), ("after_filter", INK, "-", 2.0))
    for place, colour, style, width in lines:
        values = drive.get(f"exhaust_temperature_{place}")
        if values is not None:
            axis.plot(
                *_parted(minutes, values[rows], gaps), style, color=colour, lw=width, label=words("picture", place)
            )
    _mark(axis, hot_enough, words("picture", "mark", mark=f"{hot_enough:g}"))
    if held.should is not None and held.should.until_hot.high < LONG and abs(hot_enough - HOT_AFTER) > 40.0:
        _mark(axis, HOT_AFTER, words("picture", "mark_after", mark=f"{HOT_AFTER:g}"))
    speed = drive.get("vehicle_speed")
    if speed is not None:
        under = axis.twinx()
        at, driven = _parted(minutes, np.nan_to_num(speed[rows]), gaps)
        under.fill_between(at, 0.0, driven, color=SOFT, alpha=0.25, lw=0)
        under.set_ylim(0.0, 480.0)
        under.set_yticks([0, 50, 100])
        under.set_ylabel(words("picture", "speed"), loc="bottom")
        under.spines["right"].set_visible(True)
    axis.set_ylim(0.0, max(720.0, axis.get_ylim()[1]))
    axis.set_xlim(float(minutes[0]), upto)
    axis.set_xlabel(words("picture", "minutes"))
    axis.set_ylabel(words("picture", "temperature"))
    name = PurePath(summary.log.name).name
    title = words("picture", "burn_title", number=index + 1, count=len(summary.burns), name=name)
    high = max(3, -(-len(axis.get_legend_handles_labels()[1]) // 2))  # lines of the key, which stands under the title
    axis.set_title(f"{title}\n{wrapped(verdict_told(held.verdict))}", loc="left", fontsize=11, pad=58 + 19 * (high - 3))
    axis.legend(loc="lower left", bbox_to_anchor=(-0.01, 1.0), ncols=2, frameon=False, fontsize=9, borderaxespad=0.3)


def soot_over_time(summary: Summary, index: int, axis: Axes) -> None:
    """Draw the share of the soot that is left, as a burn should leave it and with the gas that came."""
    burn, held = summary.burns[index], summary.held[index]
    gaps = _gaps(summary, index)
    axis.axvspan(0.0, burn.elapsed, color=DURING, lw=0)
    _unrecorded(axis, gaps)
    _foretold(axis, held, "left", float("inf"), "soot_should", "soot_came", gaps, 100.0)
    axis.set_ylim(0.0, 104.0)
    axis.set_yticks([0, 20, 50, 100])
    _mark(axis, 20.0, words("picture", "mark_soot"))
    axis.set_xlabel(words("picture", "minutes"))
    axis.set_ylabel(words("picture", "soot"))
    axis.legend(loc="lower left", bbox_to_anchor=(-0.01, 1.0), ncols=2, frameon=False, fontsize=9, borderaxespad=0.3)


def _foretold(
    axis: Axes, held: Held, what: str, upto: float, should: str, came: str, gaps: Gaps, times: float = 1.0
) -> None:  # fmt: skip
    """Draw the bands of what was foretold, 10 to 90 % with the middle, up to a minute."""
    for foretold, colour, hatch, name in ((held.should, CLEAN, "", should), (held.came, SOFT, "////", came)):
        if foretold is None:
            continue
        minutes = foretold.seconds / 60.0
        use = minutes <= upto
        here = gaps if foretold is held.came else []
        (at, low), (_, mid), (_, high) = (_parted(minutes[use], times * r[use], here) for r in getattr(foretold, what))
        axis.fill_between(
            at, low, high, facecolor=colour, alpha=0.22, edgecolor=colour, hatch=hatch, lw=0,
            label=words("picture", name),
        )  # fmt: skip
        axis.plot(at, mid, "--", color=colour, lw=1.0)


def _gaps(summary: Summary, index: int) -> Gaps:
    """The burn's gaps, from and to [min since its beginning]."""
    time, burn = summary.drive.time, summary.burns[index]
    return [(float(time[r] - burn.begin) / 60.0, float(time[r + 1] - burn.begin) / 60.0) for r in burn.gaps]


def _unrecorded(axis: Axes, gaps: Gaps, label: str | None = None) -> None:
    for i, (begun, ended) in enumerate(gaps):
        said = None if i else label
        axis.axvspan(begun, ended, facecolor="white", edgecolor=GAP, hatch="xx", lw=0, label=said)


def _parted(minutes: Array, values: Array, gaps: Gaps) -> tuple[Array, Array]:
    """Return a line that is broken where nothing was recorded."""
    at = np.searchsorted(minutes, [(a + b) / 2.0 for a, b in gaps])
    return np.insert(minutes, at, np.nan), np.insert(values, at, np.nan)


def _mark(axis: Axes, at: float, label: str) -> None:
    axis.axhline(at, color=LINE, lw=0.8, ls=(0, (6, 4)))
    axis.annotate(
        label, (0.0, at), xycoords=("axes fraction", "data"), xytext=(4, 2), textcoords="offset points", ha="left",
        va="bottom", fontsize=8.5, zorder=1.9,
    )  # fmt: skip


def wrapped(sentence: str) -> str:
    """Return a sentence broken to the width of the picture."""
    return "\n".join(textwrap.wrap(sentence, 96))
