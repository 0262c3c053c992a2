"""What a technician is shown: words, no ids; exceptions told as exceptions; nothing contradicted, nothing repeated."""

from __future__ import annotations

import io
import re

import pytest
from rich.console import Console

from explain import checkview, howview, leastview, nextview, ratherview, tippingview, whynotview
from explain.terminal import Terminal
from inference.case import Case
from inference.diagnose import diagnose, evidence_of
from inference.plan.build import plan_of
from inference.questions.again import Again
from inference.questions.contrast import contrast
from inference.questions.least import Carried, Goal, LeastProof
from inference.questions.tipping import Tipping, Turn
from inference.questions.whynot import WhyNot
from kb.model import Knowledge
from tests.inference.question_cases import COLD, case_of

INNER = re.compile(r"\b\w+_\w+\b|\bNone\b|\bnan\b|\binf\b|\bslots?\b|\bposterior\b|\bnodes?\b|\bleaning|\bdeciban")
TWO_ROUNDS = """
case: cold-twice
vehicle: {engine_litres: 2.0}
rounds:
  - when: arrival
    readings: {coolant_temperature: {road: 64 °C}}
    answers: {power_loss: yes}
    codes: [P0128]
  - when: after repair
    repaired: [thermostat_stuck_open]
    readings: {coolant_temperature: {road: 88 °C}}
    answers: {power_loss: no}
    codes: []
"""


def paper() -> tuple[Console, io.StringIO]:
    out = io.StringIO()
    return Console(file=out, width=100, highlight=False), out


def test_no_word_of_the_program_is_shown_to_a_person(case: Case, knowledge: Knowledge) -> None:
    result = diagnose(case, knowledge)
    first, second = result.causes[0], result.causes[1]
    out, told = paper()
    Terminal(knowledge, result, out).why()
    Terminal(knowledge, result, out, everything=True).gate()
    howview.show(howview.how(knowledge, result, first.id), out)
    asked = WhyNot(knowledge, result)
    whynotview.show_cause(whynotview.cause(knowledge, result, asked.cause(second.id)), out)
    states = {f: r.state for f, r in result.latest.verdicts.findings.items()}
    gap = contrast(knowledge, evidence_of(case, knowledge, result.rounds), first, second, states)
    ratherview.show(ratherview.answer(knowledge, result, gap), out)
    nextview.show(knowledge, result, plan_of(knowledge, result), out)
    said = told.getvalue().replace("kb/plan.yaml", "")
    rules = {*knowledge.rules}
    assert [w for w in INNER.findall(said) if w not in rules and w not in case.name] == []
    assert all(len(line) <= 100 for line in said.splitlines())


def test_next_begins_with_what_forbids_a_burn_and_offers_none_before_it_is_clear(
    case: Case, knowledge: Knowledge
) -> None:
    """With the oil above its mark the first step told was to drive a thousand kilometres, and of the oil not a word."""
    result = diagnose(case, knowledge)
    out, told = paper()
    nextview.show(knowledge, result, plan_of(knowledge, result), out)
    said = " ".join(told.getvalue().split())
    head = said.partition("What to do next")[0]
    assert bool(head) == (result.gate.decision == "do not burn")
    for danger in result.gate.dangers:
        assert " ".join(f"{danger.says} {danger.instead}".split()) in head
        assert " ".join(result.gate.driving.split()) in head
    later = said.partition("When the cause is removed")[2].partition("Taken for granted")[0]
    for job in ("burn-standing", "burn-driven"):
        tail = later.partition(knowledge.remedies[job].title)[2]
        assert not tail or tail.startswith(" (only once") == (result.gate.decision != "clear")


def test_how_tells_an_exception_from_a_condition_and_says_no_sentence_twice(knowledge: Knowledge) -> None:
    """A rule that stands aside below -10 °C and saw 4 °C used to read as if 4 °C were below -10 °C."""
    text = COLD.replace("fuel_level: 60 %", "fuel_level: 60 %\n      ambient_temperature: 4 °C")
    result = diagnose(case_of(text, knowledge), knowledge)
    out, told = paper()
    howview.show(howview.how(knowledge, result, "thermostat_stuck_open"), out)
    said = " ".join(told.getvalue().split())
    assert "coolant temperature on the road: 64 °C [wanted: below 75 °C]" in said
    assert "outside temperature: 4 °C [unless below -10 °C]" in said
    assert said.count("On the road the coolant settled at 64 °C") == 2  # once weighed, once proved


