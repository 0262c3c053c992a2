"""Soot gained and burnt on a trip: engine, cold running, heat of the exhaust, chance that a burn completes. Base SI."""

from __future__ import annotations

import numpy as np

from inference.physics.calibration import Parameter
from inference.physics.valid import Numeric, valid

# Soot that leaves a warm, sound engine: 5 to 50 mg/km (from memory); cars certified without filter kept to 25 mg/km
# over a cold start (s24-euro-5-limits), so most lie below. Of a 2 l engine; it goes with the fuel used.
ENGINE_SOOT = Parameter(8e-9, 16e-9, 32e-9, "kg/m", True, "8 to 32 mg/km; from memory, bound s24-euro-5-limits")
IDLE_SOOT = Parameter(0.03e-6, 0.08e-6, 0.25e-6, "kg/s", True, "0.1 to 0.9 g/h; from memory")
MOST_SOOT = 10.0  # times the sound engine, all faults together (from memory)
COLD_SOOT = Parameter(0.2, 0.5, 1.1, "1", False, "more soot while cold, as a share; from memory")
TRIP_SPREAD = 0.4  # standard deviation of the logarithm of trip times about the typical one (from memory)
LONG_RUN = Parameter(1500.0, 2100.0, 3600.0, "s", True, "20 minutes of road and more, with the way there; from memory")
LONG_SPEED = Parameter(16.0, 21.0, 29.0, "m/s", False, "60 to 105 km/h; from memory")
TRIP_SPEED = Parameter(6.0, 10.0, 17.0, "m/s", True, "20 to 60 km/h where no distance is told; from memory")
# Of the time to 80 °C of coolant: when a burn may begin (about 60 to 75 °C), and when the exhaust passes 200 °C
BEGINS = Parameter(0.55, 0.75, 0.95, "1", False, "share of the warm-up time; from memory")
EXHAUST_WARM = Parameter(0.35, 0.55, 0.8, "1", False, "share of the warm-up time, 5 to 12 min; from memory")
# The gas before the filter outside burns, warm: the more, the faster the trip
ROAD_HEAT = Parameter(493.0, 538.0, 583.0, "K", False, "220 to 310 °C at road speed; from memory")
TOWN_HEAT = Parameter(443.0, 483.0, 523.0, "K", False, "170 to 250 °C in town; from memory")
ROAD_OXIDES = 250e-6  # mole share of nitrogen oxides before the filter (from memory)
# The control unit's own logic (from memory): asks at 40 to 60 % of the limit, refuses at 100 to 130 %
ASKS = Parameter(0.40, 0.50, 0.62, "1", False, "share of the limit at which a burn is asked for; from memory")
REFUSES = Parameter(1.0, 1.12, 1.30, "1", False, "share of the limit at which it only takes a workshop; from memory")
# A burn wants steady load: the share of what it could burn on a warm trip that it does burn, town and road
TOWN_SUCCESS = Parameter(0.04, 0.25, 0.7, "1", True, "stops and coasting break it off; from memory")
ROAD_SUCCESS = Parameter(0.45, 0.8, 1.0, "1", False, "steady road; from memory")
ENOUGH = 0.15  # of the limit, at which the control unit calls a burn complete (from memory)
DRIVING_BURN = Parameter(0.9, 1.1, 1.5, "1", True, "time on the road over that standing; from memory")


@valid(not_negative=("distance", "idle", "cold_time", "cold_more"), positive=("time",))
def soot_made(
    distance: Numeric, time: Numeric, idle: Numeric, cold_time: Numeric, cold_more: Numeric, rate: Numeric,
    idle_rate: Numeric,
) -> Numeric:  # fmt: skip
    """Soot an engine sends out on a trip begun cold.

    Equation: m = (r d + r_idle t_idle) (1 + c min(1, t_cold / t))

    Parameters
    ----------
    distance : of the trip [m]
    time : of the trip [s]
    idle : time of it at idle beyond what town driving holds [s]
    cold_time : time to warm through [s]
    cold_more : soot while cold over soot while warm, less 1 [-]
    rate : soot of the warm engine on a distance [kg/m]
    idle_rate : soot of the engine at idle in a time [kg/s]

    Returns
    -------
    soot [kg]

    Raises
    ------
    ValueError : no time, or a negative distance, idle time, cold time or cold share

    Valid range: sound engines; faults come as a factor on the rates.

    References
    ----------
    Balance; rates 5 to 50 mg/km: from-memory.

    Examples
    --------
    >>> round(float(soot_made(20e3, 1200.0, 0.0, 600.0, 0.8, 18e-9, 0.08e-6)) * 1e3, 3)  # g
    0.504
    """
    return (rate * distance + idle_rate * idle) * (1.0 + cold_more * np.minimum(1.0, cold_time / time))


@valid(not_negative=("rate", "time"))
def kept(rate: Numeric, time: Numeric) -> Numeric:
    """Share of the soot left after it has burnt at one rate for a time.

    Equation: s / s0 = exp(-k t)

    Parameters
    ----------
    rate : share burnt in a unit of time [1/s]
    time : for which it is hot [s]

    Returns
    -------
    share left [-]

    Raises
    ------
    ValueError : a negative rate or time

    Valid range: gas that brings enough oxygen or nitrogen dioxide; kinetics.with_supply says when it does not.

    References
    ----------
    First-order decay.

    Examples
    --------
    >>> round(float(kept(1e-4, 3600.0)), 3)
    0.698
    """
    return np.exp(-rate * time)


@valid(positive=("capacity", "rate"), passive=(0.0, 1.0, "1"))
def interval(capacity: Numeric, rate: Numeric, passive: Numeric) -> Numeric:
    """Distance between burns of a vehicle whose every burn completes.

    Equation: d = M / (r (1 - p))

    Parameters
    ----------
    capacity : soot gathered from the end of one burn to the next [kg]
    rate : soot that comes on a distance [kg/m]
    passive : share of it that burns by itself on the way [-]

    Returns
    -------
    distance [m]

    Raises
    ------
    ValueError : no capacity or rate

    Valid range: passive share under 1; at 1 no burn is ever needed.

    References
    ----------
    Conservation of mass.

    Examples
    --------
    >>> round(interval(15e-3, 30e-9, 0.0) / 1e3)  # 15 g at 30 mg/km
    500
    """
    return capacity / (rate * np.maximum(1.0 - passive, 1e-9))
