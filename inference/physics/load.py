"""Pressure of one filter body at a load of soot and ash, and the soot that a pressure speaks of.

Sums the terms of :mod:`inference.physics.filter_pressure` for a whole sample at once. Ash narrows the inlet
channels by a layer and shortens them by a plug; the same soot then makes a thicker layer on less wall.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np

from inference.physics import ash as ash_physics
from inference.physics import filter_pressure as fp
from inference.physics.valid import Array, Numeric, Outside, outside

MOST_SOOT = 0.95  # share of the load that closes the channels, up to which a pressure is turned into a load


@dataclass(frozen=True)
class Body:
    """A filter body, each figure a number or a sample.

    Parameters
    ----------
    volume : volume of the body [m^3]
    pitch : distance from one channel to the next [m]
    wall : thickness of the wall [m]
    length : length of the body [m]
    permeability : permeability of the wall with its coating [m^2]
    cake : packing density times permeability of the soot layer [kg/m]
    deep_bed : share of the wall's own pressure that a soot-filled wall adds [-]
    deep_bed_load : soot that fills it [kg/m^3]
    packing : packing density of the soot layer [kg/m^3]
    ash_permeability : permeability of an ash layer [m^2]
    """

    volume: Numeric
    pitch: Numeric
    wall: Numeric
    length: Numeric
    permeability: Numeric
    cake: Numeric
    deep_bed: Numeric
    deep_bed_load: float
    packing: float
    ash_permeability: Numeric

    @cached_property
    def opening(self) -> Numeric:
        """Clear width of a clean channel [m]."""
        return self.pitch - self.wall


@dataclass(frozen=True)
class Stream:
    """The gas through the filter: viscosity [Pa s], density [kg/m^3], volume flow [m^3/s]."""

    viscosity: Numeric
    density: Numeric
    flow: Numeric

    def warnings(self, body: Body) -> tuple[Outside, ...]:
        """Return what lies outside the pressure formulas' range."""
        reynolds = fp.channel_reynolds(
            self.density, self.viscosity, self.flow, body.volume, body.pitch, body.opening, body.length
        )
        return (
            *outside(fp.channel_reynolds, result=reynolds),
            *outside(fp.wall_drop, permeability=body.permeability, wall=body.wall),
        )


@dataclass(frozen=True)
class _Terms:
    """The drop as a function of soot alone: fixed + deep (1 - e^-s/s0) + layer ln(a^2/D)/2 + narrow / D^2."""

    fixed: Numeric
    deep: Numeric
    deep_load: Numeric
    layer: Numeric
    narrow: Numeric
    square: Numeric  # a^2, square of the inlet opening over the ash
    shrink: Numeric  # D = a^2 - shrink * soot

    def drop(self, soot: Numeric) -> Numeric:
        left = self.square - self.shrink * soot
        return (
            self.fixed
            + self.deep * (1.0 - np.exp(-soot / self.deep_load))
            + 0.5 * self.layer * np.log(self.square / left)
            + self.narrow / left**2
        )

    def slope(self, soot: Numeric) -> Numeric:
        left = self.square - self.shrink * soot
        return (
            self.deep / self.deep_load * np.exp(-soot / self.deep_load)
            + 0.5 * self.layer * self.shrink / left
            + 2.0 * self.narrow * self.shrink / left**3
        )


def _terms(body: Body, gas: Stream, ash: Numeric) -> _Terms:
    pitch, opening, wall = body.pitch, body.opening, body.wall
    layer_load, plug = ash_physics.split(ash, pitch, opening)
    thickness = fp.layer_thickness(layer_load, pitch, opening, ash_physics.LAYER_PACKING)
    lived = 1.0 - plug  # share of the channel length that gas still passes
    inlet = opening - 2.0 * thickness
    common = (gas.viscosity, gas.flow, body.volume * lived, pitch, opening)
    clean_wall = fp.wall_drop(*common, wall, body.permeability)
    ash_layer = fp.layer_drop(*common, thickness, body.ash_permeability)
    scale = gas.viscosity * gas.flow / (2.0 * body.volume) * pitch**2
    friction = scale * (4.0 * fp.FRICTION * body.length**2 / 3.0)
    ends = fp.entrance_exit_drop(gas.density, gas.flow, body.volume, pitch, opening, body.length)
    return _Terms(
        fixed=clean_wall + ash_layer + friction / opening**4 + ends,
        deep=clean_wall * body.deep_bed,
        deep_load=body.deep_bed_load * lived,
        layer=scale / lived * body.packing / (2.0 * body.cake),
        narrow=friction,
        square=inlet**2,
        shrink=2.0 * pitch**2 / (body.packing * lived),
    )


