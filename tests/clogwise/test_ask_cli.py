"""The questions as a person asks them: an answer in words, the same as JSON, and one sentence for each mistake."""

from __future__ import annotations

import json
import os
import subprocess
import sys
from pathlib import Path

import pytest
from typer.testing import CliRunner

from clogwise.cli import app
from kb.faults import Faults
from tests.inference.question_cases import COLD

ROOT = Path(__file__).parent.parent.parent
QUESTIONS = {
    "whatif": ["coolant_temperature.road=88°C"],
    "tipping": [],
    "proof": [],
    "rather": ["thermostat_stuck_open", "short_trips"],
    "whynot": ["clear"],
    "how": ["gate"],
}


@pytest.fixture(scope="module")
def case(tmp_path_factory: pytest.TempPathFactory) -> Path:
    path = tmp_path_factory.mktemp("ask") / "cold-van.yaml"
    path.write_text(COLD, encoding="utf-8")
    return path


def asked(*words: str) -> str:
    """Return what a command prints; a fault is raised as it is."""
    done = CliRunner().invoke(app, list(words), env={"COLUMNS": "100"}, catch_exceptions=False)
    if isinstance(done.exception, Faults):
        raise done.exception
    assert done.exit_code == 0, done.output
    return done.stdout


@pytest.mark.parametrize(
    ("words", "wanted"),
    [
        (["whatif", "coolant_temperature.road=88°C"], ["64 °C → 88 °C", "HOLD", "The thermostat", "no longer"]),
        (["tipping"], ["As it stands: HOLD", "from 75 °C up", "5.5 errors of the instrument", "DO NOT BURN"]),
        (["proof"], ["What holds the burn", "coolant temperature on the road: 64 °C", "facts in the case"]),
        (["rather", "thermostat_stuck_open", "short_trips"], ["rather than short trips only?", "64 °C"]),
        (["whynot", "clear"], ["The decision is HOLD", "wanted: at least 80 °C", "off by 16 K", "Not known yet, "]),
        (["whynot", "engine_runs_cold"], ["engine-gets-warm", "wanted: at least 80 °C"]),
        (["whynot", "egr_stuck_open"], ["What stands before it", "thermostat does not shut", "it shows this in"]),
        (["whynot", "thermostat_stuck_open"], ["It is said"]),
        (["how", "gate"], ["Burn it clean? HOLD", "64 °C", "Known and good"]),
        (["how", "engine_runs_cold"], ["derived in one way", "engine-never-gets-warm", "coolant_temperature.road"]),
        (["how", "thermostat_stuck_open"], ["64 °C"]),
    ],
)  # fmt: skip
def test_each_question_has_an_answer_in_words(case: Path, words: list[str], wanted: list[str]) -> None:
    told = asked(words[0], str(case), *words[1:])
    flat = " ".join(told.split())
    for piece in wanted:
        assert piece in flat, told
    assert "{" not in told
    assert "\x1b[" not in told
    assert all(len(line) <= 100 for line in told.splitlines())


@pytest.mark.parametrize("command", QUESTIONS)
def test_each_answer_also_comes_as_json(case: Path, command: str) -> None:
    answer = json.loads(asked(command, str(case), *QUESTIONS[command], "--json"))
    assert isinstance(answer, dict)
    assert answer


@pytest.mark.parametrize("command", ["whynot", "whatif", "how"])
def test_all_tells_no_less(case: Path, command: str) -> None:
    words = [command, str(case), *QUESTIONS[command]]
    assert len(asked(*words, "--all")) >= len(asked(*words))


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["whatif", "coolant_temperature.road=88"], "has no unit"),
        (["whatif", "coolant=88°C"], "may be one of several, name one: coolant_temperature.cold_soak ("),
        (["whynot", "thermostat_stuck"], "did you mean 'thermostat_stuck_open' (The thermostat does not shut)?"),
        (["rather", "short_trips", "short_trips"], "held against itself"),
        (["rather", "short_trip", "ash_full"], "did you mean 'short_trips' (Short trips only)?"),
        (["how", "engine_runs_colt"], "did you mean 'engine_runs_cold' ("),
    ],
)
def test_a_mistake_gets_one_sentence(case: Path, words: list[str], says: str) -> None:
    with pytest.raises(Faults) as caught:
        asked(words[0], str(case), *words[1:])
    assert says in str(caught.value)
    assert len(caught.value.faults) == 1


def test_mistakes_leave_with_status_2_and_no_traceback(case: Path) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "clogwise", "whatif", str(case), "oil_level=9000 %"],
        capture_output=True, text=True, timeout=120, cwd=ROOT, env=dict(os.environ),
    )  # fmt: skip
    assert done.returncode == 2
    assert done.stderr.startswith("what if: oil_level: ")
    assert "Traceback" not in done.stderr


@pytest.mark.parametrize("command", [c for c in QUESTIONS if c != "how"])
def test_help_is_one_line_and_an_example_that_can_be_pasted(command: str) -> None:
    told = asked(command, "--help")
    assert f"Example: clogwise {command} cases/" in " ".join(told.split())


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("blue_smoke=no", "Does it smoke blue, on start, after a long downhill or under load?: no, as it is already"),
        ("oil_level_rising=unknown", "Has the oil level risen since the last oil change?: not read, as it is already"),
        ("odometer=unknown", "odometer: 96,000 km → not read"),
        ("layout=gauge_pressure_upstream", "→ one pressure sensor before the filter, measured against the air outside"),
        ("coolant on the road=88 °C", "coolant temperature on the road: 64 °C → 88 °C"),
    ],
)
def test_what_if_names_every_change_asked_for(case: Path, change: str, says: str) -> None:
    """A change to what is so already, or to the vehicle itself, was answered below an empty heading."""
    told = " ".join(asked("whatif", str(case), change).split())
    assert says in told
    assert "_" not in told


@pytest.mark.parametrize("command", ["tipping", "proof", "rather", "whynot", "how"])
def test_answers_take_no_more_than_three_screens(case: Path, command: str) -> None:
    assert len(asked(command, str(case), *QUESTIONS[command]).splitlines()) <= 3 * 60
