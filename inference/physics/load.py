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
from inference.physics.valid import Array, Numeric, Outside, outside, raw

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

    def __post_init__(self) -> None:
        for name in ("volume", "pitch", "wall", "length", "permeability", "cake", "ash_permeability"):
            if not np.min(getattr(self, name)) > 0:
                raise ValueError(f"the filter's {name.replace('_', ' ')} must be above zero")
        if not np.min(self.opening) > 0:
            raise ValueError("the wall is as thick as the cell is wide; no channel is left")

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

    def __post_init__(self) -> None:
        if not (np.min(self.viscosity) > 0 and np.min(self.density) > 0 and np.min(self.flow) >= 0):
            raise ValueError("viscosity and density of the gas must be above zero, its flow not negative")

    def warnings(self, body: Body) -> tuple[Outside, ...]:
        """Return what lies outside the pressure formulas' range."""
        reynolds = raw(fp.channel_reynolds)(
            self.density, self.viscosity, self.flow, body.volume, body.pitch, body.opening, body.length
        )
        return (
            *outside(fp.channel_reynolds, result=reynolds),
            *outside(fp.wall_drop, permeability=body.permeability, wall=body.wall),
        )


@dataclass(frozen=True)
class Terms:
    """One filter's drop as a function of its soot alone.

    Equation: dP = fixed + deep (1 - exp(-s/s0)) + layer ln(a^2/D) / 2 + narrow / D^2, D = a^2 - shrink s
    """

    fixed: Numeric
    deep: Numeric
    deep_load: Numeric
    layer: Numeric
    narrow: Numeric
    square: Numeric
    shrink: Numeric

    def drop(self, soot: Numeric) -> Numeric:
        """Return the pressure [Pa] at a soot load [kg/m^3]; ValueError if it is negative or fills the channels."""
        left = self.square - self.shrink * soot
        if np.min(soot) < 0:
            raise ValueError("the soot load is negative")
        if np.min(left) <= 0:
            raise ValueError(f"a soot load of {np.max(soot):g} g/l fills the channels")
        return (
            self.fixed
            + self.deep * (1.0 - np.exp(-soot / self.deep_load))
            + 0.5 * self.layer * np.log(self.square / left)
            + self.narrow / left**2
        )

    @cached_property
    def clean(self) -> Numeric:
        """The pressure [Pa] with no soot."""
        return self.fixed + self.narrow / self.square**2

    def soot(self, drop: Array) -> Array:
        """Return the soot load [kg/m^3] at which the filter takes ``drop`` [Pa], see :func:`soot_from_drop`."""
        high = np.broadcast_to(MOST_SOOT * np.asarray(self.square / self.shrink), drop.shape)
        low = np.zeros_like(drop)
        half_layer, twice = 0.5 * self.layer * self.shrink, 2.0 * self.shrink
        level = drop - self.fixed - self.deep
        soot = ((drop - self.clean) * self.square / (2.0 * half_layer)).clip(low, 0.5 * high)
        for _ in range(40):
            left = self.square - self.shrink * soot
            filled = self.deep * np.exp(-soot / self.deep_load)
            narrow = self.narrow / left**2
            miss = 0.5 * self.layer * np.log(self.square / left) + narrow - filled - level
            over = miss > 0
            high = np.where(over, soot, high)
            low = np.where(over, low, soot)
            slope = filled / self.deep_load + (half_layer + twice * narrow) / left
            step = soot - miss / slope
            better = np.where((step >= low) & (step <= high), step, 0.5 * (low + high))
            change = float(np.abs(better - soot).max())
            soot = better
            if change < 5e-3:  # the next step, squared, lies far below what counts (filled to the most: halved to this)
                break
        return soot


def terms(body: Body, gas: Stream, ash: Numeric = 0.0) -> Terms:
    """Work out the parts of the drop that do not hang on the soot, for ``ash`` [kg/m^3] in the filter."""
    if np.min(ash) < 0:
        raise ValueError("the ash load is negative")
    pitch, opening = body.pitch, body.opening
    scale = gas.viscosity * gas.flow / (2.0 * body.volume) * pitch**2
    friction = scale * (4.0 * fp.FRICTION * body.length**2 / 3.0)
    clean_wall = scale * body.wall / (body.permeability * opening)
    ends = raw(fp.entrance_exit_drop)(gas.density, gas.flow, body.volume, pitch, opening, body.length)
    fixed = friction / opening**4 + ends
    cake = scale * body.packing / (2.0 * body.cake)
    if isinstance(ash, float) and ash == 0.0:
        return Terms(
            fixed + clean_wall, clean_wall * body.deep_bed, body.deep_bed_load, cake, friction,
            opening**2, 2.0 * pitch**2 / body.packing,
        )  # fmt: skip
    layer, plug = raw(ash_physics.split)(ash, pitch, opening)
    thickness = raw(fp.layer_thickness)(layer, pitch, opening, ash_physics.LAYER_PACKING)
    lived = 1.0 - plug  # share of the channel length that gas still passes
    inlet = opening - 2.0 * thickness
    ash_layer = scale * np.log(opening / inlet) / (2.0 * body.ash_permeability)
    return Terms(
        fixed=fixed + (clean_wall + ash_layer) / lived,
        # an ash layer also keeps soot out of the wall (s36-ash-stages-2012, no figure readable); left in, so that
        # ash never raises the soot told, by up to about 0.4 g/l
        deep=clean_wall / lived * body.deep_bed,
        deep_load=body.deep_bed_load * lived,
        layer=cake / lived,
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
    konstandopoulos-johnson-1989, konstandopoulos-2000 (from memory); ash by geometry.

    Examples
    --------
    >>> body = Body(2.475e-3, 1.7961e-3, 0.3556e-3, 0.1524, 3e-13, 2e-12, 0.0, 0.5, 100.0, 2e-13)
    >>> round(float(filter_drop(body, Stream(2.378e-5, 0.843, 0.01186), 6.0)))
    722
    """
    return terms(body, gas, ash).drop(soot)


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
    return terms(body, gas, ash).soot(drop)
