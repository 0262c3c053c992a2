"""Density, specific heat and excess air of exhaust against cantera (thermodynamics of the GRI 3.0 gas set)."""

from __future__ import annotations

import cantera
import pytest

from inference.physics import cross, gas
from inference.physics.heat import carbon_heat

MIXTURE = cantera.Solution("gri30.yaml")
NEED = 1.0 + 1.85 / 4.0  # moles of oxygen for one of CH1.85


def lean_products(excess: float) -> dict[str, float]:
    """Moles that leave when CH1.85 burns whole in ``excess`` times the air it needs."""
    return {"CO2": 1.0, "H2O": 0.925, "O2": NEED * (excess - 1.0), "N2": NEED * excess * 0.7905 / 0.2095}


@pytest.mark.parametrize("excess", [2.0, 3.0, 5.0])
@pytest.mark.parametrize("celsius", [150.0, 300.0, 450.0, 600.0])
def test_density_and_specific_heat(excess: float, celsius: float) -> None:
    kelvin = celsius + 273.15
    MIXTURE.TPX = kelvin, 101_325.0, lean_products(excess)
    assert gas.density(101_325.0, kelvin) == pytest.approx(MIXTURE.density, rel=0.005)
    assert gas.heat_capacity(kelvin) == pytest.approx(MIXTURE.cp_mass, rel=0.025)


@pytest.mark.parametrize("excess", [1.3, 2.0, 4.0, 8.0])
def test_excess_air_comes_back_from_the_oxygen_left(excess: float) -> None:
    """Fuel stood in for by methane's atoms with the hydrogen of diesel, burnt to equilibrium."""
    carbon, hydrogen = 1.0, 1.85
    MIXTURE.TPX = 700.0, 101_325.0, {
        "C": carbon, "H": hydrogen, "O2": NEED * excess, "N2": NEED * excess * 0.7905 / 0.2095,
    }  # fmt: skip
    MIXTURE.equilibrate("TP")
    assert cross.excess_air(float(MIXTURE["O2"].X[0])) == pytest.approx(excess, rel=0.01)


def test_heat_of_burning_carbon() -> None:
    """Graphite is the state enthalpies are counted from, so the heat is that of the dioxide and monoxide made."""
    MIXTURE.TP = 298.15, 101_325.0
    by_mole = dict(zip(MIXTURE.species_names, MIXTURE.partial_molar_enthalpies / 1e3, strict=True))  # J/mol
    assert carbon_heat(0.0) == pytest.approx((by_mole["O2"] - by_mole["CO2"]) / 0.012011, rel=2e-3)
    assert carbon_heat(1.0) == pytest.approx((0.5 * by_mole["O2"] - by_mole["CO"]) / 0.012011, rel=2e-3)
