"""How much gas the engine pumps through its exhaust. Base SI throughout."""

from __future__ import annotations

from inference.physics.gas import R_AIR
from inference.physics.valid import Numeric, valid


@valid(
    positive=("displacement", "manifold_pressure", "manifold_temperature", "filling"),
    not_negative=("speed",),
    speed=(5.0, 80.0, "1/s"),
    displacement=(0.8e-3, 4.0e-3, "m^3"),
    manifold_pressure=(60e3, 350e3, "Pa"),
    manifold_temperature=(250.0, 400.0, "K"),
    filling=(0.7, 1.0, "1"),
)
def speed_density(
    speed: Numeric,
    displacement: Numeric,
    manifold_pressure: Numeric,
    manifold_temperature: Numeric,
    filling: Numeric,
) -> Numeric:
    """Gas drawn in by a four-stroke engine, all of it air when no exhaust is fed back.

    Equation: m = eta (n / 2) Vd p / (R T)

    Parameters
    ----------
    speed : engine speed [1/s]
    displacement : swept volume [m^3]
    manifold_pressure : absolute pressure in the intake manifold [Pa]
    manifold_temperature : temperature there [K]
    filling : volumetric efficiency [-]

    Returns
    -------
    mass flow into the cylinders [kg/s]

    Raises
    ------
    ValueError : a size, pressure or temperature not above zero, or a negative speed

    Valid range: 300 to 4,800 1/min, 0.8 to 4 l, 60 to 350 kPa, 250 to 400 K, filling 0.7 to 1.

    References
    ----------
    heywood-1988 chapter 2 (from memory); filling 0.85 to 0.95: from-memory.

    Examples
    --------
    >>> round(float(speed_density(2000 / 60, 2.0e-3, 150e3, 313.0, 0.9)) * 1e3, 1)
    50.1
    """
    return filling * speed / 2.0 * displacement * manifold_pressure / (R_AIR * manifold_temperature)


@valid(not_negative=("charge", "egr_share"), egr_share=(0.0, 0.65, "1"))
def fresh_air(charge: Numeric, egr_share: Numeric) -> Numeric:
    """Fresh air in what the cylinders draw in, the rest being exhaust fed back.

    Equation: m_air = m (1 - x)

    Parameters
    ----------
    charge : mass flow into the cylinders [kg/s]
    egr_share : share of it that is exhaust fed back [-]

    Returns
    -------
    mass flow of fresh air [kg/s]

    Raises
    ------
    ValueError : a negative charge or share

    Valid range: share 0 to 0.65.

    References
    ----------
    Conservation of mass; shares met in practice: from-memory.

    Examples
    --------
    >>> fresh_air(0.046, 0.5)
    0.023
    """
    return charge * (1.0 - egr_share)


@valid(not_negative=("air",), positive=("excess_air",), excess_air=(1.0, 12.0, "1"))
def exhaust_flow(air: Numeric, excess_air: Numeric, stoichiometric: float = 14.5) -> Numeric:
    """Exhaust leaving the engine: the air and the fuel burnt in it.

    Equation: m_exh = m_air (1 + 1 / (14.5 lambda))

    Parameters
    ----------
    air : mass flow of fresh air [kg/s]
    excess_air : air over what the fuel needs [-]
    stoichiometric : air a kilogram of fuel needs [kg/kg]

    Returns
    -------
    exhaust mass flow [kg/s]

    Raises
    ------
    ValueError : negative air, or excess air not above zero

    Valid range: excess air 1 to 12.

    References
    ----------
    Conservation of mass; 14.5 (14.4 to 14.6): from-memory.

    Examples
    --------
    >>> round(float(exhaust_flow(0.035, 2.0)) * 1e3, 2)
    36.21
    """
    return air * (1.0 + 1.0 / (stoichiometric * excess_air))


@valid(not_negative=("mass_flow",), positive=("reference_flow", "temperature"))
def downstream_drop(mass_flow: Numeric, temperature: Numeric, coefficient: Numeric, reference_flow: Numeric) -> Numeric:
    """Pressure the pipe and silencers behind the filter take, turbulent.

    Equation: dP = C (m / m_ref)^2 T / T_ref, with T_ref = 773.15 K

    Parameters
    ----------
    mass_flow : exhaust mass flow [kg/s]
    temperature : gas temperature [K]
    coefficient : pressure taken at the reference flow and 500 °C [Pa]
    reference_flow : 55 g/s a litre of swept volume [kg/s]

    Returns
    -------
    pressure above atmosphere behind the filter [Pa]

    Raises
    ------
    ValueError : a negative flow, or a reference or temperature not above zero

    Valid range: turbulent flow, which holds above idle; at idle the term is under 2 mbar.

    References
    ----------
    Form (pressure as density times velocity squared): common textbook; C 150 (90 to 250) mbar: from-memory.

    Examples
    --------
    >>> round(float(downstream_drop(0.040, 503.15, 15000.0, 0.110)) / 100, 1)
    12.9
    """
    return coefficient * (mass_flow / reference_flow) ** 2 * (temperature / 773.15)
