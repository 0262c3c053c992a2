"""Dimensions by pint: what a formula promises in its docstring is what comes out of it, for every formula there is.

A formula is fed with quantities in odd units (g/s, mbar, mm, miles) and must give the unit it promises, with the same
figure as in bare SI. One whose constants carry a unit (a temperature scale, a usual figure) cannot be fed so; it is
named in FITTED, and its docstring's units must still fit those of its valid range.
"""

from __future__ import annotations

import inspect
import re
from collections.abc import Callable
from typing import Any

import numpy as np
import pint
import pytest

from inference.burn import cracks, elastic, kinetics
from inference.forecast import balance
from inference.physics import air, ash, charge_air, cross, flow, gas, heat, two_flows, usage
from inference.physics import filter_pressure as fp
from inference.physics.load import Stream
from inference.physics.valid import ranges
from kb.units import registry
from tests.inference.test_formula_docs import FORMULAS

REGISTRY = registry()
Q = REGISTRY.Quantity
MU, RHO, FLOW = Q(2.7e-2, "mPa*s"), Q(0.7, "g/l"), Q(180.0, "m**3/hour")
VOLUME, PITCH, OPENING, WALL = Q(2.5, "l"), Q(1.8, "mm"), Q(1.44, "mm"), Q(360.0, "um")
LENGTH, PERMEABILITY = Q(15.24, "cm"), Q(3e-7, "mm**2")
VISCOUS, INERTIAL = Q(1.5e-6, "Pa*m**3"), Q(2e-3, "kg*m**3/s**2")

FED: list[tuple[Callable[..., Any], tuple[Any, ...], str]] = [
    (air.air_mass_ratio, (Q(30, "g/s"), Q(40, "g/s")), ""),
    (air.boost_ratio, (Q(1800, "mbar"), Q(2.4, "bar")), ""),
    (air.egr_share, (Q(75, "percent"),), ""),
    (ash.additive_rate, (Q(5, "kg") / Q(100, "km"), Q(10, "mg/kg")), "kg/m"),
    (ash.ash_load, (Q(0.7, "g") / Q(1000, "km"), Q(90_000, "mile"), 0.7, VOLUME), "kg/m**3"),
    (ash.distance_left, (Q(24, "g/l"), Q(35, "g/l"), Q(0.16, "g/l") / Q(1000, "km")), "m"),
    (balance.interval, (Q(15, "g"), Q(30, "mg/km"), 0.2), "m"),
    (balance.kept, (Q(0.36, "1/hour"), Q(40, "minute")), ""),
    (balance.soot_made, (
        Q(12, "mile"), Q(20, "minute"), Q(2, "minute"), Q(10, "minute"), 0.8, Q(18, "mg/km"), Q(0.3, "g/hour"),
    ), "kg"),
    (cracks.evened, (Q(np.array(100.0), "K"), Q(np.array(5.0), "K"), Q(1, "minute"), Q(0.02, "hour")), "K"),
    (cracks.joint_shear, (
        Q(np.linspace(-40.0, 90.0, 16), "K"), Q(4.5e-6, "1/K"), Q(6, "inch"), Q(1.5, "mm"),
    ), ""),
    (cracks.shock_resistance, (Q(2.4, "MPa"), Q(2.5, "GPa"), Q(1.6e-6, "1/K"), 0.25), "K"),
    (cracks.skin_lag, (Q(0.2, "W/(l*K)"), Q(72, "mm"), Q(0.5, "W/(m*K)")), ""),
    (cracks.thermal_stress, (Q(2.5, "GPa"), Q(1.6e-6, "1/K"), 0.25, Q(450, "K")), "Pa"),
    (cross.air_by_fuel, (4.0, Q(0.5, "kg/hour")), "kg/s"),
    (cross.excess_air, (Q(10, "percent"),), ""),
    (cross.fuel_from_burns, (30.0, Q(0.1, "percent")), ""),
    (cross.share_by_valve, (Q(6, "g/s"), Q(8, "g/s")), ""),
    (charge_air.compressor_outlet, (Q(540, "degR"), 2.2, Q(70, "percent")), "K"),
    (charge_air.cooling_share, (Q(418, "K"), Q(572.4, "degR"), Q(293, "K")), ""),
    (flow.downstream_drop, (Q(40, "g/s"), 503.0, Q(150, "mbar"), Q(110, "g/s")), "Pa"),
    (flow.exhaust_flow, (Q(40, "g/s"), 3.0), "kg/s"),
    (flow.fresh_air, (Q(46, "g/s"), 0.3), "kg/s"),
    (elastic.tension, (Q(np.array([3.0, 1.0, -3.0, 4.0]), "MPa"),), "Pa"),
    (fp.channel_reynolds, (RHO, MU, FLOW, VOLUME, PITCH, OPENING, LENGTH), ""),
    (fp.entrance_exit_drop, (RHO, FLOW, VOLUME, PITCH, OPENING, LENGTH), "Pa"),
    (fp.filtration_area, (VOLUME, PITCH, OPENING), "m**2"),
    (fp.friction_drop, (MU, FLOW, VOLUME, PITCH, OPENING, LENGTH, Q(30, "um")), "Pa"),
    (fp.layer_drop, (MU, FLOW, VOLUME, PITCH, OPENING, Q(60, "um"), Q(2e-8, "mm**2")), "Pa"),
    (fp.layer_thickness, (Q(6, "g/l"), PITCH, OPENING, Q(0.1, "g/cm**3")), "m"),
    (fp.wall_drop, (MU, FLOW, VOLUME, PITCH, OPENING, WALL, PERMEABILITY), "Pa"),
    (gas.volume_flow, (Q(40, "g/s"), RHO), "m**3/s"),
    (heat.hot_share, (Q(20, "minute"), Q(500, "s")), ""),
    (heat.lift_power, (Q(35, "g/s"), Q(1.1, "kJ/kg/K"), Q(350, "K")), "W"),
    (kinetics.with_supply, (Q(2, "g/l/minute"), Q(0.05, "kg/m**3/s")), "kg/m**3/s"),
    (two_flows.excess_left, (Q(50, "percent"), 2.0), ""),
    (two_flows.part, (Q(4, "mbar"), Q(22, "mbar"), VISCOUS, INERTIAL, 4 * VISCOUS, 14 * INERTIAL), "Pa"),
    (usage.burn_completion, (3.0, 12.0), ""),
    (usage.burn_rate, (6.0, Q(1300, "km")), "1/m"),
    (usage.recorded_error, (10.0,), ""),
    (usage.mean_speed, (Q(2.5, "mile"), Q(6, "minute")), "m/s"),
]  # fmt: skip
# Formulas whose constants carry a unit, or that hand their arguments on to other formulas
FITTED = {
    "adiabatic_rise", "ash_from_clean", "ash_rate", "burning", "carbon_heat", "carried", "cell_pitch",
    "density", "dioxide_rate", "dioxide_share", "filter_drop", "fuel_use", "heat_capacity", "heat_share", "heating",
    "interval_over_usual", "log_left", "oxygen_rate", "reaction_heat", "road_part", "share_burnt", "shares",
    "soot_from_drop", "speed_density", "split", "temperature_needed", "viscosity", "warm_up_time",
}  # fmt: skip


