"""How fast soot burns: with oxygen, with nitrogen dioxide, and no faster than the gas brings them. Base SI.

Rates are first order in the soot there is and are written by their value at one temperature where they are best
known and an activation energy, so that an error in the one does not move the other.
"""

from __future__ import annotations

import numpy as np

from inference.physics.gas import R_GAS
from inference.physics.valid import Numeric, valid

OXYGEN_AT = 873.15  # K, 600 °C, where the rate with oxygen is written down
DIOXIDE_AT = 623.15  # K, 350 °C, where the rate with nitrogen dioxide is written down
CARBON_PER_OXYGEN = 12.011 / 31.998  # kg of carbon that a kg of oxygen burns to dioxide
CARBON_PER_DIOXIDE = 12.011 / (2.0 * 46.006)  # kg of carbon that a kg of NO2 burns, 2 NO2 + C
OXYGEN_MASS = 31.998 / 28.8  # mass share over mole share in lean exhaust
DIOXIDE_MASS = 46.006 / 28.8


@valid(
    positive=("temperature", "energy"),
    not_negative=("oxygen", "rate"),
    temperature=(500.0, 1400.0, "K"),
    oxygen=(0.0, 0.21, "1"),
    energy=(97e3, 170e3, "J/mol"),
)
def oxygen_rate(temperature: Numeric, oxygen: Numeric, rate: Numeric, energy: Numeric) -> Numeric:
    """Rate at which oxygen burns soot, as a share of the soot there is.

    Equation: k = k600 y exp(-(E / R) (1 / T - 1 / 873.15 K))

    Parameters
    ----------
    temperature : of the soot [K]
    oxygen : mole share of oxygen in the gas [-]
    rate : rate at 600 °C in pure oxygen [1/s]
    energy : activation energy [J/mol]

    Returns
    -------
    share of the soot burnt in a unit of time [1/s]

    Raises
    ------
    ValueError : a temperature or energy not above zero, or a negative oxygen share or rate

    Valid range: 500 to 1400 K, 0 to 21 % oxygen, energies of 97 to 170 kJ/mol as published.

    References
    ----------
    bissett-shadman-1985 (form, from memory); energies s12-kim-2005, s13-lizarraga-2011, s15-activation-energies.

    Examples
    --------
    >>> round(float(oxygen_rate(923.15, 0.1, 0.08, 150e3) / oxygen_rate(873.15, 0.1, 0.08, 150e3)), 1)
    3.1
    """
    return rate * oxygen * np.exp(-(energy / R_GAS) * (1.0 / temperature - 1.0 / OXYGEN_AT))


@valid(
    positive=("temperature", "energy"),
    not_negative=("dioxide", "rate"),
    temperature=(470.0, 1230.0, "K"),
    dioxide=(0.0, 2e-3, "1"),
    energy=(40e3, 70e3, "J/mol"),
)
def dioxide_rate(temperature: Numeric, dioxide: Numeric, rate: Numeric, energy: Numeric) -> Numeric:
    """Rate at which nitrogen dioxide burns soot, as a share of the soot there is.

    Equation: k = k350 x / 300e-6 exp(-(E / R) (1 / T - 1 / 623.15 K))

    Parameters
    ----------
    temperature : of the soot [K]
    dioxide : mole share of nitrogen dioxide in the gas [-]
    rate : rate at 350 °C with 300 parts in a million of it [1/s]
    energy : activation energy [J/mol]

    Returns
    -------
    share of the soot burnt in a unit of time [1/s]

    Raises
    ------
    ValueError : a temperature or energy not above zero, or a negative share or rate

    Valid range: 470 to 1230 K, up to 2000 parts in a million, energies of 40 to 70 kJ/mol.

    References
    ----------
    s11-shrivastava-2010 (46.5 kJ/mol, 500 to 950 °C); 40 to 70 kJ/mol: stanmore-2001 (from memory).

    Examples
    --------
    >>> round(float(dioxide_rate(623.15, 3e-4, 5e-4, 46.5e3) / dioxide_rate(523.15, 3e-4, 5e-4, 46.5e3)), 1)
    5.6
    """
    return rate * (dioxide / 300e-6) * np.exp(-(energy / R_GAS) * (1.0 / temperature - 1.0 / DIOXIDE_AT))


