"""Pressure against flow: what was put into a drive is found again, and each sensor fault is named, no other.

The drives come from the program's own pressure formula, so this says nothing about real filters; the robust fit itself
is held against scipy's least squares with a soft loss.
"""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest
from scipy.optimize import least_squares

from bench.drive import Wish
from inference.log.fit import ceiling, fit_pressure, gas_flow, lagged, robust, sensor_notes
from inference.log.summary import summarise
from inference.read_case import parse_case
from kb.model import Knowledge
from tests.inference.log_drives import gridded, recorded

PLAIN = Wish(soot=4.0, fast_idle=((55.0, 1.0),), stops=((30.0, 2.0),))
CASE = b"""case: made-up
vehicle: {engine_litres: 2.0}
filter: {type: coated, substrate: silicon carbide, volume: 2.5 l}
layout: differential_pressure_three_temperatures
rounds: [{when: arrival}]
"""
FAULTS = {"sensor_flat", "sensor_backwards", "sensor_wanders", "sensor_lags", "sensor_saturates", "sensor_zero_off",
          "fit_zero_off", "fit_scatters"}  # fmt: skip


def wish(**changed: Any) -> Wish:
    return Wish(**{**PLAIN.__dict__, **changed})


def named(knowledge: Knowledge, **changed: Any) -> set[str]:
    case = parse_case(CASE, "case", knowledge)
    return {n.kind for n in summarise(recorded(wish(**changed)), case, knowledge).notes} & FAULTS


@pytest.mark.parametrize(
    ("changed", "kind"),
    [
        ({}, None),
        ({"soot": 0.0}, None),
        ({"soot": 9.0}, None),
        ({"step": 0.2}, None),
        ({"sensor_offset": 6.0}, "sensor_zero_off"),
        ({"sensor_offset": -5.0}, "sensor_zero_off"),
        ({"sensor_lag": 5.0}, "sensor_lags"),
        ({"sensor_lag": 12.0}, "sensor_lags"),
        ({"sensor_sign": -1.0}, "sensor_backwards"),
        ({"sensor_share": 0.0}, "sensor_flat"),
        ({"sensor_share": 0.02}, "sensor_flat"),
        ({"sensor_ceiling": 45.0}, "sensor_saturates"),
        ({"sensor_ceiling": 60.0, "soot": 9.0, "fast_idle": ()}, "sensor_saturates"),
        ({"sensor_share": 0.0, "burns": ((20.0, 14.0),), "fast_idle": ()}, "sensor_flat"),
        ({"sensor_ceiling": 45.0, "step": 0.2}, "sensor_saturates"),
    ],
)
def test_each_fault_of_the_sensor_is_named_and_no_other(
    knowledge: Knowledge, changed: dict[str, Any], kind: str | None
) -> None:
    assert named(knowledge, **changed) == ({kind} if kind else set())


@pytest.mark.parametrize("seed", range(5))
def test_a_sound_sensor_is_never_accused(knowledge: Knowledge, seed: int) -> None:
    assert named(knowledge, seed=seed, soot=1.5 * seed) == set()


@pytest.mark.parametrize("offset", [-4.0, 0.0, 7.5])
@pytest.mark.parametrize("soot", [0.0, 3.0, 8.0])
def test_the_offset_is_found_within_its_error(soot: float, offset: float) -> None:
    drive = gridded(wish(soot=soot, sensor_offset=offset))
    gas, _ = gas_flow(drive)
    assert gas is not None
    fit = fit_pressure(drive, gas, np.ones(drive.time.size, dtype=np.bool_))
    assert fit is not None
    assert abs(fit.offset[0] - offset) < max(4 * fit.offset[1], 0.15)


def test_more_soot_is_a_steeper_slope() -> None:
    slopes = []
    for soot in (0.0, 2.0, 5.0, 9.0):
        drive = gridded(wish(soot=soot))
        gas, _ = gas_flow(drive)
        assert gas is not None
        fit = fit_pressure(drive, gas, np.ones(drive.time.size, dtype=np.bool_))
        assert fit is not None
        slopes.append(fit.slope[0])
    assert slopes == sorted(slopes)
    assert slopes[-1] > 3 * slopes[0]


@pytest.mark.parametrize("constant", [3.0, 5.0, 12.0])
def test_the_lag_is_about_what_was_put_in(constant: float) -> None:
    drive = gridded(wish(sensor_lag=constant))
    gas, _ = gas_flow(drive)
    assert gas is not None
    fit = fit_pressure(drive, gas, np.ones(drive.time.size, dtype=np.bool_))
    assert fit is not None
    assert 0.6 * constant <= fit.lag <= 1.7 * constant


