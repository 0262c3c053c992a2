"""A formula used outside its range is seen wherever the case is told: why, how, chain, sheet and JSON."""

from __future__ import annotations

import json
from pathlib import Path

import pytest
from typer.testing import CliRunner

from clogwise.cli import app
from explain.chain import DERIVED, build
from explain.draw import to_svg
from explain.rangeview import beyond_range
from explain.words import ends
from inference.diagnose import diagnose
from inference.physics.valid import BEYOND
from inference.read_case import read_case
from kb.load import load

FAR = """\
case: far-out
opened: 2026-03-02
vehicle: {engine_litres: 2.0, odometer: 148000 km}
filter: {type: coated, substrate: silicon carbide, fitted_at: 100000 km}
rounds:
  - when: arrival
    readings:
      gauge_pressure: {key_on: 0 mbar, idle: 9 mbar, fast_idle: 90 mbar}
      air_mass_flow: {idle: 9 g/s, fast_idle: 40 g/s}
      exhaust_temperature_before_filter: {fast_idle: TEMPERATURE}
"""
SAID = "The gas temperature, 800 °C, is outside what the formulas are good for"


def case(folder: Path, temperature: str) -> Path:
    path = folder / "far-out.yaml"
    path.write_text(FAR.replace("TEMPERATURE", temperature), "utf-8")
    return path


def asked(*words: str) -> str:
    done = CliRunner().invoke(app, list(words), env={"COLUMNS": "100"}, catch_exceptions=False)
    assert done.exit_code == 0, done.output
    return " ".join(done.stdout.split())


def test_it_is_seen_on_the_terminal(tmp_path: Path) -> None:
    told = asked("why", str(case(tmp_path, "800 °C")))
    assert SAID in told
    assert "So take with care:" in told
    assert SAID in asked("how", str(case(tmp_path, "800 °C")), "filter_really_restricted")


def test_within_the_range_nothing_is_said(tmp_path: Path) -> None:
    path = str(case(tmp_path, "240 °C"))
    assert BEYOND not in asked("why", path)
    told = json.loads(asked("why", path, "--json"))
    assert not any(BEYOND in w for w in told["warnings"])
    assert all(d["in_range"] for d in told["derived"])


def test_it_is_in_the_answer_for_machines(tmp_path: Path) -> None:
    told = json.loads(asked("why", str(case(tmp_path, "800 °C")), "--json"))
    assert sum(SAID in w for w in told["warnings"]) == 1
    beyond = {d["id"] for d in told["derived"] if not d["in_range"]}
    assert {"restriction_index.fast_idle", "soot_load_gauge"} <= beyond
    assert "restriction_index.idle" not in beyond


def test_it_is_seen_in_the_chain(tmp_path: Path) -> None:
    knowledge = load()
    result = diagnose(read_case(case(tmp_path, "800 °C"), knowledge), knowledge)
    graph = build(knowledge, result)
    node = graph.nodes[f"{DERIVED}:restriction_index.fast_idle@0"]
    assert node["state"] == "out of range"
    assert SAID in node["detail"]
    assert graph.nodes[f"{DERIVED}:restriction_index.idle@0"]["state"] == "in range"
    picture = to_svg(graph, "far-out")
    assert "worked out, outside its range" in picture


@pytest.mark.parametrize(("reading", "said"), [
    ("air_mass_flow: {idle: 9 g/s, fast_idle: 40 g/s}", None),
    ("air_mass_flow: {idle: 9 g/s, fast_idle: 330 g/s}", "The air mass ratio, 7.6"),
    ("engine_speed: {fast_idle: 5500 1/min}", "The engine speed, 5,500 1/min"),
])  # fmt: skip
def test_each_reading_far_out(tmp_path: Path, reading: str, said: str | None) -> None:
    knowledge = load()
    path = case(tmp_path, "240 °C")
    path.write_text(
        path.read_text("utf-8").replace("air_mass_flow: {idle: 9 g/s, fast_idle: 40 g/s}", reading), "utf-8"
    )
    told = beyond_range(knowledge, diagnose(read_case(path, knowledge), knowledge))
    if said is None:
        assert told == []
    else:
        assert any(said in t for t in told), told


@pytest.mark.parametrize(
    ("low", "high", "told"),
    [
        (0.094, 1.9, ("0.1", "1.9")),
        (0.0024, 6.7, ("0", "6.7")),
        (18.9, 40.1, ("19", "40")),
        (0.43, 0.61, ("0.43", "0.61")),
        (101, 232, ("101", "232")),
        (-1.5, 3.5, ("-1.5", "3.5")),
        (2, 2, ("2", "2")),
    ],
)
def test_the_ends_of_a_spread_are_no_finer_than_the_spread(low: float, high: float, told: tuple[str, str]) -> None:
    assert ends(low, high) == told
