"""Outside its range a formula warns and still answers; the impossible raises with the figure in the message."""

from __future__ import annotations

import numpy as np
import pytest

from inference.physics import cross, gas
from inference.physics.valid import NotMade, beyond, outside, raw, valid


def test_inside_there_is_no_warning() -> None:
    assert outside(gas.viscosity, temperature=500.0) == ()


def test_outside_there_is_one_that_names_value_and_range() -> None:
    (warning,) = outside(gas.viscosity, temperature=1100.0)
    assert (warning.quantity, warning.value) == ("temperature", 1100.0)
    assert str(warning) == "The gas temperature, 827 °C, is outside what the formulas are good for, -73 to 700 °C."
    assert gas.viscosity(1100.0) > 0


def test_warnings_are_told_from_other_notes_and_speak_the_units_of_the_shop() -> None:
    (hot,) = outside(gas.viscosity, temperature=1100.0)
    (oxygen,) = outside(cross.excess_air, oxygen=0.3)
    (share,) = outside(cross.share_by_valve, result=0.9)
    assert str(oxygen) == "The share of oxygen, 30 %, is outside what the formulas are good for, 0.5 to 20 %."
    assert str(share).startswith("The share of exhaust fed back, 90 %,")
    metal = str(NotMade("They are made for ceramic channels."))
    assert beyond(["The barometer was not read.", str(hot), metal]) == (str(hot), metal)


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
