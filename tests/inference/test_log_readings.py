"""Readings of a round out of a recording: right values from the right moments, none that the moment does not bear."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bench.drive import Wish, make
from inference.log.read import Log
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
WHOLE = Wish(soot=5.0, burns=((30.0, 12.0),), fast_idle=((55.0, 1.0),), stops=((51.0, 2.0),))


def summed(knowledge: Knowledge, wish: Wish = WHOLE, log: Log | None = None, case: bytes = CASE) -> Summary:
    return summarise(log or recorded(wish), parse_case(case, "case", knowledge), knowledge)


def readings(knowledge: Knowledge, wish: Wish = WHOLE) -> dict[str, float]:
    return {t.slot: t.value for t in summed(knowledge, wish).readings}


def kinds(summary: Summary) -> set[str]:
    return {n.kind for n in summary.notes}


def test_what_was_driven_is_what_is_read(knowledge: Knowledge) -> None:
    found = readings(knowledge)
    drive = make(WHOLE)
    rows = (drive.time >= 51.3 * 60) & (drive.time < 53 * 60)
    pressure = drive.columns["DPF Differential Pressure (kPa)"][rows] * 10
    assert found["sensor_pressure.idle"] == pytest.approx(float(np.median(pressure)), abs=0.3)
    assert found["sensor_pressure.key_on"] == pytest.approx(0.0, abs=0.3)
    assert found["engine_speed.idle"] == pytest.approx(820, abs=5)
    assert found["engine_speed.fast_idle"] == pytest.approx(2500, abs=10)
    assert found["coolant_temperature.road"] == pytest.approx(88, abs=0.5)
    assert found["ambient_temperature"] == pytest.approx(12)
    assert found["barometric_pressure"] == pytest.approx(1010)
    assert found["exhaust_temperature_before_filter.burn"] == pytest.approx(600, abs=3)
    assert found["burn_duration"] == pytest.approx(12, abs=0.5)
    # from 12 °C towards 88 °C with 240 s: 80 °C after 240 ln(76/8) = 540 s
    assert found["coolant_warm_up_time"] == pytest.approx(540 / 60, abs=0.3)


def test_every_reading_is_one_a_case_may_hold(knowledge: Knowledge) -> None:
    for taken in summed(knowledge).readings:
        name, _, condition = taken.slot.partition(".")
        reading = knowledge.readings[name]
        assert taken.unit == reading.unit
        assert condition in reading.conditions or (not condition and not reading.conditions)
        assert taken.seconds > 0


def test_nothing_is_taken_that_the_gate_asks_of_this_moment(knowledge: Knowledge) -> None:
    """The coolant now, the fuel in the tank, the charging with loads on: a recording tells of another time."""
    log = recorded(WHOLE)
    more = {"fuel_level": np.full(log.rows, 60, dtype=np.float32), "battery_voltage": np.full(log.rows, 12.6, "f4")}
    full = replace(log, channels={**log.channels, **more})
    summary = summed(knowledge, log=full)
    slots = {t.slot for t in summary.readings}
    assert not {s for s in slots if s.endswith(".now") or s.endswith(".cold_soak")}
    assert not slots & {"fuel_level", "battery_voltage"}
    assert {"fuel_at_end", "charging_in_drive"} <= set(kinds(summary))


@pytest.mark.parametrize("coolant", [64.0, 71.0, 92.0])
def test_the_coolant_settles_where_the_thermostat_lets_it(knowledge: Knowledge, coolant: float) -> None:
    assert readings(knowledge, replace(WHOLE, coolant=coolant))["coolant_temperature.road"] == coolant


def test_a_coolant_still_rising_is_no_road_temperature(knowledge: Knowledge) -> None:
    log = recorded(Wish(minutes=40.0))
    rising = replace(
        log, channels={**log.channels, "coolant_temperature": np.linspace(12, 76, log.rows, dtype=np.float32)}
    )
    summary = summed(knowledge, log=rising)
    assert "coolant_temperature.road" not in {t.slot for t in summary.readings}
    assert "coolant_still_rising" in kinds(summary)


def test_a_short_drive_gives_no_road_readings(knowledge: Knowledge) -> None:
    summary = summed(knowledge, Wish(minutes=15.0))
    assert not {t.slot for t in summary.readings if t.slot.endswith(".road")}
    assert "no_long_road" in kinds(summary)


def test_an_engine_that_never_warms_up_is_told(knowledge: Knowledge) -> None:
    summary = summed(knowledge, Wish(coolant=66.0))
    assert "coolant_warm_up_time" not in {t.slot for t in summary.readings}
    assert "never_warm" in kinds(summary)


@pytest.mark.parametrize(
    ("wish", "slot", "low", "high"),
    [
        ({}, "sensor_pressure_rise", 15.0, 26.0),
        ({"sensor_sign": -1.0}, "sensor_pressure_rise", -26.0, -15.0),
        ({"sensor_share": 0.0}, "sensor_pressure_rise", -0.3, 0.3),
        ({"sensor_offset": 12.0}, "sensor_pressure_offset", 10.5, 13.5),
        ({}, "sensor_pressure_lag", 0.0, 0.0),
        ({"sensor_lag": 8.0}, "sensor_pressure_lag", 5.0, 12.0),
        ({"sensor_ceiling": 60.0, "soot": 9.0}, "sensor_pressure_ceiling", 59.9, 60.1),
    ],
)
def test_what_the_line_says_of_the_sensor_is_a_reading(
    knowledge: Knowledge, wish: dict[str, float], slot: str, low: float, high: float
) -> None:
    found = readings(knowledge, Wish(**{"soot": 5.0, **wish}))  # type: ignore[arg-type]
    assert low <= found[slot] <= high


def test_no_pressure_is_taken_at_the_sensors_upper_end(knowledge: Knowledge) -> None:
    """It would make a full filter look half full."""
    summary = summed(knowledge, replace(WHOLE, soot=9.0, sensor_ceiling=60.0, burns=()))
    slots = {t.slot for t in summary.readings}
    assert "sensor_pressure.road" not in slots
    assert "sensor_pressure.idle" in slots
    assert {"at_the_ceiling", "sensor_saturates"} <= kinds(summary)
    assert "against_clean" not in kinds(summary)


def test_a_coarse_logger_says_nothing_of_a_delay(knowledge: Knowledge) -> None:
    assert "sensor_pressure_lag" not in readings(knowledge, Wish(step=4.0))


def test_after_a_burn_the_pressure_is_that_after_it(knowledge: Knowledge) -> None:
    found = readings(knowledge)
    before = readings(knowledge, replace(WHOLE, burns=()))
    assert found["sensor_pressure.fast_idle"] < 0.6 * before["sensor_pressure.fast_idle"]
    assert "pressure_after_burn" in kinds(summed(knowledge))
    late = replace(WHOLE, burns=((44.0, 14.0),), stops=((20.0, 2.0),), fast_idle=((25.0, 1.0),))
    assert "pressure_before_burn" in kinds(summed(knowledge, late))
    assert readings(knowledge, late)["sensor_pressure.fast_idle"] == pytest.approx(
        before["sensor_pressure.fast_idle"], rel=0.12
    )


def test_a_burn_the_recording_cuts_off_has_no_duration(knowledge: Knowledge) -> None:
    assert "burn_duration" not in readings(knowledge, replace(WHOLE, burns=((50.0, 20.0),)))


def test_how_it_is_used_wants_a_long_recording(knowledge: Knowledge) -> None:
    assert "idle_share" not in readings(knowledge)
    pauses = tuple((float(at), 5.0) for at in range(60, 420, 60))
    long = Wish(minutes=430.0, off=pauses, stops=tuple((float(at), 6.0) for at in range(20, 420, 60)))
    found = readings(knowledge, long)
    drive = make(long)
    running = drive.columns["Engine RPM (rpm)"] > 300
    idle = running & (drive.columns["Vehicle Speed (km/h)"] < 2)
    assert found["idle_share"] == pytest.approx(100 * idle.sum() / running.sum(), abs=0.7)
    mean = drive.columns["Vehicle Speed (km/h)"][running].mean()
    assert found["mean_speed"] == pytest.approx(mean, abs=1.0)
    assert len(summed(knowledge, long).trips) == 7


def test_distance_is_the_integral_of_speed(knowledge: Knowledge) -> None:
    (trip,) = summed(knowledge).trips
    speed = make(WHOLE).columns["Vehicle Speed (km/h)"]
    assert trip.km == pytest.approx(float(np.trapezoid(speed)) / 3600, rel=0.01)


@pytest.mark.parametrize(
    ("layout", "wanted"),
    [
        ("differential_pressure_one_temperature", {"exhaust_temperature_before_filter"}),
        (
            "differential_pressure_two_temperatures",
            {"exhaust_temperature_before_catalyst", "exhaust_temperature_before_filter"},
        ),
    ],
)
def test_numbered_sensors_are_counted_by_the_case(knowledge: Knowledge, layout: str, wanted: set[str]) -> None:
    log = recorded(WHOLE)
    named = {k: v for k, v in log.channels.items() if not k.startswith("exhaust")}
    for i, place in enumerate(sorted(wanted), 1):
        named[f"exhaust_temperature_{i}"] = log.channels[place]
    case = CASE.replace(b"differential_pressure_three_temperatures", layout.encode())
    summary = summed(knowledge, log=replace(log, channels=named), case=case)
    found = {t.slot.partition(".")[0] for t in summary.readings if t.slot.startswith("exhaust")}
    assert found == wanted
    assert "sensors_counted" in kinds(summary)


def test_two_absolute_sensors_make_one_difference(knowledge: Knowledge) -> None:
    log = recorded(WHOLE)
    pair = {k: v for k, v in log.channels.items() if k != "filter_pressure"}
    pair["filter_pressure_after"] = np.full(log.rows, 1020, dtype=np.float32)
    pair["filter_pressure_before"] = log.channels["filter_pressure"] + np.float32(1020)
    plain, made = summed(knowledge), summed(knowledge, log=replace(log, channels=pair))
    assert "pressure_as_difference" in kinds(made)
    assert made.fit is not None
    assert plain.fit is not None
    assert made.fit.slope[0] == pytest.approx(plain.fit.slope[0], rel=0.01)


def test_the_same_recording_gives_the_same_summary(knowledge: Knowledge) -> None:
    first, second = summed(knowledge), summed(knowledge)
    assert first.readings == second.readings
    assert first.notes == second.notes
    assert first.fit == second.fit
