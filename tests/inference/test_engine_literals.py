"""Conditions in three values: known to be met, known not to be, unknown; and how likely, where an interval is."""

from __future__ import annotations

import random

import pytest
from scipy.stats import norm

from inference.engine.literals import LiteralError, compile_test, together
from inference.values import Number, Spread, Value, Word
from kb import model
from tests.inference.rulebases import unit_of


def condition(**fields: object) -> model.Test:
    return model.Test.model_validate(fields)


@pytest.mark.parametrize(
    ("comparison", "limit", "value", "outcome"),
    [
        ("above", "75 °C", 75.0, False),
        ("above", "75 °C", 75.01, True),
        ("at_least", "75 °C", 75.0, True),
        ("below", "75 °C", 75.0, False),
        ("at_most", "75 °C", 75.0, True),
        ("at_most", "348.15 K", 75.0, True),  # the same limit in another unit
        ("below", "167 °F", 74.9, True),
        ("between", ["70 °C", "75 °C"], 75.0, True),
        ("between", ["70 °C", "75 °C"], 69.9, False),
        ("between", ["70 °C", "75 °C"], 75.1, False),
    ],
)
def test_a_reading_is_compared_as_a_point(comparison: str, limit: object, value: float, outcome: bool) -> None:
    literal = compile_test(condition(reading="temperature.road", **{comparison: limit}), unit_of)
    assert literal.test(Number(value)) is outcome
    assert literal.test(None) is None


@pytest.mark.parametrize(
    ("comparison", "limit", "low", "high", "outcome"),
    [
        ("above", "2", 2.1, 3.0, True),
        ("above", "2", 1.0, 2.0, False),
        ("above", "2", 1.9, 2.1, None),
        ("above", "2", 2.0, 3.0, None),
        ("below", "2", 1.0, 1.9, True),
        ("below", "2", 2.0, 3.0, False),
        ("below", "2", 1.0, 2.0, None),
        ("between", ["2", "3"], 2.0, 3.0, True),
        ("between", ["2", "3"], 3.1, 4.0, False),
        ("between", ["2", "3"], 2.5, 3.5, None),
        ("between", ["2", "3"], 1.0, 4.0, None),
    ],
)
def test_a_derived_reading_is_compared_by_its_interval(
    comparison: str, limit: object, low: float, high: float, outcome: bool | None
) -> None:
    literal = compile_test(condition(reading="d1", **{comparison: limit}), unit_of)
    assert literal.test(Spread(low, (low + high) / 2, high)) is outcome


@pytest.mark.parametrize(
    ("state", "present", "absent", "not_listed"),
    [
        ("present", True, False, False),
        ("absent", False, True, True),
        ("not listed", False, None, True),
        (None, None, None, None),
    ],
)
def test_a_code_that_is_not_listed_is_neither_present_nor_shown_absent(
    state: str | None, present: bool | None, absent: bool | None, not_listed: bool | None
) -> None:
    value = Word(state) if state else None
    for word, outcome in (("present", present), ("absent", absent), ("not_listed", not_listed)):
        assert compile_test(condition(code="P0128", **{"is": word}), unit_of).test(value) is outcome
        assert compile_test(condition(codes="role_harm", **{"is": word}), unit_of).test(value) is outcome


@pytest.mark.parametrize(
    ("state", "holds", "fails", "unknown"),
    [
        ("holds", True, False, False),
        ("fails", False, True, False),
        ("unknown", None, None, True),
        ("conflict", None, None, True),
        (None, None, None, True),
    ],
)
def test_a_conflict_is_read_as_unknown(
    state: str | None, holds: bool | None, fails: bool | None, unknown: bool
) -> None:
    value = Word(state) if state else None
    for word, outcome in (("holds", holds), ("fails", fails), ("unknown", unknown)):
        assert compile_test(condition(finding="cold", **{"is": word}), unit_of).test(value) is outcome


def test_levels_of_belief_are_ordered() -> None:
    at_least = compile_test(condition(cause="wrong_oil", at_least="likely"), unit_of)
    assert [at_least.test(Word(w)) for w in ("possible", "likely", "proven")] == [False, True, True]
    at_most = compile_test(condition(cause="wrong_oil", at_most="unlikely"), unit_of)
    assert [at_most.test(Word(w)) for w in ("ruled out", "unlikely", "likely")] == [True, True, False]
    assert at_least.test(None) is None


def test_filter_layout_and_answers() -> None:
    kind = compile_test(condition(filter="type", one_of=["coated", "additive"]), unit_of)
    assert kind.slot == "filter.type"
    assert [kind.test(Word("additive")), kind.test(Word("uncoated")), kind.test(None)] == [True, False, None]
    sensors = compile_test(condition(layout="temperatures", at_least="2"), unit_of)
    assert [sensors.test(Word("1")), sensors.test(Word("3"))] == [False, True]
    answer = compile_test(condition(answer="blue_smoke", **{"is": "no"}), unit_of)
    assert [answer.test(Word("no")), answer.test(Word("yes")), answer.test(Word("unknown"))] == [
        True,
        False,
        None,
    ]


