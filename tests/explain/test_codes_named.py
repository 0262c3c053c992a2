"""Where a code or a group of codes is spoken of, the answer names the code that was read."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest
from typer.testing import CliRunner

from clogwise.cli import app
from explain.words import Speaker, codes_behind
from inference.diagnose import diagnose
from inference.read_case import read_case
from inference.values import Word
from kb.model import Knowledge

CASES = Path(__file__).parents[2] / "cases"


@pytest.mark.parametrize("command", [["gate"], ["why"], ["how", "gate"], ["whynot", "clear"]])
def test_the_code_that_holds_a_burn_is_named(command: list[str]) -> None:
    name, *rest = command
    told = CliRunner().invoke(app, [name, str(CASES / "weir-keeper.yaml"), *rest])
    assert told.exit_code == 0
    assert "P0299" in told.stdout


def test_only_codes_of_the_role_are_named_and_several_are_joined(knowledge: Knowledge) -> None:
    result = diagnose(read_case(CASES / "weir-keeper.yaml", knowledge), knowledge)
    speaker = Speaker(knowledge, result)
    facts = dict(result.latest.facts)
    assert codes_behind(knowledge, "role_inhibits", facts) == ["P0299"]
    assert codes_behind(knowledge, "role_harm", facts) == []
    facts["P0402"] = Word("present")
    assert speaker.fill("{role_inhibits}", facts).startswith("P0299 (Too little boost) and P0402 (")
    assert speaker.fill("{role_inhibits}", {}) == "a stored code"
    assert speaker.value("boost_too_low", Word("present")) == "reported (P0299)"
    assert speaker.value("boost_too_low", Word("absent")) == "not reported"


def test_a_code_of_an_earlier_round_is_not_named_as_read_now(knowledge: Knowledge) -> None:
    case = read_case(CASES / "bee-keeper.yaml", knowledge)
    result = diagnose(replace(case, rounds=case.rounds[:2]), knowledge)
    speaker = Speaker(knowledge, result)
    assert "P0402" in speaker.value("role_inhibits", Word("present"), result.rounds[0].facts)
    assert "P0402" not in speaker.value("role_inhibits", Word("present"))
