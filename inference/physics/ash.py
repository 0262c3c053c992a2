"""Ash from burnt engine oil: how much comes, how much stays, and where it lies. Base SI throughout."""

from __future__ import annotations

from functools import lru_cache
from statistics import NormalDist

import numpy as np

from inference.physics.calibration import Parameter
from inference.physics.sampling import vehicle
from inference.physics.usage import FUEL_USE, fuel_use
from inference.physics.valid import Array, Numeric, valid

OIL_DENSITY = 850.0  # kg/m^3 (from memory)
LAYER_PACKING = 250.0  # kg/m^3 of an ash layer, 200 to 300 (from memory)
PLUG_PACKING = 400.0  # kg/m^3 of an ash plug, 300 to 500 (from memory)
LAYER_MOST = 7.0  # kg/m^3 of filter that lies as a layer before the plug grows, 5 to 10 (from memory)
PLUG_MOST = 0.9  # of the channel length; beyond it the model says nothing

OIL_USE = Parameter(0.03e-9, 0.07e-9, 0.15e-9, "m^3/m", True, "0.03 to 0.15 l/1000 km; from memory")
SULPHATED_ASH = {
    "yes": Parameter(0.005, 0.0065, 0.008, "1", False, "low-ash oil, 0.5 to 0.8 %; from memory"),
    "no": Parameter(0.009, 0.0125, 0.016, "1", False, "other oil, 0.9 to 1.6 %; from memory"),
    None: Parameter(0.005, 0.008, 0.012, "1", False, "oil not known, 0.5 to 1.2 %; from memory"),
}
CAPTURE = Parameter(0.5, 0.7, 0.9, "1", False, "share of it that stays in the filter; from memory")
LEFT_BY_CLEANING = Parameter(0.05, 0.15, 0.35, "1", False, "share a cleaning leaves behind; from memory")
ADDITIVE_METAL = Parameter(4e-6, 9e-6, 25e-6, "1", True, "4 to 25 mg of metal in a kg of fuel; from memory")
OXIDE_OVER_METAL = 1.33  # midway between CeO2 over Ce (1.228) and Fe2O3 over 2 Fe (1.430), by the atomic weights
CAPACITY = Parameter(20.0, 35.0, 60.0, "kg/m^3", True, "ash a filter holds before it must come off; from memory")
PERMEABILITY = Parameter(1e-13, 2.2e-13, 5e-13, "m^2", True, "of an ash layer; from memory")


@valid(
    not_negative=("oil_use", "sulphated_ash"),
    oil_use=(0.0, 2e-9, "m^3/m"),
    sulphated_ash=(0.0, 0.02, "1"),
)
def ash_rate(oil_use: Numeric, sulphated_ash: Numeric) -> Numeric:
    """Ash that burnt oil leaves on a distance.

    Equation: r = oil use * rho_oil * sulphated ash

    Parameters
    ----------
    oil_use : oil burnt on a distance [m^3/m]
    sulphated_ash : mass share the oil leaves as ash [-]

    Returns
    -------
    ash made [kg/m]

    Raises
    ------
    ValueError : a negative oil use or share

    Valid range: up to 2 l per 1000 km and 2 % sulphated ash; all oil that goes is taken as burnt.

    References
    ----------
    from-memory; sulphated ash after ASTM D874.

    Examples
    --------
    >>> round(float(ash_rate(0.1e-9, 0.008)) * 1e9, 2)  # g per 1000 km at 0.1 l per 1000 km
    0.68
    """
    return oil_use * OIL_DENSITY * sulphated_ash


def over_the_life(oil_use: Array) -> Array:
    """Return the mean oil use over a filter's life [m^3/m] where the engine now burns more than a sound one.

    ``oil_use`` is what it burns now, as a sample [m^3/m]. Nothing is known of when the use rose, so all times are
    alike: the mean lies anywhere from what a sound engine burns (:data:`OIL_USE`, not its most, or the least ash would
    be overstated and the most soot understated) to what it burns now.
    """
    before = np.minimum(OIL_USE.of_vehicle("oil_use"), oil_use)
    return np.asarray(before + _since() * (oil_use - before))


@lru_cache(maxsize=1)
def _since() -> Array:
    return np.array([NormalDist().cdf(z) for z in vehicle("ash_distance").tolist()])