@pytest.mark.parametrize(
    ("fields", "says"),
    [
        ({"reading": "temperature.road", "below": "75"}, "no unit"),
        ({"reading": "temperature.road", "below": "75 mbar"}, "does not fit"),
        ({"reading": "temperature.road", "is": "75 °C"}, "is a number"),
        ({"reading": "coolant", "below": "75 °C"}, "no reading"),
        ({"reading": "d1", "above": "1", "below": "2"}, "one comparison"),
        ({"reading": "d1"}, "one comparison"),
        ({"reading": "d1", "answer": "x", "above": "1"}, "one thing"),
        ({"reading": "d1", "between": ["3", "2"]}, "the lower first"),
        ({"answer": "x", "above": "1"}, "compares readings"),
        ({"answer": "x", "is": "unknown"}, "unknown"),
        ({"code": "P0128", "is": "presnt"}, "did you mean 'present'"),
        ({"finding": "f", "is": "conflict"}, "holds, fails, unknown"),
        ({"cause": "c", "at_least": "likly"}, "did you mean 'likely'"),
        ({"cause": "c", "above": "likely"}, "at_least"),
    ],
)
def test_a_wrong_condition_says_what_would_be_right(fields: dict[str, object], says: str) -> None:
    with pytest.raises(LiteralError, match=says):
        compile_test(condition(**fields), unit_of)


@pytest.mark.parametrize("value", [Number(float("nan")), Spread(3.0, 2.0, 1.0), Word("yes")])
def test_a_number_condition_refuses_what_is_no_number(value: Value) -> None:
    literal = compile_test(condition(reading="d1", above="2"), unit_of)
    with pytest.raises((TypeError, ValueError), match="number"):
        literal.test(value)


def test_margin_is_in_the_units_of_the_reading() -> None:
    literal = compile_test(condition(reading="temperature.road", below="75 °C"), unit_of)
    assert literal.margin(Number(71.0)) == pytest.approx(4.0)
    assert literal.margin(Spread(70, 80, 90)) == pytest.approx(-5.0)
    assert literal.margin(None) is None


def test_chance_of_a_normal_spread_is_that_of_the_normal_distribution() -> None:
    """Outside: scipy's normal distribution, whose 10 and 90 % points are the ends of the interval."""
    sd = 0.7
    spread = Spread(3 + sd * norm.ppf(0.1), 3.0, 3 + sd * norm.ppf(0.9))
    above = compile_test(condition(reading="d1", above="2.5"), unit_of)
    below = compile_test(condition(reading="d1", below="3.5"), unit_of)
    within = compile_test(condition(reading="d1", between=["2.5", "3.5"]), unit_of)
    one, both = norm.sf(2.5, 3, sd), norm.cdf(3.5, 3, sd) - norm.cdf(2.5, 3, sd)
    assert together([(above, True)]).chance(spread) == pytest.approx(one, abs=1e-9)
    assert together([(above, False)]).chance(spread) == pytest.approx(1 - one, abs=1e-9)
    assert together([(within, True)]).chance(spread) == pytest.approx(both, abs=1e-9)
    assert together([(within, False)]).chance(spread) == pytest.approx(1 - both, abs=1e-9)
    # two limits on one quantity are taken together, not multiplied as if independent
    assert together([(above, True), (below, True)]).chance(spread) == pytest.approx(both, abs=1e-9)


def test_chance_of_a_sample_is_the_share_that_meets_the_condition() -> None:
    rng = random.Random(5)
    sample = tuple(sorted(rng.gauss(3, 1) for _ in range(2000)))
    spread = Spread(sample[200], sample[1000], sample[1800], sample)
    within = compile_test(condition(reading="d1", between=["2.5", "3.5"]), unit_of)
    share = sum(2.5 < x <= 3.5 for x in sample) / len(sample)
    assert together([(within, True)]).chance(spread) == pytest.approx(share)


@pytest.mark.parametrize(
    ("comparison", "limit", "wanted"),
    [
        ("at_least", "2", True),
        ("above", "2", False),
        ("at_most", "2", True),
        ("below", "2", False),
        ("above", "1", True),
    ],
)
def test_a_quantity_without_width_meets_a_limit_or_does_not(comparison: str, limit: str, wanted: bool) -> None:
    literal = compile_test(condition(reading="d1", **{comparison: limit}), unit_of)
    exact = Spread(2.0, 2.0, 2.0)
    assert literal.test(exact) is wanted
    assert together([(literal, True)]).chance(exact) == (0.995 if wanted else 0.005)
    assert together([(literal, False)]).chance(exact) == (0.005 if wanted else 0.995)
