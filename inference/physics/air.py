"""What the air readings say of the engine's breathing."""

from __future__ import annotations

from inference.physics.valid import Numeric, valid


@valid(positive=("charge",), not_negative=("air",), result=(0.0, 2.0, "1"))
def air_mass_ratio(air: Numeric, charge: Numeric) -> Numeric:
    """Air read by the meter over what the engine would draw with no exhaust fed back.

    Equation: r = m_air / m_charge

    Parameters
    ----------
    air : air mass flow read [kg/s]
    charge : speed-density flow with no exhaust fed back [kg/s]

    Returns
    -------
    ratio [-]

    Raises
    ------
    ValueError : no charge flow, or a negative air flow

    Valid range: 0 to 2; above about 1.15 the meter or the manifold pressure lies.

    References
    ----------
    common-practice: the two agree within 15 % with the valve shut (from memory).

    Examples
    --------
    >>> air_mass_ratio(0.0325, 0.0500)
    0.65
    """
    return air / charge


@valid(not_negative=("ratio",))
def egr_share(ratio: Numeric) -> Numeric:
    """Share of exhaust in what the cylinders draw, by what air is missing.

    Equation: x = 1 - r

    Parameters
    ----------
    ratio : air read over speed-density flow [-]

    Returns
    -------
    share of exhaust fed back; negative where the meter reads more than the engine can draw [-]

    Raises
    ------
    ValueError : a negative ratio

    Valid range: at idle, with sound air meter and manifold pressure.

    References
    ----------
    Conservation of mass.

    Examples
    --------
    >>> egr_share(0.75)
    0.25
    """
    return 1.0 - ratio


@valid(positive=("wanted", "made"))
def boost_ratio(made: Numeric, wanted: Numeric) -> Numeric:
    """Manifold pressure made over the pressure asked for.

    Equation: b = p_made / p_wanted

    Parameters
    ----------
    made : absolute manifold pressure [Pa]
    wanted : absolute manifold pressure asked for [Pa]

    Returns
    -------
    ratio [-]

    Raises
    ------
    ValueError : a pressure not above zero

    Valid range: full load, steady.

    References
    ----------
    Definition.

    Examples
    --------
    >>> boost_ratio(180e3, 240e3)
    0.75
    """
    return made / wanted