@valid(positive=("temperature", "oxygen_pressure"), temperature=(400.0, 1100.0, "K"))
def dioxide_share(temperature: Numeric, oxygen_pressure: Numeric) -> Numeric:
    """Share of the nitrogen oxides that is dioxide when NO + O2/2 = NO2 has come to rest.

    Equation: f = K p^0.5 / (1 + K p^0.5), K = exp((57.1 kJ/mol - 73.2 J/(mol K) T) / (R T)), p in bar

    Parameters
    ----------
    temperature : gas temperature [K]
    oxygen_pressure : partial pressure of oxygen over 1 bar [-]

    Returns
    -------
    share [-]

    Raises
    ------
    ValueError : a temperature or pressure not above zero

    Valid range: 400 to 1100 K; a catalyst only comes near it when hot enough, and never passes it.

    References
    ----------
    Enthalpy and entropy of the reaction: from-memory; checked against an equilibrium solver in
    tests/outside/test_burn_chemistry.py.

    Examples
    --------
    >>> round(float(dioxide_share(623.15, 0.1)), 2), round(float(dioxide_share(873.15, 0.1)), 2)
    (0.74, 0.11)
    """
    constant = np.exp((57.1e3 - 73.2 * temperature) / (R_GAS * temperature)) * np.sqrt(oxygen_pressure)
    return constant / (1.0 + constant)


@valid(positive=("supply",), not_negative=("wish",))
def with_supply(wish: Numeric, supply: Numeric) -> Numeric:
    """Rate of burning when the gas that passes the layer brings only so much of what burns it.

    Equation: r = r_supply (1 - exp(-r_wish / r_supply))

    Parameters
    ----------
    wish : rate were the gas as rich all through the layer as at its face [kg/(m^3 s)]
    supply : rate that would use up all the gas brings [kg/(m^3 s)]

    Returns
    -------
    soot burnt in a volume of filter [kg/(m^3 s)]

    Raises
    ------
    ValueError : no supply, or a negative wish

    Valid range: a layer the gas crosses once, thin beside the body.

    References
    ----------
    bissett-shadman-1985 (from memory); it is the exact solution of first-order use along the path through the layer.

    Examples
    --------
    >>> round(float(with_supply(0.001, 1.0)), 6), round(float(with_supply(100.0, 1.0)), 6)
    (0.001, 1.0)
    """
    return supply * -np.expm1(-wish / supply)


@valid(positive=("energy", "rate", "oxygen", "time"), not_negative=("share",), share=(0.0, 0.999, "1"))
def temperature_needed(share: Numeric, time: Numeric, oxygen: Numeric, rate: Numeric, energy: Numeric) -> Numeric:
    """Temperature at which oxygen burns a share of the soot in a given time, supply being plenty.

    Equation: T = 1 / (1 / 873.15 K + (R / E) ln(k600 y t / -ln(1 - b)))

    Parameters
    ----------
    share : of the soot to be burnt [-]
    time : in which it is to burn, once hot [s]
    oxygen : mole share of oxygen [-]
    rate : rate at 600 °C in pure oxygen [1/s]
    energy : activation energy [J/mol]

    Returns
    -------
    temperature of the soot [K]

    Raises
    ------
    ValueError : an energy, rate, time or oxygen share not above zero, or a negative share

    Valid range: as oxygen_rate; 0 < b < 1.

    References
    ----------
    First-order decay with oxygen_rate, solved for the temperature.

    Examples
    --------
    >>> round(float(temperature_needed(0.8, 600.0, 0.1, 0.08, 150e3)) - 273.15)
    556
    """
    wanted = -np.log1p(-share) / time
    return 1.0 / (1.0 / OXYGEN_AT + R_GAS / energy * np.log(rate * oxygen / wanted))


@valid(positive=("until_hot", "until_done"), not_negative=("time",))
def share_burnt(time: Numeric, until_hot: Numeric, until_done: Numeric) -> Numeric:
    """Share of the soot that has burnt some time after a burn was begun.

    Equation: b = 1 - 0.2^((t - t_hot) / (t_80 - t_hot)), nothing before t_hot

    Parameters
    ----------
    time : since the burn was begun [s]
    until_hot : time in which the filter gets hot [s]
    until_done : time in which 80 % is burnt [s]

    Returns
    -------
    share [-]

    Raises
    ------
    ValueError : a time to get hot or done not above zero, or a negative time

    Valid range: a burn at one temperature once hot; t_80 later than t_hot.

    References
    ----------
    First-order decay drawn through 80 % at t_80.

    Examples
    --------
    >>> round(float(share_burnt(900.0, 180.0, 900.0)), 2), float(share_burnt(60.0, 180.0, 900.0))
    (0.8, 0.0)
    """
    hot = np.maximum(time - until_hot, 0.0)
    return 1.0 - 0.2 ** (hot / np.maximum(until_done - until_hot, 1.0))
