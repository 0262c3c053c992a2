"""Facts of each round: what is known, what an absent code says, what carries forward and whence it came."""

from __future__ import annotations

from dataclasses import dataclass

import pytest

from inference.case import Case
from inference.facts import round_facts, unused_codes
from inference.read_case import parse_case
from inference.understood import understood
from inference.values import Number, Spread, Word
from kb.model import Derived, Knowledge
from tests.inference.case_knowledge import knowledge
from tests.inference.test_case_reading import WHOLE


def read(text: str) -> Case:
    return parse_case(text.encode(), "c.yaml", knowledge())


def facts_of(*rounds: str, rest: str = "") -> tuple[list[dict[str, object]], list[dict[str, int]]]:
    listed = "\n".join(f"  - {{{r}}}" for r in rounds)
    found = round_facts(read(f"case: c\n{rest}\nrounds:\n{listed}\n"), knowledge())
    return [dict(s) for s in found.slots], found.origin


def test_facts_of_the_case_of_the_design() -> None:
    slots = round_facts(read(WHOLE), knowledge()).slots[0]
    assert slots["coolant_temperature.road"] == Number(71.0)
    assert slots["typical_trip"] == Number(6.0)
    assert slots["filter.substrate"] == Word("silicon carbide")
    assert (slots["layout.pressure"], slots["layout.temperatures"]) == (Word("differential"), Word("2"))
    assert slots["vehicle.gearbox"] == Word("manual")
    assert slots["round.when"] == Word("arrival")
    assert slots["hoses_sound"] == Word("yes")
    assert "oil_meets_low_ash_grade" not in slots  # unknown is not a value
    assert slots["P2463"] == slots["P0128"] == slots["any_code"] == slots["role_reports_load"] == Word("present")
    assert slots["P0401"] == Word("absent")  # 900 km and 40 warm-ups since clearing: its monitor has run
    assert slots["history.filter_replaced"] == Word("no")  # fitted at 0 km: as old as the vehicle
    assert "history.cleaned" not in slots  # a history that tells of a burn does not deny a cleaning


@pytest.mark.parametrize(
    ("round_", "state", "fresh"),
    [
        ("codes: []", "not listed", None),
        ("codes: [], monitors_complete: yes", "absent", "no"),
        ("codes: [], monitors_complete: no, codes_cleared: {distance: 900 km, warm_ups: 40}", "not listed", "no"),
        ("codes: [], codes_cleared: {distance: 500 km, warm_ups: 20}", "absent", "no"),
        ("codes: [], codes_cleared: {distance: 499 km, warm_ups: 20}", "not listed", "yes"),
        ("codes: [], codes_cleared: {distance: 500 km, warm_ups: 19}", "not listed", "no"),
        ("codes: [], codes_cleared: {distance: 500 km, warm_ups: 2}", "not listed", "yes"),
        ("codes: [], monitors_complete: no", "not listed", "yes"),
        ("codes: [], monitors_complete: no, codes_cleared: {distance: 900 km}", "not listed", "yes"),
        ("codes: [], monitors_complete: no, codes_cleared: {distance: 180 km, warm_ups: 9}", "not listed", "yes"),
        ("codes: [], monitors_complete: yes, codes_cleared: {distance: 180 km, warm_ups: 9}", "absent", "no"),
        ("codes: [], codes_cleared: {distance: 900 km}", "not listed", None),
        ("codes: [], codes_cleared: {distance: 49 km}", "not listed", "yes"),
        ("codes: [], codes_cleared: {warm_ups: 2}", "not listed", "yes"),
        ("codes: [], monitors_complete: yes, codes_cleared: {distance: 20 km}", "absent", "no"),
    ],
)
def test_what_the_absence_of_a_code_says(round_: str, state: str, fresh: str | None) -> None:
    slots = facts_of(round_)[0][0]
    group = knowledge().codes["P0128"].group
    assert slots["P0128"] == slots[group] == slots["role_harm"] == slots["any_code"] == Word(state)
    assert slots.get("codes_cleared_lately") == (Word(fresh) if fresh else None)
    assert slots["codes_read"] == Word("yes")


