"""Trip statistics of a recording: counted as driven, standing in where nothing was told, never from a drive or two."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np
import pytest
import yaml

from bench.drive import Wish, make
from inference.diagnose import diagnose
from inference.forecast.outlook import forecast
from inference.forecast.usage import _Recorded, usage_of
from inference.log.drive import on_grid
from inference.log.summary import summarise
from inference.log.use import use_of
from inference.physics.usage import LEAST_TRIPS
from inference.read_case import parse_case
from inference.result import Result
from kb.load import load
from tests.inference.log_drives import gridded, recorded

KNOWLEDGE = load()
SHORT = {"recorded_trips": "12", "recorded_trip_time": "7 min", "recorded_trip_distance": "3 km",
         "recorded_longest_trip": "14 min", "recorded_long_runs": "0", "recorded_idle_share": "14 %",
         "recorded_mean_speed": "26 km/h", "recorded_warm_up_share": "85 %"}  # fmt: skip
LONG = {"recorded_trips": "12", "recorded_trip_time": "38 min", "recorded_trip_distance": "30 km",
        "recorded_longest_trip": "70 min", "recorded_long_runs": "9", "recorded_idle_share": "7 %",
        "recorded_mean_speed": "48 km/h", "recorded_warm_up_share": "18 %"}  # fmt: skip


def told(readings: dict[str, str], **usage: Any) -> Result:
    case = {
        "case": "any", "opened": "2026-03-02", "vehicle": {"engine_litres": 2.0, "odometer": "90000 km"},
        "filter": {"type": "coated", "substrate": "silicon carbide", "volume": "2.5 l"},
        "rounds": [{"when": "arrival", "readings": {"ambient_temperature": "8 °C", **readings}}],
    }  # fmt: skip
    if usage:
        case["usage"] = usage
    return diagnose(parse_case(yaml.safe_dump(case).encode(), "any.yaml", KNOWLEDGE), KNOWLEDGE)


def state(result: Result, finding: str) -> str:
    return result.latest.verdicts.findings[finding].state


def week(count: int = 6, minutes: float = 8.0, pause: float = 7.0, **more: Any) -> Wish:
    """Trips of ``minutes`` with the engine off between them."""
    off = tuple((i * (minutes + pause) + minutes, pause) for i in range(count - 1))
    return Wish(minutes=count * (minutes + pause) - pause, off=off, **more)


def test_trips_are_counted_as_they_were_driven() -> None:
    wish = week()
    drive = gridded(wish)
    use = use_of(drive, drive.trips())
    assert use is not None
    made = make(wish)
    running, speed = made.columns["Engine RPM (rpm)"] > 300, made.columns["Vehicle Speed (km/h)"]
    assert use.trips == 6
    assert use.trip_minutes == pytest.approx(running.sum() / 60 / 6, abs=0.1)
    assert use.longest == pytest.approx(8.0, abs=0.1)
    assert use.long_runs == 0
    assert use.mean_speed == pytest.approx(float(speed[running].mean()), abs=0.7)
    assert use.idle_share == pytest.approx(float((running & (speed < 2)).sum() / running.sum()), abs=0.01)
    assert use.hot_share == pytest.approx(
        float((made.columns["Exhaust Temperature Before Particulate Filter (°C)"][running] >= 250).mean()), abs=0.01
    )
    assert use.cold_share == pytest.approx(
        float((made.columns["Engine Coolant Temperature (°C)"][running] < 70).mean()), abs=0.01
    )


def test_a_long_run_is_counted_apart_from_the_usual_trips() -> None:
    wish = Wish(minutes=110.0, off=((8.0, 5.0), (21.0, 5.0), (34.0, 5.0), (80.0, 5.0), (93.0, 5.0)))
    drive = gridded(replace(wish, motorway=((39.0, 41.0),)))
    use = use_of(drive, drive.trips())
    assert use is not None
    assert use.long_runs == 1
    assert use.longest == pytest.approx(41.0, abs=0.2)
    assert use.trip_minutes < 10.0  # the five others


def test_what_was_not_recorded_is_not_nought() -> None:
    log = recorded(week())
    blind = on_grid(replace(log, channels={k: v for k, v in log.channels.items() if k != "vehicle_speed"}))
    use = use_of(blind, blind.trips())
    assert use is not None
    assert use.trips == 6
    assert (use.trip_km, use.mean_speed, use.idle_share, use.long_runs) == (None, None, None, None)
    summary = summarise(log, parse_case(b"case: a\nrounds: [{when: arrival}]\n", "a", KNOWLEDGE), KNOWLEDGE)
    slots = {t.slot for t in summary.readings}
    assert {s for s in KNOWLEDGE.readings if s.startswith("recorded_")} <= slots


def test_recorded_trips_stand_in_where_nothing_was_told() -> None:
    assert state(told(SHORT), "short_trip_pattern") == "holds"
    assert state(told(LONG), "short_trip_pattern") == "fails"
    assert state(told(LONG), "no_long_runs") == "fails"
    assert state(told({}), "short_trip_pattern") == "unknown"


@pytest.mark.parametrize("count", [1, LEAST_TRIPS - 1])
def test_a_drive_or_two_say_nothing_of_the_use(count: int) -> None:
    """It may be the workshop's own."""
    for readings in (SHORT, LONG):
        result = told(readings | {"recorded_trips": str(count)})
        for finding in ("short_trip_pattern", "no_long_runs", "idling_pattern", "driving_not_as_told"):
            assert state(result, finding) == "unknown"
        assert usage_of(result.case).notes == usage_of(told({}).case).notes


