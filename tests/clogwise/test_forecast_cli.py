"""``clogwise forecast`` and ``compare`` as a person asks them: words, JSON, a picture, a sentence for each mistake."""

from __future__ import annotations

import json
import subprocess
import sys
from pathlib import Path
from xml.etree import ElementTree

import pytest
from typer.testing import CliRunner

from clogwise.cli import app
from explain.forecastletter import for_letter
from explain.forecastview import about
from inference.diagnose import diagnose
from inference.forecast.outlook import forecast
from inference.read_case import read_case
from kb.faults import Faults
from kb.load import load

CASE, TWO = "cases/school-run.yaml", "cases/bee-keeper.yaml"


def asked(*words: str) -> str:
    done = CliRunner().invoke(app, list(words), env={"COLUMNS": "100"}, catch_exceptions=False)
    if isinstance(done.exception, Faults):
        raise done.exception
    assert done.exit_code == 0
    return done.stdout


def test_the_forecast_in_words() -> None:
    said = asked("forecast", CASE)
    assert "As things stand" in said
    assert "thermostat" in said
    assert "no promise" in said
    assert "inf" not in said.replace("info", "")


def test_the_forecast_as_json() -> None:
    told = json.loads(asked("forecast", CASE, "--json"))
    now = told["outlooks"][0]
    assert now["id"] == "as things stand"
    assert now["without"] == []
    low, mid, high = now["distance_km"]
    assert low <= mid <= high
    mended = next(o for o in told["outlooks"] if o["id"] == "thermostat_stuck_open")
    assert mended["distance_km"][2] is None  # beyond the horizon is null, not a large number
    assert asked("forecast", CASE, "--json") == asked("forecast", CASE, "--json")


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_the_picture(tmp_path: Path, ending: str) -> None:
    first, second = tmp_path / f"a.{ending}", tmp_path / f"b.{ending}"
    for path in (first, second):
        assert str(path) in asked("forecast", CASE, "-o", str(path)).replace("\n", "")
    assert first.read_bytes() == second.read_bytes()
    if ending == "svg":
        root = ElementTree.fromstring(first.read_text("utf-8"))
        assert root.tag.endswith("svg")


def test_mistakes_are_told_in_one_sentence(tmp_path: Path) -> None:
    with pytest.raises(Faults, match=r"'\.gif' names no picture"):
        asked("forecast", CASE, "-o", str(tmp_path / "a.gif"))
    with pytest.raises(Faults, match="only one round"):
        asked("compare", CASE)
    bare = tmp_path / "bare.yaml"
    bare.write_text("case: bare\nrounds:\n  - when: arrival\n    readings: {fuel_level: 50 %}\n", "utf-8")
    with pytest.raises(Faults, match="engine_litres"):
        asked("forecast", str(bare))


def test_two_rounds_side_by_side() -> None:
    said = asked("compare", TWO)
    assert "DID NOT HOLD" in said
    told = json.loads(asked("compare", TWO, "--json"))
    assert told["verdict"] == "did not hold"
    assert len(told["gauge_at_equal_flow_mbar"]) == 2
    assert {"slot", "unit", "first", "last"} == set(told["rows"][0])


def test_the_gate_says_what_the_burn_should_do() -> None:
    said = " ".join(asked("gate", "cases/tram-stop.yaml").split())
    assert "This burn should take" in said
    assert "should pass 450 °C" in said
    assert "never with more than" in said


@pytest.mark.parametrize("case", ["eel-estate", "meadow-vet"])
def test_where_no_burn_is_to_be_lit_none_is_foretold(case: str) -> None:
    """Beside DO NOT BURN and NO BURN NEEDED, how long the burn should take reads like a leave to light it."""
    assert "This burn should take" not in asked("gate", f"cases/{case}.yaml")


def test_what_the_letter_gets() -> None:
    knowledge = load()
    found = forecast(knowledge, diagnose(read_case(Path(CASE), knowledge), knowledge))
    assert found is not None
    letter = for_letter(knowledge, found)
    assert letter.svg.startswith("<svg")
    ElementTree.fromstring(letter.svg)
    assert "As things stand" in letter.alt
    assert all(rests for _, rests in letter.sentences)
    assert "not a promise" in letter.sentences[-1][0]


@pytest.mark.parametrize(
    ("value", "shown"), [(0.0, "0"), (0.0423, "0.042"), (7.26, "7.3"), (1237.0, "1,200"), (95.6, "96")]
)
def test_two_figures_are_enough(value: float, shown: str) -> None:
    assert about(value) == shown


def test_the_main_answer_loads_nothing_slow() -> None:
    code = (
        "import sys; from clogwise.cli import app; from typer.testing import CliRunner;"
        f"CliRunner().invoke(app, ['gate', '{CASE}']);"
        "print(sorted({'matplotlib', 'scipy', 'cantera', 'pint'} & set(sys.modules)))"
    )
    done = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True)
    assert done.stdout.strip() == "[]"