def test_every_formula_is_fed_or_named() -> None:
    fed = {f.__name__ for f, _, _ in FED}
    assert not fed & FITTED
    assert fed | FITTED == {f.__name__ for f in FORMULAS}


@pytest.mark.parametrize(("formula", "given", "unit"), FED, ids=lambda x: getattr(x, "__name__", ""))
def test_dimension_and_figure(formula: Callable[..., Any], given: tuple[Any, ...], unit: str) -> None:
    inner = inspect.unwrap(formula)
    bare = [x.to_base_units().magnitude if isinstance(x, pint.Quantity) else x for x in given]
    found, wanted = inner(*given), formula(*bare)
    if not isinstance(found, tuple):
        found, wanted = (found,), (wanted,)
    for one, figure in zip(found, wanted, strict=True):
        measured = Q(one).to(unit or "dimensionless").to_base_units()
        assert measured.magnitude == pytest.approx(figure, rel=1e-9)


def test_carried() -> None:
    viscous, inertial = MU * FLOW, RHO * FLOW**2
    bare = two_flows.carried(Stream(*(float(x.to_base_units().magnitude) for x in (MU, RHO, FLOW))))
    assert viscous.to("Pa*m**3").magnitude == pytest.approx(float(bare[0]))
    assert inertial.to("kg*m**3/s**2").magnitude == pytest.approx(float(bare[1]))


def unit_of(written: str) -> Any:
    """The unit of a docstring: "kg/(m^3 m)", "-" for none."""
    if written in ("-", "1"):
        return REGISTRY.Unit("dimensionless")
    return REGISTRY.Unit(re.sub(r"(?<=\w) (?=\w)", "*", written.replace("^", "**")))


def described(formula: Callable[..., object]) -> dict[str, str]:
    """Unit of each argument and of the result, as the docstring has it."""
    text = inspect.getdoc(formula) or ""
    arguments = text[text.index("Parameters\n") : text.index("Returns\n")]
    found: dict[str, str] = {}
    for names, unit in re.findall(r"^([\w, ]+) : [^\[]*\[([^\]]+)\]$", arguments, re.M):
        found |= {name.strip(): unit for name in names.split(",")}
    results = re.findall(r"\[([^\]]+)\]", text[text.index("Returns\n") : text.index("Raises\n")])
    return found | {"result": results[0]}


@pytest.mark.parametrize("formula", FORMULAS, ids=lambda f: f"{f.__module__}.{f.__name__}")
def test_units_of_the_docstring_are_units_and_fit_the_valid_range(formula: Callable[..., object]) -> None:
    units = {name: unit_of(unit) for name, unit in described(formula).items()}
    for name, bounds in ranges(formula).items():
        assert name in units, f"{name} has no unit in the docstring"
        assert units[name].is_compatible_with(unit_of(bounds.unit)), name


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