def test_codes_not_read_say_nothing() -> None:
    slots = facts_of("notes: none, monitors_complete: yes")[0][0]
    assert slots["codes_read"] == Word("no")
    assert not {"P0128", "any_code", "role_harm"} & set(slots)


def test_code_groups_and_roles_follow_their_codes() -> None:
    slots = facts_of("codes: [P0128], monitors_complete: yes")[0][0]
    assert slots[knowledge().codes["P0128"].group] == Word("present")
    k = knowledge()
    for code in k.codes.values():
        role = code.role or k.code_groups[code.group].role
        here = facts_of(f"codes: [{code.code}], monitors_complete: yes")[0][0] if role == "harm" else None
        if here is not None:
            assert here["role_harm"] == Word("present")
            break
    else:
        pytest.fail("no code of the list has the role harm")


def test_a_code_nobody_names_is_kept_and_makes_no_role_absent() -> None:
    assert "P1ABC" not in knowledge().codes
    slots = facts_of("codes: [P1ABC], monitors_complete: yes")[0][0]
    assert slots["P1ABC"] == slots["any_code"] == Word("present")
    assert slots["role_harm"] == Word("not listed")
    assert slots["P0128"] == Word("absent")
    case = read("case: c\nrounds: [{codes: [P1ABC, P0128]}]\n")
    assert unused_codes(case, knowledge()) == ["P1ABC"]


ANSWERED = "answers: {blue_smoke: no, egr_valve_moves_freely: yes, oil_meets_low_ash_grade: no}, codes: [P0128]"


def test_only_what_lives_carries_forward_and_keeps_its_origin() -> None:
    slots, origin = facts_of(ANSWERED, "when: follow-up", "when: follow-up")
    for later in (1, 2):
        assert slots[later]["egr_valve_moves_freely"] == Word("yes")
        assert slots[later]["oil_meets_low_ash_grade"] == Word("no")
        assert origin[later]["egr_valve_moves_freely"] == origin[later]["oil_meets_low_ash_grade"] == 0
        assert not {"blue_smoke", "P0128", "any_code"} & set(slots[later])


@pytest.mark.parametrize(
    ("second", "rest"),
    [
        ("when: after repair", ""),
        ("when: follow-up, repaired: [egr_stuck_open]", ""),
        ("when: follow-up, date: 2026-03-09", "history: [{event: repair, what: hoses, date: 2026-03-05}]"),
        ("when: follow-up, date: 2026-03-09", "history: [{event: filter cleaned, odometer: 5 km}]"),  # order unclear
    ],
)
def test_work_ends_what_lived_until_work(second: str, rest: str) -> None:
    slots, _ = facts_of(f"when: arrival, date: 2026-03-02, {ANSWERED}", second, rest=rest)
    assert "egr_valve_moves_freely" not in slots[1]
    assert slots[1]["oil_meets_low_ash_grade"] == Word("no")


def test_a_new_answer_replaces_and_unknown_withdraws() -> None:
    slots, origin = facts_of(
        ANSWERED,
        "when: follow-up, answers: {egr_valve_moves_freely: no, oil_meets_low_ash_grade: unknown}",
        "when: follow-up",
    )
    assert (slots[1]["egr_valve_moves_freely"], origin[1]["egr_valve_moves_freely"]) == (Word("no"), 1)
    assert origin[2]["egr_valve_moves_freely"] == 1
    assert "oil_meets_low_ash_grade" not in slots[1]
    assert "oil_meets_low_ash_grade" not in slots[2]


