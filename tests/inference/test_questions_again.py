"""The quick path of the questions says what the plain path says, over all cases and random parts of them."""

from __future__ import annotations

import random

import pytest

from inference.belief.net import ImpossibleEvidence
from inference.case import Case
from inference.diagnose import diagnose, judge_case
from inference.questions.again import Again, Standing, standing_of
from inference.questions.change import apply
from inference.questions.least import facts_of, only
from kb.model import Knowledge
from tests.inference.question_cases import COLD, case_of

COMPARED = ("facts", "derived", "findings", "decided", "causes", "none_listed", "gate")
CHANGES = (
    {"coolant_temperature.road": "88 °C"},
    {"gauge_pressure.fast_idle": "31 mbar", "blue_smoke": "yes"},
    {"codes": ["P0128", "P0401"]},
    {"typical_trip": "50 min", "typical_distance": "50 km"},
    {"filter.substrate": "cordierite"},
    {"ambient_temperature": None, "codes": None},
)


def assert_same(quick: Standing | None, case: Case, knowledge: Knowledge) -> None:
    """The quick answer to a changed case is the plain one, part by part; None where the plain path gives up."""
    try:
        plain = standing_of(case, judge_case(case, knowledge))
    except ImpossibleEvidence:
        assert quick is None
        return
    assert quick is not None
    for part in COMPARED:
        assert getattr(quick, part) == getattr(plain, part), part


def test_random_parts_of_every_case_stand_as_on_the_plain_path(case: Case, knowledge: Knowledge) -> None:
    again, rng = Again(case, knowledge), random.Random(case.name)
    facts = facts_of(case)
    for share in (0.4, 0.8):
        part = only(case, knowledge, frozenset(f for f in facts if rng.random() < share))
        assert_same(again.of(part), part, knowledge)


def test_changes_of_every_case_stand_as_on_the_plain_path(case: Case, knowledge: Knowledge) -> None:
    again = Again(case, knowledge)
    new = random.Random(case.name).choice(CHANGES)
    changed = apply(case, knowledge, new)
    assert_same(again.of(changed), changed, knowledge)
    assert_same(again.of(case), case, knowledge)


@pytest.mark.parametrize("new", CHANGES)
def test_each_kind_of_change_stands_as_on_the_plain_path(new: dict[str, object], knowledge: Knowledge) -> None:
    case = case_of(COLD, knowledge)
    changed = apply(case, knowledge, new)
    again = Again(case, knowledge)
    assert_same(again.of(changed), changed, knowledge)
    assert_same(again.of(changed), changed, knowledge)  # from memory


def test_the_light_answer_is_the_whole_answer_without_its_weights(case: Case, knowledge: Knowledge) -> None:
    light, whole = judge_case(case, knowledge), diagnose(case, knowledge)
    assert light.gate == whole.gate
    assert light.rounds == whole.rounds
    assert [(c.id, c.level, c.state) for c in light.causes] == [(c.id, c.level, c.state) for c in whole.causes]
    # the whole answer sums more variants in one sweep, in another order
    assert [c.probability for c in light.causes] == pytest.approx([c.probability for c in whole.causes], rel=1e-9)


def test_changes_judged_together_stand_as_each_alone(case: Case, knowledge: Knowledge) -> None:
    again, rng = Again(case, knowledge), random.Random(case.name)
    facts = facts_of(case)
    parts = [only(case, knowledge, frozenset(f for f in facts if rng.random() < 0.8)) for _ in range(6)]
    together = again.of_all(parts)
    for part, one in zip(parts, together, strict=True):
        alone = again.of(part)
        assert (one is None) == (alone is None)
        if one is None or alone is None:
            continue
        assert (one.facts, one.derived, one.findings) == (alone.facts, alone.derived, alone.findings)
        assert (one.decided, one.gate) == (alone.decided, alone.gate)
        assert [c.id for c in one.causes] == [c.id for c in alone.causes]
        assert [c.probability for c in one.causes] == pytest.approx([c.probability for c in alone.causes], rel=1e-9)
