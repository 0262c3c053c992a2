"""Heat of compression against a worked example of a textbook and against cantera (air with its true specific heat)."""

from __future__ import annotations

import cantera
import pytest

from inference.physics import charge_air

AIR = cantera.Solution("air.yaml")


def test_worked_example_of_the_textbook() -> None:
    """Cengel and Cimbala, Fluid Mechanics (2006), example 12-1: 286.8 K compressed eightfold without loss, 519.5 K.

    As quoted in the documentation of the general library fluids (compressible.isentropic_T_rise_compression); the
    ratio lies beyond our range, which bounds turbochargers, not the formula.
    """
    assert charge_air.compressor_outlet(286.8, 8.0, 1.0) == pytest.approx(519.5, abs=0.1)


@pytest.mark.parametrize("ratio", [1.4, 1.8, 2.2, 2.8, 3.5])
@pytest.mark.parametrize("kelvin", [258.0, 293.0, 318.0])
def test_without_loss_the_entropy_stays(kelvin: float, ratio: float) -> None:
    AIR.TP = kelvin, 100e3
    AIR.SP = AIR.entropy_mass, ratio * 100e3
    assert charge_air.compressor_outlet(kelvin, ratio, 1.0) - kelvin == pytest.approx(AIR.T - kelvin, rel=0.03)


def test_losses_end_as_heat() -> None:
    """The work of compression is what the enthalpy rises by, so a share 1 / efficiency of the loss-free rise."""
    AIR.TP = 300.0, 100e3
    before, entropy = AIR.enthalpy_mass, AIR.entropy_mass
    AIR.SP = entropy, 220e3
    AIR.HP = before + (AIR.enthalpy_mass - before) / 0.7, 220e3
    assert charge_air.compressor_outlet(300.0, 2.2, 0.7) == pytest.approx(AIR.T, abs=1.0)


def test_a_cooler_takes_all_or_nothing() -> None:
    assert charge_air.cooling_share(400.0, 290.0, 290.0) == 1.0
    assert charge_air.cooling_share(400.0, 400.0, 290.0) == 0.0