@pytest.mark.parametrize("soot", [0.0, 2.0, 5.0, 8.0])
def test_the_soot_put_in_lies_within_what_the_bins_say(knowledge: Knowledge, soot: float) -> None:
    case = parse_case(CASE, "case", knowledge)
    summary = summarise(recorded(wish(soot=soot)), case, knowledge)
    assert summary.bands is not None
    for bin_ in summary.bands.bins:
        assert bin_.soot is not None
        assert bin_.clean is not None
        assert bin_.limit is not None
        assert bin_.soot[0] - 0.5 <= soot <= bin_.soot[2] + 0.5
        assert bin_.clean[0] < bin_.clean[1] < bin_.clean[2] < bin_.limit[2]


def test_the_robust_fit_agrees_with_scipy_and_outliers_do_not_count() -> None:
    rng = np.random.default_rng(3)
    x = rng.uniform(0.3, 4.0, 800)
    design = np.column_stack([np.ones(x.size), x, x**2])
    truth = np.array([1.5, 12.0, 0.8])
    values = design @ truth + rng.normal(0, 0.5, x.size)
    values[rng.choice(x.size, 80, replace=False)] += 60.0  # one row in ten is far off
    found, scatter = robust(design, values)

    def off(c: np.ndarray) -> np.ndarray:
        return np.asarray((design @ c - values) / 0.5)

    theirs = least_squares(off, np.zeros(3), loss="cauchy", f_scale=1.0).x
    assert found == pytest.approx(theirs, abs=0.35)
    assert found == pytest.approx(truth, abs=0.35)
    assert scatter == pytest.approx(0.5, rel=0.25)
    plain = np.linalg.lstsq(design, values, rcond=None)[0]
    at_two = np.array([1.0, 2.0, 4.0])
    assert abs(at_two @ plain - at_two @ truth) > 3.0  # what plain least squares would have made of it


def test_a_lag_of_a_step_reaches_63_percent_after_its_time() -> None:
    out = lagged(np.concatenate([np.zeros(50), np.ones(100)]), 10.0)
    assert out[49] == pytest.approx(0.0, abs=1e-12)
    assert out[60] == pytest.approx(1 - np.exp(-1.1), abs=0.02)  # the first order's own formula
    assert out[-1] == pytest.approx(1.0, abs=1e-3)


def test_a_coarse_sensor_is_not_one_that_stops() -> None:
    rng = np.random.default_rng(1)
    flow = 40 + 30 * np.sin(np.arange(3000) / 60.0) + rng.normal(0, 1, 3000)
    pressure = np.round(flow * 1.2 / 10.0) * 10.0  # steps of a kilopascal
    assert ceiling(pressure, flow, np.ones(3000, dtype=np.bool_)) is None
    assert ceiling(np.minimum(flow * 1.2, 60.0), flow, np.ones(3000, dtype=np.bool_)) == pytest.approx(60.0)


def test_without_flow_or_pressure_it_is_said(knowledge: Knowledge) -> None:
    from dataclasses import replace

    case = parse_case(CASE, "case", knowledge)
    log = recorded(PLAIN)
    no_air = replace(log, channels={k: v for k, v in log.channels.items() if k != "air_mass_flow"})
    said = summarise(no_air, case, knowledge)
    assert said.fit is None
    assert "no_flow" in {n.kind for n in said.notes}
    no_pressure = replace(log, channels={k: v for k, v in log.channels.items() if k != "filter_pressure"})
    said = summarise(no_pressure, case, knowledge)
    assert said.fit is None
    assert "no_filter_pressure" in {n.kind for n in said.notes}


def test_idle_alone_is_no_fit() -> None:
    drive = gridded(Wish(minutes=8.0, stops=((0.0, 8.0),)))
    gas, _ = gas_flow(drive)
    assert gas is not None
    rows = np.ones(drive.time.size, dtype=np.bool_)
    assert fit_pressure(drive, gas, rows) is None
    assert [n.kind for n in sensor_notes(drive, gas, None, rows)] == ["flow_hardly_varies"]


def test_a_burn_that_was_not_recorded_shows_as_scatter(knowledge: Knowledge) -> None:
    log = recorded(wish(burns=((30.0, 12.0),), soot=6.0))
    bare = replace(log, channels={k: v for k, v in log.channels.items() if not k.startswith("exhaust")})
    case = parse_case(CASE, "case", knowledge)
    scattered = {n.kind for n in summarise(bare, case, knowledge).notes}
    plain = {n.kind for n in summarise(recorded(PLAIN), case, knowledge).notes}
    assert "fit_scatters" in scattered
    assert "against_clean" not in scattered, "a line that says nothing is not held against a clean filter's"
    assert "fit_scatters" not in plain
    assert "against_clean" in plain
