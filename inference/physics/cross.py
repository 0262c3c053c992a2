"""Cross-checks: what one reading says of another. Oxygen of the air, heat of the late fuel, burns of the oil."""

from __future__ import annotations

import numpy as np

from inference.physics.calibration import Parameter
from inference.physics.heat import FUEL_HEAT
from inference.physics.valid import Numeric, valid

# Diesel fuel as CH1.85 in air of 20.95 % oxygen: lean products of a mole of carbon, water counted in
HYDROGEN = 1.85  # atoms of hydrogen to one of carbon (from memory)
AIR_OXYGEN = 0.2095
IDLE_FUEL = Parameter(0.048, 0.064, 0.085, "kg/(s m^3)", True, "0.4 to 0.7 l/h of a 2 l engine, hot idle; from memory")
FUEL_PER_BURN = Parameter(0.05e-2, 0.12e-2, 0.30e-2, "1", True, "share of the oil a burn adds as fuel; from memory")
OIL_CHANGE = 15e6  # m, 15,000 km between oil changes where none is told (from memory)


@valid(not_negative=("oxygen",), oxygen=(0.005, 0.20, "1"))
def excess_air(oxygen: Numeric) -> Numeric:
    """Air over what the fuel needs, from the oxygen left in the exhaust.

    Equation: lambda = (n + x h / 4) / (n - x n / 0.2095), n = 1 + h / 4 moles of oxygen to one of carbon, all burnt

    Parameters
    ----------
    oxygen : mole share of oxygen in the wet exhaust [-]

    Returns
    -------
    excess air [-]

    Raises
    ------
    ValueError : a negative share

    Valid range: lean and all burnt, 0.5 to 20 % oxygen; above that the fuel is lost in the error.

    References
    ----------
    Balance of atoms for CH1.85; checked against an equilibrium solver in tests/outside/test_exhaust_gas.py.

    Examples
    --------
    >>> round(float(excess_air(0.1014)), 2)
    2.0
    """
    need = 1.0 + HYDROGEN / 4.0
    return (need + oxygen * HYDROGEN / 4.0) / (need - oxygen * need / AIR_OXYGEN)


@valid(positive=("excess_air", "fuel"), excess_air=(1.0, 12.0, "1"))
def air_by_fuel(excess_air: Numeric, fuel: Numeric, stoichiometric: float = 14.5) -> Numeric:
    """Air that goes with a fuel flow at a known excess of air.

    Equation: m_air = lambda 14.5 m_fuel

    Parameters
    ----------
    excess_air : air over what the fuel needs [-]
    fuel : fuel flow [kg/s]
    stoichiometric : air a kilogram of fuel needs [kg/kg]

    Returns
    -------
    air mass flow [kg/s]

    Raises
    ------
    ValueError : excess air or fuel flow not above zero

    Valid range: excess air 1 to 12.

    References
    ----------
    Definition of excess air; 14.5: from-memory.

    Examples
    --------
    >>> round(float(air_by_fuel(4.0, 0.13e-3)) * 1e3, 2)
    7.54
    """
    return excess_air * stoichiometric * fuel


@valid(positive=("shut",), not_negative=("opened",), result=(-0.1, 0.7, "1"))
def share_by_valve(opened: Numeric, shut: Numeric) -> Numeric:
    """Share of exhaust in what the cylinders draw, by the air that shutting the valve brings back.

    Equation: x = 1 - m_open / m_shut

    Parameters
    ----------
    opened : air mass flow with the valve as the engine runs it [kg/s]
    shut : air mass flow with the valve commanded shut, at the same speed [kg/s]

    Returns
    -------
    share of exhaust fed back [-]

    Raises
    ------
    ValueError : no flow with the valve shut, or a negative flow

    Valid range: steady idle, no boost; an error of the air meter's scale falls out. A valve that does not shut gives
    nought though exhaust flows.

    References
    ----------
    Conservation of mass.

    Examples
    --------
    >>> share_by_valve(0.006, 0.008)
    0.25
    """
    return 1.0 - opened / shut


@valid(positive=("fuel",), not_negative=("power",), result=(0.0, 1.2, "1"))
def heat_share(power: Numeric, fuel: Numeric) -> Numeric:
    """Share of the late fuel's heat that the catalyst gives to the gas.

    Equation: e = P / (m_fuel 42.7 MJ/kg)

    Parameters
    ----------
    power : heat flow that warms the gas in the catalyst [W]
    fuel : late fuel dosed [kg/s]

    Returns
    -------
    share [-]

    Raises
    ------
    ValueError : no fuel, or a negative heat flow

    Valid range: catalyst inlet above its light-off (about 250 °C), steady; above 1.2 a reading lies.

    References
    ----------
    Conservation of energy; 0.6 to 1 is sound, under 0.4 weak: from-memory.

    Examples
    --------
    >>> round(float(heat_share(13.5e3, 0.4e-3)), 2)
    0.79
    """
    return power / (fuel * FUEL_HEAT)


@valid(not_negative=("burns", "share_each"), share_each=(0.0, 0.01, "1"))
def fuel_from_burns(burns: Numeric, share_each: Numeric) -> Numeric:
    """Share of fuel that burns have put into the oil, nothing boiled off.

    Equation: f = 1 - exp(-n s)

    Parameters
    ----------
    burns : burns begun since the oil was changed [-]
    share_each : share of the oil that one burn adds as fuel [-]

    Returns
    -------
    share of fuel in the oil [-]

    Raises
    ------
    ValueError : a negative count or share

    Valid range: up to some ten per cent; long hot runs boil some of it off again, so it is an upper figure.

    References
    ----------
    Balance of mass at a constant oil volume; 0.05 to 0.3 % a burn: from-memory.

    Examples
    --------
    >>> round(float(fuel_from_burns(30.0, 0.001)), 4)
    0.0296
    """
    return -np.expm1(-burns * share_each)
