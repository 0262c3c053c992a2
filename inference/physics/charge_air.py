"""How hot the turbocharger makes the air, and how much of that heat the charge air cooler takes out again."""

from __future__ import annotations

from inference.physics.valid import Numeric, valid

EXPONENT = 0.4 / 1.4  # (k - 1) / k of air


@valid(
    positive=("inlet", "efficiency"),
    not_negative=("ratio",),
    inlet=(230.0, 340.0, "K"),
    ratio=(1.3, 4.0, "1"),
    efficiency=(0.5, 0.85, "1"),
)
def compressor_outlet(inlet: Numeric, ratio: Numeric, efficiency: Numeric) -> Numeric:
    """Temperature of the air that leaves the turbocharger's compressor.

    Equation: T2 = T1 (1 + (r^((k - 1) / k) - 1) / eta), k = 1.4

    Parameters
    ----------
    inlet : temperature before the compressor [K]
    ratio : absolute pressure behind the compressor over that before it [-]
    efficiency : isentropic efficiency of the compressor [-]

    Returns
    -------
    temperature behind the compressor [K]

    Raises
    ------
    ValueError : a temperature or efficiency not above zero, or a negative ratio

    Valid range: 230 to 340 K before it, ratio 1.3 to 4, efficiency 0.5 to 0.85; no heat to or from the housing.

    References
    ----------
    cengel-cimbala-2006 chapter 12; checked in tests/outside/test_charge_air.py.

    Examples
    --------
    >>> round(float(compressor_outlet(300.0, 2.2, 0.7)), 1)
    408.3
    """
    return inlet * (1.0 + (ratio**EXPONENT - 1.0) / efficiency)


@valid(positive=("hot", "cooled", "outside_air"), result=(0.0, 1.1, "1"))
def cooling_share(hot: Numeric, cooled: Numeric, outside_air: Numeric) -> Numeric:
    """Share of the heat above the outside air that the charge air cooler takes out (its effectiveness).

    Equation: e = (T_hot - T_cooled) / (T_hot - T_outside)

    Parameters
    ----------
    hot : temperature before the cooler [K]
    cooled : temperature behind it [K]
    outside_air : temperature of the air that cools it [K]

    Returns
    -------
    share [-]

    Raises
    ------
    ValueError : a temperature not above zero

    Valid range: 0 to 1.1; above 1 the cooler would cool below the air outside, so a temperature is read wrongly.

    References
    ----------
    Definition of a heat exchanger's effectiveness, the charge being the weaker stream.

    Examples
    --------
    >>> cooling_share(418.0, 318.0, 293.0)
    0.8
    """
    return (hot - cooled) / (hot - outside_air)
