"""Whether a body cracks when one part of it is hotter than the next: tension in it over what it bears. Base SI.

Unlike melting this is no matter of how hot, but of how unevenly hot. Two differences count, and the burn model gives
both: along the body (a hot zone between the gas that cools the front and what is not yet alight) and across it (the
middle, where most soot lies, against the rim with less of it and the skin that gives heat to the outside). From the
differences comes a tension by Hooke's law and the strain of the free body (:mod:`inference.burn.elastic`).

A body in one piece feels the differences over its whole width. One of cemented segments feels them over a segment's
width only, for the joints give way; instead the joints themselves are sheared, since neighbours grow differently.

Heat that goes from the middle to the rim meanwhile evens the difference out (:func:`evened`); it is not taken from the
peak, which may lie in a spot smaller than the body. Left out: that honeycombs are stiffer along than across, and the
pressure of the mat, which holds cracks shut. That strength differs from piece to piece, and wears with each burn, is
allowed for where the tables are read (:mod:`inference.burn.table`).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inference.burn import elastic
from inference.physics.valid import Array, Numeric
from kb.model import Substrate
from kb.units import number

WIDTH = 0.144  # m, a whole body: 2.5 l at the length of Core (geometry)
EVENS = 3.8317**2  # of a body's r^2/a: the slowest even-out with no loss, first zero of the Bessel function J1
RIM = 0.3  # least soot at the rim over the mean [-] (from memory)
ACROSS = 0.7  # conduction across a honeycomb over that along it [-], walls that stand end on carry less (from memory)


def thermal_stress(stiffness: Numeric, expansion: Numeric, poisson: Numeric, difference: Numeric) -> Numeric:
    """Tension in a part that is cooler than its neighbours and held by them on two sides.

    Equation: s = E alpha dT / (1 - nu)

    Parameters
    ----------
    stiffness : Young's modulus E [Pa]
    expansion : coefficient of linear expansion, alpha [1/K]
    poisson : Poisson's ratio, nu [-]
    difference : how much cooler it is than what holds it, dT [K]

    Returns
    -------
    tension [Pa]

    Raises
    ------
    nothing

    Valid range: elastic, held fully in a plane; a free body comes to a part of it (elastic.shares).

    References
    ----------
    timoshenko-goodier; checked in tests/outside against its solutions for the solid cylinder.

    Examples
    --------
    >>> round(float(thermal_stress(2.5e9, 1.6e-6, 0.25, 450.0)) / 1e6, 2)
    2.4
    """
    return stiffness * expansion * difference / (1.0 - poisson)


def shock_resistance(strength: Numeric, stiffness: Numeric, expansion: Numeric, poisson: Numeric) -> Numeric:
    """Difference in temperature at which a part that is fully held in a plane breaks: parameter R of thermal shock.

    Equation: R = s_f (1 - nu) / (E alpha)

    Parameters
    ----------
    strength : modulus of rupture, s_f [Pa]
    stiffness : Young's modulus E [Pa]
    expansion : coefficient of linear expansion, alpha [1/K]
    poisson : Poisson's ratio, nu [-]; 0 gives s_f / (E alpha), as filter makers quote it

    Returns
    -------
    difference in temperature [K]

    Raises
    ------
    nothing

    Valid range: brittle bodies; for one that yields, strength stands for stiffness times the stretch it bears.

    References
    ----------
    Kingery and Hasselman's parameter of thermal shock, from memory.

    Examples
    --------
    >>> round(float(shock_resistance(2.4e6, 2.5e9, 1.6e-6, 0.25)))
    450
    """
    return strength / thermal_stress(stiffness, expansion, poisson, 1.0)


def skin_lag(loss: Numeric, radius: Numeric, conduction: Numeric) -> Numeric:
    """How much cooler than its mean a round body's skin is, over how much hotter than the outside that mean is.

    Equation: x / (1 + x) with x = q r^2 / (8 k): steady flow of heat to the skin, a parabola from axis to skin

    Parameters
    ----------
    loss : heat lost to the outside, q [W/(m^3 K)] of body and of kelvin of the skin over the outside
    radius : of the body, r [m]
    conduction : across the body, k [W/(m K)]

    Returns
    -------
    share of the mean's excess [-]

    Raises
    ------
    nothing

    Valid range: after a time of about r^2/(6 a), a the body's diffusivity; before it the skin lags a little more.

    References
    ----------
    Conduction in a cylinder with heat made evenly, common textbook; checked in tests/outside by integration.

    Examples
    --------
    >>> round(float(skin_lag(200.0, 0.072, 0.5)), 3)
    0.206
    """
    x = loss * radius**2 / (8.0 * conduction)
    return x / (1.0 + x)


def evened(difference: Array, grown: Array, step: float, evens: float) -> Array:
    """Difference between a round body's middle and its rim one step later, as conduction across evens it out.

    Equation: d' = (d + g) exp(-dt / tau), tau = r^2 / (3.83^2 a)

    Parameters
    ----------
    difference : of the middle over the rim, d [K]
    grown : by how much it would have grown in the step without conduction, g [K]
    step : dt [s]
    evens : time in which it evens out, tau [s]

    Returns
    -------
    difference after the step [K]

    Raises
    ------
    nothing

    Valid range: a difference over the whole width; steps short against tau.

    References
    ----------
    Conduction in a cylinder, slowest term of the series, common textbook; checked in tests/outside by integration.

    Examples
    --------
    >>> round(float(evened(np.array(100.0), np.array(0.0), 60.0, 60.0)), 1)
    36.8
    """
    out: Array = (difference + grown) * np.exp(-step / evens)
    return out


def joint_shear(difference: Array, expansion: float, length: float, thickness: float) -> Array:
    """How far the joint between two segments is sheared where one is hotter than the other.

    Equation: g = alpha (max D - min D) / (2 t), D(z) = integral of dT from the front to z

    Parameters
    ----------
    difference : temperature of one segment over that of its neighbour, dT, by cell along the last axis [K]
    expansion : coefficient of linear expansion of the segments, alpha [1/K]
    length : of the segments [m]
    thickness : of the joint, t [m]

    Returns
    -------
    greatest shear anywhere along the joint [-]

    Raises
    ------
    nothing

    Valid range: a joint that is soft against the segments, so that these grow as if free (shear-lag limit).

    References
    ----------
    Geometry; checked in tests/outside against two bars that a soft layer joins.

    Examples
    --------
    >>> round(float(joint_shear(np.full(16, 100.0), 4.5e-6, 0.15, 1.5e-3)), 4)
    0.0225
    """
    grown = np.cumsum(difference, axis=-1) * length / difference.shape[-1]
    grown = np.concatenate([0.0 * grown[..., :1], grown], axis=-1)
    out: Array = expansion * (grown.max(axis=-1) - grown.min(axis=-1)) / (2.0 * thickness)
    return out


@dataclass(frozen=True)
class Piece:
    """A body as far as it may crack.

    Parameters
    ----------
    resists : its parameter of thermal shock R [K]
    shares : what stress one degree in each cell makes in a piece of it, over E alpha / (1 - nu) [-]
    bend : how much of the body's difference between middle and rim one piece feels [-]; 1 for one piece
    lag : skin_lag of the whole body [-]
    evens : time in which a difference across the whole body evens out [s]
    expansion : [1/K]
    joint : thickness of the joints [m] and shear they bear [-]; None where the body is in one piece
    """

    resists: float
    shares: elastic.Shares
    bend: float
    lag: float
    evens: float
    expansion: float
    joint: tuple[float, float] | None


def piece(body: Substrate, heat: float, length: float, loss: float, conduction: float, cells: int) -> Piece:
    """Return a body as far as it may crack, from its figures in kb/filters.yaml.

    Parameters
    ----------
    body : the filter body
    heat : what it takes up [J/(m^3 K)]
    length : its length [m]
    loss : heat it loses to the outside [W/(m^3 K)]
    conduction : along it [W/(m K)]
    cells : stretches along it whose temperatures will be known [-]
    """
    solid = body.solid
    stiffness, expansion = number(solid.stiffness, "Pa"), number(solid.expansion, "1/K")
    width, poisson = number(solid.width, "m"), solid.poisson
    strength = number(solid.strength, "Pa") if solid.strength else stiffness * number(solid.stretch or "", "1")
    return Piece(
        float(shock_resistance(strength, stiffness, expansion, poisson)),
        elastic.shares(length, width / 2.0, poisson, cells),
        (width / WIDTH) ** 2,
        float(skin_lag(loss, WIDTH / 2.0, ACROSS * conduction)),
        (WIDTH / 2.0) ** 2 * heat / (EVENS * ACROSS * conduction),
        expansion,
        (number(solid.joint.thickness, "m"), number(solid.joint.shear, "1")) if solid.joint else None,
    )


def rim_soot(uneven: Array) -> Array:
    """Return soot at the rim over the mean [-] where that in the middle is ``uneven`` times the mean.

    A parabola from the middle to the rim has its mean halfway between the two.
    """
    return np.maximum(2.0 - uneven, RIM)


def strained(of: Piece, mean: Array, difference: Array, length: float) -> tuple[Array, Array]:
    """Return tension over strength in a piece [-], and shear over what it bears in a joint [-]; 1 is where it cracks.

    Parameters
    ----------
    of : the body
    mean : temperature over the outside, mean of a cross-section [K], the last axis cells
    difference : of the middle over the rim, evened out [K]; the skin's lag comes on top
    length : of the body [m]
    """
    half = difference / 2.0 + of.lag * mean
    base = mean if of.bend == 1.0 else mean + half  # a segment in the middle is as hot as the middle
    apart = of.bend * half
    stress = [base @ a.T + apart @ b.T for a, b in zip(of.shares.along, of.shares.across, strict=True)]
    pulled = elastic.tension(np.stack(stress)).max(axis=-1) / of.resists
    if of.joint is None:
        return pulled, np.zeros_like(pulled)
    thickness, bears = of.joint
    share = of.bend**0.5  # a segment's width over the body's
    neighbours = 2.0 * half * (4.0 * share - 8.0 * share**2)  # between the two outermost rows, by the parabola
    return pulled, joint_shear(neighbours, of.expansion, length, thickness) / bears
