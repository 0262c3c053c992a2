"""How the vehicle is driven, and how often its burns come and complete."""

from __future__ import annotations

import numpy as np

from inference.physics.calibration import Parameter
from inference.physics.valid import Numeric, valid

ENGINE_SIZE = 2.0e-3  # m^3, to which figures that go with the engine's size belong where no other size is named
FUEL_USE = Parameter(42e-6, 50e-6, 66e-6, "kg/m", True, "5 to 8 l on 100 km with a 2 l engine; from memory")
USUAL_INTERVAL = 300.0  # km, the low end of the usual distance between burns, 300 to 900 km (from memory)
LEAST_TRIPS = 5  # recorded trips from which they speak of the usual use; fewer may be the workshop's own
TRIPS_VARY = 0.7  # standard deviation of the logarithm of the trips of one vehicle (from memory)
NOT_AS_USUAL = 0.25  # the same of the time of a recording about the usual (from memory: one week is not the year)


@valid(positive=("displacement",), not_negative=("of_two_litres",), displacement=(0.8e-3, 4.0e-3, "m^3"))
def fuel_use(displacement: Numeric, of_two_litres: Numeric = FUEL_USE.mid) -> Numeric:
    """Fuel a light vehicle burns on a distance, by the size of its engine.

    Equation: f = f_2 sqrt(V / 2 l)

    Parameters
    ----------
    displacement : swept volume of the engine [m^3]
    of_two_litres : what a vehicle with a 2 l engine burns [kg/m]

    Returns
    -------
    fuel on a distance [kg/m]

    Raises
    ------
    ValueError : no displacement, or a negative use

    Valid range: diesel engines of light vehicles, 0.8 to 4 l. Vehicles grow heavier more slowly than engines grow
    larger, hence the root.

    References
    ----------
    from-memory.

    Examples
    --------
    >>> round(float(fuel_use(1.6e-3)) * 1e6, 1)  # kg on 1000 km
    44.7
    """
    return of_two_litres * (displacement / ENGINE_SIZE) ** 0.5


@valid(positive=("trips",))
def recorded_error(trips: Numeric) -> Numeric:
    """How far the mean of some recorded trips may lie from that of all trips of the vehicle.

    Equation: s = sqrt(s_0^2 + s_1^2 / n)

    Parameters
    ----------
    trips : trips recorded [-]

    Returns
    -------
    standard deviation of the logarithm of the mean [-]

    Raises
    ------
    ValueError : no trips

    Valid range: any number; under five the recording may be the workshop's own drive and speaks of no use.

    References
    ----------
    Error of a mean; how much trips vary, and a recording from the year, is from-memory.

    Examples
    --------
    >>> round(float(recorded_error(10.0)), 2)
    0.33
    """
    return np.sqrt(NOT_AS_USUAL**2 + TRIPS_VARY**2 / trips)


@valid(positive=("time",), not_negative=("distance",))
def mean_speed(distance: Numeric, time: Numeric) -> Numeric:
    """Mean speed of a trip.

    Equation: v = d / t

    Parameters
    ----------
    distance : length of the trip [m]
    time : time it takes [s]

    Returns
    -------
    speed [m/s]

    Raises
    ------
    ValueError : no time, or a negative distance

    Valid range: any.

    References
    ----------
    Definition.

    Examples
    --------
    >>> round(mean_speed(2500.0, 360.0) * 3.6, 1)
    25.0
    """
    return distance / time


@valid(positive=("started",), not_negative=("completed",), result=(0.0, 1.0, "1"))
def burn_completion(completed: Numeric, started: Numeric) -> Numeric:
    """Share of the burns begun that ran to their end.

    Equation: c = n_completed / n_started

    Parameters
    ----------
    completed : burns completed [-]
    started : burns started over the same distance [-]

    Returns
    -------
    share [-]

    Raises
    ------
    ValueError : none started, or a negative count

    Valid range: 0 to 1; above 1 the two counts do not belong together.

    References
    ----------
    Definition.

    Examples
    --------
    >>> burn_completion(3.0, 12.0)
    0.25
    """
    return completed / started


@valid(positive=("distance",), not_negative=("started",))
def burn_rate(started: Numeric, distance: Numeric) -> Numeric:
    """Burns begun on a distance.

    Equation: f = n_started / d

    Parameters
    ----------
    started : burns started [-]
    distance : distance over which they were counted [m]

    Returns
    -------
    burns on a distance [1/m]

    Raises
    ------
    ValueError : no distance, or a negative count

    Valid range: any; a count under about five says little.

    References
    ----------
    Definition.

    Examples
    --------
    >>> round(burn_rate(6.0, 1.3e6) * 1e6, 2)  # six in 1300 km, as one vehicle did in measured driving
    4.62
    """
    return started / distance


@valid(positive=("interval",))
def interval_over_usual(interval: Numeric) -> Numeric:
    """Distance between burns over the low end of what is usual.

    Equation: i = d / 300 km

    Parameters
    ----------
    interval : distance between burns [km]

    Returns
    -------
    ratio [-]

    Raises
    ------
    ValueError : no interval

    Valid range: active burns of light vehicles.

    References
    ----------
    from-memory: 300 to 900 km usual; s4-valverde-2020 measured a mean of 200 km on one vehicle.

    Examples
    --------
    >>> interval_over_usual(150.0)
    0.5
    """
    return interval / USUAL_INTERVAL
