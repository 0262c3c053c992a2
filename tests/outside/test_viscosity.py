"""Viscosity of exhaust gas against three published formulas for air.

Source S28 (s28-gas-viscosity, read in excerpt): UW/MHTL 8406 (1984), Sutherland's formula with its constants for air,
Irvine and Liley (1984). The coefficients of the last are from memory; that they are right is checked against the
values computed from S28 itself.
"""

from __future__ import annotations

import pytest

from inference.physics.gas import viscosity

CELSIUS = (20.0, 200.0, 400.0, 600.0)


def uw_mhtl_8406(kelvin: float) -> float:
    return 1.4592e-6 * kelvin**1.5 / (kelvin + 109.1)


def sutherland(kelvin: float) -> float:
    return 1.827e-5 * (291.15 + 120.0) / (kelvin + 120.0) * (kelvin / 291.15) ** 1.5


def irvine_liley(kelvin: float) -> float:
    c = (-9.8601e-1, 9.080125e-2, -1.17635575e-4, 1.2349703e-7, -5.7971299e-11)
    return 1e-6 * sum(a * kelvin**n for n, a in enumerate(c))


@pytest.mark.parametrize("celsius", CELSIUS)
def test_uw_mhtl_8406_within_half_a_per_cent(celsius: float) -> None:
    kelvin = celsius + 273.15
    assert viscosity(kelvin) == pytest.approx(uw_mhtl_8406(kelvin), rel=0.005)


@pytest.mark.parametrize("celsius", CELSIUS)
def test_sutherland_within_three_per_cent(celsius: float) -> None:
    kelvin = celsius + 273.15
    assert viscosity(kelvin) == pytest.approx(sutherland(kelvin), rel=0.03)


@pytest.mark.parametrize("celsius", CELSIUS[:2])  # its range ends at 600 K
def test_irvine_liley_within_one_per_cent(celsius: float) -> None:
    kelvin = celsius + 273.15
    assert viscosity(kelvin) == pytest.approx(irvine_liley(kelvin), rel=0.01)


@pytest.mark.parametrize(("celsius", "by_uw", "by_irvine"), [
    (20.0, 18.21, 18.21), (200.0, 25.79, 25.82), (400.0, 32.58, 32.60), (600.0, 38.33, 37.13),
])  # fmt: skip
def test_the_formulas_are_copied_rightly(celsius: float, by_uw: float, by_irvine: float) -> None:
    """Values of both formulas as computed beforehand from S28 (600 °C lies outside Irvine and Liley's range)."""
    kelvin = celsius + 273.15
    assert uw_mhtl_8406(kelvin) * 1e6 == pytest.approx(by_uw, abs=0.006)
    assert irvine_liley(kelvin) * 1e6 == pytest.approx(by_irvine, abs=0.02)
