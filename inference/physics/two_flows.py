"""One gauge at two flows: the part that grows with the flow (filter) and the part that grows with its square (pipe)."""

from __future__ import annotations

import numpy as np

from inference.physics.load import Body, Stream, terms
from inference.physics.valid import Array, Numeric, valid


@valid(not_negative=("slow_viscous", "slow_inertial"), positive=("fast_viscous", "fast_inertial"))
def part(
    slow: Numeric,
    fast: Numeric,
    slow_viscous: Numeric,
    slow_inertial: Numeric,
    fast_viscous: Numeric,
    fast_inertial: Numeric,
) -> tuple[Numeric, Numeric]:
    """Part the faster of two pressures into what friction makes and what turbulence makes.

    Equation: P = A mu Q + B rho Q^2 at both flows, solved for A and B; returned are A mu Q and B rho Q^2 at the faster

    Parameters
    ----------
    slow, fast : pressure above atmosphere before the filter at the two flows [Pa]
    slow_viscous, fast_viscous : mu Q at the two flows [Pa m^3]
    slow_inertial, fast_inertial : rho Q^2 at the two flows [kg m^3/s^2]

    Returns
    -------
    part of the filter's walls and channels, and part of the pipe, at the faster flow [Pa]

    Raises
    ------
    ValueError : a negative flow, or none at the faster

    Valid range: flows at least a factor of two apart, both steady, the exhaust sound and tight; an offset of the gauge
    goes into both parts with opposite signs.

    References
    ----------
    Laminar filter, konstandopoulos-johnson-1989; turbulent pipe: common textbook.

    Examples
    --------
    >>> [round(float(p)) for p in part(400.0, 2200.0, 1.0, 1.0, 4.0, 14.0)]
    [1360, 840]
    """
    ratio = slow_viscous / fast_viscous
    square = slow_inertial / fast_inertial
    inertial = (slow - ratio * fast) / (square - ratio)
    return fast - inertial, inertial


def carried(gas: Stream) -> tuple[Array, Array]:
    """What friction and what turbulence grow with.

    Equation: mu Q and rho Q^2

    Parameters
    ----------
    gas : the gas flow

    Returns
    -------
    mu Q [Pa m^3] and rho Q^2 [kg m^3/s^2]

    Raises
    ------
    ValueError : never for a stream that could be made

    Valid range: as viscosity and density of the gas.

    References
    ----------
    Definition.

    Examples
    --------
    >>> [f"{float(x):.2g}" for x in carried(Stream(2e-5, 0.5, 0.1))]
    ['2e-06', '0.005']
    """
    flow = np.asarray(gas.flow)
    return np.asarray(gas.viscosity * flow), np.asarray(gas.density * flow**2)


@valid(positive=("before",), left=(0.0, 3.0, "1"), before=(0.3, 20.0, "1"))
def excess_left(left: Numeric, before: Numeric) -> Numeric:
    """Share of the extra pressure that a burn left behind.

    Equation: e = (i_after - 1) / (i_before - 1), here from the two excesses

    Parameters
    ----------
    left : index after the burn less 1 [-]
    before : index before the burn less 1 [-]

    Returns
    -------
    share, negative where the filter now flows more freely than expected of a clean one [-]

    Raises
    ------
    ValueError : no excess before the burn

    Valid range: an excess of at least 0.3 before the burn; what is not known of the filter falls out of it in part.

    References
    ----------
    Definition.

    Examples
    --------
    >>> excess_left(0.5, 2.0)
    0.25
    """
    return left / before


def ash_from_clean(body: Body, gas: Stream, drop: Array, most: float = 60.0) -> Array:
    """Ash load at which a filter without soot takes the pressure ``drop``.

    Equation: filter_drop(0, A) = dP solved for A on a grid, straight between its points

    Parameters
    ----------
    body : the filter body
    gas : the gas through it
    drop : pressure across the filter, one for each member of the sample [Pa]
    most : highest load looked at [kg/m^3]

    Returns
    -------
    ash load, 0 where the clean filter already takes more, at most ``most`` [kg/m^3]

    Raises
    ------
    ValueError : never for a body and gas that could be made

    Valid range: as filter_drop; all that a burn left is taken for ash, so soot that it left counts too.

    References
    ----------
    Inverse of filter_drop, checked by a round trip.

    Examples
    --------
    >>> body = Body(2.475e-3, 1.7961e-3, 0.3556e-3, 0.1524, 3e-13, 2e-12, 0.0, 0.5, 100.0, 2e-13)
    >>> float(ash_from_clean(body, Stream(2.4e-5, 0.84, 0.012), np.array([1e-3]))[0])
    0.0
    """
    grid = np.array([0.0, 1.0, 2.0, 4.0, 7.0, 10.0, 15.0, 20.0, 30.0, 40.0, 50.0, most])
    rows = np.array([np.broadcast_to(terms(body, gas, float(a)).clean, drop.shape) for a in grid])
    above = np.clip((rows < drop).sum(axis=0), 1, grid.size - 1)
    pick = np.arange(drop.size)
    low, high = rows[above - 1, pick], rows[above, pick]
    share = np.clip((drop - low) / np.maximum(high - low, 1e-9), 0.0, 1.0)
    return np.asarray(grid[above - 1] + share * (grid[above] - grid[above - 1]))
