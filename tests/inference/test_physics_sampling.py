"""The shared sample: exact percentage points, no two columns tied together, the same on every machine."""

from __future__ import annotations

import pickle
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from inference.physics import sampling
from inference.physics.sampling import (
    MULTIPLIERS,
    ROUND,
    VEHICLE,
    N,
    between,
    between_log,
    column,
    middle,
    of_round,
    spread,
)


def test_every_column_holds_every_quantile_once() -> None:
    wanted = sorted(NormalDist().inv_cdf((i + 0.5) / N) for i in range(N))
    for place in range(len(MULTIPLIERS)):
        assert sorted(column(place).tolist()) == wanted


def test_no_two_columns_are_tied_together() -> None:
    rows = np.array([column(k) for k in range(len(MULTIPLIERS))])
    both = np.vstack([rows, rows**2 - 1])
    ties = np.abs(np.corrcoef(both) - np.eye(len(both)))
    assert ties.max() < 0.13


def test_enough_columns_for_three_rounds() -> None:
    assert len(VEHICLE) + 3 * len(ROUND) == len(MULTIPLIERS) == len(set(MULTIPLIERS))
    assert not np.array_equal(of_round("gauge", 0), of_round("gauge", 1))
    assert np.array_equal(of_round("gauge", 0), of_round("gauge", 3))


def test_columns_cannot_be_written_to() -> None:
    with pytest.raises(ValueError, match="read-only"):
        column(0)[0] = 1.0


@given(st.floats(0.1, 5), st.floats(1.01, 4), st.floats(1.01, 4))
def test_percentage_points_come_out_as_put_in(mid: float, below: float, above: float) -> None:
    low, high = mid / below, mid * above
    for form in (between, between_log):
        found = spread(form(sampling.vehicle("cake"), low, mid, high))
        assert found.low == pytest.approx(low, rel=1e-3)
        assert found.mid == pytest.approx(mid, rel=1e-9)
        assert found.high == pytest.approx(high, rel=1e-3)


def test_a_spread_keeps_its_sorted_sample() -> None:
    found = spread(np.array([3.0, 1.0, 2.0]))
    assert list(found.sample) == [1.0, 2.0, 3.0]
    assert (found.low, found.mid, found.high) == pytest.approx((1.0, 2.0, 3.0))
    assert found.chance_above(1.5) == pytest.approx(2 / 3)


def test_a_spread_is_a_value_with_its_sample_packed() -> None:
    """It is compared, handed to another process, and told apart in sets like any other value."""
    found, same, other = (spread(np.array(values)) for values in ([3.0, 1.0, 2.0], [1.0, 2.0, 3.0], [1.0, 2.0, 2.5]))
    assert found == same != other
    assert {found, same, other} == {found, other}
    assert pickle.loads(pickle.dumps(found)) == found
    assert found.chance_above(2.5) == pytest.approx(1 / 3)


def test_the_middle_of_a_sample_is_its_median() -> None:
    for place in range(4):
        assert middle(np.exp(column(place))) == np.median(np.exp(column(place)))
    assert middle(np.zeros(N)) == 0.0
