"""Every turn told is one: on its one side the answer stands, on the other it is what was said."""

from __future__ import annotations

from pathlib import Path

import pytest

from inference.case import Case
from inference.change import changed
from inference.diagnose import judge_case
from inference.questions.again import Again, standing_of
from inference.questions.along import Along
from inference.questions.tipping import Tipping, tipping
from inference.questions.turn import Outcome, Standpoint, Turn, outcome_of
from inference.read_case import read_case
from kb.model import Knowledge
from tests.conftest import CASES
from tests.inference.question_cases import COLD, LEAKING, case_of


@pytest.fixture(scope="module")
def cold(knowledge: Knowledge) -> Tipping:
    return tipping(case_of(COLD, knowledge), knowledge)


def outcome(case: Case, knowledge: Knowledge, turn: Turn, value: float | str) -> Outcome:
    """Judge the case on the plain path with the fact at ``value``."""
    written: object = f"{value!r} {turn.unit}" if isinstance(value, float) and turn.unit != "1" else value
    if turn.slot == "codes":
        written = []
    part = changed(case, knowledge, {turn.slot: written}, turn.round)
    return outcome_of(standing_of(part, judge_case(part, knowledge)))


def one(found: Tipping, slot: str) -> Turn:
    return next(t for t in found.turns if t.slot == slot)


def test_a_limit_of_a_rule_is_found_exactly(cold: Tipping) -> None:
    turn = one(cold, "coolant_temperature.road")
    assert (turn.at, turn.side, turn.exact) == (75.0, "at least", True)  # the rule says: below 75 °C
    turn = one(cold, "oil_level")
    assert (turn.at, turn.side, turn.exact, turn.decision) == (100.0, "above", True, "do not burn")


def test_the_distance_is_told_in_errors_of_the_instrument(cold: Tipping, knowledge: Knowledge) -> None:
    turn = one(cold, "coolant_temperature.road")
    assert knowledge.readings["coolant_temperature"].error == "2 °C"
    assert turn.errors == pytest.approx((75 - 64) / 2)
    assert not turn.within_error


def test_a_reading_next_to_its_limit_is_to_be_measured_again(knowledge: Knowledge) -> None:
    found = tipping(case_of(COLD.replace("oil_level: 70 %", "oil_level: 98 %"), knowledge), knowledge)
    assert one(found, "oil_level").within_error
    assert found.turns[0].slot == "oil_level"


def test_each_turn_is_one_on_the_plain_path(cold: Tipping, knowledge: Knowledge) -> None:
    case = case_of(COLD, knowledge)
    base = Outcome(cold.decision, cold.top)
    assert len(cold.turns) >= 4
    for turn in cold.turns:
        there = Outcome(turn.decision, turn.top)
        assert there != base
        if turn.side == "is":
            assert outcome(case, knowledge, turn, turn.at) == there
        elif turn.side == "between":
            assert turn.to is not None
            assert outcome(case, knowledge, turn, (float(turn.at) + turn.to) / 2) == there
        else:
            at = float(turn.at)
            hair = max(abs(at), 1) * 1e-6 * (1 if turn.side in ("above", "at least") else -1)
            itself = turn.side.startswith("at ") or not turn.exact
            assert outcome(case, knowledge, turn, at + hair) == there
            assert (outcome(case, knowledge, turn, at) == there) is itself
            if turn.exact:
                assert outcome(case, knowledge, turn, at - hair) == base


def test_of_what_is_not_known_only_what_the_decision_lacks_is_tried(cold: Tipping, knowledge: Knowledge) -> None:
    assert "handbrake_on" in cold.asked
    assert "bonnet_closed" not in cold.asked
    assert {t.slot for t in cold.turns if not t.given} <= set(cold.asked)
    assert one(cold, "injector_leak_found").decision == "do not burn"


def test_an_answer_that_carries_the_danger_turns_it(knowledge: Knowledge) -> None:
    found = tipping(case_of(LEAKING, knowledge), knowledge)
    assert found.decision == "do not burn"
    assert one(found, "injector_leak_found").decision == "hold"


def test_a_reading_at_the_end_of_what_can_be_is_followed_the_other_way_only(knowledge: Knowledge) -> None:
    """A tank read as 0 % cannot hold less: nothing is to be judged on that side, and the search ends at once."""
    found = tipping(case_of(COLD.replace("fuel_level: 60 %", "fuel_level: 0 %"), knowledge), knowledge)
    assert all(t.side in ("above", "at least") for t in found.turns if t.slot == "fuel_level")


@pytest.mark.parametrize("place", range(0, len(CASES), 12))
def test_worked_cases_can_be_asked_and_their_turns_are_turns(place: int, knowledge: Knowledge) -> None:
    case = read_case(CASES[place], knowledge)
    found = tipping(case, knowledge)
    assert found.tried > 20
    for turn in found.turns[:6]:
        if isinstance(turn.at, float) and turn.to is None:
            beyond = turn.at + max(abs(turn.at), 1) * 1e-6 * (1 if turn.side in ("above", "at least") else -1)
            assert outcome(case, knowledge, turn, beyond) == Outcome(turn.decision, turn.top)
        elif turn.to is None:
            assert outcome(case, knowledge, turn, turn.at) == Outcome(turn.decision, turn.top)


@pytest.mark.parametrize("path", CASES[7::13], ids=lambda p: p.stem)
def test_no_turn_is_lost_where_a_value_between_two_alike_is_left_out(
    path: Path, knowledge: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    case = read_case(path, knowledge)
    again = Again(case, knowledge, sparing=True)
    found = tipping(case, knowledge, again)
    monkeypatch.setattr(Along, "_alike", lambda *_: False)
    whole = tipping(case, knowledge, again)
    assert found.turns == whole.turns
    assert found.tried < whole.tried


def test_a_reading_on_a_limit_that_turns_either_way_is_told_for_either_side(knowledge: Knowledge) -> None:
    """Each search says on which side its turn lies, though the other may have found the same answer before."""
    case = case_of(COLD.replace("oil_level: 70 %", "oil_level: 100 %"), knowledge)
    here, reading = Standpoint(Again(case, knowledge)), knowledge.readings["oil_level"]
    other = Outcome("clear", None)
    found: list[Turn] = []
    for planned in Along(here, "oil_level", case.rounds[0], reading, True).searches():
        wanted = next(planned.search)
        while True:
            levels = [part.rounds[0].number("oil_level") for part in wanted if part is not None]
            try:
                wanted = planned.search.send([here.base if level == 100.0 else other for level in levels])
            except StopIteration as end:
                found += end.value
                break
    assert [(turn.at, turn.side, turn.exact) for turn in found] == [(100.0, "above", True), (100.0, "below", True)]