def filter_drop(body: Body, gas: Stream, soot: Numeric = 0.0, ash: Numeric = 0.0) -> Numeric:
    """Pressure across a filter that holds ``soot`` and ``ash``.

    Equation: dP = wall (1 + d (1 - exp(-s/s0))) + soot layer + ash layer + friction + entrance and exit

    Parameters
    ----------
    body : the filter body
    gas : the gas through it
    soot : soot load [kg/m^3]
    ash : ash load [kg/m^3]

    Returns
    -------
    pressure [Pa]

    Raises
    ------
    ValueError : a negative load, or one that fills the channels

    Valid range: as the terms; ash up to 60 g/l.

    References
    ----------
    konstandopoulos-johnson-1989, konstandopoulos-2000 (from memory); ash by geometry (FACTS section 1).

    Examples
    --------
    >>> body = Body(2.475e-3, 1.7961e-3, 0.3556e-3, 0.1524, 3e-13, 2e-12, 0.0, 0.5, 100.0, 2e-13)
    >>> round(float(filter_drop(body, Stream(2.378e-5, 0.843, 0.01186), 6.0)))
    722
    """
    if np.min(soot) < 0 or np.min(ash) < 0:
        raise ValueError("a load is negative")
    terms = _terms(body, gas, ash)
    if np.min(terms.square - terms.shrink * soot) <= 0:
        raise ValueError(f"a soot load of {np.max(soot):g} g/l fills the channels")
    return terms.drop(soot)


def soot_from_drop(body: Body, gas: Stream, drop: Array, ash: Numeric = 0.0) -> Array:
    """Soot load at which a filter with ``ash`` takes the pressure ``drop``; 0 where it takes more clean.

    Equation: filter_drop(s) = dP solved for s by Newton's method inside a shrinking bracket

    Parameters
    ----------
    body : the filter body
    gas : the gas through it
    drop : pressure across the filter, one for each member of the sample [Pa]
    ash : ash load [kg/m^3]

    Returns
    -------
    soot load, at most 0.95 of what closes the channels [kg/m^3]

    Raises
    ------
    ValueError : a negative ash load

    Valid range: as filter_drop.

    References
    ----------
    Inverse of filter_drop, checked by a round trip.

    Examples
    --------
    >>> body = Body(2.475e-3, 1.7961e-3, 0.3556e-3, 0.1524, 3e-13, 2e-12, 0.0, 0.5, 100.0, 2e-13)
    >>> gas = Stream(2.39e-5, 0.843, 0.01186)
    >>> float(soot_from_drop(body, gas, np.array([filter_drop(body, gas, 6.0)]))[0].round(6))
    6.0
    """
    if np.min(ash) < 0:
        raise ValueError("the ash load is negative")
    terms = _terms(body, gas, ash)
    low = np.zeros_like(drop)
    high = np.broadcast_to(MOST_SOOT * np.asarray(terms.square / terms.shrink), drop.shape).copy()
    guess = ((drop - terms.drop(0.0)) / (terms.layer * terms.shrink / terms.square)).clip(low, 0.5 * high)
    for _ in range(30):
        miss = terms.drop(guess) - drop
        low = np.where(miss < 0, guess, low)
        high = np.where(miss > 0, guess, high)
        step = guess - miss / terms.slope(guess)
        inside = (step >= low) & (step <= high)
        better = np.where(inside, step, 0.5 * (low + high))
        change = float(np.max(np.abs(better - guess)))
        guess = better
        if change < 1e-6:
            break
    return guess