def test_a_new_filter_ends_what_was_said_of_the_old() -> None:
    slots, origin = facts_of(
        "when: arrival, date: 2026-03-02, answers: {filter_part_approved: no, filter_replaced: no}",
        "when: after repair, date: 2026-03-09",
        "when: follow-up, date: 2026-04-09",
        rest="history: [{event: filter replaced, date: 2026-03-05}]",
    )
    assert slots[0]["filter_replaced"] == Word("no")
    assert "filter_part_approved" not in slots[1]
    assert slots[1]["filter_replaced"] == slots[2]["filter_replaced"] == Word("yes")  # the history answers
    assert origin[2]["filter_replaced"] == origin[2]["history.filter_replaced"] == 1


def test_an_empty_history_denies_and_a_missing_one_does_not() -> None:
    assert facts_of("notes: n", rest="history: []")[0][0]["history.cleaned"] == Word("no")
    assert "history.cleaned" not in facts_of("notes: n")[0][0]


def test_lasting_readings_carry_and_serve_the_physics() -> None:
    text = "case: c\nrounds: [{readings: {oil_sulphated_ash: 0.5 %, fuel_level: 50 %}}, {when: follow-up}]\n"
    later = read(text).rounds[1]
    assert later.number("oil_sulphated_ash") == 0.5
    assert later.number("fuel_level") is None
    assert later.taken == {"oil_sulphated_ash": 0}


@dataclass(frozen=True)
class FromPhysics:
    spread: Spread


def with_derived() -> Knowledge:
    entry = {"title": "mean", "unit": "km/h", "formula": "d over t", "valid": "any", "source": "from-memory"}
    made = Derived(id="mean_trip_speed", inputs=["typical_trip", "typical_distance"], **entry)  # type: ignore[arg-type]
    index = Derived(id="restriction_index", conditions=["idle"], inputs=["gauge_pressure"], **entry)  # type: ignore[arg-type]
    return knowledge().model_copy(update={"derived": {"mean_trip_speed": made, "restriction_index": index}})


def test_derived_facts_are_as_old_as_their_newest_input() -> None:
    text = (
        "case: c\nusage: {typical_trip: 6 min}\n"
        "rounds: [{}, {when: follow-up, readings: {gauge_pressure: {idle: 9 mbar}}}]\n"
    )
    speed, index = FromPhysics(Spread(25.0, 25.0, 25.0)), FromPhysics(Spread(2.0, 3.0, 4.0))
    found = round_facts(
        read(text),
        with_derived(),
        [{"mean_trip_speed": speed}, {"mean_trip_speed": speed, "restriction_index.idle": index}],
    )
    assert found.slots[1]["restriction_index.idle"] == Spread(2.0, 3.0, 4.0)
    assert found.origin[1] | {"mean_trip_speed": 0, "restriction_index.idle": 1} == found.origin[1]


def test_derived_readings_for_another_number_of_rounds_are_refused() -> None:
    with pytest.raises(ValueError, match="2 rounds of derived readings for 1"):
        round_facts(read(WHOLE), knowledge(), [{}, {}])


def test_understood_says_shop_unit_and_what_was_given() -> None:
    text = (
        "case: c\nrounds:\n  - readings: {gauge_pressure: {idle: 0.9 kPa}, fuel_level: 50 %}\n"
        "    codes: [P1ABC]\n    answers: {oil_meets_low_ash_grade: yes}\n  - when: follow-up\n"
    )
    lines = understood(read(text), knowledge())
    gauge = next(line for line in lines if line.condition == "idle")
    assert (gauge.text, gauge.given, gauge.line) == ("9 mbar", "0.9 kPa", 3)
    engine = next(line for line in understood(read(WHOLE), knowledge()) if line.name == "engine size")
    assert (engine.text, engine.given) == ("2 l", "")  # "2.0" says no more
    fuel = next(line for line in lines if line.name == "fuel in the tank")
    assert (fuel.text, fuel.given) == ("50 %", "")
    foreign = next(line for line in lines if line.name == "P1ABC")
    assert (foreign.text, foreign.condition) == ("stored", "")
    assert foreign.note.startswith("kept, not used")
    carried = [line for line in lines if line.section == "round follow-up (2)" and line.note]
    assert [line.note for line in carried] == ["still taken to be true from round 1 (arrival)"]
