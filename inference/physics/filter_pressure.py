"""Pressure a wall-flow filter takes: wall, soot layer, friction, entrance and exit. Base SI throughout.

Closed form for a wall flow that is the same all along the channel. Beside it, in tests/outside, stands a
boundary-value solution of the two-channel momentum equations. A load of 1 g/l is 1 kg/m^3.
"""

from __future__ import annotations

import numpy as np

from inference.physics.valid import Numeric, valid

FRICTION = 28.454  # twice the laminar Fanning f Re of a square duct, 14.227 (Shah and London 1978, from memory)
ENTRANCE_EXIT = 0.82  # contraction and expansion together (Konstandopoulos and Skaperdas 2001, from memory)


@valid(positive=("cells_per_square_inch",), cells_per_square_inch=(90.0, 400.0, "1/inch^2"))
def cell_pitch(cells_per_square_inch: Numeric) -> Numeric:
    """Distance from one channel to the next.

    Equation: p = 25.4 mm / sqrt(cpsi)

    Parameters
    ----------
    cells_per_square_inch : cell density [1/in^2]

    Returns
    -------
    pitch [m]

    Raises
    ------
    ValueError : a density not above zero

    Valid range: 90 to 400 cells a square inch.

    References
    ----------
    Geometry.

    Examples
    --------
    >>> round(float(cell_pitch(200.0)) * 1e3, 4)
    1.7961
    """
    return 0.0254 / np.sqrt(cells_per_square_inch)


@valid(positive=("volume", "pitch", "opening"))
def filtration_area(volume: Numeric, pitch: Numeric, opening: Numeric) -> Numeric:
    """Wall area the gas passes through.

    Equation: Af = 2 a V / p^2

    Parameters
    ----------
    volume : volume of the filter body [m^3]
    pitch : distance from one channel to the next [m]
    opening : clear width of a channel [m]

    Returns
    -------
    area [m^2]

    Raises
    ------
    ValueError : a length or volume not above zero

    Valid range: square channels, plugged in turn at either end.

    References
    ----------
    Geometry.

    Examples
    --------
    >>> round(float(filtration_area(2.475e-3, 1.7961e-3, 1.4405e-3)), 3)
    2.21
    """
    return 2.0 * opening * volume / pitch**2


@valid(
    positive=("viscosity", "volume", "pitch", "opening", "permeability"),
    not_negative=("flow", "wall"),
    permeability=(3e-14, 2e-12, "m^2"),
    wall=(0.15e-3, 0.5e-3, "m"),
)
def wall_drop(
    viscosity: Numeric,
    flow: Numeric,
    volume: Numeric,
    pitch: Numeric,
    opening: Numeric,
    wall: Numeric,
    permeability: Numeric,
) -> Numeric:
    """Pressure the clean wall takes (Darcy).

    Equation: dP = (mu Q / 2V) p^2 w / (k a), which is mu w u / k with u = Q / Af

    Parameters
    ----------
    viscosity : gas viscosity [Pa s]
    flow : volume flow [m^3/s]
    volume : volume of the filter body [m^3]
    pitch : distance from one channel to the next [m]
    opening : clear width of a channel [m]
    wall : thickness of the wall [m]
    permeability : permeability of the wall [m^2]

    Returns
    -------
    pressure [Pa]

    Raises
    ------
    ValueError : a size or permeability not above zero, or a negative flow

    Valid range: wall velocity under 0.2 m/s, where the inertial term stays under a per cent.

    References
    ----------
    konstandopoulos-johnson-1989 (from memory).

    Examples
    --------
    >>> round(float(wall_drop(2.4e-5, 0.0118, 2.475e-3, 1.796e-3, 1.4405e-3, 0.3556e-3, 3e-13)))
    152
    """
    return viscosity * flow / (2.0 * volume) * pitch**2 * wall / (permeability * opening)


@valid(positive=("pitch", "opening", "packing"), not_negative=("load",), load=(0.0, 20.0, "g/l"))
def layer_thickness(load: Numeric, pitch: Numeric, opening: Numeric, packing: Numeric) -> Numeric:
    """Thickness of the layer a load makes on the four walls of the inlet channels.

    Equation: ws = (a - sqrt(a^2 - 2 p^2 s / rho_s)) / 2

    Parameters
    ----------
    load : mass held by a volume of filter [kg/m^3]
    pitch : distance from one channel to the next [m]
    opening : clear width of an inlet channel [m]
    packing : packing density of the layer [kg/m^3]

    Returns
    -------
    thickness [m]

    Raises
    ------
    ValueError : a size not above zero, a negative load, or a load that fills the channel

    Valid range: up to 20 g/l of soot; the layer is taken as even along the channel.

    References
    ----------
    konstandopoulos-2000 (SAE 2000-01-1016, from memory).

    Examples
    --------
    >>> round(float(layer_thickness(6.0, 1.7961e-3, 1.4405e-3, 100.0)) * 1e6, 1)
    70.6
    """
    left = opening**2 - 2.0 * pitch**2 * load / packing
    if np.min(left) <= 0:
        raise ValueError(f"a load of {np.max(load):g} g/l fills the channels")
    return (opening - np.sqrt(left)) / 2.0


