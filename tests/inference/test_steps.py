"""Steps taken over from a journal: a changed case derives to the same readings as on a clean sheet."""

from __future__ import annotations

import random

import pytest

from inference.case import Case
from inference.change import changed, without
from inference.derive import derive
from inference.derive_sheet import Sheet
from inference.steps import Journal, kept, step
from kb.faults import Faults
from kb.model import Knowledge
from tests.inference.physics_fakes import FakeCase, FakeRound


def test_changed_readings_derive_as_on_a_clean_sheet(case: Case, knowledge: Knowledge) -> None:
    rng, journal = random.Random(case.name), Journal()
    assert derive(case, knowledge, journal) == derive(case, knowledge)
    for _ in range(8):
        round_ = rng.choice(case.rounds)
        if not round_.readings:
            continue
        slot = rng.choice(sorted(round_.readings))
        value = round_.readings[slot].value * rng.uniform(0.5, 1.6)
        unit = knowledge.readings[slot.partition(".")[0]].unit
        try:
            other = changed(case, knowledge, {slot: value if unit == "1" else f"{value!r} {unit}"}, round_.index)
        except Faults:
            continue
        assert derive(other, knowledge, journal) == derive(other, knowledge), slot


def test_readings_left_out_and_put_back_derive_as_on_a_clean_sheet(case: Case, knowledge: Knowledge) -> None:
    rng, journal = random.Random(case.name), Journal()
    slots = sorted({s for r in case.rounds for s in r.readings})
    derive(without(case, knowledge, slots[::2]), knowledge, journal)  # much is missing where the journal begins
    for _ in range(4):
        part = without(case, knowledge, [s for s in slots if rng.random() < 0.3])
        assert derive(part, knowledge, journal) == derive(part, knowledge)
    assert derive(case, knowledge, journal) == derive(case, knowledge)


taken: list[str] = []


@kept
def _half(sheet: Sheet) -> float | None:
    taken.append("half")
    value = sheet.read("coolant_temperature.road")
    return None if value is None else value // 2


@step
def _first(sheet: Sheet) -> None:
    taken.append("first")
    if (half := _half(sheet)) is not None:
        sheet.memo["first"] = half


@step
def _second(sheet: Sheet) -> None:
    taken.append("second")
    sheet.memo["second"] = (sheet.memo.get("first"), sheet.answer("black_smoke"))


def _take(sheet: Sheet, journal: Journal, coolant: float | None, smoke: str | None) -> list[str]:
    round_ = FakeRound(
        {} if coolant is None else {"coolant_temperature.road": coolant},
        {} if smoke is None else {"black_smoke": smoke},
    )
    sheet.turn_to(FakeCase((round_,)), round_)
    journal.begin()
    taken.clear()
    _first(sheet)
    _second(sheet)
    return list(taken)


@pytest.fixture
def journal() -> Journal:
    return Journal()


def test_only_what_a_change_reaches_is_taken_again(journal: Journal, knowledge: Knowledge) -> None:
    sheet = Sheet(FakeCase((FakeRound(),)), FakeRound(), knowledge, journal)
    assert _take(sheet, journal, 80.0, "no") == ["first", "half", "second"]
    assert _take(sheet, journal, 80.0, "no") == []
    assert _take(sheet, journal, 80.0, "yes") == ["second"]
    assert sheet.memo["second"] == (40.0, "yes")
    assert _take(sheet, journal, 60.0, "no") == ["half", "first", "second"]
    assert sheet.memo["second"] == (30.0, "no")
    assert _take(sheet, journal, 80.0, "no") == []
    assert sheet.memo["second"] == (40.0, "no")


def test_a_step_asked_again_with_the_same_answer_stops_there(journal: Journal, knowledge: Knowledge) -> None:
    sheet = Sheet(FakeCase((FakeRound(),)), FakeRound(), knowledge, journal)
    _take(sheet, journal, None, "no")
    assert _take(sheet, journal, None, "yes") == ["second"]  # nothing was written by the first, then as now
    assert _take(sheet, journal, 80.0, "no") == ["half", "first", "second"]
    assert sheet.memo["second"] == (40.0, "no")
    assert _take(sheet, journal, None, "no") == []
    assert sheet.memo["second"] == (None, "no")