@valid(not_negative=("fuel", "metal"), fuel=(10e-6, 200e-6, "kg/m"), metal=(0.0, 50e-6, "1"))
def additive_rate(fuel: Numeric, metal: Numeric) -> Numeric:
    """Ash that a metal in the fuel leaves on a distance.

    Equation: r = fuel * metal * 1.33, the last the mass of the oxide over that of its metal

    Parameters
    ----------
    fuel : fuel burnt on a distance [kg/m]
    metal : mass share of metal that the additive brings into the fuel [-]

    Returns
    -------
    ash made [kg/m]

    Raises
    ------
    ValueError : a negative fuel use or share

    Valid range: 1 to 20 kg of fuel on 100 km and up to 50 mg of metal in a kg; all of it ends as oxide in the filter.

    References
    ----------
    Conservation of mass; oxides CeO2 and Fe2O3 by the atomic weights; dose from-memory.

    Examples
    --------
    >>> round(float(additive_rate(50e-6, 10e-6)) * 1e9, 3)  # g per 1000 km at 5 kg on 100 km and 10 mg/kg
    0.665
    """
    return fuel * metal * OXIDE_OVER_METAL


def additive_sample(litres: float | None) -> Array:
    """Return what an additive leaves on a distance [kg/m] as a sample, for an engine of ``litres``; None: 2 l."""
    fuel = fuel_use((litres or 2.0) * 1e-3, FUEL_USE.of_vehicle("oil_use"))
    return np.asarray(additive_rate(fuel, ADDITIVE_METAL.of_vehicle("ash_distance")))


@valid(not_negative=("rate", "distance", "capture"), positive=("volume",))
def ash_load(rate: Numeric, distance: Numeric, capture: Numeric, volume: Numeric) -> Numeric:
    """Ash that has gathered in a filter.

    Equation: A = r d c / V

    Parameters
    ----------
    rate : ash made on a distance [kg/m]
    distance : distance on this filter [m]
    capture : share of the ash that stays [-]
    volume : volume of the filter [m^3]

    Returns
    -------
    ash load [kg/m^3]

    Raises
    ------
    ValueError : a negative rate, distance or share, or no volume

    Valid range: up to the 60 g/l at which filters are lost.

    References
    ----------
    Conservation of mass; capture 0.5 to 0.9: from-memory.

    Examples
    --------
    >>> round(float(ash_load(0.68e-9, 150e6, 0.6, 2.5e-3)), 1)
    24.5
    """
    return rate * distance * capture / volume


@valid(not_negative=("ash",), positive=("pitch", "opening"), ash=(0.0, 60.0, "g/l"))
def split(ash: Numeric, pitch: Numeric, opening: Numeric) -> tuple[Numeric, Numeric]:
    """Part a load of ash into the layer on the walls and the plug at the channel ends.

    Equation: layer = min(A, 7 g/l); plug share of the length = (A - layer) / (rho_plug a^2 / (2 p^2))

    Parameters
    ----------
    ash : ash load [kg/m^3]
    pitch : distance from one channel to the next [m]
    opening : clear width of a channel [m]

    Returns
    -------
    layer load [kg/m^3] and plug share of the channel length, at most 0.9 [-]

    Raises
    ------
    ValueError : a negative load, or a size not above zero

    Valid range: up to 60 g/l.

    References
    ----------
    Geometry; the layer comes first (s36-ash-stages-2012 for the stages; figures from-memory).

    Examples
    --------
    >>> layer, plug = split(27.0, 1.7961e-3, 1.4405e-3)
    >>> float(layer), round(float(plug), 3)
    (7.0, 0.155)
    """
    layer = np.minimum(ash, LAYER_MOST)
    room = PLUG_PACKING * opening**2 / (2.0 * pitch**2)
    return layer, np.minimum((ash - layer) / room, PLUG_MOST)


@valid(not_negative=("ash", "capacity"), positive=("rate",))
def distance_left(ash: Numeric, capacity: Numeric, rate: Numeric) -> Numeric:
    """Distance until a filter holds as much ash as it has room for.

    Equation: d = max(A_most - A, 0) / r

    Parameters
    ----------
    ash : ash load now [kg/m^3]
    capacity : ash load at which the filter must come off [kg/m^3]
    rate : ash that gathers in a volume of filter on a distance [kg/(m^3 m)]

    Returns
    -------
    distance, 0 where the room is used up [m]

    Raises
    ------
    ValueError : a negative load or capacity, or no rate

    Valid range: oil use and oil as they were so far.

    References
    ----------
    Conservation of mass; capacity 20 to 60 g/l: from-memory.

    Examples
    --------
    >>> round(float(distance_left(24.0, 35.0, 0.16e-6)) / 1e3)
    68750
    """
    return np.maximum(capacity - ash, 0.0) / rate
