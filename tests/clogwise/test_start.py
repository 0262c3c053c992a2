"""The interview: scripted from a file of lines, stopped anywhere, gone on with, taken back; its file reads cleanly."""

from __future__ import annotations

import io
from collections.abc import Iterator
from datetime import date
from pathlib import Path

import pytest
from rich.console import Console

from clogwise.casedata import CaseData, Unreadable
from clogwise.interview import BASICS, Interview, interview, open_case
from explain.startwords import chosen, question
from explain.words import phrases
from inference.case import Case
from inference.diagnose import diagnose
from inference.plan.asking import next_fact
from inference.read_case import read_case
from kb.faults import Faults
from kb.model import Knowledge
from kb.yamlread import parse_yaml
from kb.yamlwrite import write_yaml

DAY = date(2026, 3, 2)
CASES = Path(__file__).parents[2] / "cases"
BASIC_LINES = [
    "lamp again, third time: this winter", "2.0 l", "148000 km", "coated", "silicon carbide", "1000 km",
    "differential_pressure_two_temperatures", "P2463, P0128 pending", "0", "9 mbar", "58", "6 min", "2.5 km", "30", "0",
]  # fmt: skip


def hold(path: Path, knowledge: Knowledge, lines: list[str]) -> tuple[Interview, str]:
    out = io.StringIO()
    talk = interview(path, knowledge, Console(file=out, width=100), (f"{x}\n" for x in lines), True, lambda: DAY)
    return talk, out.getvalue()


def test_basics_are_written_as_a_case_file_that_reads_without_faults(tmp_path: Path, knowledge: Knowledge) -> None:
    path = tmp_path / "bakery.yaml"
    hold(path, knowledge, BASIC_LINES)
    case = read_case(path, knowledge)
    assert case.name == "bakery"
    assert case.complaint == BASIC_LINES[0]
    assert case.engine_litres == 2.0
    assert case.number("typical_trip") == 6.0
    assert [(c.code, c.status) for c in case.rounds[0].codes or ()] == [("P2463", "stored"), ("P0128", "pending")]
    assert case.today == DAY
    assert list(parse_yaml(path.read_bytes(), "x").data)[:3] == ["case", "opened", "vehicle"]


@pytest.mark.parametrize("lines", range(len(BASIC_LINES) + 1))
def test_stopped_anywhere_nothing_said_is_lost(lines: int, tmp_path: Path, knowledge: Knowledge) -> None:
    """Cut off after any line, whether by "stop" or by the end of the input, then gone on with: the same file."""
    whole, parts = tmp_path / "whole.yaml", tmp_path / "parts.yaml"
    hold(whole, knowledge, BASIC_LINES)
    hold(parts, knowledge, [*BASIC_LINES[:lines], *(["stop", "never read"] if lines % 2 else [])])
    read_case(parts, knowledge)
    hold(parts, knowledge, BASIC_LINES[lines:])
    assert parts.read_text().replace("case: parts", "case: whole") == whole.read_text()


def test_a_figure_that_cannot_be_taken_is_asked_again_in_the_words_of_the_reader(
    tmp_path: Path, knowledge: Knowledge
) -> None:
    lines = ["smoke", "2.0 l", "148 mbar", "148.000,5 km", "148,000", "9 bar", "90000 km"]
    talk, said = hold(tmp_path / "x.yaml", knowledge, lines)
    assert "a unit such as km would be right" in " ".join(said.split())
    assert said.count("That cannot be taken") == 4
    assert "Taken as" not in said
    assert talk.case.case.odometer_km == 90000
    assert "\n> 9 bar\n" in said  # what a pipe gave is shown where no terminal does


