"""kb/codes.yaml: every entry reads, every code stands once, families are written out with right numbers."""

from __future__ import annotations

from collections import Counter
from pathlib import Path

import pytest
from pydantic import ValidationError

from kb.codes import KIND_SAYS, expand_families
from kb.model import Code, CodeFamily, CodeGroup
from kb.yamlread import read_yaml

DATA = read_yaml(Path(__file__).parents[2] / "kb" / "codes.yaml").data
GROUPS = {g["id"]: CodeGroup.model_validate(g) for g in DATA["code_groups"]}
FAMILIES = [CodeFamily.model_validate(f) for f in DATA["families"]]
CODES = [Code.model_validate(c) for c in DATA["codes"]] + list(expand_families(FAMILIES))

# Groups that rules name; the gate reads roles.
NAMED_BY_RULES = {
    "soot_load_high", "ash_load_high", "filter_pressure_sensor", "filter_efficiency",
    "exhaust_temperature_sensor", "burn_too_cold", "exhaust_too_hot", "burn_incomplete", "burn_too_often",
    "filter_restriction", "egr_flow_too_low", "egr_flow_too_high", "egr_circuit", "egr_cooler",
    "air_mass_meter", "manifold_pressure_sensor", "boost_too_low", "boost_too_high", "boost_sensor",
    "turbo_actuator", "intake_air_temperature_sensor", "coolant_temperature_sensor", "coolant_too_cold",
    "thermostat_control", "glow_system", "throttle_valve", "injector_circuit", "cylinder_contribution",
    "misfire", "rail_pressure", "fuel_level_sensor", "water_in_fuel", "oil_level_sensor", "oil_level_high",
    "oil_temperature_sensor", "oil_pressure", "oxygen_sensor", "nox_sensor", "catalyst_efficiency",
    "hydrocarbon_doser", "fuel_additive", "scr_system", "system_voltage", "control_module",
    "exhaust_pressure_sensor", "ambient_temperature_sensor", "vehicle_speed", "network",
}  # fmt: skip


def family(**given: object) -> CodeFamily:
    return CodeFamily.model_validate({"group": "misfire", "subject": "subject", "kinds": ["itself"], **given})


def numbers(**given: object) -> list[str]:
    return [code.code for code in expand_families([family(**given)])]


def test_every_code_stands_once_and_in_a_known_group() -> None:
    assert [code for code, times in Counter(c.code for c in CODES).items() if times > 1] == []
    assert {c.group for c in CODES} == set(GROUPS)
    assert len(CODES) >= 230


def test_groups_that_rules_name_are_there() -> None:
    assert sorted(NAMED_BY_RULES - set(GROUPS)) == []


def test_no_maker_specific_code() -> None:
    """P1xxx, P30xx to P33xx and U1xxx to U2xxx belong to the makers (SAE J2012 numbering, from memory)."""
    makers = [c.code for c in CODES if c.code[:2] in ("P1", "U1", "U2") or "P3000" <= c.code < "P3400"]
    assert makers == []


@pytest.mark.parametrize(
    ("code", "role"),
    [
        ("P2463", "reports load"), ("P242F", "reports load"), ("P2002", "harm"), ("P0544", "steers the burn"),
        ("P2033", "steers the burn"), ("P0117", "steers the burn"), ("P0203", "harm"), ("P0300", "harm"),
        ("P252F", "harm"), ("P0093", "harm"), ("P0524", "harm"), ("P0402", "inhibits"), ("P0672", "inhibits"),
        ("P0299", "inhibits"), ("P0102", "inhibits"), ("P0462", "inhibits"), ("P2101", "inhibits"),
        ("P0072", "none"),
    ],
)  # fmt: skip
def test_role_of_a_code(code: str, role: str) -> None:
    """DESIGN section 5, gate item 6: what a stored code means for a burn."""
    entry = next(c for c in CODES if c.code == code)
    assert (entry.role or GROUPS[entry.group].role) == role


def test_meanings_are_plain_and_tell_codes_apart() -> None:
    for code in CODES:
        assert code.meaning[0].isupper() or code.meaning[0].isdigit(), code
        assert not code.meaning.endswith("."), code
        assert "{" not in code.meaning, code
        assert len(code.meaning) <= 110, code
    of_family = [c for c in expand_families(FAMILIES) if c.group != "exhaust_temperature_sensor"]
    assert all(times <= 2 for times in Counter(c.meaning for c in of_family).values())


def test_numbers_carry_on_in_tens_or_sixteens() -> None:
    kinds = ["circuit", "range", "low", "high", "intermittent"]
    assert numbers(**{"from": "P2226"}, kinds=kinds) == ["P2226", "P2227", "P2228", "P2229", "P2230"]
    assert numbers(**{"from": "P245E"}, kinds=kinds, digits="hex") == [
        "P245E",
        "P245F",
        "P2460",
        "P2461",
        "P2462",
    ]
    each = {"subject": "cylinder {n}", "count": 4}
    assert numbers(**{"from": "P0263"}, **each, step=3) == ["P0263", "P0266", "P0269", "P0272"]
    assert numbers(**{"from": "P029D"}, **each, step=4, digits="hex") == ["P029D", "P02A1", "P02A5", "P02A9"]


def test_a_number_is_left_out_and_the_next_keeps_its_own() -> None:
    assert numbers(**{"from": "P250A"}, kinds=["circuit", "skip", "low"], digits="hex") == ["P250A", "P250C"]


def test_meaning_says_subject_and_kind() -> None:
    low, high = expand_families(
        [family(**{"from": "P0261"}, subject="injector circuit, cylinder {n}", kinds=["low"], count=2, step=3)]
    )
    assert low.meaning == f"Injector circuit, cylinder 1: {KIND_SAYS['low']}"
    assert (high.code, high.meaning[:31]) == ("P0264", "Injector circuit, cylinder 2: c"[:31])


@pytest.mark.parametrize(
    ("wrong", "says"),
    [
        ({"from": "P245E"}, "digits: hex"),
        ({"from": "P0201", "count": 8}, "{n}"),
        ({"from": "P0201", "subject": "cylinder {n}"}, "{n}"),
        ({"from": "P0261", "subject": "cylinder {n}", "count": 2, "kinds": ["low", "high"]}, "shorter"),
        ({"from": "P12"}, "from"),
    ],
)
def test_a_wrong_family_is_refused(wrong: dict[str, object], says: str) -> None:
    with pytest.raises(ValidationError, match=says):
        family(**wrong)


def test_no_group_bears_the_name_of_a_cause_finding_or_reading() -> None:
    """Rules and their examples name groups, findings, causes and readings alike, without saying the kind."""
    home = Path(__file__).parents[2] / "kb"
    others = {
        entry["id"]
        for name in ("findings", "causes", "readings", "derived", "questions")
        if (home / f"{name}.yaml").exists()
        for entry in read_yaml(home / f"{name}.yaml").data
    }
    assert sorted(set(GROUPS) & others) == []