def test_what_contradicts_what_was_told_is_found_and_goes_before_it() -> None:
    result = told(SHORT, typical_trip="45 min", typical_distance="40 km", long_run_per_month=8)
    assert state(result, "driving_not_as_told") == "holds"
    assert state(result, "short_trip_pattern") != "fails"
    result = told(LONG, typical_trip="5 min", typical_distance="2 km", long_run_per_month=0)
    assert state(result, "driving_not_as_told") == "holds"
    assert state(result, "short_trip_pattern") == "fails"


def test_what_agrees_changes_nothing() -> None:
    plain = told({}, typical_trip="8 min", typical_distance="3 km", long_run_per_month=0)
    both = told(SHORT, typical_trip="8 min", typical_distance="3 km", long_run_per_month=0)
    assert state(both, "driving_not_as_told") == "fails"
    assert state(plain, "short_trip_pattern") == state(both, "short_trip_pattern") == "holds"


def test_the_forecast_takes_recorded_trips_with_a_wider_error() -> None:
    by_word = usage_of(told({}, typical_trip="7 min", typical_distance="3 km").case)
    by_record = usage_of(told(SHORT).case)
    usual = usage_of(told({}).case)
    assert float(np.median(by_record.time)) == pytest.approx(7 * 60, rel=0.02)
    assert float(np.median(by_record.distance)) == pytest.approx(3e3, rel=0.02)

    def width(values: np.ndarray) -> float:
        return float(np.log(np.quantile(values, 0.9) / np.quantile(values, 0.1)))

    assert width(by_word.time) < width(by_record.time) < width(usual.time)
    few = usage_of(told(SHORT | {"recorded_trips": "5"}).case)
    assert width(by_record.time) < width(few.time)
    assert {n.kind for n in by_record.notes} >= {"recorded_instead"}


def test_short_recorded_trips_block_sooner_than_long_ones() -> None:
    short, long = (forecast(KNOWLEDGE, told(r)) for r in (SHORT, LONG))
    assert short is not None
    assert long is not None
    assert short.outlooks[0].holds < long.outlooks[0].holds


@pytest.mark.parametrize("said", [3.0, 6.0, 9.0, 14.0, 20.0, 30.0, 50.0, 90.0])
@pytest.mark.parametrize("seen", [5.0, 12.0, 35.0])
@pytest.mark.parametrize("count", [5, 12, 60])
def test_forecast_and_rules_agree_on_what_contradicts(said: float, seen: float, count: int) -> None:
    record = LONG | {"recorded_trips": str(count), "recorded_trip_time": f"{seen} min"}
    result = told(record, typical_trip=f"{said} min")
    found = state(result, "driving_not_as_told") == "holds"
    notes = {n.kind for n in usage_of(result.case).notes}
    assert found == ("not_as_told" in notes)
    assert _Recorded(result.case.rounds[-1]).trips == count


def test_the_recorded_figures_go_the_whole_way_from_a_drive_to_the_finding(tmp_path: Path) -> None:
    from inference.log.merge import with_round

    case = b"case: round-trip\nvehicle: {engine_litres: 2.0}\nlayout: differential_pressure_three_temperatures\n" \
        b"rounds:\n  - when: arrival\n"  # fmt: skip
    log = recorded(week(8))
    whole = summarise(log, parse_case(case, "a", KNOWLEDGE), KNOWLEDGE).readings
    # the road between is fast and the exhaust hot all the same: nothing is concluded of that; without it, the rest is
    assert next(t.value for t in whole if t.slot == "recorded_hot_share") > 60
    seen = {k: v for k, v in log.channels.items() if k != "exhaust_temperature_before_filter"}
    summary = summarise(replace(log, channels=seen), parse_case(case, "a", KNOWLEDGE), KNOWLEDGE)
    merged = with_round(case, "a", summary.readings, "Readings from a drive.", "follow-up", None)
    result = diagnose(parse_case(merged.text, "b", KNOWLEDGE), KNOWLEDGE)
    assert state(result, "short_trip_pattern") == "holds"
    assert state(result, "sensor_scatters") == "fails"
