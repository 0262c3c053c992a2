"""Heat of burning carbon against tabulated enthalpies of formation (S29, s29-enthalpies, read in excerpt)."""

from __future__ import annotations

import pytest

from inference.physics.heat import adiabatic_rise, carbon_heat, reaction_heat

CARBON = 12.011  # g/mol, IUPAC standard atomic weight
DIOXIDE, MONOXIDE = 393.52, 110.53  # kJ/mol, S29


def test_carbon_to_dioxide() -> None:
    assert carbon_heat(0.0) / 1e6 == pytest.approx(DIOXIDE / CARBON, rel=1e-6)  # 32.76 MJ/kg
    assert carbon_heat(0.0) / 1e6 == pytest.approx(32.76, abs=0.005)


def test_carbon_to_monoxide() -> None:
    assert carbon_heat(1.0) / 1e6 == pytest.approx(MONOXIDE / CARBON, rel=1e-6)  # 9.20 MJ/kg
    assert carbon_heat(1.0) / 1e6 == pytest.approx(9.20, abs=0.005)


def test_burning_in_two_steps_gives_the_same_heat() -> None:
    """Hess's law: carbon to monoxide, then monoxide to dioxide, is carbon to dioxide."""
    first = reaction_heat({"C": 1, "O2": 0.5}, {"CO": 1})
    second = reaction_heat({"CO": 1, "O2": 0.5}, {"CO2": 1})
    assert first + second == pytest.approx(reaction_heat({"C": 1, "O2": 1}, {"CO2": 1}))
    assert second == pytest.approx((DIOXIDE - MONOXIDE) * 1e3)


def test_an_unknown_substance_is_refused() -> None:
    with pytest.raises(ValueError, match="NO2"):
        reaction_heat({"C": 1, "NO2": 2}, {"CO2": 1, "NO": 2})


@pytest.mark.parametrize(("soot", "density", "heat", "rise"), [
    (4, 500, 1050, 250), (6, 500, 1050, 374), (8, 500, 1050, 499),  # cordierite
    (6, 700, 1050, 267), (8, 700, 1050, 357),  # aluminium titanate
    (6, 800, 1100, 223), (12, 800, 1100, 447),  # silicon carbide
])  # fmt: skip
def test_adiabatic_rise_is_the_energy_balance(soot: float, density: float, heat: float, rise: float) -> None:
    """Energy balance worked by hand from S29: soot x 32.76 MJ/kg over density x specific heat, to the whole kelvin."""
    assert adiabatic_rise(float(soot), float(density), float(heat)) == pytest.approx(rise, abs=1.0)