@pytest.mark.parametrize(
    ("slot", "said", "written", "back"),
    [
        ("vehicle.odometer", "148000", "148000 km", True),
        ("gauge_pressure.fast_idle", "57", "57 mbar", True),
        ("gauge_pressure.fast_idle", "5.7 kPa", "5.7 kPa", False),
        ("coolant_temperature.now", "-3", "-3 °C", True),
        ("injector_correction_spread", "0.8", "0.8 mg/stroke", True),
        ("fuel_level", "55", "55 %", True),
        ("typical_trip", "8", "8 min", True),
        ("burns_started", "9", 9, False),  # a count has no unit
    ],
)
def test_a_bare_figure_is_taken_in_the_unit_asked_for_and_said_back(
    slot: str, said: str, written: object, back: bool, tmp_path: Path, knowledge: Knowledge
) -> None:
    """The question names the unit, the answer repeats it, and the file holds it: files stay strict."""
    out = io.StringIO()
    path = tmp_path / "x.yaml"
    data, _ = open_case(path, knowledge, DAY)
    talk = Interview(path, data, knowledge, Console(file=out, width=100), iter([said]), True)
    assert talk._ask(slot, None) == "done"
    place, key = talk.case._place(talk.case.data, slot)
    value = place[key]
    assert (value[slot.partition(".")[2]] if isinstance(value, dict) else value) == written
    assert (f"Taken as {written}." in out.getvalue()) == back
    if back:
        assert str(written).partition(" ")[2] in question(knowledge, slot)  # the unit taken is the unit named
    read_case(path, knowledge)


@pytest.mark.parametrize(("said", "fault"), [("1600", "no engine"), ("57,5", "decimal comma"), ("1e3", "no unit")])
def test_a_bare_figure_is_taken_no_further_than_it_is_sure(
    said: str, fault: str, tmp_path: Path, knowledge: Knowledge
) -> None:
    talk, told = hold(tmp_path / "x.yaml", knowledge, ["smoke", said, "stop"])
    assert fault in " ".join(told.split())
    assert talk.case.case.engine_litres is None


def test_an_engine_size_said_bare_is_said_back_in_litres(tmp_path: Path, knowledge: Knowledge) -> None:
    talk, told = hold(tmp_path / "x.yaml", knowledge, ["smoke", "1.6", "stop"])
    assert "Taken as 1.6 l." in told
    assert talk.case.case.engine_litres == 1.6


def test_a_case_file_still_wants_its_units(tmp_path: Path, knowledge: Knowledge) -> None:
    path = tmp_path / "x.yaml"
    path.write_text("case: x\nvehicle: {odometer: 96500}\nrounds: [{when: arrival}]\n")
    with pytest.raises(Faults, match="96500 has no unit"):
        read_case(path, knowledge)


def test_every_question_for_a_figure_names_its_unit_and_no_condition_twice(knowledge: Knowledge) -> None:
    for reading in knowledge.readings.values():
        for slot in [f"{reading.id}.{c}" for c in reading.conditions] or [reading.id]:
            asks = question(knowledge, slot)
            assert reading.unit == "1" or f"(in {reading.unit}" in asks
            words = phrases()["condition"].get(slot.partition(".")[2], "")
            assert not words or asks.count(f" {words}") == 1, asks


def test_what_only_a_recording_tells_is_not_asked_of_a_person(tmp_path: Path, knowledge: Knowledge) -> None:
    talk, _ = hold(tmp_path / "x.yaml", knowledge, [*BASIC_LINES, *["unknown"] * 150])
    told = {r.id for r in knowledge.readings.values() if r.instrument == "a recorded drive"}
    assert len(told) > 10
    assert not [s for s in talk.asked if s.partition(".")[0] in told]


def test_the_hand_gauge_is_asked_for_before_anything_is_guessed(tmp_path: Path, knowledge: Knowledge) -> None:
    """Whether the filter is blocked at all, and so whether a burn is needed, only the hand gauge tells."""
    talk, _ = hold(tmp_path / "x.yaml", knowledge, BASIC_LINES)
    assert talk.asked[8:11] == [f"gauge_pressure.{c}" for c in ("key_on", "idle", "fast_idle")]
    assert talk.case.case.rounds[0].readings["gauge_pressure.fast_idle"].value == 58.0


def test_back_takes_the_last_answer_out_of_the_file_and_asks_it_again(tmp_path: Path, knowledge: Knowledge) -> None:
    path = tmp_path / "x.yaml"
    talk, said = hold(path, knowledge, ["smoke", "2.0 l", "back"])
    assert talk.case.case.engine_litres is None
    assert "vehicle" not in parse_yaml(path.read_bytes(), "x").data
    assert said.count(question(knowledge, "vehicle.engine_litres").split("?")[0]) == 3  # asked, taken back, asked
    talk, _ = hold(
        tmp_path / "y.yaml", knowledge, ["smoke", "2.0 l", "back", "back", "no power", "1.6 l", "back", "3 l"]
    )
    assert talk.case.case.complaint == "no power"
    assert talk.case.case.engine_litres == 3.0
    assert "first question" in hold(tmp_path / "z.yaml", knowledge, ["back"])[1]


