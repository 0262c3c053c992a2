"""A reading of an earlier round that still counts is told with that round, never as if it had been read today."""

import re
from pathlib import Path

import pytest
from typer.testing import CliRunner

from clogwise.cli import app
from explain.bands import picture, rows
from explain.earlier import rests_on_earlier, taken_in
from explain.papers import sheet as paper
from inference.diagnose import diagnose
from inference.read_case import parse_case
from inference.result import Result
from kb.model import Knowledge

ROOT = Path(__file__).parent.parent.parent
CASE = """case: twice
vehicle: {engine_litres: 2.0, odometer: 98000 km}
usage: {trips_per_week: 12, typical_trip: 30 min}
rounds:
  - when: arrival
    date: 2026-03-02
    readings: {oil_consumption: 1.3 l per 1000 km, oil_sulphated_ash: 1.6 %, fuel_level: 60 %}
    answers: {oil_meets_low_ash_grade: no, power_loss: yes}
  - when: follow-up
    date: 2026-03-09
    readings: {fuel_level: 50 %, coolant_temperature: {now: 85 °C}}
    answers: {power_loss: no}
"""


@pytest.fixture(scope="module")
def twice(knowledge: Knowledge) -> Result:
    return diagnose(parse_case(CASE.encode(), "twice.yaml", knowledge), knowledge)


def test_only_what_was_carried_is_of_an_earlier_round(twice: Result) -> None:
    assert {s: taken_in(twice, s) for s in ("oil_consumption", "oil_meets_low_ash_grade")} == {
        "oil_consumption": 0, "oil_meets_low_ash_grade": 0,
    }  # fmt: skip
    for slot in ("fuel_level", "power_loss", "typical_trip", "trips_per_week", "oil_level"):
        assert taken_in(twice, slot) is None, "read anew, told of the whole case, or not known at all"


def test_the_sheet_names_round_and_day_of_what_was_not_read_anew(knowledge: Knowledge, twice: Result) -> None:
    data = paper.sheet(knowledge, twice)
    bands = {b["title"]: b for b in data["bands"]}
    assert bands["Oil consumption"]["earlier"] == "not read anew; arrival, 2026-03-02"
    assert "arrival, 2026-03-02" in bands["Oil consumption"]["alt"]
    assert "arrival" in picture(next(r for r in rows(knowledge, twice) if r.slot == "oil_consumption"))
    assert bands["Fuel in the tank"]["earlier"] == ""
    [group] = data["earlier"]
    assert "arrival, 2026-03-02" in group["head"]
    asked_earlier = knowledge.questions["oil_meets_low_ash_grade"].text
    assert any(says.startswith(asked_earlier) for says in group["says"])
    assert not any(says.startswith(asked_earlier) for says in data["answers"])
    assert any(says.startswith(knowledge.questions["power_loss"].text) for says in data["answers"])
    page = paper.html(knowledge, twice)
    assert "not read anew; arrival, 2026-03-02" in page
    assert group["head"] in page


def test_a_case_of_one_round_has_nothing_earlier(knowledge: Knowledge) -> None:
    first = CASE[: CASE.index("  - when: follow-up")]
    data = paper.sheet(knowledge, diagnose(parse_case(first.encode(), "once.yaml", knowledge), knowledge))
    assert data["earlier"] == []
    assert all(b["earlier"] == "" for b in data["bands"])


def test_a_danger_that_rests_on_an_earlier_reading_says_so(knowledge: Knowledge, twice: Result) -> None:
    danger = next(d for d in paper.sheet(knowledge, twice)["decision"]["dangers"] if "1.3 l per 1000 km" in d["why"])
    assert danger["why"].endswith("(Not read anew: this is from an earlier round, arrival, 2026-03-02.)")
    anew = CASE.replace(
        "readings: {fuel_level: 50 %", "readings: {oil_consumption: 1.2 l per 1000 km, fuel_level: 50 %"
    )
    result = diagnose(parse_case(anew.encode(), "anew.yaml", knowledge), knowledge)
    assert rests_on_earlier(twice, "danger_oil_into_exhaust") == 0
    assert rests_on_earlier(result, "danger_oil_into_exhaust") is None
    assert not any("Not read anew" in d["why"] for d in paper.sheet(knowledge, result)["decision"]["dangers"])


def test_tipping_does_not_say_now_of_an_earlier_round() -> None:
    said = (
        CliRunner()
        .invoke(app, ["tipping", str(ROOT / "cases" / "hop-kiln.yaml"), "--all"], env={"COLUMNS": "400"})
        .output
    )
    named = re.findall(r"· (.*?) \((.*?)\)$", said, re.M)
    told = [value for title, value in named if title == "pressure before the filter on the hand gauge at idle"]
    assert sorted(told) == ["20 mbar, in an earlier round: arrival, 2026-07-06", "now 8 mbar"]
    assert ("mean distance between burns", "240 km, in an earlier round: arrival, 2026-07-06") in named
    assert ("time of a typical trip", "now 30 min") in named, "usage belongs to the case, not to a round"