def test_how_says_when_its_figures_do_not_add_up(case: Case, knowledge: Knowledge) -> None:
    answer = howview.how(knowledge, diagnose(case, knowledge), diagnose(case, knowledge).causes[0].id)
    out, told = paper()
    howview.show(answer, out)
    parts = answer.start_decibans + sum(g.decibans for g in answer.grounds)
    if answer.settled:  # nothing is summed where a direct test settles it
        assert "a direct test settles it" in told.getvalue()
        assert "all of it together" not in told.getvalue()
        return
    assert ("do not add up" in told.getvalue()) is (abs(parts - answer.total_decibans) >= 1)


def test_a_code_that_is_not_there_does_not_read_as_a_part_that_is_not_there(knowledge: Knowledge) -> None:
    from explain.words import Speaker
    from inference.values import Word

    speaker = Speaker(knowledge, diagnose(case_of(COLD, knowledge), knowledge))
    group = next(iter(knowledge.code_groups))
    assert speaker.slot_title(group) == f"code for “{knowledge.code_groups[group].title}”"
    assert speaker.value(group, Word("absent")) == "not reported"
    assert speaker.value("role_inhibits", Word("not listed")) == "not among the codes read"
    assert speaker.value("gauge_pressure.idle", None) == "not read"


def test_a_fact_that_the_rounds_tell_differently_is_told_for_each(knowledge: Knowledge) -> None:
    """The least proof of a repaired cause named the state after the repair as what carried it."""
    case = case_of(TWO_ROUNDS, knowledge)
    again = Again(case, knowledge)
    facts = frozenset({"P0128", "coolant_temperature.road", "codes"})
    goal = Goal("cause", "thermostat_stuck_open")
    found = LeastProof(tuple(facts), (Carried(goal, (facts,), False, 1, False),))
    out, told = paper()
    leastview.show(leastview.answer(knowledge, again.base, found), out)
    said = " ".join(told.getvalue().split())
    assert "coolant temperature on the road: 64 °C (arrival), 88 °C (after repair)" in said
    assert "reported (arrival), not" in said
    assert "trouble codes: read" in said


def test_another_long_set_is_told_by_what_differs(knowledge: Knowledge) -> None:
    again = Again(case_of(COLD, knowledge), knowledge)
    common = {"oil_level", "fuel_level", "bonnet_closed", "fluid_leaks_seen"}
    sets = tuple(frozenset({*common, one}) for one in ("blue_smoke", "coolant_temperature.road"))
    found = LeastProof(tuple(common), (Carried(Goal("decision", "hold"), sets, False, 1, False),))
    out, told = paper()
    leastview.show(leastview.answer(knowledge, again.base, found), out)
    said = " ".join(told.getvalue().split())
    assert said.count("fuel in the tank") == 1
    assert "in place of “Does it smoke blue" in said
    assert "coolant temperature on the road: 64 °C" in said


def turns(*found: Turn) -> Tipping:
    return Tipping("hold", "thermostat_stuck_open", found, (), len(found))


def test_what_a_person_told_has_no_instrument_and_what_is_far_off_no_number(knowledge: Knowledge) -> None:
    again = Again(case_of(COLD, knowledge), knowledge)
    found = turns(
        Turn("long_run_per_month", 0, True, 1.0, 1.0, "above", "1", True, 0.0, "hold", None),
        Turn("oil_level", 0, True, 70.0, 70.0, "above", "%", True, 0.0, "do not burn", None),
        Turn("fuel_level", 0, True, 60.0, 1e5, "above", "%", True, 3488.0, "do not burn", None),
    )
    out, told = paper()
    tippingview.show(tippingview.answer(knowledge, again.base, found), out)
    said = " ".join(told.getvalue().split())
    usage, oil, fuel = said.index("long runs"), said.index("engine oil"), said.index("fuel in the tank")
    assert "instrument" not in said[usage:oil]
    assert "Ask again" in said[usage:oil]
    assert "it stands on the limit" in said[oil:fuel]
    assert "far beyond what the instrument may be off" in said[fuel:]
    assert "3488" not in said


def test_of_many_facts_not_known_those_that_forbid_a_burn_come_first(knowledge: Knowledge) -> None:
    again = Again(case_of(COLD, knowledge), knowledge)
    asked = [q for q in knowledge.questions if knowledge.questions[q].options == ["yes", "no"]][:12]
    found = turns(
        *(Turn(q, 0, False, None, "yes", "is", "1", True, None, "hold", "short_trips") for q in asked[:-1]),
        Turn(asked[-1], 0, False, None, "yes", "is", "1", True, None, "do not burn", "thermostat_stuck_open"),
    )
    short, whole = paper(), paper()
    answer = tippingview.answer(knowledge, again.base, found)
    tippingview.show(answer, short[0])
    tippingview.show(answer, whole[0], everything=True)
    first = short[1].getvalue().split("\n· ")[0]
    assert " ".join(knowledge.questions[asked[-1]].text.split()[:4]) in " ".join(first.split()[:60])
    assert "4 more: --all" in short[1].getvalue()
    assert all(" ".join(knowledge.questions[q].text.split()[:3]) in whole[1].getvalue() for q in asked)


