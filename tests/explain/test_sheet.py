"""The job sheet: every case on one to three pages, with what decides, what proves and what endangers."""

import dataclasses
import math
import xml.etree.ElementTree as ET
from pathlib import Path

import pytest

from explain.bands import Bounds, Row, picture, rows
from explain.papers import sheet as paper
from explain.papers.typeset import pages, to_pdf
from inference.case import Case
from inference.change import changed
from inference.diagnose import diagnose
from inference.read_case import parse_case, read_case
from inference.result import Result
from kb.model import Knowledge

ROOT = Path(__file__).parent.parent.parent


@pytest.fixture(scope="module")
def demo(knowledge: Knowledge) -> Result:
    return diagnose(read_case(ROOT / "clogwise" / "demo.yaml", knowledge), knowledge)


def test_every_case_fits_and_says_what_decides(knowledge: Knowledge, case: Case) -> None:
    result = diagnose(case, knowledge)
    data = paper._fitted(knowledge, result, "a4")
    assert 1 <= pages("sheet.typ", data) <= paper.LONGEST
    assert to_pdf("sheet.typ", data, result.case.today).startswith(b"%PDF-")
    assert [j["number"] for j in data["work"]] == list(range(1, len(result.work) + 1))
    assert all(j["proof"] for j in data["work"])
    told = {c["title"] for c in data["cautions"]} | {c for j in data["work"] for c in j["cautions"]}
    assert {knowledge.cautions[c].title for c in result.cautions} <= told, "no danger is left out to save room"
    assert len(data["decision"]["dangers"]) == len(result.gate.dangers)
    if result.gate.decision != "clear":
        assert all(j["wait"] for j in data["work"] if j["title"] == "Burn the filter clean at standstill")
    for drawn in data["bands"]:
        ET.fromstring(drawn["svg"])
        assert drawn["alt"]
    assert len(paper.html(knowledge, result)) > 5000


def test_what_is_unusual_is_named_and_trips_not_as_told_are_on_the_sheet(knowledge: Knowledge) -> None:
    told = """case: told
vehicle: {engine_litres: 2.0}
usage: {typical_trip: 35 min}
rounds:
  - when: arrival
    readings: {oxygen_content: 20.6 %, recorded_trips: 8, recorded_trip_time: 6 min, recorded_trip_distance: 3 km}
"""
    result = diagnose(parse_case(told.encode(), "told.yaml", knowledge), knowledge)
    said = paper._fitted(knowledge, result, "a4")["warnings"]
    assert "Oxygen in the exhaust at idle: '20.6 %' is unusual: mostly it is 4 to 20 %; check it" in said
    assert any("Trips of 35 min were told of" in line for line in said)


def test_the_pdf_is_the_same_bytes_and_tagged(knowledge: Knowledge, demo: Result) -> None:
    first, second = paper.pdf(knowledge, demo), paper.pdf(knowledge, demo)
    assert first == second
    assert first.startswith(b"%PDF-")
    assert b"StructTreeRoot" in first
    assert b"/Lang" in first
    assert paper.pdf(knowledge, demo, "us-letter") != first


def test_the_pages_come_as_pictures(knowledge: Knowledge, demo: Result) -> None:
    drawn = paper.pngs(knowledge, demo, ppi=40)
    assert 1 <= len(drawn) <= paper.LONGEST
    assert all(p.startswith(b"\x89PNG") for p in drawn)


def test_a_marked_reading_lies_where_its_mark_says(knowledge: Knowledge, case: Case) -> None:
    result = diagnose(case, knowledge)
    for row in rows(knowledge, result):
        low, _, high = row.value
        if row.verdict == "as expected":
            assert low >= (row.low if math.isfinite(row.low) else row.bad_below)
            assert high <= (row.high if math.isfinite(row.high) else row.bad_above)
        elif row.verdict == "outside":
            beyond = low > row.bad_above or high < row.bad_below
            assert beyond or high < row.low or low > row.high
        elif row.verdict == "no limit":
            assert not row.banded


