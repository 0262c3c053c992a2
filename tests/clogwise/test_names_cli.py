"""``clogwise names``: what a case file may say is listed whole, found by words, and each name listed can be read."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from clogwise.cli import app
from explain.namesview import names
from inference.read_case import parse_case
from kb.faults import Faults
from kb.model import Knowledge

RUN = CliRunner()


def test_everything_that_can_be_read_or_answered_is_listed(knowledge: Knowledge) -> None:
    listed = {n.name for n in names(knowledge)}
    assert {*knowledge.readings, *knowledge.questions, *knowledge.causes, *knowledge.layouts} <= listed
    assert all(n.title for n in names(knowledge) if n.section != "history")


def test_the_keys_listed_of_vehicle_and_filter_are_read(knowledge: Knowledge) -> None:
    for section, key, value in (
        (n.section, n.name, n.written) for n in names(knowledge) if n.section in ("vehicle", "filter")
    ):
        with pytest.raises(Faults) as caught:
            parse_case(f"case: x\n{section}: {{{key}: [], nonsense: 1}}\nrounds: [{{}}]\n".encode(), "x", knowledge)
        assert f"the key '{key}'" not in str(caught.value), value
        assert "the key 'nonsense'" in str(caught.value)


def test_words_narrow_the_list() -> None:
    told = RUN.invoke(app, ["names", "intercooler"])
    assert told.exit_code == 0
    assert "charge_temperature" in told.stdout
    assert "gauge_pressure" not in told.stdout
    found = json.loads(RUN.invoke(app, ["names", "oil", "level", "--json"]).stdout)["names"]
    assert {"oil_level", "oil_level_rising"} == {n["name"] for n in found}


def test_words_that_fit_nothing_are_a_fault() -> None:
    with pytest.raises(Faults, match="qqq"):
        RUN.invoke(app, ["names", "qqq"], catch_exceptions=False)


@pytest.mark.parametrize(
    ("written", "offered"),
    [
        ("relative_compression: 61 %", "'compression_share' (compression of the weakest"),
        ("gauge at idle: 9 mbar", "'gauge_pressure' (pressure before the filter"),
        ("maf: 30 g/s", "'air_mass_flow'"),
        ("zzz: 3", "clogwise names"),
    ],
)
def test_a_reading_called_otherwise_is_answered_with_its_name(written: str, offered: str, knowledge: Knowledge) -> None:
    with pytest.raises(Faults) as caught:
        parse_case(f"case: x\nrounds:\n  - readings: {{{written}}}\n".encode(), "x", knowledge)
    assert offered in str(caught.value)


def test_words_need_no_quotes() -> None:
    case = str(Path(__file__).parents[2] / "cases" / "osier-cutter.yaml")
    for command, words in (("how", "swirl flaps"), ("whynot", "exhaust flap"), ("whynot", "clear to burn")):
        told = RUN.invoke(app, [command, case, *words.split()])
        assert told.exit_code == 0, words
        assert told.stdout.strip()