def test_why_says_what_the_answer_bears_on_and_asks_again(tmp_path: Path, knowledge: Knowledge) -> None:
    talk, said = hold(tmp_path / "x.yaml", knowledge, [*BASIC_LINES, "why"])
    ask = next_fact(knowledge, diagnose(talk.case.case, knowledge), set(talk.asked))
    assert ask is not None
    assert ask.causes or ask.need
    for cause in ask.causes:
        title = knowledge.causes[cause].title
        assert title[1:] in " ".join(said.split())
    assert " ".join(said.split()).count(" ".join(question(knowledge, ask.slot).split())) == 2


@pytest.mark.parametrize("way", ["", "unknown"])
def test_what_is_not_known_is_passed_and_not_asked_again(way: str, tmp_path: Path, knowledge: Knowledge) -> None:
    talk, said = hold(tmp_path / "x.yaml", knowledge, [way] * 150)
    assert len(talk.asked) == len(set(talk.asked))
    assert set(BASICS) <= set(talk.asked)
    assert "Nothing more is worth asking" in said
    answers = talk.case.case.rounds[0].answers
    assert answers
    assert set(answers.values()) == {"unknown"}
    assert not talk.case.case.rounds[0].readings


def answers_of(case: Case, slot: str) -> str:
    """What the writer of a case would say when asked."""
    last = case.rounds[-1]
    if slot == "codes":
        return "none" if last.codes == () else ", ".join(f"{c.code} {c.status}" for c in last.codes or ())
    if slot in last.answers:
        return last.answers[slot]
    words = {"filter.type": case.filter_type, "filter.substrate": case.substrate, "layout": case.layout}
    figure = last.readings.get(slot) or case.usage.get(slot) or case.given.get(slot)
    if slot == "complaint":
        return " ".join(case.complaint.split())
    if slot == "vehicle.engine_litres":
        return f"{case.engine_litres} l"
    return words.get(slot) or (figure.given if figure else "")


@pytest.mark.parametrize("name", ["taxi-two", "school-run", "choir-bus"])
def test_an_interview_finds_the_cause_of_a_whole_case(name: str, tmp_path: Path, knowledge: Knowledge) -> None:
    """Asked by someone who knows what a worked case holds, the interview comes to the same leading cause."""
    case = read_case(CASES / f"{name}.yaml", knowledge)
    path = tmp_path / "asked.yaml"
    data, _ = open_case(path, knowledge, DAY)
    talk = Interview(path, data, knowledge, Console(file=io.StringIO()), iter(()), False)

    def lines() -> Iterator[str]:
        while True:
            slot, _ = talk._next()
            if slot is None:
                return
            yield answers_of(case, slot)

    talk.lines = lines()
    talk.run()
    found = diagnose(read_case(path, knowledge), knowledge)
    assert found.causes[0].id == diagnose(case, knowledge).causes[0].id
    assert len(talk.asked) < 125  # of some 180 that could be asked; the dear ones come last


def test_the_place_is_asked_about_last(tmp_path: Path, knowledge: Knowledge) -> None:
    """As long as something else holds the burn up, whether the bonnet is closed changes nothing."""
    talk, _ = hold(tmp_path / "x.yaml", knowledge, [*BASIC_LINES, *["unknown"] * 100])
    safe = {q.id for q in knowledge.questions.values() if q.group == "safe to work"} - {"fluid_leaks_seen"}
    assert not safe & set(talk.asked)


def test_a_file_with_faults_is_left_as_it_is(tmp_path: Path, knowledge: Knowledge) -> None:
    path = tmp_path / "x.yaml"
    path.write_text("case: x\nrounds: [{when: arrival, odometer: far}]\n")
    with pytest.raises(Faults):
        hold(path, knowledge, ["smoke"])
    assert "far" in path.read_text()


def test_what_the_file_says_is_kept_and_not_asked(tmp_path: Path, knowledge: Knowledge) -> None:
    path = tmp_path / "x.yaml"
    before = (CASES / "school-run.yaml").read_text()
    path.write_text(before)
    talk, said = hold(path, knowledge, ["stop"])
    assert "Going on with" in said
    assert path.read_text() == before  # nothing was said, nothing is written
    known = read_case(path, knowledge)
    assert diagnose(known, knowledge).causes[0].id == diagnose(talk.case.case, knowledge).causes[0].id
    assert not any(talk.case.known(slot) for slot in talk.asked)


