"""Exhaust gas: density, viscosity, heat capacity, volume flow. Base SI throughout."""

from __future__ import annotations

from inference.physics.valid import Numeric, valid

R_GAS = 8.314462618  # J/(mol K), exact since the 2019 revision of the SI
MOLAR_MASS = 0.0288  # kg/mol, lean diesel exhaust 28.7 to 28.9 g/mol (from memory)
R_AIR = 287.05  # J/(kg K), dry air
ZERO_CELSIUS = 273.15  # K
STANDARD_PRESSURE = 101_325.0  # Pa


@valid(positive=("pressure", "temperature"), pressure=(60e3, 250e3, "Pa"), temperature=(230.0, 1300.0, "K"))
def density(pressure: Numeric, temperature: Numeric, molar_mass: float = MOLAR_MASS) -> Numeric:
    """Density of exhaust gas as an ideal gas.

    Equation: rho = P M / (R T)

    Parameters
    ----------
    pressure : absolute pressure [Pa]
    temperature : gas temperature [K]
    molar_mass : molar mass [kg/mol]

    Returns
    -------
    density [kg/m^3]

    Raises
    ------
    ValueError : pressure or temperature not above zero

    Valid range: 60 to 250 kPa, 230 to 1300 K (an ideal gas within 0.1 % there).

    References
    ----------
    Ideal gas law; molar mass of lean exhaust: from-memory.

    Examples
    --------
    >>> round(float(density(101325.0, 573.15)), 3)
    0.612
    """
    return pressure * molar_mass / (R_GAS * temperature)


@valid(positive=("temperature",), temperature=(200.0, 973.15, "K"))
def viscosity(temperature: Numeric) -> Numeric:
    """Dynamic viscosity of exhaust gas, taken as that of air (2 to 4 % high).

    Equation: mu = 1.458e-6 T^1.5 / (T + 110.4)

    Parameters
    ----------
    temperature : gas temperature [K]

    Returns
    -------
    dynamic viscosity [Pa s]

    Raises
    ------
    ValueError : temperature not above zero

    Valid range: 200 to 973 K, within 2 %.

    References
    ----------
    us-standard-atmosphere (from memory); checked against s28-gas-viscosity.

    Examples
    --------
    >>> round(float(viscosity(473.15)) * 1e6, 2)
    25.71
    """
    return 1.458e-6 * temperature**1.5 / (temperature + 110.4)


@valid(positive=("temperature",), temperature=(300.0, 1000.0, "K"))
def heat_capacity(temperature: Numeric) -> Numeric:
    """Specific heat of lean exhaust gas at constant pressure.

    Equation: cp = 1055 + (T - 423.15) * 110 / 450

    Parameters
    ----------
    temperature : gas temperature [K]

    Returns
    -------
    specific heat [J/(kg K)]

    Raises
    ------
    ValueError : temperature not above zero

    Valid range: 300 to 1000 K and excess air of 2 to 5, within 2.5 %.

    References
    ----------
    A line laid through what a gas mixture library gives for lean products of CH1.85, see
    tests/outside/test_exhaust_gas.py; 1.13 kJ/(kg K) at 600 °C, remembered first, was 3 % low.

    Examples
    --------
    >>> round(float(heat_capacity(873.15)))
    1165
    """
    return 1055.0 + (temperature - 423.15) * (110.0 / 450.0)


@valid(positive=("density",), not_negative=("mass_flow",), mass_flow=(0.0, 0.4, "kg/s"))
def volume_flow(mass_flow: Numeric, density: Numeric) -> Numeric:
    """Volume flow of a gas of known density.

    Equation: Q = m / rho

    Parameters
    ----------
    mass_flow : mass flow [kg/s]
    density : density at the same place [kg/m^3]

    Returns
    -------
    volume flow [m^3/s]

    Raises
    ------
    ValueError : density not above zero, or a negative mass flow

    Valid range: 0 to 0.4 kg/s (passenger cars and vans).

    References
    ----------
    Conservation of mass.

    Examples
    --------
    >>> round(float(volume_flow(0.035, density(103e3, 573.15))) * 3600, 1)
    202.4
    """
    return mass_flow / density
