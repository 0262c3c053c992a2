"""The answers to questions in words: nothing left unfilled, JSON that holds what is printed, one language file."""

from __future__ import annotations

import io
import json
import string

import pytest
from rich.console import Console

from explain import jsonout, leastview, proofview, tippingview, whatifview, whynotview
from explain.askwords import sharp, signed, wanted
from explain.words import phrases
from inference.case import Case
from inference.diagnose import diagnose
from inference.questions.again import Again
from inference.questions.least import least_proof
from inference.questions.tipping import Tipping, Turn
from inference.questions.whatif import whatif
from inference.questions.whynot import WhyNot
from kb.model import Knowledge
from tests.inference.question_cases import COLD, case_of


def paper() -> tuple[Console, io.StringIO]:
    out = io.StringIO()
    return Console(file=out, width=100, highlight=False), out


def test_all_findings_of_a_case_can_be_shown(case: Case, knowledge: Knowledge) -> None:
    result = diagnose(case, knowledge)
    asked = WhyNot(knowledge, result)
    for finding in sorted(knowledge.findings)[len(case.name) % 9 :: 9]:
        out, told = paper()
        proofview.show_finding(proofview.finding(knowledge, result, finding), out)
        whynotview.show_finding(whynotview.finding(knowledge, result, asked.finding(finding)), out)
        assert "{" not in told.getvalue()
        assert len(told.getvalue()) > 40


def test_the_gate_of_every_case_can_be_shown(case: Case, knowledge: Knowledge) -> None:
    result = diagnose(case, knowledge)
    answer = proofview.gate(knowledge, result)
    out, told = paper()
    proofview.show_gate(answer, out, everything=True)
    for reason in result.gate.because:
        assert reason.finding in answer.nodes or reason.cause
    assert json.loads(jsonout.dump(answer))["decision"] == result.gate.decision
    assert "{" not in told.getvalue()


def test_folding_hides_steps_and_says_how_many(knowledge: Knowledge) -> None:
    text = COLD.replace(
        "fuel_level: 60 %", "fuel_level: 60 %\n      gauge_pressure: {key_on: 0 mbar, fast_idle: 90 mbar}"
    )
    result = diagnose(case_of(text, knowledge), knowledge)
    answer = proofview.finding(knowledge, result, "filter_really_restricted")
    short, whole = paper(), paper()
    proofview.show_finding(answer, short[0])
    proofview.show_finding(answer, whole[0], everything=True)
    assert len(whole[1].getvalue()) >= len(short[1].getvalue())
    assert "folded" not in whole[1].getvalue()


@pytest.mark.parametrize("within", [True, False])
def test_a_turn_within_the_error_says_measure_again(within: bool, knowledge: Knowledge) -> None:
    again = Again(case_of(COLD, knowledge), knowledge)
    turn = Turn("oil_level", 0, True, 70.0, 100.0, "above", "%", True, 1.0 if within else 6.0, "do not burn", None)
    found = Tipping("hold", "thermostat_stuck_open", (turn,), (), 1)
    out, told = paper()
    tippingview.show(tippingview.answer(knowledge, again.base, found), out)
    assert ("Measure again" in told.getvalue()) is within
    assert "above 100 %: the decision would be DO NOT BURN, and no cause would stand out" in told.getvalue()


def test_a_change_that_nothing_looks_at_says_so(knowledge: Knowledge) -> None:
    case = case_of(COLD, knowledge)
    found = whatif(case, knowledge, {"fuel_level": "61 %"})
    out, told = paper()
    whatifview.show(whatifview.answer(knowledge, found), out)
    assert "Nothing moves" in told.getvalue()


def test_a_hold_without_named_reason_says_that_no_fact_is_needed(knowledge: Knowledge) -> None:
    case = case_of("case: empty\nrounds: [{answers: {bonnet_closed: yes}}]\n", knowledge)
    again = Again(case, knowledge)
    out, told = paper()
    leastview.show(leastview.answer(knowledge, again.base, least_proof(case, knowledge, again)), out)
    assert "No fact is needed" in told.getvalue()


@pytest.mark.parametrize(
    ("text", "slot", "part", "says"),
    [
        ("coolant_temperature.road below 75 °C", "coolant_temperature.road", "all", "wanted: below 75 °C"),
        ("ambient_temperature below -10 °C", "ambient_temperature", "unless", "unless below -10 °C"),
        ("blue_smoke is no", "blue_smoke", "all", "wanted: no"),
        ("egr_valve_sticks is holds", "egr_valve_sticks", "none", "wanted: it is not so"),
        ("egr_valve_sticks is fails", "egr_valve_sticks", "all", "wanted: it is not so"),
        ("P0401 is present", "P0401", "none", "wanted: not reported"),
        (
            "filter.type one of coated or coated_with_scr",
            "filter.type",
            "all",
            "wanted: one of coated or coated with scr",
        ),
    ],
)
def test_conditions_read_as_sentences(text: str, slot: str, part: str, says: str) -> None:
    assert wanted(text, slot, part) == says


def test_figures_are_as_exact_as_limits_are_written() -> None:
    assert sharp(1.25, "1") == "1.25"
    assert sharp(224.99, "mbar") == "225 mbar"
    assert sharp(1953.24, "mbar") == "1,953 mbar"  # as everywhere else
    assert (signed(-12.4), signed(1.26)) == ("-12", "+1.3")


@pytest.mark.parametrize("group", ["ask", "whatif", "tipping", "whynot", "proof", "least", "rather"])
def test_every_phrase_has_well_formed_slots(group: str) -> None:
    def texts(node: object) -> list[str]:
        return [t for v in node.values() for t in texts(v)] if isinstance(node, dict) else [str(node)]

    for text in texts(phrases()[group]):
        assert all(name is None or name.isidentifier() for _, name, _, _ in string.Formatter().parse(text)), text
