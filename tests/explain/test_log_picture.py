"""Pictures of recorded drives: what is in the summary is in the picture, whatever the recording holds."""

from __future__ import annotations

import io
import json
import random
import re
from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from rich.console import Console

from bench.drive import Wish
from explain.burntold import foretold_told, seen_told, words
from explain.logpicture import burn_over_time, draw_log, pressure_against_flow, soot_over_time
from explain.logview import LogView, as_json, told
from inference.log.summary import Summary, summarise
from inference.read_case import parse_case
from kb.model import Knowledge
from tests.inference.log_drives import recorded

CASE = b"""case: made-up
vehicle: {engine_litres: 2.0}
filter: {type: coated, substrate: silicon carbide}
layout: differential_pressure_three_temperatures
rounds: [{when: arrival}]
"""
WISH = Wish(soot=5.0, burns=((30.0, 12.0),), fast_idle=((55.0, 1.0),), stops=((51.0, 2.0),))


@pytest.fixture
def summary(knowledge: Knowledge) -> Summary:
    return summarise(recorded(WISH), parse_case(CASE, "case", knowledge), knowledge)


def legend(axis: Axes) -> set[str]:
    return {t.get_text() for t in axis.get_legend().get_texts()}  # type: ignore[union-attr]


def test_the_bands_and_the_fit_are_drawn_with_what_they_are(summary: Summary) -> None:
    axis = Figure().subplots()
    pressure_against_flow(summary, axis)
    assert {words("picture", "clean"), words("picture", "fit"), words("picture", "rows_after_burn")} < legend(axis)
    fitted = next(line for line in axis.lines if line.get_label() == words("picture", "fit"))
    assert summary.fit is not None
    assert summary.bands is not None
    bin_ = summary.bands.bins[-1]
    assert np.asarray(fitted.get_ydata())[-1] == pytest.approx(bin_.pressure[1], rel=0.05)
    assert axis.get_ylabel().endswith("[mbar]")
    assert axis.get_xlabel().endswith("[m³/h]")


def test_figures_in_the_legend_are_written_as_a_person_writes_them(summary: Summary) -> None:
    axis = Figure().subplots()
    pressure_against_flow(summary, axis)
    assert summary.bands is not None
    assert summary.bands.limit is not None
    (said,) = [t for t in legend(axis) if "g/l" in t]
    low, high = re.findall(r"[\d.]+(?= to [\d.]+ g/l| g/l)", said)
    assert len(low) <= 4
    assert [float(low), float(high)] == pytest.approx(list(summary.bands.limit), abs=0.06)


@pytest.mark.parametrize(
    ("wish", "kind"),
    [(Wish(sensor_sign=-1.0), "sensor_backwards"), (Wish(sensor_lag=8.0), "sensor_lags"), (WISH, None)],
)
def test_a_sensor_that_lies_is_named_over_its_rows(knowledge: Knowledge, wish: Wish, kind: str | None) -> None:
    told_of = summarise(recorded(wish), parse_case(CASE, "case", knowledge), knowledge)
    axis = Figure().subplots()
    pressure_against_flow(told_of, axis)
    first, _, fault = axis.get_title(loc="left").partition("\n")
    assert "drive.csv" in first
    says = next((told(n) for n in told_of.notes if n.kind == kind), "")
    assert " ".join(fault.split()) == says


def test_what_was_foretold_is_drawn_behind_what_was_recorded(summary: Summary) -> None:
    axis, below = Figure().subplots(2)
    burn_over_time(summary, 0, axis, 550.0)
    assert {words("picture", name) for name in ("should", "came", "after_filter", "during")} < legend(axis)
    assert words("mode", "as it should") in axis.get_title(loc="left")
    bands = {c.get_label(): c for c in axis.collections}
    held = summary.held[0]
    assert held.should is not None
    assert held.came is not None
    for band, foretold in (("should", held.should), ("came", held.came)):
        corners = np.asarray(bands[words("picture", band)].get_paths()[0].vertices)[:, 1]
        assert np.max(corners) == pytest.approx(foretold.after[2].max(), abs=1.0)
    soot_over_time(summary, 0, below)
    assert {words("picture", "soot_should"), words("picture", "soot_came")} == legend(below)
    assert below.get_ylabel().endswith("[%]")


