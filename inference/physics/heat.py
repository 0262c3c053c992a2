"""Heat: what burning soot gives, what the gas takes up, how fast an engine warms. Base SI throughout."""

from __future__ import annotations

import numpy as np

from inference.physics.valid import Numeric, valid

# Enthalpies of formation at 298 K [J/mol]; an element in its standard state has none (s29-enthalpies).
FORMATION: dict[str, float] = {"C": 0.0, "O2": 0.0, "CO2": -393.52e3, "CO": -110.53e3}
CARBON = 0.012011  # kg/mol (IUPAC standard atomic weight)
FUEL_HEAT = 42.7e6  # J/kg, diesel fuel 42.6 to 43.0 (from memory)
# Minutes from a cold start to 80 °C at a light load: at -10 °C 15 to 25, at 20 °C 8 to 15 (from memory)
WARM_UP_AMBIENT = (263.15, 293.15)  # K
WARM_UP_LOW = (15 * 60.0, 8 * 60.0)  # s
WARM_UP_MID = (20 * 60.0, 11.5 * 60.0)  # s
WARM_UP_HIGH = (25 * 60.0, 15 * 60.0)  # s


def reaction_heat(used: dict[str, float], made: dict[str, float]) -> float:
    """Heat a reaction gives off, from the enthalpies of formation (Hess's law).

    Equation: q = sum n_used dH_f - sum n_made dH_f

    Parameters
    ----------
    used : moles of each substance used up [mol]
    made : moles of each substance made [mol]

    Returns
    -------
    heat given off at 298 K [J]

    Raises
    ------
    ValueError : a substance without a known enthalpy

    Valid range: 298 K; within 1 % up to 900 K for carbon and oxygen.

    References
    ----------
    s29-enthalpies.

    Examples
    --------
    >>> reaction_heat({"C": 1, "O2": 1}, {"CO2": 1})
    393520.0
    """
    unknown = sorted({*used, *made} - set(FORMATION))
    if unknown:
        raise ValueError(f"no enthalpy of formation for {', '.join(unknown)}")
    taken = sum(n * FORMATION[name] for name, n in used.items())
    return taken - sum(n * FORMATION[name] for name, n in made.items())


@valid(not_negative=("monoxide_share",), monoxide_share=(0.0, 1.0, "1"))
def carbon_heat(monoxide_share: Numeric = 0.0) -> Numeric:
    """Heat a kilogram of soot carbon gives when it burns.

    Equation: q = ((1 - x) 393.52 + x 110.53) kJ/mol / (12.011 g/mol)

    Parameters
    ----------
    monoxide_share : share of the carbon that leaves as monoxide [-]

    Returns
    -------
    heat [J/kg]

    Raises
    ------
    ValueError : a negative share

    Valid range: share 0 to 1.

    References
    ----------
    s29-enthalpies.

    Examples
    --------
    >>> round(float(carbon_heat(0.0)) / 1e6, 2), round(float(carbon_heat(1.0)) / 1e6, 2)
    (32.76, 9.2)
    """
    whole = reaction_heat({"C": 1, "O2": 1}, {"CO2": 1}) / CARBON
    half = reaction_heat({"C": 1, "O2": 0.5}, {"CO": 1}) / CARBON
    return (1.0 - monoxide_share) * whole + monoxide_share * half


@valid(not_negative=("soot",), positive=("bulk_density", "specific_heat"), soot=(0.0, 15.0, "g/l"))
def adiabatic_rise(soot: Numeric, bulk_density: Numeric, specific_heat: Numeric) -> Numeric:
    """Temperature rise of a filter body whose soot burns at once with no heat carried off.

    Equation: dT = s q / (rho_b cp)

    Parameters
    ----------
    soot : soot load [kg/m^3]
    bulk_density : mass of body in a volume of filter [kg/m^3]
    specific_heat : of the body [J/(kg K)]

    Returns
    -------
    rise [K]

    Raises
    ------
    ValueError : a negative load, or a density or heat not above zero

    Valid range: a mean over the body; where a front runs through, places get hotter.

    References
    ----------
    Conservation of energy; s29-enthalpies.

    Examples
    --------
    >>> round(float(adiabatic_rise(6.0, 500.0, 1050.0)))
    374
    """
    return soot * carbon_heat(0.0) / (bulk_density * specific_heat)


@valid(not_negative=("mass_flow",), positive=("specific_heat",))
def lift_power(mass_flow: Numeric, specific_heat: Numeric, rise: Numeric) -> Numeric:
    """Heat flow that warms the exhaust by ``rise``.

    Equation: P = m cp dT

    Parameters
    ----------
    mass_flow : exhaust mass flow [kg/s]
    specific_heat : of the gas [J/(kg K)]
    rise : temperature rise [K]

    Returns
    -------
    heat flow [W]

    Raises
    ------
    ValueError : a negative flow, or a heat not above zero

    Valid range: losses to the outside (10 to 40 %) not counted.

    References
    ----------
    Conservation of energy.

    Examples
    --------
    >>> round(float(lift_power(0.035, 1105.0, 350.0)) / 1e3, 1)
    13.5
    """
    return mass_flow * specific_heat * rise


@valid(ambient=(253.15, 308.15, "K"))
def warm_up_time(ambient: Numeric) -> tuple[Numeric, Numeric, Numeric]:
    """Time a sound engine takes from a cold start to 80 °C of coolant, driven lightly.

    Equation: straight line through the figures for -10 and 20 °C, held at its ends beyond -20 and 35 °C

    Parameters
    ----------
    ambient : temperature outside [K]

    Returns
    -------
    10, 50 and 90 % points [s]

    Raises
    ------
    ValueError : never

    Valid range: -20 to 35 °C.

    References
    ----------
    from-memory (8 to 15 min at 20 °C, 15 to 25 min at -10 °C).

    Examples
    --------
    >>> [round(float(t) / 60, 1) for t in warm_up_time(293.15)]
    [8.0, 11.5, 15.0]
    """
    cold, mild = WARM_UP_AMBIENT
    place = (np.clip(ambient, 253.15, 308.15) - cold) / (mild - cold)
    low, mid, high = (at[0] + (at[1] - at[0]) * place for at in (WARM_UP_LOW, WARM_UP_MID, WARM_UP_HIGH))
    return low, mid, high


@valid(positive=("trip",), not_negative=("warm_up",))
def hot_share(trip: Numeric, warm_up: Numeric) -> Numeric:
    """Share of a trip's time after the engine has warmed through.

    Equation: h = max(0, 1 - t_warm / t_trip)

    Parameters
    ----------
    trip : time of the trip, begun cold [s]
    warm_up : time to warm through [s]

    Returns
    -------
    share [-]

    Raises
    ------
    ValueError : no trip time, or a negative warm-up

    Valid range: trips begun cold.

    References
    ----------
    Definition.

    Examples
    --------
    >>> float(hot_share(1200.0, 600.0))
    0.5
    """
    return np.maximum(0.0, 1.0 - warm_up / trip)
