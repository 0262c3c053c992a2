"""A list of codes that is empty, or from which one has gone, opens nothing until it is known not to be just cleared."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import pytest

from inference.case import Case, CodesCleared, SeenCode
from inference.change import changed
from inference.diagnose import diagnose, judge_case
from inference.plan.asking import next_fact
from inference.questions.again import Again
from inference.questions.ground import open_facts
from inference.read_case import parse_case, read_case
from kb.faults import Faults
from kb.load import load

KNOWLEDGE = load()
CLEAR = read_case(Path(__file__).parent / "cases" / "clear.yaml", KNOWLEDGE)
CLEAR = changed(CLEAR, KNOWLEDGE, {"battery_voltage": "14.2 V"})  # so that no need but that of the codes turns on them
OWN = "P1ABC"  # a maker's own code; neither the list of codes nor a rule names it
NOT_TOLD = CodesCleared()
SOME = CodesCleared(180.0, 9.0)  # not enough for every monitor to have run
LONG = CodesCleared(700.0, 9.0)  # not lately, though too few warm-ups for every monitor
MUCH = CodesCleared(900.0, 40.0)


def with_codes(
    case: Case, codes: list[str] | None, cleared: CodesCleared, monitors: str = "unknown", **more: str
) -> Case:
    """The case with other codes in its latest round."""
    latest = case.rounds[-1]
    seen = None if codes is None else tuple(SeenCode(c, "stored", 0) for c in codes)
    told = replace(
        latest, codes=seen, codes_cleared=cleared, monitors_complete=monitors, answers={**latest.answers, **more}
    )
    return replace(case, rounds=(*case.rounds[:-1], told))


def later(case: Case, when: str = "follow-up", **more: object) -> Case:
    """The case with its latest round once more, a day later."""
    last = case.rounds[-1]
    assert last.date is not None
    again = replace(last, index=len(case.rounds), when=when, date=last.date.replace(day=last.date.day + 1), **more)
    return replace(case, rounds=(*case.rounds, again))


def decision(case: Case) -> str:
    return judge_case(case, KNOWLEDGE).gate.decision


@pytest.mark.parametrize("codes", [[], ["P2463"]])
def test_a_list_of_codes_counts_once_it_is_known_that_they_were_not_lately_cleared(codes: list[str]) -> None:
    assert decision(with_codes(CLEAR, codes, NOT_TOLD)) == "hold"
    assert decision(with_codes(CLEAR, codes, NOT_TOLD, codes_cleared_lately="unknown")) == "hold"
    assert decision(with_codes(CLEAR, codes, NOT_TOLD, codes_cleared_lately="no")) == "clear"
    assert decision(with_codes(CLEAR, codes, NOT_TOLD, "yes")) == "clear", "the monitors have run"
    assert decision(with_codes(CLEAR, codes, NOT_TOLD, codes_cleared_lately="yes")) == "hold"
    for counted, wanted in (
        (CodesCleared(20.0, 1.0), "hold"), (CodesCleared(900.0), "hold"), (SOME, "hold"), (LONG, "clear"),
    ):  # fmt: skip
        assert decision(with_codes(CLEAR, codes, counted)) == wanted


@pytest.mark.parametrize("counted", [NOT_TOLD, CodesCleared(60.0, 4.0), SOME, CodesCleared(499.0, 40.0)])
def test_monitors_that_have_not_run_open_nothing_before_five_hundred_kilometres(counted: CodesCleared) -> None:
    """Nor does leaving out that they have not run, nor a 'no' told beside it."""
    for said in ({}, {"codes_cleared_lately": "no"}):
        assert decision(with_codes(CLEAR, [], counted, "no", **said)) == "hold"
        if counted != NOT_TOLD:
            assert decision(with_codes(CLEAR, [], counted, "unknown", **said)) == "hold"
    assert decision(with_codes(CLEAR, [], counted, "yes")) == "clear"
    (reason,) = judge_case(with_codes(CLEAR, [], counted, "no"), KNOWLEDGE).gate.missing
    assert reason.finding == "need_codes_allow"
    assert "whether the monitors have run" in reason.says


def test_a_blocked_filter_that_keeps_its_own_monitor_from_running_does_not_hold_for_good() -> None:
    assert decision(with_codes(CLEAR, ["P2463"], LONG, "no")) == "clear"
    seen = with_codes(CLEAR, ["P2463"], MUCH, "no")
    assert decision(with_codes(later(seen, "after repair"), [], SOME, "no")) == "clear", "what was cleared was read"


def test_a_count_goes_before_a_no_and_does_not_undo_a_yes() -> None:
    fresh = CodesCleared(20.0, 1.0)
    assert decision(with_codes(CLEAR, [], fresh, codes_cleared_lately="no")) == "hold"
    assert decision(with_codes(CLEAR, [], SOME, codes_cleared_lately="yes")) == "hold", "cleared after it was read"
    assert decision(with_codes(CLEAR, [], MUCH, "yes", codes_cleared_lately="yes")) == "hold"


@pytest.mark.parametrize("undriven", [CodesCleared(0.0, 0.0), CodesCleared(3.0, 1.0), CodesCleared(900.0, 0.0)])
def test_monitors_cannot_have_run_since_the_codes_were_cleared_a_moment_ago(undriven: CodesCleared) -> None:
    assert decision(with_codes(CLEAR, [], undriven, "yes")) == "hold"
    assert decision(with_codes(CLEAR, [], CodesCleared(30.0, 1.0), "yes")) == "clear", "one good drive may run them"


# a code against a burn, work that is none on it, and work on it
WORK = [
    ("P0544", "thermostat_stuck_open", "exhaust_temperature_sensor_fault"),
    ("P0299", "egr_stuck_open", "charge_cooler_fault"),
    ("P0562", "injector_fault", "low_supply_voltage"),
    ("P0563", "injector_fault", "mend-charging"),
    ("P0480", "thermostat_stuck_open", "burn_inhibited_by_fault"),
]


@pytest.mark.parametrize(("code", "other", "work"), WORK)
def test_work_on_something_else_does_not_mend_what_a_code_told_of(code: str, other: str, work: str) -> None:
    seen = with_codes(CLEAR, ["P2463", code], MUCH)
    assert decision(with_codes(later(seen, "after repair", repaired=(other,)), [], SOME)) == "hold"
    assert decision(with_codes(later(seen, "after repair", repaired=(work,)), [], SOME)) == "clear"
    assert decision(with_codes(later(seen, "after repair", repaired=(other,)), [], MUCH)) == "clear", "driven for"


def test_of_two_codes_each_wants_its_work() -> None:
    first = with_codes(CLEAR, ["P0544", "P0299"], MUCH)
    one = with_codes(later(first, "after repair", repaired=("turbo_underboost",)), [], SOME)
    assert decision(one) == "hold"
    both = with_codes(later(one, "after repair", repaired=("exhaust_temperature_sensor_fault",)), [], SOME)
    assert decision(both) == "clear"


def test_it_is_said_and_asked_what_is_missing() -> None:
    case = with_codes(CLEAR, [], NOT_TOLD)
    (reason,) = judge_case(case, KNOWLEDGE).gate.missing
    assert reason.finding == "need_codes_allow"
    assert "how far and how many warm-ups ago" in reason.says
    assert open_facts(KNOWLEDGE, Again(case, KNOWLEDGE).base, case) == ("codes_cleared_lately",)
    ask = next_fact(KNOWLEDGE, diagnose(case, KNOWLEDGE))
    assert ask is not None
    assert ask.slot == "codes_cleared_lately"
    assert decision(changed(case, KNOWLEDGE, {"codes_cleared_lately": "no"})) == "clear"


@pytest.mark.parametrize("when", ["follow-up", "after repair"])
def test_a_makers_own_code_that_has_gone_holds_until_it_would_have_come_back(when: str) -> None:
    seen = with_codes(CLEAR, ["P2463", OWN], MUCH)
    assert decision(seen) == "hold", "nobody here knows what it stands for"
    for cleared in (NOT_TOLD, SOME):
        gone = with_codes(later(seen, when), ["P2463"], cleared)
        assert decision(gone) == "hold", cleared
        stood = judge_case(gone, KNOWLEDGE).stands
        assert stood.findings["unread_code_stored"].state == "holds"
        assert stood.since["unread_code_stored"] == 0
    told = with_codes(later(seen, when), ["P2463"], NOT_TOLD, codes_cleared_lately="no")
    assert decision(told) == "hold", "that nobody cleared it does not say what it was"
    assert decision(with_codes(later(seen, when), ["P2463"], MUCH)) == "clear"
    assert decision(with_codes(later(seen, when), ["P2463"], SOME, "yes")) == "clear"


def test_it_stands_through_rounds_without_codes_and_ends_by_the_work_on_it() -> None:
    seen = with_codes(CLEAR, [OWN], MUCH)
    silent = with_codes(later(seen), None, NOT_TOLD)
    assert decision(with_codes(later(silent), [], SOME)) == "hold"
    other = later(seen, "after repair", repaired=("thermostat_stuck_open",))
    assert decision(with_codes(other, [], SOME)) == "hold", "nobody knows whether that was behind it"
    mended = later(seen, "after repair", repaired=("burn_inhibited_by_fault",))
    assert decision(with_codes(mended, [], SOME)) == "clear"


def test_a_makers_own_code_that_was_looked_up_and_is_harmless_holds_nothing() -> None:
    text = f"case: x\nrounds: [{{when: arrival, codes: [P2463, {{code: {OWN}, looked_up: harmless}}]}}]\n".encode()
    read = parse_case(text, "x.yaml", KNOWLEDGE).rounds[0].codes
    assert read is not None
    assert [c.harmless for c in read] == [False, True]
    told = with_codes(CLEAR, [], MUCH)
    told = replace(told, rounds=(replace(told.rounds[0], codes=read),))
    assert decision(told) == "clear"
    assert decision(with_codes(CLEAR, ["P2463", OWN], MUCH)) == "hold", "nobody has looked it up"
    assert decision(with_codes(later(told), [], SOME)) == "clear"


def test_a_code_that_is_known_here_cannot_be_called_harmless() -> None:
    text = b"case: x\nrounds:\n  - when: arrival\n    codes: [{code: P0544, looked_up: harmless}]\n"
    with pytest.raises(Faults, match=r"x\.yaml:4: .*P0544 is known here .*leave looked_up: out"):
        parse_case(text, "x.yaml", KNOWLEDGE)


def test_a_known_code_that_reports_the_load_leaves_nothing_behind() -> None:
    assert decision(with_codes(later(with_codes(CLEAR, ["P2463"], MUCH)), [], SOME)) == "clear"


def test_the_question_can_stand_in_a_case_file() -> None:
    text = b"case: x\nrounds: [{when: arrival, codes: [], answers: {codes_cleared_lately: no}}]\n"
    case = parse_case(text, "x.yaml", KNOWLEDGE)
    assert case.rounds[0].answer("codes_cleared_lately") == "no"


@pytest.mark.parametrize("monitors", ["unknown", "yes", "no"])
@pytest.mark.parametrize("cleared", [NOT_TOLD, CodesCleared(20.0, 1.0), SOME, MUCH])
def test_a_changed_answer_is_judged_as_if_it_had_stood_there(cleared: CodesCleared, monitors: str) -> None:
    """A 'no' said in a change of the case opens nothing that a count closes, on the quick path as on the plain."""
    for before in ({}, {"codes_cleared_lately": "yes"}, {"codes_cleared_lately": "no"}):
        case = with_codes(CLEAR, ["P2463"], cleared, monitors, **before)
        again = Again(case, KNOWLEDGE)
        for said in ("yes", "no", "unknown"):
            other = changed(case, KNOWLEDGE, {"codes_cleared_lately": said})
            found = again.of(other)
            assert found is not None
            assert found.gate.decision == decision(other), (before, said)


def test_what_was_told_just_cleared_shows_no_code_absent() -> None:
    seen = with_codes(CLEAR, ["P2463", "P0544"], MUCH)
    told = with_codes(later(seen), [], MUCH, "yes", codes_cleared_lately="yes")
    assert decision(told) == "hold"
    assert decision(with_codes(later(told), [], SOME)) == "hold", "the sensor's code has still not been driven for"


JUST_CLEARED = CodesCleared(5.0, 1.0)


def test_codes_cleared_after_they_had_been_read_hide_nothing() -> None:
    """As after a repair in the shop: what stood there is known, so the burn need not wait for 50 km of driving."""
    after = later(with_codes(CLEAR, ["P2463"], MUCH), when="after repair", codes=(), codes_cleared=JUST_CLEARED)
    assert decision(after) == "clear"
    again = later(after, codes=(), codes_cleared=JUST_CLEARED)
    assert decision(again) == "clear", "each round has read them"


def test_a_list_that_was_no_good_itself_or_was_not_read_does_not_vouch_for_the_next() -> None:
    for codes, cleared in ((["P2463"], JUST_CLEARED), (["P2463"], NOT_TOLD), (None, MUCH)):
        before = with_codes(CLEAR, codes, cleared)
        assert decision(later(before, when="after repair", codes=(), codes_cleared=JUST_CLEARED)) == "hold"
    unread = later(with_codes(CLEAR, [], MUCH), codes=None, codes_cleared=NOT_TOLD)
    assert decision(later(unread, codes=(), codes_cleared=JUST_CLEARED)) == "hold", "the round between did not read"


@pytest.mark.parametrize("code", ["P0544", OWN])
def test_what_stood_against_a_burn_before_the_clearing_stands_until_it_is_dealt_with(code: str) -> None:
    before = with_codes(CLEAR, [code], MUCH)
    assert decision(later(before, when="after repair", codes=(), codes_cleared=JUST_CLEARED)) != "clear"
    back = later(before, when="after repair", codes=(SeenCode(code, "stored", 0),), codes_cleared=JUST_CLEARED)
    assert decision(back) != "clear"


def test_the_quick_path_sees_an_earlier_list_vouch_for_a_later_one() -> None:
    after = later(with_codes(CLEAR, ["P2463"], NOT_TOLD, codes_cleared_lately="no"), when="after repair", codes=(),
                  codes_cleared=JUST_CLEARED)  # fmt: skip
    assert decision(after) == "clear"
    again = Again(after, KNOWLEDGE)
    other = changed(after, KNOWLEDGE, {"codes_cleared_lately": "yes"}, 0)
    quick = again.of(other)
    assert quick is not None
    assert quick.gate == judge_case(other, KNOWLEDGE).gate
    assert quick.gate.decision == "hold"