def test_a_clean_filter_bounds_the_pressure_and_the_rules_the_rest(knowledge: Knowledge, demo: Result) -> None:
    bounds = Bounds(knowledge, demo)
    clean = demo.latest.derived["expected_clean_gauge.fast_idle"].spread
    assert bounds.of("gauge_pressure.fast_idle")[:2] == (clean.low, clean.high)
    stated = [
        t.at_least for r in knowledge.rules.values() for t in r.when.all
        if r.then.finding == "engine_runs_cold" and r.then.state == "fails" and t.reading == "coolant_temperature.road"
    ]  # fmt: skip
    low, _, bad_below, _ = bounds.of("coolant_temperature.road")
    assert f"{low:g} °C" in stated
    assert bad_below < low


def test_without_the_gas_flow_no_pressure_is_judged(knowledge: Knowledge, demo: Result) -> None:
    round_ = demo.latest
    facts = {s: v for s, v in round_.facts.items() if not s.startswith("expected_clean")}
    bare = dataclasses.replace(demo, rounds=(*demo.rounds[:-1], dataclasses.replace(round_, facts=facts)))
    assert Bounds(knowledge, bare).of("gauge_pressure.fast_idle") == (-math.inf, math.inf, -math.inf, math.inf)


@pytest.mark.parametrize(
    ("value", "verdict", "shape"),
    [
        ((90.0,) * 3, "as expected", "<circle"),
        ((60.0,) * 3, "outside", "l6.5 6.5l-6.5 6.5"),
        ((77.0,) * 3, "between", "h10v10"),
    ],
)
def test_marks_differ_by_shape(value: tuple[float, float, float], verdict: str, shape: str) -> None:
    row = Row("x", "X", "90 °C", "°C", value, False, low=80.0, bad_below=75.0, expected="80 °C or more")
    assert row.verdict == verdict
    assert shape in picture(row)


def test_the_value_that_proves_a_job_is_this_case_s_own(knowledge: Knowledge, demo: Result) -> None:
    burn = paper.proving(knowledge, demo, knowledge.remedies["burn-standing"])
    clean = demo.latest.derived["expected_clean_gauge.idle"].spread
    assert any(f"{clean.low:.1f}".rstrip("0").rstrip(".") in line for line in burn)
    thermostat = paper.proving(knowledge, demo, knowledge.remedies["renew-thermostat"])
    assert any("Coolant temperature on the road" in line and "°C or more" in line for line in thermostat)


@pytest.mark.parametrize(
    ("volts", "expected", "verdict"),
    [
        ("13.9 V", "13.2 to 15.2 V", "as expected"),
        ("11.9 V", "13.2 to 15.2 V", "outside"),
        ("13 V", "13.2 to 15.2 V", "between"),
        ("16.3 V", "13.2 to 15.2 V", "outside"),
        ("27.9 V", "26.4 to 30.4 V", "as expected"),
        ("24.2 V", "26.4 to 30.4 V", "outside"),
    ],
)
def test_of_several_ranges_the_nearest_is_the_one_expected(
    knowledge: Knowledge, demo: Result, volts: str, expected: str, verdict: str
) -> None:
    """A battery of 24 volts that is hardly charged must not look good beside the limits of one of 12."""
    told = diagnose(changed(demo.case, knowledge, {"battery_voltage": volts}), knowledge)
    (row,) = [r for r in rows(knowledge, told) if r.slot == "battery_voltage"]
    assert (row.expected, row.verdict) == (expected, verdict)


def test_what_a_direct_look_proves_has_its_limit_too(knowledge: Knowledge, demo: Result) -> None:
    told = diagnose(changed(demo.case, knowledge, {"compression_share": "61 %"}), knowledge)
    (row,) = [r for r in rows(knowledge, told) if r.slot == "compression_share"]
    assert (row.expected, row.verdict) == ("85 % or more", "outside")


def test_a_limit_that_counts_only_beside_another_sign_does_not_turn_what_is_expected(
    knowledge: Knowledge, demo: Result
) -> None:
    """Close corrections are good, although beside a rough idle they say that no single cylinder is to blame."""
    rough = {"rough_idle": "yes", "injector_correction_spread": "5.4 mg/stroke", "coolant_temperature.now": "85 °C"}
    told = diagnose(changed(demo.case, knowledge, rough), knowledge)
    (row,) = [r for r in rows(knowledge, told) if r.slot == "injector_correction_spread"]
    assert (row.expected, row.verdict) == ("not above 4 mg/stroke", "outside")