def test_a_recording_that_begins_in_a_burn_is_drawn_without_a_forecast(knowledge: Knowledge) -> None:
    log = recorded(WISH)
    late = log.time >= 34 * 60.0
    cut = replace(log, time=log.time[late], segment=log.segment[late],
                  channels={k: v[late] for k, v in log.channels.items()})  # fmt: skip
    half = summarise(cut, parse_case(CASE, "case", knowledge), knowledge)
    assert half.held[0].should is None
    axis = Figure().subplots()
    burn_over_time(half, 0, axis, 550.0)
    assert words("picture", "should") not in legend(axis)
    assert draw_log(half, "svg") is not None


def test_nothing_to_draw_is_none(knowledge: Knowledge) -> None:
    log = recorded(Wish(minutes=9.0))
    bare = replace(log, channels={"coolant_temperature": log.channels["coolant_temperature"]})
    assert draw_log(summarise(bare, parse_case(CASE, "case", knowledge), knowledge), "svg") is None


@pytest.mark.filterwarnings("error")
def test_whatever_was_recorded_can_be_summed_up_told_and_drawn(knowledge: Knowledge) -> None:
    """Channels missing, empty from some row on, full of holes, or stuck; pieces of a drive of any length."""
    rng = random.Random(5)
    cases = [parse_case(CASE, "case", knowledge), parse_case(b"case: a\nrounds: [{when: arrival}]", "a", knowledge)]
    logs = [recorded(WISH), recorded(Wish(minutes=30.0, step=0.5, burns=((20.0, 20.0),)))]
    for turn in range(60):
        log = rng.choice(logs)
        first = rng.randrange(log.rows - 12)
        last = rng.choice([log.rows, first + 12, min(log.rows, first + rng.randrange(12, 3000))])
        channels: dict[str, Any] = {}
        for name, values in log.channels.items():
            if rng.random() < rng.choice([0.3, 0.1, 0.02]):
                continue
            piece = values[first:last].copy()
            spoil = rng.randrange(6)
            if spoil == 0:
                piece[rng.randrange(piece.size) :] = np.nan
            elif spoil == 1:
                piece[np.random.default_rng(turn).random(piece.size) < 0.6] = np.nan
            elif spoil == 2:
                piece[:] = piece[0]
            channels[name] = piece
        cut = replace(log, time=log.time[first:last], segment=log.segment[first:last], channels=channels)
        summary = summarise(cut, rng.choice(cases), knowledge)
        LogView(summary, 550.0, Console(file=io.StringIO(), width=100)).show()
        json.dumps(as_json(summary, "a"), allow_nan=False)
        if turn % 10 == 0:
            draw_log(summary, "svg")


def test_a_gap_within_the_burn_is_drawn_and_said(knowledge: Knowledge) -> None:
    wish = replace(WISH, unrecorded=((35.0, 3.0),), run_time=True)
    gap = summarise(recorded(wish), parse_case(CASE, "case", knowledge), knowledge)
    said = seen_told(gap.burns[0], 1, 550.0)
    assert "9.1 minutes recorded out of 12.1" in said
    assert "For 3 minutes of it nothing was recorded" in said
    assert "another begun" not in said
    long = replace(WISH, unrecorded=((33.0, 7.0),), run_time=True)
    (burn,) = summarise(recorded(long), parse_case(CASE, "case", knowledge), knowledge).burns
    assert "one burn may also have ended and another begun" in seen_told(burn, 1, 550.0)
    assert "the gap left out" in (foretold_told(gap.held[0], gap.burns[0]) or "")
    axis = Figure().add_subplot()
    burn_over_time(gap, 0, axis, 550.0)
    assert words("picture", "gap") in axis.get_legend_handles_labels()[1]
    [line] = [x for x in axis.get_lines() if x.get_label() == words("picture", "after_filter")]
    at, shown = (np.asarray(v, dtype=float) for v in line.get_data())
    assert np.isnan(shown).sum() == 1, "the line is broken, not drawn through"
    assert not ((at > 5.2) & (at < 7.9)).any()
    assert at[-1] > 15.0, "what came behind the gap is drawn too"
    shape = as_json(gap, "made-up")["burns"][0]
    assert (shape["gaps"], round(shape["gap_minutes"], 1)) == (1, 3.0)


def test_idle_share_and_mean_speed_are_told_once(summary: Summary) -> None:
    out = io.StringIO()
    LogView(summary, 550.0, Console(file=out, width=100)).show()
    said = " ".join(out.getvalue().split("Readings for a round")[0].split())
    assert len(re.findall(r"\d+ % of the running time at idle", said)) == 1
    assert len(re.findall(r"\d+ % (?:of the running time )?at idle", said)) == 1
    assert len(re.findall(r"mean speed \d+ km/h|\d+ km/h on the mean", said)) == 1
    assert "of this recording alone (60 minutes, trips: 1)" in said, "how far they stand for more is still said"
