"""Readings put into a case's text: every line of it stays, and what is there already is not touched."""

from __future__ import annotations

from datetime import date

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inference.log.merge import Merged, into_latest, nested, readings_block, with_round
from inference.log.taken import Taken
from inference.read_case import parse_case
from kb.faults import Faults
from kb.model import Knowledge
from kb.yamlread import parse_yaml
from tests.conftest import CASES

READINGS = (
    Taken("sensor_pressure.key_on", 0.0, "mbar", 20),
    Taken("sensor_pressure.idle", 7.5, "mbar", 60),
    Taken("coolant_temperature.road", 71.0, "°C", 600),
    Taken("ambient_temperature", 9.0, "°C", 600),
)
SOURCE = 'Readings from the recorded drive a "b" c: d.csv, 1,000 rows over 20 minutes.'
BLOCK = """# a comment
case: a   # beside it
rounds:
- when: arrival
  readings:
    sensor_pressure:
      idle: 9 mbar   # read twice

      # at the end
notes: >-
  folded
"""
FLOW = """case: a
rounds: [{when: arrival, readings: {sensor_pressure: {idle: 9 mbar}, fuel_level: 40 %,}}]  # end
notes: x"""
LITERAL = "case: a\nrounds:\n  - when: arrival\n    notes: |\n      one\n\n      two\n\n\nconfirmed: []\n"
INDENTED = "case: a\nrounds:\n    -   when: arrival\n        answers: {blue_smoke: no}\n        codes: []\n"
TEXTS = {"block": BLOCK, "flow": FLOW, "literal": LITERAL, "indented": INDENTED}


def stays(old: bytes, new: bytes) -> bool:
    """Every piece of the old text stands in the new one, in order, nothing taken out."""
    rest = iter(new.decode("utf-8"))
    return all(c in rest for c in old.decode("utf-8"))


@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
@pytest.mark.parametrize("newline", ["\n", "\r\n"])
@pytest.mark.parametrize("bom", [b"", b"\xef\xbb\xbf"])
def test_a_new_round_however_the_case_is_written(text: str, newline: str, bom: bytes, knowledge: Knowledge) -> None:
    raw = bom + text.replace("\n", newline).encode()
    merged = with_round(raw, "a.yaml", READINGS, SOURCE, "follow-up", date(2026, 3, 2), "no")
    assert stays(raw, merged.text)
    old, new = parse_yaml(raw, "a").data, parse_yaml(merged.text, "a").data
    added = new["rounds"].pop()
    assert new == old
    assert added.pop("burn_completed") == "no"
    assert added == {"when": "follow-up", "date": "2026-03-02", "notes": SOURCE, "readings": nested(READINGS)}
    case = parse_case(merged.text, "a.yaml", knowledge)
    assert case.rounds[-1].number("coolant_temperature.road") == 71.0


@pytest.mark.parametrize("text", TEXTS.values(), ids=TEXTS)
def test_into_the_latest_round(text: str, knowledge: Knowledge) -> None:
    raw = text.encode()
    merged = into_latest(raw, "a.yaml", READINGS, SOURCE, "no")
    assert stays(raw, merged.text)
    case = parse_case(merged.text, "a.yaml", knowledge)
    assert len(case.rounds) == 1
    assert case.rounds[0].number("coolant_temperature.road") == 71.0
    assert case.rounds[0].number("sensor_pressure.key_on") == 0.0
    assert case.rounds[0].burn_completed == "no"
    there = parse_case(raw, "a.yaml", knowledge).rounds[0].number("sensor_pressure.idle")
    assert case.rounds[0].number("sensor_pressure.idle") == (there if there is not None else 7.5)
    assert merged.kept == (("sensor_pressure.idle",) if there is not None else ())


@pytest.mark.parametrize("path", CASES, ids=lambda p: p.stem)
def test_into_every_worked_case(path, knowledge: Knowledge) -> None:  # type: ignore[no-untyped-def]
    raw = path.read_bytes()
    old = parse_case(raw, path.name, knowledge)
    merged: Merged = with_round(raw, path.name, READINGS, SOURCE, "follow-up", None)
    assert stays(raw, merged.text)
    new = parse_case(merged.text, path.name, knowledge)
    assert len(new.rounds) == len(old.rounds) + 1
    latest = into_latest(raw, path.name, READINGS, SOURCE)
    assert stays(raw, latest.text)
    for slot, quantity in old.rounds[-1].readings.items():
        assert parse_case(latest.text, path.name, knowledge).rounds[-1].readings[slot].value == quantity.value


def test_the_printed_block_is_yaml_a_case_takes(knowledge: Knowledge) -> None:
    text = "case: a\nrounds:\n  - when: arrival\n" + readings_block(READINGS, "    ")
    assert parse_case(text.encode(), "a", knowledge).rounds[0].number("ambient_temperature") == 9.0


@pytest.mark.parametrize("text", ["case: a\n", "case: a\nrounds: []\n", "case: a\nrounds:\n"])
def test_a_case_without_rounds_is_refused(text: str) -> None:
    with pytest.raises(Faults, match="no list of rounds"):
        with_round(text.encode(), "a", READINGS, SOURCE, "follow-up", None)
    with pytest.raises(Faults, match="no list of rounds"):
        into_latest(text.encode(), "a", READINGS, SOURCE)


@settings(max_examples=60, deadline=None)
@given(
    st.lists(st.sampled_from(["", "  ", "# note", "      # deep", "notes: x"]), max_size=4),
    st.sampled_from(list(TEXTS.values())),
    st.booleans(),
)
def test_lines_behind_the_rounds_never_break_it(lines: list[str], text: str, latest: bool) -> None:
    tail = [line for line in lines if line != "notes: x" or "notes:" not in text]
    tail = list(dict.fromkeys(tail))
    raw = (text if text.endswith("\n") else text + "\n").encode() + "\n".join(tail).encode()
    try:
        old = parse_yaml(raw, "a").data
    except Faults:
        return
    try:
        merged = (
            into_latest(raw, "a", READINGS, SOURCE)
            if latest
            else with_round(raw, "a", READINGS, SOURCE, "follow-up", None)
        )
    except Faults as refused:
        assert "by hand" in str(refused)  # noqa: PT017  refusing is allowed, spoiling is not
        return
    assert stays(raw, merged.text)
    new = parse_yaml(merged.text, "a").data
    assert len(new["rounds"]) == len(old["rounds"]) + (0 if latest else 1)
