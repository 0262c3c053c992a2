"""A case with one fact changed or left out is the case that would have been read from such a file."""

from __future__ import annotations

import pytest

from inference.case import Case
from inference.change import changed, without
from inference.facts import round_facts
from inference.read_case import parse_case
from kb.faults import Faults
from tests.inference.case_knowledge import knowledge
from tests.inference.test_case_reading import WHOLE


def read(text: str) -> Case:
    return parse_case(text.encode(), "c.yaml", knowledge())


@pytest.mark.parametrize(
    ("new", "old_text", "new_text"),
    [
        ({"gauge_pressure.fast_idle": "3 kPa"}, "fast_idle: 58 mbar", "fast_idle: 3 kPa"),
        ({"hoses_sound": "no"}, "hoses_sound: yes", "hoses_sound: no"),
        ({"typical_trip": "45 min"}, "typical_trip: 6 min", "typical_trip: 45 min"),
        ({"P0128": "not listed"}, ", {code: P0128, status: pending}", ""),
        ({"p0401": "present"}, "status: pending}", "status: pending}, P0401"),
        ({"codes": []}, "[P2463, {code: P0128, status: pending}]", "[]"),
    ],
)
def test_changed_is_what_the_changed_file_says(new: dict[str, object], old_text: str, new_text: str) -> None:
    assert old_text in WHOLE
    case = read(WHOLE)
    after = changed(case, knowledge(), new)
    assert round_facts(after, knowledge()) == round_facts(read(WHOLE.replace(old_text, new_text)), knowledge())
    assert round_facts(case, knowledge()) == round_facts(read(WHOLE), knowledge())  # the case itself is untouched


def test_a_code_may_be_told_with_its_status() -> None:
    after = changed(read(WHOLE), knowledge(), {"P0128": "stored", "P0401": "pending"})
    assert {c.code: c.status for c in after.rounds[0].codes or ()} == {
        "P2463": "stored", "P0128": "stored", "P0401": "pending",
    }  # fmt: skip


def test_without_is_what_the_shorter_file_says() -> None:
    shorter = WHOLE.replace("key_on: 0 mbar, ", "").replace("hoses_sound: yes, ", "").replace("P2463, ", "")
    shorter = shorter.replace("typical_trip: 6 min, ", "")
    after = without(read(WHOLE), knowledge(), ["gauge_pressure.key_on", "hoses_sound", "P2463", "typical_trip", "x"])
    assert round_facts(after, knowledge()) == round_facts(read(shorter), knowledge())
    assert without(read(WHOLE), knowledge(), ["codes"]).rounds[0].codes is None


def test_what_is_left_out_is_not_carried_either() -> None:
    case = read("case: c\nrounds: [{answers: {oil_meets_low_ash_grade: no}}, {when: follow-up}]\n")
    assert case.rounds[1].answer("oil_meets_low_ash_grade") == "no"
    assert without(case, knowledge(), ["oil_meets_low_ash_grade"]).rounds[1].answer("oil_meets_low_ash_grade") is None


@pytest.mark.parametrize(
    ("new", "says"),
    [
        ({"gauge_pressure.fast_idle": "58"}, "has no unit"),
        ({"gauge_pressure": "58 mbar"}, "with one or more of key_on"),
        ({"gauge_presure.idle": "58 mbar"}, "did you mean 'gauge_pressure.idle'?"),
        ({"hoses_sound": "perhaps"}, "not one of yes, no, unknown"),
        ({"P0128": "gone"}, "write present (stored, pending, permanent) or 'not listed'"),
        ({"P0128": ["stored"]}, "is no state of a code"),
        ({"typical_distance": "90 km"}, "900 km/h"),
    ],
)
def test_a_change_that_cannot_be_is_told(new: dict[str, object], says: str) -> None:
    with pytest.raises(Faults) as caught:
        changed(read(WHOLE), knowledge(), new)
    assert says in str(caught.value)


def test_a_fault_of_a_change_names_the_slot_and_no_line() -> None:
    with pytest.raises(Faults) as caught:
        changed(read(WHOLE), knowledge(), {"gauge_pressure.idle": "9"})
    assert str(caught.value) == "what if: gauge_pressure.idle: '9' has no unit; write for example '9 mbar'"
