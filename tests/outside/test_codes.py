"""Our codes against an open table: the code table of the python-OBD library, FACTS S1 (obd.codes.DTC).

Wordings differ and are not compared. What is compared, for every code both have: the subject (by a word of
the trade that must stand in the table's wording), what was seen of it (low, high, range ...), the cylinder.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from obd.codes import DTC

from kb.codes import KIND_SAYS, expand_families
from kb.model import Code, CodeFamily
from kb.yamlread import read_yaml

TABLE: dict[str, str] = {code: wording for code, wording in DTC.items() if "Reserved" not in wording}

DATA = read_yaml(Path(__file__).parents[2] / "kb" / "codes.yaml").data
FAMILIES = [CodeFamily.model_validate(f) for f in DATA["families"]]
CODES = {c.code: c for c in [*(Code.model_validate(c) for c in DATA["codes"]), *expand_families(FAMILIES)]}
SHARED = sorted(set(CODES) & set(TABLE))

# Group -> words of the table's wording, one of which must stand in it. Groups without a shared code are named
# in NOT_IN_TABLE, so that no group is passed over by accident.
SUBJECT: dict[str, tuple[str, ...]] = {
    "filter_efficiency": ("Particulate Trap Efficiency",),
    "exhaust_too_hot": ("Exhaust Gas Temperature Too High",),
    "exhaust_temperature_sensor": ("Exhaust Gas Temperature Sensor", "Catalyst Temperature Sensor"),
    "exhaust_pressure_sensor": ("Exhaust Pressure Sensor",),
    "exhaust_flap": ("Exhaust Pressure Control Valve",),
    "catalyst_efficiency": (
        "Catalyst System Efficiency", "Warm Up Catalyst", "Main Catalyst", "Heated Catalyst",
        "Catalyst Heater",
    ),
    "egr_flow_too_low": ("Recirculation Flow Insufficient",),
    "egr_flow_too_high": ("Recirculation Flow Excessive",),
    "egr_circuit": (
        "Exhaust Gas Recirculation Control", "Exhaust Gas Recirculation Sensor",
        "Exhaust Gas Recirculation Flow",
        "Exhaust Gas Recirculation Vent", "Exhaust Gas Recirculation System",
    ),
    "egr_cooler": ("Recirculation Cooling",),
    "air_mass_meter": ("Mass or Volume Air Flow",),
    "manifold_pressure_sensor": ("Manifold Absolute Pressure", "MAP/MAF"),
    "barometric_pressure_sensor": ("Barometric Pressure",),
    "boost_too_low": ("Underboost", "Boost Pressure Not Detected"),
    "boost_too_high": ("Overboost", "Turbine Overspeed"),
    "boost_sensor": ("Boost Sensor",),
    "turbo_actuator": ("Boost Control", "Bypass Valve", "Wastegate", "Boost System Performance"),
    "air_path": ("Intake Air System Leak", "Air Leak"),
    "swirl_flaps": ("Intake Manifold Runner",),
    "throttle_valve": ("Throttle/Pedal Position Sensor", "Throttle Actuator", "Recirculation Throttle"),
    "accelerator_pedal": ("Pedal Position Sensor/Switch 'D'", "Pedal Position Sensor/Switch 'E'"),
    "intake_air_temperature_sensor": ("Intake Air Temperature",),
    "ambient_temperature_sensor": ("Ambient Air Temperature",),
    "coolant_temperature_sensor": ("Engine Coolant Temperature",),
    "coolant_too_cold": ("Insufficient Coolant", "Coolant Thermostat", "Cooling System Performance"),
    "coolant_too_hot": ("Coolant Over Temperature",),
    "coolant_level": ("Coolant Level",),
    "thermostat_control": ("Thermostat Heater",),
    "cooling_fan": ("Fan",),
    "glow_system": ("Glow Plug",),
    "glow_lamp": ("Glow",),
    "injector_circuit": ("Injector Circuit", "Injector Group", "Injector Control Module"),
    "cylinder_contribution": ("Contribution/Balance",),
    "misfire": ("Misfire",),
    "rail_pressure": ("Fuel Rail", "Fuel Pressure Regulator", "Fuel Volume Regulator"),
    "fuel_leak": ("Fuel System Leak",),
    "fuel_supply": ("Fuel Pump", "Fuel Delivery", "Low Pressure Fuel"),
    "fuel_level_sensor": ("Fuel Level",),
    "fuel_temperature_sensor": ("Fuel Temperature",),
    "water_in_fuel": ("Water in Fuel",),
    "fuel_quality": ("Fuel Composition",),
    "oil_temperature_sensor": ("Engine Oil Temperature",),
    "oil_temperature_high": ("Oil Over Temperature",),
    "oil_pressure": ("Engine Oil Pressure",),
    "oxygen_sensor": ("O2 Sensor", "HO2S"),
    "nox_sensor": ("NOx Sensor",),
    "nox_trap": ("NOx Trap",),
    "scr_system": ("Reductant",),
    "engine_speed_sensor": ("Crankshaft Position Sensor", "Camshaft Position Sensor"),
    "vehicle_speed": ("Vehicle Speed Sensor",),
    "system_voltage": ("System Voltage", "Charging System", "Power Relay", "Generator Control"),
    "sensor_supply": ("Sensor Reference Voltage", "Actuator Supply Voltage"),
    "control_module": ("Control Module", "ECM/PCM"),
    "network": ("Communication", "Software Incompatibility", "Invalid Data"),
}  # fmt: skip
NOT_IN_TABLE = {
    "soot_load_high", "soot_load_beyond_burn", "ash_load_high", "filter_restriction",
    "filter_pressure_sensor", "particulate_sensor", "burn_too_cold", "burn_incomplete",
    "burn_too_often", "burn_conditions_not_met",
    "hydrocarbon_doser", "fuel_additive", "egr_temperature_sensor", "charge_air_cooling", "injector_leak",
    "oil_level_sensor", "oil_level_low", "oil_level_high", "oil_condition", "crankcase_ventilation",
}  # fmt: skip

# What our kind must be called in the table. A circuit code is plain there or says Circuit or Open.
KIND: dict[str, tuple[str, ...]] = {
    "range": ("Range", "Performance"),
    "low": ("Low",),
    "high": ("High",),
    "intermittent": ("Intermittent", "Erratic"),
    "slow": ("Slow",),
    "no signal": ("No Signal", "No Activity"),
    "stuck open": ("Stuck Open",),
    "stuck closed": ("Stuck Closed",),
}
SAYS_KIND = {said: kind for kind, said in KIND_SAYS.items()}


def kind_of(code: Code) -> str | None:
    return SAYS_KIND.get(code.meaning.rpartition(": ")[2])


def subject_agrees(group: str, wording: str) -> bool:
    return any(word in wording for word in SUBJECT[group])


def kind_agrees(kind: str, wording: str) -> bool:
    if kind == "circuit":
        told = wording.replace("Low Pressure", "").replace("/Low", "")
        return not any(word in told for other in KIND.values() for word in other)
    return any(word in wording for word in KIND[kind])


def test_the_table_is_the_one_facts_names() -> None:
    """FACTS S1: 2066 codes in obd/codes.py; another count means another table, so look again."""
    assert len(DTC) == 2066


def test_enough_is_shared_to_mean_something() -> None:
    assert len(SHARED) == sum(c.source == "open-code-table" for c in CODES.values())
    assert len(SHARED) >= 400


def test_every_group_is_either_mapped_or_not_in_the_table() -> None:
    shared_groups = {CODES[code].group for code in SHARED}
    assert shared_groups == set(SUBJECT)
    assert {c.group for c in CODES.values()} - shared_groups == NOT_IN_TABLE


def test_the_mark_open_code_table_stands_exactly_where_the_table_has_the_code() -> None:
    assert sorted(c.code for c in CODES.values() if c.source == "open-code-table") == SHARED


def test_subject_of_every_shared_code() -> None:
    wrong = [(c, CODES[c].group, TABLE[c]) for c in SHARED if not subject_agrees(CODES[c].group, TABLE[c])]
    assert wrong == []


def test_kind_of_every_shared_code_that_has_one() -> None:
    with_kind = {c: kind for c in SHARED if (kind := kind_of(CODES[c])) is not None}
    assert len(with_kind) >= 300
    wrong = [(c, kind, TABLE[c]) for c, kind in with_kind.items() if not kind_agrees(kind, TABLE[c])]
    assert wrong == []


def test_cylinder_of_every_shared_code_that_names_one() -> None:
    named = {c: int(CODES[c].meaning.split("ylinder ")[1].split()[0].rstrip(":")) for c in SHARED
             if any(ch.isdigit() for ch in CODES[c].meaning.partition("ylinder ")[2][:2])}  # fmt: skip
    assert len(named) >= 40
    assert [(c, n, TABLE[c]) for c, n in named.items() if f"Cylinder {n}" not in TABLE[c]] == []


@pytest.mark.parametrize(
    "word",
    [
        "Particulate Trap", "Exhaust Gas Temperature", "Exhaust Pressure Sensor", "Mass or Volume Air Flow",
        "Underboost", "Overboost", "Exhaust Gas Recirculation Flow", "Recirculation Cooling",
        "Water in Fuel", "Fuel Level Sensor", "Engine Oil Pressure", "Engine Oil Temperature", "Thermostat",
        "Intake Air Temperature Sensor", "Fuel Rail", "Boost Control Position",
    ],
)  # fmt: skip
def test_nothing_the_table_has_of_a_subject_is_missing(word: str) -> None:
    """The other way round: every code of the table with this word stands in ours."""
    theirs = [c for c, wording in TABLE.items() if word in wording and c.startswith(("P0", "P2"))]
    assert theirs
    assert [c for c in theirs if c not in CODES and not c.startswith("P0A")] == []


def test_the_check_bites() -> None:
    """Moved on by one code, most of ours no longer fit the table: the map is not so wide that all passes."""
    order = sorted(TABLE)
    moved = {c: TABLE[order[(order.index(c) + 1) % len(order)]] for c in SHARED}
    fits = [
        c for c in SHARED
        if subject_agrees(CODES[c].group, moved[c]) and kind_agrees(kind_of(CODES[c]) or "circuit", moved[c])
    ]  # fmt: skip
    assert len(fits) < 0.35 * len(SHARED)