@valid(positive=("viscosity", "volume", "pitch", "opening", "permeability"), not_negative=("flow", "thickness"))
def layer_drop(
    viscosity: Numeric,
    flow: Numeric,
    volume: Numeric,
    pitch: Numeric,
    opening: Numeric,
    thickness: Numeric,
    permeability: Numeric,
) -> Numeric:
    """Pressure a layer on the channel walls takes (Darcy, the area shrinking towards the middle).

    Equation: dP = (mu Q / 2V) p^2 ln(a / (a - 2 ws)) / (2 k)

    Parameters
    ----------
    viscosity : gas viscosity [Pa s]
    flow : volume flow [m^3/s]
    volume : volume of the filter body [m^3]
    pitch : distance from one channel to the next [m]
    opening : clear width of the channel under the layer [m]
    thickness : thickness of the layer [m]
    permeability : permeability of the layer [m^2]

    Returns
    -------
    pressure [Pa]

    Raises
    ------
    ValueError : a size or permeability not above zero, or a negative flow or thickness

    Valid range: a layer thinner than half the channel.

    References
    ----------
    konstandopoulos-johnson-1989, konstandopoulos-2000 (from memory).

    Examples
    --------
    >>> round(float(layer_drop(2.4e-5, 0.0118, 2.475e-3, 1.796e-3, 1.4405e-3, 70.6e-6, 2e-14)))
    476
    """
    return (
        viscosity
        * flow
        / (2.0 * volume)
        * pitch**2
        * np.log(opening / (opening - 2.0 * thickness))
        / (2.0 * permeability)
    )


@valid(positive=("viscosity", "volume", "pitch", "opening", "length"), not_negative=("flow", "thickness"))
def friction_drop(
    viscosity: Numeric,
    flow: Numeric,
    volume: Numeric,
    pitch: Numeric,
    opening: Numeric,
    length: Numeric,
    thickness: Numeric,
) -> Numeric:
    """Pressure the laminar flow along inlet and outlet channel takes.

    Equation: dP = (mu Q / 2V) p^2 (4 F L^2 / 3) (1 / (a - 2 ws)^4 + 1 / a^4), F = 28.454

    Parameters
    ----------
    viscosity : gas viscosity [Pa s]
    flow : volume flow [m^3/s]
    volume : volume of the filter body [m^3]
    pitch : distance from one channel to the next [m]
    opening : clear width of a clean channel [m]
    length : length of the filter body [m]
    thickness : thickness of all layers in the inlet channel [m]

    Returns
    -------
    pressure [Pa]

    Raises
    ------
    ValueError : a size not above zero, or a negative flow or thickness

    Valid range: Reynolds number of the channel under 2000 (see channel_reynolds).

    References
    ----------
    konstandopoulos-johnson-1989 (from memory); the third is confirmed by the boundary-value solution in
    tests/outside/test_filter_pressure.py.

    Examples
    --------
    >>> round(float(friction_drop(2.4e-5, 0.0118, 2.475e-3, 1.796e-3, 1.4405e-3, 0.1524, 0.0)))
    76
    """
    narrow = opening - 2.0 * thickness
    return (
        viscosity * flow / (2.0 * volume) * pitch**2 * (4.0 * FRICTION * length**2 / 3.0)
        * (1.0 / narrow**4 + 1.0 / opening**4)
    )  # fmt: skip


@valid(positive=("density", "volume", "pitch", "opening", "length"), not_negative=("flow",))
def entrance_exit_drop(
    density: Numeric, flow: Numeric, volume: Numeric, pitch: Numeric, opening: Numeric, length: Numeric
) -> Numeric:
    """Pressure lost where the gas squeezes into the channels and out of them.

    Equation: dP = (2 zeta rho Q^2 p^4 / (V^2 a^2)) (L / a)^2, zeta = 0.82

    Parameters
    ----------
    density : gas density [kg/m^3]
    flow : volume flow [m^3/s]
    volume : volume of the filter body [m^3]
    pitch : distance from one channel to the next [m]
    opening : clear width of a channel [m]
    length : length of the filter body [m]

    Returns
    -------
    pressure [Pa]

    Raises
    ------
    ValueError : a size or density not above zero, or a negative flow

    Valid range: under a tenth of the whole drop at the flows met unloaded.

    References
    ----------
    konstandopoulos-skaperdas-2001 (SAE 2001-01-0909, from memory).

    Examples
    --------
    >>> round(float(entrance_exit_drop(0.612, 0.0562, 2.475e-3, 1.796e-3, 1.4405e-3, 0.1524)))
    29
    """
    return 2.0 * ENTRANCE_EXIT * density * (flow * pitch**2 / (volume * opening)) ** 2 * (length / opening) ** 2


@valid(positive=("density", "viscosity", "volume", "pitch", "opening", "length"), result=(0.0, 2000.0, "1"))
def channel_reynolds(
    density: Numeric,
    viscosity: Numeric,
    flow: Numeric,
    volume: Numeric,
    pitch: Numeric,
    opening: Numeric,
    length: Numeric,
) -> Numeric:
    """Reynolds number at the mouth of an inlet channel; the flow is laminar under about 2000.

    Equation: Re = rho u0 a / mu, u0 = 2 L p^2 Q / (V a^2)

    Parameters
    ----------
    density : gas density [kg/m^3]
    viscosity : gas viscosity [Pa s]
    flow : volume flow [m^3/s]
    volume : volume of the filter body [m^3]
    pitch : distance from one channel to the next [m]
    opening : clear width of a channel [m]
    length : length of the filter body [m]

    Returns
    -------
    Reynolds number [-]

    Raises
    ------
    ValueError : a size, density or viscosity not above zero

    Valid range: the pressure formulas hold under 2000.

    References
    ----------
    Definition; the limit: common-practice.

    Examples
    --------
    >>> round(float(channel_reynolds(0.62, 2.94e-5, 0.0562, 2.475e-3, 1.796e-3, 1.4405e-3, 0.1524)))
    327
    """
    mouth = 2.0 * length * pitch**2 * flow / (volume * opening**2)
    return density * mouth * opening / viscosity
