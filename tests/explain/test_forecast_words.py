"""Every kind of note that the forecast and the comparison can hand over has its sentence, and no sentence is idle."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from explain.compareview import reason
from explain.forecastview import shape, taken
from explain.words import phrases
from inference.diagnose import diagnose
from inference.forecast.outlook import forecast
from inference.log.notes import note
from inference.read_case import parse_case, read_case
from kb.load import load

MADE = {
    "forecast_notes": ("inference/forecast/outlook.py", "inference/forecast/usage.py"),
    "compared": ("inference/compare.py",),
}


@pytest.mark.parametrize("group", MADE)
def test_kinds_and_sentences_are_the_same(group: str) -> None:
    code = "".join(Path(path).read_text("utf-8") for path in MADE[group])
    kinds = set(re.findall(r'note\(\s*"(\w+)"', code)) | set(re.findall(r'"(no_gauge_\w+)"', code))
    assert kinds == set(phrases("en_forecast")[group])


def test_figures_stand_in_the_sentences() -> None:
    knowledge = load()
    told = taken(note("not_told", slot="typical_trip", low=10.0, high=32.0))
    assert told == "The time of a trip was not told; 10 to 32 minutes were taken."
    assert "1,700 km" in taken(note("weighed_by_blocking", km=1700.0))
    said = reason(knowledge, note("still_likely", cause="egr_stuck_open", chance=0.6))
    assert said.startswith(knowledge.causes["egr_stuck_open"].title)
    assert "60 %" in said


def test_one_in_ten_is_not_told_as_the_soonest() -> None:
    """A tenth of such vehicles block sooner than the low end, so it is no bound."""
    said = [str(t) for group in ("forecast", "letter") for t in phrases("en_forecast")[group].values()]
    assert not [t for t in said if "{low}" in t and ("soonest" in t or "we expect" in t)]


def test_usage_not_told_is_said_in_words() -> None:
    knowledge = load()
    bare = "case: bare\nvehicle: {engine_litres: 2.0}\nrounds:\n  - {when: arrival, readings: {fuel_level: 50 %}}\n"
    found = forecast(knowledge, diagnose(parse_case(bare.encode(), "bare.yaml", knowledge), knowledge))
    assert found is not None
    notes = shape(found).notes
    assert "Long runs were not told; 0.87 to 6.5 a month were taken." in notes
    assert "The outside temperature was not read; 0 to 20 °C was taken." in notes
    assert all(n.endswith(".") and "{" not in n for n in notes)


def test_no_sentence_in_the_code() -> None:
    """What people read stands in explain/lang; code of the forecast holds kinds and figures."""
    for paths in MADE.values():
        for path in paths:
            code = re.sub(r'""".*?"""', "", Path(path).read_text("utf-8"), flags=re.S)
            said = [t for t in re.findall(r'"([^"\n]*)"', code) if re.match(r"[A-Z][a-z]+ .*\.$", t)]
            assert said == [], path


def test_a_worked_case_through_and_through() -> None:
    knowledge = load()
    found = forecast(knowledge, diagnose(read_case(Path("cases/school-run.yaml"), knowledge), knowledge))
    assert found is not None
    assert all(n.endswith(".") for n in shape(found).notes)
