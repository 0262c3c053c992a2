"""Dimensions: every main formula, fed with quantities that carry units, gives the unit it promises (pint)."""

from __future__ import annotations

from collections.abc import Callable
from typing import Any

import pytest

from inference.physics import air, ash, flow, gas, heat, usage
from inference.physics import filter_pressure as fp
from inference.physics.valid import raw
from kb.units import registry

Q = registry().Quantity
MU, RHO, FLOW = Q(2.7e-5, "Pa*s"), Q(0.7, "kg/m**3"), Q(0.05, "m**3/s")
VOLUME, PITCH, OPENING, WALL = Q(2.5, "l"), Q(1.8, "mm"), Q(1.44, "mm"), Q(0.36, "mm")
LENGTH, PERMEABILITY = Q(152.4, "mm"), Q(3e-13, "m**2")

CASES: list[tuple[Callable[..., Any], tuple[Any, ...], str]] = [
    (gas.volume_flow, (Q(40, "g/s"), RHO), "m**3/s"),
    (flow.fresh_air, (Q(46, "g/s"), 0.3), "kg/s"),
    (flow.exhaust_flow, (Q(40, "g/s"), 3.0), "kg/s"),
    (flow.downstream_drop, (Q(40, "g/s"), 503.0, Q(150, "mbar"), Q(110, "g/s")), "Pa"),
    (fp.filtration_area, (VOLUME, PITCH, OPENING), "m**2"),
    (fp.wall_drop, (MU, FLOW, VOLUME, PITCH, OPENING, WALL, PERMEABILITY), "Pa"),
    (fp.friction_drop, (MU, FLOW, VOLUME, PITCH, OPENING, LENGTH, Q(30, "um")), "Pa"),
    (fp.entrance_exit_drop, (RHO, FLOW, VOLUME, PITCH, OPENING, LENGTH), "Pa"),
    (fp.channel_reynolds, (RHO, MU, FLOW, VOLUME, PITCH, OPENING, LENGTH), ""),
    (ash.ash_load, (Q(0.7e-9, "kg/m"), Q(150_000, "km"), 0.7, VOLUME), "kg/m**3"),
    (ash.additive_rate, (Q(5, "kg") / Q(100, "km"), Q(10, "mg/kg")), "kg/m"),
    (ash.distance_left, (Q(24, "g/l"), Q(35, "g/l"), Q(0.16, "g/l") / Q(1000, "km")), "m"),
    (air.air_mass_ratio, (Q(30, "g/s"), Q(40, "g/s")), ""),
    (air.boost_ratio, (Q(1800, "mbar"), Q(2.4, "bar")), ""),
    (heat.lift_power, (Q(35, "g/s"), Q(1.1, "kJ/kg/K"), Q(350, "K")), "W"),
    (usage.mean_speed, (Q(2.5, "km"), Q(6, "min")), "m/s"),
    (usage.burn_rate, (6.0, Q(1300, "km")), "1/m"),
]


@pytest.mark.parametrize(("formula", "given", "unit"), CASES, ids=lambda x: getattr(x, "__name__", ""))
def test_dimension_and_figure(formula: Callable[..., Any], given: tuple[Any, ...], unit: str) -> None:
    with_units = raw(formula)(*given).to(unit or "dimensionless").to_base_units()
    bare = [x.to_base_units().magnitude if hasattr(x, "to_base_units") else x for x in given]
    assert with_units.magnitude == pytest.approx(formula(*bare), rel=1e-9)


def test_layer_formulas() -> None:
    """The root and the logarithm need numbers: their arguments are shown to be areas and a ratio."""
    area = 2.0 * PITCH**2 * Q(6, "g/l") / Q(100, "kg/m**3")
    assert area.check("[area]")
    layer = MU * FLOW / (2 * VOLUME) * PITCH**2 / (2 * Q(2e-14, "m**2"))
    assert layer.check("[pressure]")


def test_density_and_speed_density() -> None:
    molar = Q(101325, "Pa") * Q(0.0288, "kg/mol") / (Q(gas.R_GAS, "J/mol/K") * Q(573.15, "K"))
    assert molar.to("kg/m**3").magnitude == pytest.approx(gas.density(101325.0, 573.15))
    drawn = 0.9 * Q(2000, "1/min") / 2 * Q(2.0, "l") * Q(1500, "mbar") / (Q(gas.R_AIR, "J/kg/K") * Q(313, "K"))
    wanted = flow.speed_density(2000 / 60, 2.0e-3, 150e3, 313.0, 0.9)
    assert drawn.to("kg/s").magnitude == pytest.approx(wanted)


def test_ash_from_oil() -> None:
    made = Q(0.1e-3, "l/km") * Q(ash.OIL_DENSITY, "kg/m**3") * Q(0.8, "percent")
    assert made.to("kg/m").magnitude == pytest.approx(ash.ash_rate(0.1e-9, 0.008))


def test_heat_of_a_load() -> None:
    rise = Q(6, "g/l") * Q(heat.carbon_heat(0.0), "J/kg") / (Q(0.5, "kg/l") * Q(1.05, "kJ/kg/K"))
    assert rise.to("K").magnitude == pytest.approx(heat.adiabatic_rise(6.0, 500.0, 1050.0))
