"""A recorded drive on the terminal and as JSON: what was read, what it shows, and the readings to keep."""

from __future__ import annotations

from collections.abc import Iterable
from math import isfinite
from pathlib import PurePath
from typing import Any

from rich.console import Console
from rich.text import Text

from explain.burntold import basis_told, foretold_told, reason_told, seen_told, verdict_told, words
from explain.terminal import Line, print_block
from explain.words import figure
from inference.log.bands import Bin, Three
from inference.log.columns import Column
from inference.log.drive import ROAD
from inference.log.held import Held
from inference.log.merge import nested, readings_block
from inference.log.notes import Note
from inference.log.summary import Summary
from inference.log.use import use_of
from inference.physics.usage import LEAST_TRIPS
from inference.values import Spread
from kb.log_columns import log_columns

# what tells of the file and what was taken for granted, not of the vehicle
OF_FILE = (
    "rows_without_time", "rows_newest_first", "rows_out_of_order", "restarts", "stamps_doubled", "stamps_coarse",
    "gaps", "time_taken_as", "time_in_days", "day_and_month_unsure", "text_in_cells", "column_empty", "impossible",
    "unit_not_said", "unit_taken_as", "spare_column",
)  # fmt: skip
OF_PRESSURE = (
    "sensor_flat", "sensor_backwards", "sensor_wanders", "sensor_lags", "sensor_saturates", "at_the_ceiling",
    "sensor_zero_off", "fit_zero_off", "fit_scatters", "against_clean", "too_few_rows", "flow_hardly_varies",
    "no_filter_pressure", "no_flow", "no_gas_temperature", "no_filter_size", "pressure_after_burn",
    "pressure_before_burn",
)  # fmt: skip
TOO_HOT = 750.0  # °C after the filter; the mark of the rules that find a burn too hot


def told(note: Note) -> str:
    """Return the sentence of a note; numbers as people write them."""
    slots = {k: figure(v) if isinstance(v, float) else f"{v:,}" if isinstance(v, int) else v for k, v in note.values}
    return words("note", note.kind, **slots)


def source_line(summary: Summary) -> str:
    """Return the sentence that names the recording as the source of the readings; safe to stand in quotes."""
    name = PurePath(summary.log.name).name
    clean = "".join(c if c.isprintable() and c not in "\"'\\" else "?" for c in name)[:120]
    minutes = f"{sum(summary.drive.seconds) / 60.0:.0f}"
    return words("readings", "from", name=clean, rows=f"{summary.log.rows:,}", minutes=minutes)


