"""What differs from burn to burn: soot, coating, gas, engine; each with its 10, 50 and 90 % points and its source.

A small lattice (31 members, the same construction as :mod:`inference.physics.sampling`) stands for all of them
together when the tables are made. It is fixed, so the tables come out the same each time.
"""

from __future__ import annotations

from statistics import NormalDist

import numpy as np

from inference.burn.regeneration import Chemistry, Gas
from inference.physics.calibration import Parameter
from inference.physics.valid import Array
from kb.model import Substrate
from kb.units import number

N = 31  # members of the lattice; prime, so that each column visits every quantile once
# multiplier and shift of each column, picked so that no two columns correlate above 0.15 (checked in the tests)
COLUMNS = {
    "rate": (1, 0), "energy": (12, 19), "oxygen": (17, 13), "flow": (10, 16), "inlet": (29, 26), "ramp": (9, 25),
    "uneven": (3, 19), "heat": (26, 18), "dioxide": (14, 24), "idle_flow": (5, 6), "soot": (8, 14), "sensor": (8, 8),
}  # fmt: skip

# Rate at 600 °C in pure oxygen [1/s], by kind of filter. The figures of the trade's rate law (specific surface
# 5.5e7 1/m, 1 m/(s K), 18,000 K) give about 0.09 for bare soot. A coat touches the soot loosely and helps oxygen
# little; most of the 30 K it gains (s13-lizarraga-2011) come by nitrogen dioxide, which is counted apart. An additive
# gains 90 to 110 K, that is 10 to 40 times.
RATE = {
    "uncoated": Parameter(0.045, 0.085, 0.16, "1/s", True, "bissett-shadman-1985, from memory; factor two"),
    "coated": Parameter(0.055, 0.11, 0.23, "1/s", True, "little over bare soot; from memory"),
    "coated_with_scr": Parameter(0.05, 0.095, 0.19, "1/s", True, "between bare and coated; from memory"),
    "additive": Parameter(0.6, 1.7, 4.5, "1/s", True, "10 to 40 times bare: s16-metal-activated-soot, from memory"),
}
ENERGY = {
    "uncoated": Parameter(137e3, 150e3, 162e3, "J/mol", False, "s12-kim-2005, s15-activation-energies"),
    "coated": Parameter(110e3, 135e3, 155e3, "J/mol", False, "s12-kim-2005, s13-lizarraga-2011"),
    "coated_with_scr": Parameter(115e3, 140e3, 158e3, "J/mol", False, "between bare and coated; from memory"),
    "additive": Parameter(116e3, 140e3, 170e3, "J/mol", False, "s12-kim-2005 (iron), s16-metal-activated-soot"),
}
DIOXIDE_RATE = Parameter(2e-4, 5e-4, 1.3e-3, "1/s", True, "at 350 °C and 300 parts in a million; from memory")
DIOXIDE_ENERGY = 46.5e3  # J/mol (s11-shrivastava-2010)
APPROACH = {"uncoated": 0.5, "coated": 0.7, "coated_with_scr": 0.2, "additive": 0.5}  # from memory
RECYCLE = {"uncoated": 1.0, "coated": 2.0, "coated_with_scr": 1.0, "additive": 1.0}  # from memory
MONOXIDE = {"uncoated": 0.3, "coated": 0.05, "coated_with_scr": 0.1, "additive": 0.15}  # from memory

# A forced burn standing at about 2,500 1/min, or on the road: gas through a litre of filter, oxygen left in it
BURN_FLOW = Parameter(12.0, 18.0, 26.0, "kg/(s m^3)", True, "46 g/s of a 2 l engine through 2.5 l; from memory")
BURN_OXYGEN = Parameter(0.045, 0.075, 0.11, "1", False, "throttled, late fuel takes its part; from memory")
OXIDES = 150e-6  # mole share of nitrogen oxides in a burn, unloaded (from memory)
RAMP = Parameter(100.0, 180.0, 320.0, "s", True, "time constant with which the gas gets hot; from memory")
BEGIN = 473.15  # K, gas and body when a burn is begun on a warm engine
# The engine falls to idle: little gas, much oxygen, and pipe and catalyst cool only slowly
IDLE_FLOW = Parameter(3.2, 4.4, 6.0, "kg/(s m^3)", True, "11 g/s of a 2 l engine through 2.5 l; from memory")
IDLE_OXYGEN = 0.17  # from memory
IDLE_INLET = 450.0  # K, where the gas ends up
IDLE_COOLING = 60.0  # s, time constant of pipe and catalyst cooling (from memory)
TARGET = Parameter(873.15, 903.15, 933.15, "K", False, "600 to 660 °C before the filter at the hottest; from memory")
TARGET_ADDITIVE = Parameter(723.15, 803.15, 873.15, "K", False, "450 to 600 °C with additive; from memory")
UNEVEN = Parameter(1.05, 1.25, 1.55, "1", True, "soot where most lies over the mean; from memory")
ANY_BODY = Parameter(0.53e6, 0.75e6, 0.9e6, "J/(m^3 K)", True, "from cordierite to silicon carbide; from memory")
ANY_CONDUCTION = 2.0  # W/(m K), where the body is not told apart
ANY_SOOT = Parameter(3.0, 5.0, 8.0, "kg/m^3", True, "what a filter holds when a burn is asked for; from memory")
HEAT = Parameter(0.93, 1.0, 1.07, "1", False, "of the body's heat capacity; from memory")
# Conduction along the body [W/(m K)], holes and channels counted in (from memory)
CONDUCTION = {"cordierite": 0.7, "silicon carbide": 7.0, "aluminium titanate": 0.8, "sintered metal": 4.0}


def lattice(name: str) -> Array:
    """Return N standard normal quantiles [-] for one of the unknowns."""
    multiplier, shift = COLUMNS[name]
    places = (np.arange(N) * multiplier + shift) % N
    quantile = NormalDist().inv_cdf
    return np.array([quantile((p + 0.5) / N) for p in places])


def heat_of(body: Substrate) -> float:
    """Return the heat a body takes up [J/(m^3 K)]."""
    return number(body.heat_capacity, "J/kg/K") * number(body.bulk_density, "kg/m³")


def chemistry(kind: str) -> Chemistry:
    """Return the chemistry of a kind of filter over the lattice, shaped (N, 1) so that cells go last."""
    return Chemistry(
        rate=RATE[kind].at(lattice("rate"))[:, None],
        energy=ENERGY[kind].at(lattice("energy"))[:, None],
        dioxide_rate=DIOXIDE_RATE.at(lattice("dioxide"))[:, None],
        dioxide_energy=DIOXIDE_ENERGY,
        approach=APPROACH[kind],
        recycle=RECYCLE[kind],
        monoxide=MONOXIDE[kind],
    )


def burn_gas() -> Gas:
    """Return the gas of a burn over the lattice, shaped (N, 1)."""
    oxygen = BURN_OXYGEN.at(lattice("oxygen")).clip(0.03, 0.16)
    return Gas(BURN_FLOW.at(lattice("flow"))[:, None], oxygen[:, None], OXIDES)


def idle_gas() -> Gas:
    """Return the gas after a fall to idle over the lattice, shaped (N, 1)."""
    return Gas(IDLE_FLOW.at(lattice("idle_flow"))[:, None], IDLE_OXYGEN, OXIDES)
