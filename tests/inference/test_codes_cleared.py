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
from kb.load import load

KNOWLEDGE = load()
CLEAR = read_case(Path(__file__).parent / "cases" / "clear.yaml", KNOWLEDGE)
OWN = "P1ABC"  # a maker's own code; neither the list of codes nor a rule names it
NOT_TOLD = CodesCleared()
SOME = CodesCleared(180.0, 9.0)  # no longer fresh, not enough for every monitor to have run
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
    for counted, wanted in ((CodesCleared(20.0, 1.0), "hold"), (CodesCleared(900.0), "hold"), (SOME, "clear")):
        assert decision(with_codes(CLEAR, codes, counted)) == wanted


def test_what_the_control_unit_counts_goes_before_what_is_told() -> None:
    fresh = CodesCleared(20.0, 1.0)
    assert decision(with_codes(CLEAR, [], fresh, codes_cleared_lately="no")) == "hold"
    assert decision(with_codes(CLEAR, [], SOME, codes_cleared_lately="yes")) == "clear"


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


def test_a_known_code_that_reports_the_load_leaves_nothing_behind() -> None:
    assert decision(with_codes(later(with_codes(CLEAR, ["P2463"], MUCH)), [], SOME)) == "clear"


def test_the_question_can_stand_in_a_case_file() -> None:
    text = b"case: x\nrounds: [{when: arrival, codes: [], answers: {codes_cleared_lately: no}}]\n"
    case = parse_case(text, "x.yaml", KNOWLEDGE)
    assert case.rounds[0].answer("codes_cleared_lately") == "no"