class LogView:
    """Prints one recording's summary."""

    def __init__(self, summary: Summary, hot_enough: float, out: Console) -> None:
        self.s, self.mark, self.out = summary, hot_enough, out

    def show(self) -> None:
        """Print everything: the recording, pressure, burns, driving, readings, what to look at again."""
        self._block("recording", self._recording(), name=self.s.log.name)
        self._block("pressure", self._pressure())
        self._block("burns", self._burns())
        self._block("driving", self._driving())
        rest = [n for n in self.s.notes if n.kind not in (*OF_FILE, *OF_PRESSURE, "use_too_short")]
        self._block("notes", _bullets(told(n) for n in rest))
        self._block("file", _bullets(told(n) for n in self.s.notes if n.kind in OF_FILE))
        if any(b.after_filter is not None and b.after_filter > TOO_HOT for b in self.s.burns):
            self._block("cautions", [("· ", Text(words("caution", "hot", mark=figure(TOO_HOT)), style="bold"))])
        self.readings()

    def readings(self) -> None:
        """Print the block of readings, to copy into a case as it stands."""
        self.out.print(Text(words("heading", "readings"), style="bold"))
        if not self.s.readings:
            self.out.print("  " + words("readings", "none"))
            return
        source = words("readings", "source", source=source_line(self.s))
        for line in (source, *readings_block(self.s.readings).splitlines()):
            self.out.print(Text(line), soft_wrap=True)  # never wrapped: it is copied

    def _block(self, heading: str, lines: Iterable[Line], **slots: object) -> None:
        lines = list(lines)
        if lines:
            print_block(self.out, words("heading", heading, **slots), lines)

    def _recording(self) -> list[Line]:
        log, drive = self.s.log, self.s.drive
        minutes = figure(float(drive.seconds.sum()) / 60.0)
        kind = "rows" if log.day else "no_day"
        rows = words("recording", kind, rows=f"{log.rows:,}", minutes=minutes, step=figure(log.step), day=log.day)
        lines: list[Line] = [Text(rows)]
        known = [c for c in log.columns if c.channel in log.channels or c.channel == "raw"]
        lines.append(Text(words("recording", "columns", list="; ".join(_column(c) for c in known))))
        if log.unused:
            names = ", ".join(log.unused[:8]) + (" …" if len(log.unused) > 8 else "")
            lines.append(Text(words("recording", "unused", list=names), style="dim"))
        return lines

    def _pressure(self) -> list[Line]:
        fit = self.s.fit
        lines: list[Line] = []
        if fit is not None:
            lines.append(
                Text(
                    words(
                        "pressure",
                        "fit",
                        offset=_around(fit.offset),
                        slope=_around(fit.slope),
                        curvature=_around(fit.curvature),
                        scatter=figure(fit.scatter),
                        rows=f"{fit.rows:,}",
                        low=figure(fit.flow[0]),
                        high=figure(fit.flow[1]),
                    )
                )
            )
        elif self.s.drive.has("filter_pressure"):
            lines.append(Text(words("pressure", "no_fit")))
        if self.s.zero is not None:
            lines.append(Text(words("pressure", "zero", zero=figure(round(self.s.zero, 1)))))
        lines += [Text(_bin(b)) for b in _few(self.s.bands.bins if self.s.bands else ())]
        notes = [n for n in self.s.notes if n.kind in OF_PRESSURE]
        return [*lines, *_bullets(told(n) for n in notes)]

    def _burns(self) -> list[Line]:
        if not self.s.drive.has("exhaust_temperature_before_filter"):
            return [Text(words("burn", "unseen"))]
        if not self.s.burns:
            return [Text(words("burn", "none"))]
        lines: list[Line] = []
        for number, (burn, held) in enumerate(zip(self.s.burns, self.s.held, strict=True), 1):
            lines.append(("· ", Text(seen_told(burn, number, self.mark))))
            foretold = foretold_told(held, burn)
            lines += [("  ", Text(foretold))] if foretold else []
            lines.append(("  ", Text(verdict_told(held.verdict), style="bold")))
        bases = dict.fromkeys(basis_told(h) for h in self.s.held if h.should is not None)
        return [*lines, *(Text(b, style="dim") for b in bases)]

    def _driving(self) -> list[Line]:
        trips = self.s.trips
        if not trips:
            return [Text(words("driving", "none"))]
        use = use_of(self.s.drive, list(trips))
        assert use is not None
        mean = sum(t.minutes for t in trips) / len(trips)
        km = [t.km for t in trips if t.km is not None]
        if use.mean_speed is None:
            return [Text(words("driving", "no_km", count=len(trips), minutes=figure(mean)))]
        mean_km = sum(km) / len(km)
        slots = {"count": len(trips), "minutes": figure(mean), "km": figure(mean_km), "longest": figure(use.longest)}
        lines: list[Line] = [Text(words("driving", "one" if len(trips) == 1 else "trip", **slots))]
        if use.long_runs:
            lines.append(Text(words("driving", "long_runs", count=use.long_runs, speed=figure(ROAD))))
        if use.idle_share is not None:
            share, speed = 100 * use.idle_share, use.mean_speed
            lines.append(Text(words("driving", "idle", share=f"{share:.0f}", speed=f"{speed:.0f}")))
        enough = len(trips) >= LEAST_TRIPS
        lines.append(Text(words("driving", "stands_in" if enough else "too_few", least=LEAST_TRIPS)))
        lines += [Text(told(n), style="dim") for n in self.s.notes if n.kind == "use_too_short"]
        return lines


