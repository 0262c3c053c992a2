"""Outside its range a formula warns and still answers; the impossible raises with the figure in the message."""

from __future__ import annotations

import numpy as np
import pytest

from inference.physics import gas
from inference.physics.valid import outside, raw, valid


def test_inside_there_is_no_warning() -> None:
    assert outside(gas.viscosity, temperature=500.0) == ()


def test_outside_there_is_one_that_names_value_and_range() -> None:
    (warning,) = outside(gas.viscosity, temperature=1100.0)
    assert (warning.quantity, warning.value) == ("temperature", 1100.0)
    assert "1100 K" in str(warning)
    assert "973" in str(warning)
    assert gas.viscosity(1100.0) > 0


def test_a_sample_is_judged_by_its_mean() -> None:
    assert outside(gas.viscosity, temperature=np.array([500.0, 1000.0])) == ()
    assert outside(gas.viscosity, temperature=np.array([950.0, 1050.0]))


@pytest.mark.parametrize("kelvin", [0.0, -5.0, float("nan")])
def test_the_impossible_raises(kelvin: float) -> None:
    with pytest.raises(ValueError, match="temperature"):
        gas.viscosity(kelvin)
    with pytest.raises(ValueError, match="temperature"):
        gas.density(pressure=1e5, temperature=np.array([300.0, kelvin]))


def test_a_negative_flow_raises() -> None:
    with pytest.raises(ValueError, match="mass_flow"):
        gas.volume_flow(-0.01, 1.0)


def test_a_range_for_no_argument_is_a_mistake_in_the_code() -> None:
    with pytest.raises(TypeError, match="breadth"):

        @valid(breadth=(0.0, 1.0, "m"))
        def area(length: float) -> float:
            return length


def test_raw_is_the_same_formula_unchecked() -> None:
    assert raw(gas.viscosity)(400.0) == gas.viscosity(400.0)
