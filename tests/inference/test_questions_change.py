"""Changes written on one line: what they become, and one sentence for each that cannot be."""

from __future__ import annotations

import pytest

from inference.questions.change import apply, parse_changes
from inference.questions.whatif import whatif
from inference.values import Number, Word
from kb.faults import Faults
from kb.model import Knowledge
from tests.inference.question_cases import COLD, case_of


def test_words_become_what_would_stand_in_the_file() -> None:
    words = [
        "coolant_temperature.road=88°C",
        "egr_valve_moves_freely=yes",
        "codes=P0128, P0401",
        "fuel_level = unknown",
    ]
    assert parse_changes(words) == {
        "coolant_temperature.road": "88°C",
        "egr_valve_moves_freely": "yes",
        "codes": ["P0128", "P0401"],
        "fuel_level": None,
    }
    assert parse_changes(["codes=none"]) == {"codes": []}


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["coolant_temperature.road"], "is no change"),
        (["=88"], "is no change"),
        (["fuel_level=60 %", "fuel_level=50 %"], "changed twice"),
    ],
)
def test_what_is_no_change_is_told(words: list[str], says: str) -> None:
    with pytest.raises(Faults, match=says):
        parse_changes(words)


@pytest.mark.parametrize(
    ("change", "says"),
    [
        ("coolant_temperature.road=88", "has no unit"),
        ("coolant_temperature.road=900°C", "cannot be true"),
        ("coolant_temprature.road=88°C", "did you mean 'coolant_temperature.road'"),
        ("coolant_temprature.road=unknown", "did you mean 'coolant_temperature.road'"),
        ("bonnet_closed=perhaps", "is not one of"),
        ("soot_load=4 g/l", "worked out from other readings"),
        ("engine_runs_cold=holds", "a finding, which the rules set"),
        ("thermostat_stuck_open=likely", "a cause"),
        ("codes=POO12", "no trouble code"),
        ("filter.substrate=paper", "is not one of"),
        ("vehicle.engine_litres=200 l", "cannot be true"),
        ("typical_trip=400 days", "cannot be true"),
    ],
)
def test_a_change_that_cannot_be_is_told_in_a_sentence(change: str, says: str, knowledge: Knowledge) -> None:
    with pytest.raises(Faults) as caught:
        apply(case_of(COLD, knowledge), knowledge, parse_changes([change]))
    assert says in str(caught.value)
    assert str(caught.value).startswith("what if: ")


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["filter.wall=1 mm", "filter.cells_per_square_inch=300"], "hardly any channel"),
        (["filter.fitted_at=900000 km"], "lies beyond the odometer"),
        (["vehicle.odometer=97000 km", "fuel_level=50 %"], "more than the latest round's"),
    ],
)
def test_a_filter_or_vehicle_that_cannot_be_is_told(words: list[str], says: str, knowledge: Knowledge) -> None:
    with pytest.raises(Faults, match=says):
        apply(case_of(COLD, knowledge), knowledge, parse_changes(words))


def test_the_case_itself_stays_as_it_was(knowledge: Knowledge) -> None:
    case = case_of(COLD, knowledge)
    after = apply(case, knowledge, parse_changes(["coolant_temperature.road=190°F", "filter.substrate=cordierite"]))
    assert case.rounds[0].number("coolant_temperature.road") == 64
    assert after.rounds[0].number("coolant_temperature.road") == pytest.approx(87.78, abs=0.01)
    assert (case.substrate, after.substrate) == ("silicon carbide", "cordierite")


def test_a_warm_engine_takes_the_thermostat_out_of_the_way(knowledge: Knowledge) -> None:
    found = whatif(case_of(COLD, knowledge), knowledge, parse_changes(["coolant_temperature.road=88°C"]))
    assert [(m.slot, m.before, m.after) for m in found.facts] == [
        ("coolant_temperature.road", Number(64.0), Number(88.0))
    ]
    move = next(m for m in found.causes if m.cause == "thermostat_stuck_open")
    assert move.after.probability < move.before.probability / 3
    assert "engine_runs_cold" in {p.finding for p in move.because}
    assert "need_engine_warms" in {r.finding for r in found.reasons_gone}
    states = {m.finding: (m.before, m.after) for m in found.findings}
    assert states["engine_runs_cold"] == ("holds", "fails")


def test_codes_replaced_are_all_told(knowledge: Knowledge) -> None:
    found = whatif(case_of(COLD, knowledge), knowledge, parse_changes(["codes=P0128"]))
    moved = {m.slot: (m.before, m.after) for m in found.facts}
    assert moved["P0128"] == (Word("not listed"), Word("present"))
    assert moved["P2463"] == (Word("present"), Word("not listed"))


def test_a_change_to_what_is_there_already_moves_nothing(knowledge: Knowledge) -> None:
    found = whatif(case_of(COLD, knowledge), knowledge, parse_changes(["coolant_temperature.road=64 °C"]))
    assert (found.facts, found.causes, found.findings, found.reasons_gone, found.reasons_new) == ((), (), (), (), ())