@pytest.mark.parametrize("clear", [False, True])
def test_a_burn_in_the_order_of_work_waits_for_the_decision(case: Case, clear: bool, knowledge: Knowledge) -> None:
    """Under HOLD the order of work began "1. Burn the filter clean at standstill", with no word of the decision."""
    result = diagnose(case, knowledge)
    burns = [s for s in result.work if knowledge.remedies[s.remedy].place == "the burn"]
    if not burns or (result.gate.decision == "clear") is not clear:
        return
    out, told = paper()
    Terminal(knowledge, result, out).why()
    waits = " ".join(told.getvalue().split()).count("(only once the decision is CLEAR TO BURN)")
    assert waits == (0 if clear else len(burns))


def test_what_was_understood_is_as_exact_as_it_was_read(knowledge: Knowledge) -> None:
    text = COLD.replace("fuel_level: 60 %", "fuel_level: 60 %\n      gauge_pressure: {fast_idle: 1 psi}")
    shape = checkview.as_shape(knowledge, diagnose(case_of(text, knowledge), knowledge))
    told = {row.name: (row.value, row.given) for row in shape.understood}
    assert ("68.95 mbar", "1 psi") in told.values()  # 1 psi is 68.95 mbar (NIST SP 811, table B.8)
    assert ("96,000 km", "") in told.values()
    assert not [row for row in shape.understood if row.value == row.given]


def test_what_is_only_not_known_is_a_list_not_a_proof(knowledge: Knowledge) -> None:
    result = diagnose(case_of(COLD, knowledge), knowledge)
    answer = whynotview.decision(knowledge, result, WhyNot(knowledge, result).decision("clear"))
    short, whole = paper(), paper()
    whynotview.show_decision(answer, short[0])
    whynotview.show_decision(answer, whole[0], everything=True)
    missing = [o for o in answer.obstacles if o.kind == "missing"]
    assert f"Not known yet, {len(missing)} in all" in short[1].getvalue()
    assert "handbrake-ready" in whole[1].getvalue()
    assert "handbrake-ready" not in short[1].getvalue()
    assert len(short[1].getvalue().splitlines()) < len(whole[1].getvalue().splitlines()) / 2


def test_evidence_of_an_earlier_round_says_so(knowledge: Knowledge) -> None:
    """Two rounds with 64 °C and 88 °C stood below each other as if both were so now."""
    result = diagnose(case_of(TWO_ROUNDS, knowledge), knowledge)
    out, told = paper()
    Terminal(knowledge, result, out).why()
    howview.show(howview.how(knowledge, result, "thermostat_stuck_open"), out)
    whynotview.show_cause(
        whynotview.cause(knowledge, result, WhyNot(knowledge, result).cause("coolant_sensor_fault")), out
    )
    said = " ".join(told.getvalue().split())
    warm = "On the road the coolant settled at 64 °C; a sound thermostat keeps it above 80 °C. (arrival"
    assert said.count(warm) >= 2
    assert "88 °C, and nothing speaks against its sensor. (after repair)" in said


def test_the_picture_does_not_lead_from_hold_to_a_burn_without_a_word(case: Case, knowledge: Knowledge) -> None:
    from explain.chain import build
    from explain.layout import caption_of

    result = diagnose(case, knowledge)
    for _, data in build(knowledge, result).nodes(data=True):
        burns = [k for k in knowledge.remedies.values() if k.title == data["label"] and k.place == "the burn"]
        if "step" in data and burns:
            assert ("only once the burn is clear" in caption_of(data)) is (result.gate.decision != "clear")


def test_the_letter_asks_once_for_the_filter_to_come_off(case: Case, knowledge: Knowledge) -> None:
    from explain.papers.letter import Letter, Sender

    result = diagnose(case, knowledge)
    plan = "\n".join(Letter(knowledge, result, Sender()).trace())
    assert plan.count("off the car") <= 1


def test_what_would_help_names_what_to_write_and_keeps_the_lighting_for_last(knowledge: Knowledge) -> None:
    """The first thing that would help is no closed bonnet, and the gauge's zero is read with the key on."""
    text = "case: bare\nrounds:\n  - readings: {gauge_pressure: {idle: 9 mbar}}\n"
    result = diagnose(case_of(text, knowledge), knowledge)
    out, told = paper()
    checkview.show(knowledge, result, out)
    said = " ".join(told.getvalue().split())
    assert "it must show zero. (2 min) → gauge_pressure: {key_on}" in said
    assert said.index("Wipe the inside") < said.index("Before a burn is lit") < said.index("bonnet_closed")
    assert "Close the bonnet" not in said