def as_json(summary: Summary, case: str) -> dict[str, Any]:
    """Return the summary as plain data: numbers rounded to six digits, null where a thing is not known."""
    s = summary
    return {
        "case": case,
        "recording": {
            "file": s.log.name, "rows": s.log.rows, "minutes": _round(float(s.drive.seconds.sum()) / 60.0),
            "step_s": _round(s.log.step), "date": s.log.day.isoformat() if s.log.day else None,
            "columns": [
                {"name": c.name, "channel": c.channel, "unit": c.unit or None, "parameter": c.pid or None}
                for c in s.log.columns
            ],
            "unused": list(s.log.unused),
        },
        "fit": None if s.fit is None else {
            "offset_mbar": _pair(s.fit.offset), "slope_mbar_per_100_m3_h": _pair(s.fit.slope),
            "curvature_mbar_per_100_m3_h_squared": _pair(s.fit.curvature), "scatter_mbar": _round(s.fit.scatter),
            "lag_s": _round(s.fit.lag), "rows": s.fit.rows, "flow_m3_h": _pair(s.fit.flow),
        },
        "zero_mbar": None if s.zero is None else _round(s.zero),
        "bins": [
            {
                "flow_m3_h": _round(b.volume), "mass_flow_g_s": _round(b.mass), "temperature_c": _round(b.temperature),
                "rows": b.rows, "pressure_mbar": _three(b.pressure), "clean_mbar": _three(b.clean),
                "at_soot_limit_mbar": _three(b.limit), "index": _three(b.index), "soot_g_per_l": _three(b.soot),
            }
            for b in (s.bands.bins if s.bands else ())
        ],
        "burns": [
            {
                "begin_s": _round(b.begin), "minutes": _round(b.minutes), "before_filter_c": _round(b.before_filter),
                "hot_minutes": _round(b.hot_minutes), "ended": b.ended, "verdict": h.verdict.mode,
                "because": [{"kind": r.kind, "says": reason_told(r), **_figures(r.values)} for r in h.verdict.reasons],
                "before_catalyst_c": None if b.before_catalyst is None else _round(b.before_catalyst),
                "after_filter_c": None if b.after_filter is None else _round(b.after_filter),
                "resistance_left": _three(b.left), "cut_at_start": b.cut_at_start,
                "gaps": len(b.gaps), "gap_minutes": _round(b.gap_minutes),
                "foretold": _foretold(h),
            }
            for b, h in zip(s.burns, s.held, strict=True)
        ],
        "trips": [
            {
                "begin_s": _round(float(s.drive.time[t.first])), "minutes": _round(t.minutes),
                "km": None if t.km is None else _round(t.km),
                "idle_minutes": None if t.idle_minutes is None else _round(t.idle_minutes),
            }
            for t in s.trips
        ],
        "readings": nested(s.readings),
        "made_from_s": {t.slot: t.seconds for t in s.readings},
        "source": source_line(s),
        "notes": [{"kind": n.kind, "says": told(n), **dict(n.values)} for n in s.notes],
    }  # fmt: skip


def _column(column: Column) -> str:
    if column.channel == "raw":
        return f"{column.name} = {column.pid}"
    entry = log_columns().channel(column.channel)
    title = entry.title if entry else column.channel
    return words("recording", "column", channel=title, name=column.name)


def _bullets(sentences: Iterable[str]) -> list[Line]:
    return [("· ", Text(s)) for s in dict.fromkeys(sentences)]


def _few(bins: tuple[Bin, ...]) -> list[Bin]:
    """The lowest, the middle and the highest flow."""
    if len(bins) <= 3:
        return list(bins)
    return [bins[0], bins[len(bins) // 2], bins[-1]]


def _bin(b: Bin) -> str:
    shown, at = figure(round(b.pressure[1], 1)), f"{b.volume:.0f}"
    if b.clean is None or b.limit is None:
        return words("pressure", "bin", pressure=shown, flow=at)
    return words(
        "pressure", "bin_clean", pressure=shown, flow=at, low=figure(b.clean[0]), high=figure(b.clean[2]),
        full_low=figure(b.limit[0]), full_high=figure(b.limit[2]),
    )  # fmt: skip


def _around(pair: tuple[float, float]) -> str:
    """A figure with its standard error, to the figures the error leaves."""
    places = 1 if pair[1] >= 0.05 else 2
    return f"{round(pair[0], places) + 0.0:.{places}f} ± {max(pair[1], 10.0**-places):.{places}f}"


def _round(value: float) -> float | None:
    return float(f"{value:.6g}") if isfinite(value) else None


def _figures(values: tuple[tuple[str, float], ...]) -> dict[str, float | None]:
    return {name: _round(value) for name, value in values}


def _foretold(held: Held) -> dict[str, Any] | None:
    """What was foretold of a burn; null where a time is not reached or a thing is not known."""
    if held.should is None:
        return None
    return {
        "until_450_c_min": _spread(held.should.until_hot), "until_80_percent_min": _spread(held.should.until_done),
        "burnt_by_the_end": _spread(held.burnt), "extra_pressure_left": _spread(held.left),
        "soot_before_g_per_l": _spread(held.soot), "recorded": list(held.recorded),
    }  # fmt: skip


def _spread(spread: Spread | None) -> list[float | None] | None:
    return None if spread is None else _three((spread.low, spread.mid, spread.high))


def _pair(pair: tuple[float, float]) -> list[float | None]:
    return [_round(pair[0]), _round(pair[1])]


def _three(three: Three | None) -> list[float | None] | None:
    return None if three is None else [_round(x) for x in three]
