"""What cannot be true together: dates, odometers, the filter's fitting; and what lies before what."""

from __future__ import annotations

import pytest

from inference.case import Case
from inference.read_case import parse_case
from kb.faults import Faults
from tests.inference.case_knowledge import knowledge


def read(text: str) -> Case:
    return parse_case(text.encode(), "c.yaml", knowledge())


def case_of(rounds: str = "[{}]", history: str = "[]", rest: str = "") -> str:
    return f"case: c\n{rest}\nhistory: {history}\nrounds: {rounds}\n"


TWO = "[{when: arrival, date: %s, odometer: %s km}, {when: follow-up, date: %s, odometer: %s km}]"


@pytest.mark.parametrize(
    ("text", "says"),
    [
        (case_of(TWO % ("2026-03-02", 100, "2026-03-01", 100)), "write the oldest first"),
        (case_of(TWO % ("2026-03-02", 100, "2026-03-03", 90)), "the odometer falls from 100 km"),
        (case_of(TWO % ("2026-03-02", 1, "2026-03-03", 2), rest="opened: 2026-03-03"), "before the case was opened"),
        (case_of("[{odometer: 90 km}]", rest="vehicle: {odometer: 100 km}"), "more than the latest round's 90 km"),
        (case_of("[{date: 2026-03-02}]", "[{event: blocked, date: 2026-03-03}]"), "lies after the latest day"),
        (case_of("[{odometer: 90 km}]", "[{event: blocked, odometer: 91 km}]"), "lies beyond the odometer"),
        (
            case_of("[{}]", "[{event: blocked, date: 2026-03-03}, {event: blocked, date: 2026-03-02}]"),
            "write the oldest first",
        ),
        (
            case_of(
                "[{date: 2026-03-02, odometer: 90 km}]", "[{event: blocked, date: 2026-03-01, odometer: 89 km}]",
                "filter: {fitted: 2026-02-01, fitted_at: 89.5 km}",
            ),
            "already had 89.5 km",
        ),
        (case_of("[{odometer: 90 km}]", rest="filter: {fitted_at: 95 km}"), "lies beyond the odometer"),
        (case_of("[{date: 2026-03-02}]", rest="filter: {fitted: 2026-03-03}"), "lies after the latest day"),
        (
            case_of(TWO % ("2026-03-02", 100, "2026-03-09", 110), rest="filter: {fitted: 2026-03-03}"),
            "add the event 'filter replaced'",
        ),
        (case_of(rest="filter: {wall: 1 mm, cells_per_square_inch: 300}"), "leave hardly any channel"),
        (case_of("[{odometer: 90 km, codes_cleared: {distance: 95 km}}]"), "more than the vehicle has driven"),
        (case_of("[{odometer: 90 km, readings: {distance_since_burn: 95 km}}]"), "more than the vehicle has driven"),
        (
            case_of("[{odometer: 9 km, answers: {filter_replaced: no}}]", "[{event: filter replaced, odometer: 8 km}]"),
            "the answer is no, but line 3",
        ),
    ],
)  # fmt: skip
def test_contradiction_is_a_fault(text: str, says: str) -> None:
    with pytest.raises(Faults) as caught:
        read(text)
    assert [f for f in caught.value.faults if says in f.says], str(caught.value)
    assert len(caught.value.faults) == 1, str(caught.value)


def test_same_day_and_same_odometer_are_fine() -> None:
    case = read(case_of(TWO % ("2026-03-02", 100, "2026-03-02", 100), rest="vehicle: {odometer: 100 km}"))
    assert len(case.rounds) == 2


def test_a_filter_older_than_its_replacement_is_warned_of() -> None:
    text = case_of(
        "[{date: 2026-03-02}]", "[{event: filter replaced, date: 2024-01-01}]", "filter: {fitted: 2019-01-01}"
    )
    assert "give the fitting of the filter now on the vehicle" in read(text).warnings[0].says


SAME_DAY = """\
case: c
history:
  - {event: blocked, date: 2026-03-02}
  - {event: repair, what: thermostat_stuck_open, date: 2026-03-02}
  - {event: forced regeneration, date: 2026-03-02, completed: yes}
rounds:
  - {when: arrival, date: 2026-03-02}
  - {when: after repair, date: 2026-03-02}
  - {when: after burn, date: 2026-03-02}
"""


def test_order_of_things_done_on_one_day() -> None:
    case = read(SAME_DAY)
    blocked, repair, burn = case.history
    arrival, repaired, burnt = case.rounds
    assert [case.before(blocked, r) for r in case.rounds] == [True, True, True]
    assert [case.before(repair, r) for r in case.rounds] == [False, True, True]
    assert [case.before(burn, r) for r in case.rounds] == [False, False, True]
    assert case.between(arrival, repaired) == (repair,)
    assert case.between(repaired, burnt) == (burn,)
    assert case.repaired_by(arrival) == frozenset()
    assert case.repaired_by(repaired) == {"thermostat_stuck_open"}


def test_order_that_cannot_be_told_is_none() -> None:
    case = read(case_of("[{odometer: 5 km}]", "[{event: blocked, date: 2026-03-02}, {event: blocked}]"))
    assert case.before(case.history[0], case.rounds[0]) is None
    assert case.before(case.history[1], case.rounds[0]) is True  # neither date nor odometer: earlier history
    alone = read(case_of("[{date: 2026-03-02}]", "[{event: forced regeneration, date: 2026-03-02}]"))
    assert alone.before(alone.history[0], alone.rounds[0]) is None


def test_measures_of_one_filter_that_do_not_go_together_are_warned_of() -> None:
    # a round body of 143.8 mm and 152.4 mm holds pi/4 D2 L = 2.475 l
    rest = "filter: {volume: %s l, diameter: 143.8 mm, length: 152.4 mm}"
    assert read(case_of(rest=rest % "2.5")).warnings == ()
    assert "which make 2.48 l" in read(case_of(rest=rest % "3.5")).warnings[0].says
