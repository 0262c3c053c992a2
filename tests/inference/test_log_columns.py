"""Columns by the names and units that loggers write."""

from __future__ import annotations

import pytest

from inference.log.columns import count_known, recognise, unit_of
from kb.log_columns import log_columns
from kb.model import Knowledge
from kb.units import factor


@pytest.mark.parametrize(
    ("name", "channel", "unit"),
    [
        ("Engine RPM (rpm)", "engine_speed", "1/min"),
        ("Motordrehzahl [U/min]", "engine_speed", "1/min"),
        ("VehicleSpeed", "vehicle_speed", ""),
        ("Speed km/h", "vehicle_speed", "km/h"),
        ("ECT_degC", "coolant_temperature", "°C"),
        ("Kühlmitteltemperatur [°C]", "coolant_temperature", "°C"),
        ("Engine coolant temperature, °F", "coolant_temperature", "°F"),
        ("MAF_gps", "air_mass_flow", "g/s"),
        ("Air Flow Rate from Mass Air Flow Sensor", "air_mass_flow", ""),
        ("Luftmasse (kg/h)", "air_mass_flow", "kg/h"),
        ("DPF1_DP", "filter_pressure", ""),
        ("Differenzdruck Partikelfilter (hPa)", "filter_pressure", "mbar"),
        ("Particulate filter inlet temperature", "exhaust_temperature_before_filter", ""),
        ("Temp after DPF (°F)", "exhaust_temperature_after_filter", "°F"),
        ("Exhaust Gas Temperature Bank 1 Sensor 2 (C)", "exhaust_temperature_2", "°C"),
        ("EGT11", "exhaust_temperature_1", ""),
        ("Intake Manifold Absolute Pressure(kPa)", "manifold_pressure", "kPa"),
        ("Commanded EGR", "egr_wanted", ""),
        ("Distance since last regeneration (km)", "distance_since_burn", "km"),
        ("Run time since engine start (s)", "engine_run_time", "s"),
        ("RUNTM", "engine_run_time", ""),
        ("time_ms", "time", "ms"),
        ("Zeit", "time", ""),
    ],
)
def test_names(name: str, channel: str, unit: str) -> None:
    used, _ = recognise([name])
    assert [(c.channel, c.unit) for c in used] == [(channel, unit)]


@pytest.mark.parametrize(("name", "pid"), [("PID 7A", "7A"), ("0105", "05"), ("01 0C", "0C"), ("7C (hex)", "7C"),
                                           ("0x78", "78"), ("7A", "7A"), ("pid_10", "10")])  # fmt: skip
def test_raw_parameters(name: str, pid: str) -> None:
    used, _ = recognise([name])
    assert [(c.channel, c.pid) for c in used] == [("raw", pid)]


@pytest.mark.parametrize(
    "name",
    [
        "10", "42", "Turbo speed (rpm)", "Oil pressure", "Fuel rail pressure (kPa)", "Speed (GPS) km/h",
        "DPF Bank 2 Differential Pressure", "Total run time at idle (s)", "Average distance between regenerations",
        "Accelerator position", "Air mass per stroke (mg/stroke)", "",
    ],
)  # fmt: skip
def test_names_of_something_else(name: str) -> None:
    assert recognise([name])[0] == []


def test_of_two_columns_for_one_thing_the_first_is_taken_and_the_other_told() -> None:
    used, spare = recognise(["Engine RPM (rpm)", "RPM"])
    assert [c.name for c in used] == ["Engine RPM (rpm)"]
    assert [c.name for c in spare] == ["RPM"]


def test_a_row_of_figures_is_no_header() -> None:
    assert count_known(["1", "820", "83", "12.5"]) == 0


def test_every_channel_finds_itself_by_every_name_and_phrase_of_its_own() -> None:
    """What the file promises holds: no earlier entry takes a name away."""
    for entry in log_columns().channels:
        for name in [*entry.names, *entry.words]:
            used, _ = recognise([name])
            assert [c.channel for c in used] == [entry.id], name


def test_every_spelling_of_a_unit_means_a_unit_pint_knows() -> None:
    targets = {c.unit for c in log_columns().channels if c.unit != "flag"} | {"s"}
    for unit, spellings in log_columns().units.items():
        assert any(factor(unit, target) is not None for target in targets) or unit in ("ms", "us", "min", "h")
        for spelled in spellings:
            assert unit_of(spelled) == unit


def test_every_source_of_a_scaling_is_one_of_ours(knowledge: Knowledge) -> None:
    assert {p.source for p in log_columns().parameters} <= set(knowledge.sources)