def test_yaml_writes_what_it_reads(knowledge: Knowledge) -> None:
    data = {
        "a": "yes",
        "b": "2026-03-02",
        "c": [],
        "d": {"e": "9 mbar", "f": 3, "g": 2.5},
        "h": "null",
        "i": "1: x # y",
    }
    text = write_yaml(data)
    assert parse_yaml(text, "x").data == data
    assert b"a: yes\n" in text
    assert b"b: 2026-03-02\n" in text


@pytest.mark.parametrize(
    ("slot", "said", "id_"),
    [
        ("filter.type", "1", "coated"),
        ("filter.type", "coated", "coated"),
        ("filter.type", "Plain filter, no coating and no additive", "uncoated"),
        ("filter.type", "nitrogen oxide", "coated_with_scr"),
        ("filter.substrate", "alu", "aluminium titanate"),
        ("layout", "2", "differential_pressure_two_temperatures"),
        ("layout", "outside air", "gauge_pressure_upstream"),
        ("layout", "temperatures", None),
        ("filter.type", "0", None),
        ("filter.type", "99", None),
        ("filter.type", "maybe", None),
    ],
)
def test_a_choice_is_taken_by_number_or_by_its_words(
    slot: str, said: str, id_: str | None, knowledge: Knowledge
) -> None:
    assert chosen(knowledge, slot, said) == id_


def test_no_id_is_shown_to_the_person_asked(tmp_path: Path, knowledge: Knowledge) -> None:
    """Ids with underscores are for files; who is asked sees words, and a choice that is none is asked again."""
    path = tmp_path / "x.yaml"
    talk, said = hold(path, knowledge, ["smoke", "2.0 l", "", "perhaps", "3", "", "", "2", *["unknown"] * 150])
    assert not [word for word in said.split() if "_" in word and "/" not in word]
    assert "'perhaps' names none of these" in said
    assert talk.case.case.filter_type == "coated_with_scr"
    assert talk.case.case.layout == "differential_pressure_two_temperatures"
    assert all(len(line) <= 100 for line in said.splitlines())


def test_a_word_that_is_no_option_changes_nothing(tmp_path: Path, knowledge: Knowledge) -> None:
    data, _ = open_case(tmp_path / "x.yaml", knowledge, DAY)
    assert isinstance(data, CaseData)
    with pytest.raises(Unreadable, match="yes, no"):
        data.put("blue_smoke", "sometimes")
    assert not data.known("blue_smoke")
    data.put("blue_smoke", "y")
    assert data.case.rounds[0].answers == {"blue_smoke": "yes"}
    data.take_out("blue_smoke")
    assert not data.known("blue_smoke")


def test_codes_are_taken_as_they_are_typed(tmp_path: Path, knowledge: Knowledge) -> None:
    case = CaseData({"case": "x", "rounds": [{}]}, knowledge, "x.yaml")
    case.put("codes", "p2463 P0476 pending and P0128, P0101")
    told = case.case.rounds[0].codes
    assert told is not None
    assert [(c.code, c.status) for c in told] == [
        ("P2463", "stored"), ("P0476", "pending"), ("P0128", "stored"), ("P0101", "stored"),
    ]  # fmt: skip
    with pytest.raises(Unreadable, match="is no trouble code"):
        case.put("codes", "lots of them")


@pytest.mark.parametrize("said", ["don't know", "dunno", "skip"])
def test_words_for_not_knowing_pass_on(said: str, tmp_path: Path, knowledge: Knowledge) -> None:
    talk, _ = hold(tmp_path / "c.yaml", knowledge, [said, said, said, "stop"])
    assert talk.case.data.get("complaint") is None
    assert set(BASICS[:3]) <= set(talk.passed)


def test_help_says_the_words_again_and_choices_stand_once(tmp_path: Path, knowledge: Knowledge) -> None:
    lines = ["", "2.0 l", "142000 km", "help", "nonsense", "1", "stop"]
    talk, told = hold(tmp_path / "c.yaml", knowledge, lines)
    assert told.count("“stop” ends") == 2
    assert told.count("plain filter, no coating and no additive") == 1
    assert told.count("What kind of filter is it?") == 3
    assert talk.case.case.filter_type == "coated"
