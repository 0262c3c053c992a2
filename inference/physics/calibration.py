"""Parameters of the pressure model that nobody measures in a workshop, each with its spread and its source.

They are set so that a clean system shows on a hand gauge what the trade's marks say (checked in
tests/outside/test_gauge_marks.py). Low, mid and high are the 10, 50 and 90 % points.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

from inference.physics.sampling import ROUNDS, between, between_log, of_round, vehicle
from inference.physics.valid import Array, Numeric


@dataclass(frozen=True)
class Parameter:
    """One uncertain parameter.

    Parameters
    ----------
    low, mid, high : 10, 50 and 90 % points [unit]
    unit : SI unit
    logarithmic : whether each half of the spread is lognormal (else normal)
    note : where the figures come from
    """

    low: float
    mid: float
    high: float
    unit: str
    logarithmic: bool
    note: str

    def at(self, z: Numeric) -> Array:
        """Return the values [unit] at standard normal quantiles ``z`` [-]."""
        form = between_log if self.logarithmic else between
        return form(z, self.low, self.mid, self.high)

    def of_vehicle(self, name: str, sign: float = 1.0) -> Array:
        """Return the sample [unit] along a column of the vehicle; with ``sign`` -1 it falls as that rises."""
        return _fixed(self, name, -1, sign)

    def of_round(self, name: str, index: int) -> Array:
        """Return the sample [unit] along a column of round ``index``."""
        return _fixed(self, name, index % ROUNDS, 1.0)


@lru_cache(maxsize=512)
def _fixed(parameter: Parameter, name: str, index: int, sign: float) -> Array:
    out = parameter.at(sign * (vehicle(name) if index < 0 else of_round(name, index)))
    out.flags.writeable = False
    return out


# Wall with its coating, by filter type; None: not known, as wide as the types together.
PERMEABILITY: dict[str | None, Parameter] = {
    "coated": Parameter(1.8e-13, 3.0e-13, 5.0e-13, "m^2", True, "from memory; 1e-13 breaks both gauge marks"),
    "uncoated": Parameter(2.2e-13, 3.6e-13, 6.0e-13, "m^2", True, "from memory: bare walls 2 to 6e-13"),
    "additive": Parameter(2.2e-13, 3.6e-13, 6.0e-13, "m^2", True, "from memory: bare walls 2 to 6e-13"),
    "coated_with_scr": Parameter(1.5e-13, 2.7e-13, 5.0e-13, "m^2", True, "from memory: thicker coating"),
    None: Parameter(1.5e-13, 3.0e-13, 6.0e-13, "m^2", True, "from memory: all types together"),
}
CAKE = Parameter(1.0e-12, 1.4e-12, 2.0e-12, "kg/m", True, "soot packing times permeability; from memory")
SOOT_PACKING = 100.0  # kg/m^3, 75 to 110 (from memory); only the product with the permeability counts for much
DEEP_BED = Parameter(0.15, 0.30, 0.50, "1", False, "share the filled wall adds; about 3 mbar at 2,500 1/min")
DEEP_BED_LOAD = 0.5  # kg/m^3 of soot over which the wall fills (0.3 to 1 g/l, from memory)

VOLUME_OVER_DISPLACEMENT = Parameter(1.12, 1.25, 1.42, "1", True, "typical of light vehicles; from memory")
VOLUME_GIVEN = Parameter(0.98, 1.0, 1.02, "1", True, "a filter measured or read off its label")
WALL = Parameter(0.330e-3, 0.3556e-3, 0.380e-3, "m", True, "14 thousandths of an inch; from memory")
CELLS = 200.0  # a square inch, the commonest (from memory)
LENGTH = 0.1524  # m, six inches (from memory)

DOWNSTREAM = Parameter(9e3, 15e3, 25e3, "Pa", True, "at 55 g/s a litre and 500 °C; from memory")
DOWNSTREAM_REFERENCE = 55.0  # kg/s a cubic metre of swept volume, that is g/s a litre

FILLING = Parameter(0.82, 0.88, 0.93, "1", False, "volumetric efficiency; from memory")
CHARGE_TEMPERATURE = Parameter(305.0, 318.0, 335.0, "K", False, "in the manifold, unloaded; from memory")
CHARGE_TEMPERATURE_LOADED = Parameter(308.0, 322.0, 342.0, "K", False, "behind the cooler; from memory")
COMPRESSOR_EFFICIENCY = Parameter(0.58, 0.67, 0.74, "1", False, "isentropic, at full load; from memory")
INTAKE_WARMING = Parameter(2.0, 7.0, 16.0, "K", False, "under the bonnet, on the way to the turbocharger; from memory")
LEAST_BOOST = 1.4  # absolute pressure over that outside; with less the air hardly warms, and the cooler shows nothing

SOOT_GATHERED = Parameter(0.0, 20e-9, 50e-9, "kg/m", False, "5 to 50 mg/km, some or all burnt on the road; from memory")

# By condition: engine speed, gas temperature, exhaust fed back, manifold pressure over outside pressure.
SPEED = {
    "idle": Parameter(750.0, 820.0, 890.0, "1/min", False, "warm idle; from memory"),
    "fast_idle": Parameter(2350.0, 2500.0, 2650.0, "1/min", False, "about 2,500 1/min, held by foot"),
    "full_load": Parameter(2500.0, 3000.0, 3600.0, "1/min", False, "where a pull shows its most air"),
}
GAS_TEMPERATURE = {
    "idle": Parameter(383.15, 423.15, 463.15, "K", False, "110 to 190 °C; from memory"),
    "fast_idle": Parameter(443.15, 503.15, 563.15, "K", False, "170 to 290 °C; from memory"),
}
EGR_SHARE = {
    "idle": Parameter(0.0, 0.20, 0.42, "1", False, "valve open 0 to 50 %; from memory"),
    "fast_idle": Parameter(0.0, 0.10, 0.25, "1", False, "valve open 0 to 35 %; from memory"),
}
MANIFOLD_OVER_OUTSIDE = {
    "idle": Parameter(0.98, 1.0, 1.02, "1", False, "no boost at idle; from memory"),
    "fast_idle": Parameter(1.02, 1.08, 1.15, "1", False, "little boost unloaded; from memory"),
}
EXCESS_AIR = {"idle": 4.0, "fast_idle": 3.0}  # from memory; fuel adds 1.7 and 2.3 % to the air
EGR_TOGETHER = 0.65  # correlation of the share fed back at idle and at 2,500 1/min (same valve, same map)


@lru_cache(maxsize=16)
def egr_share(condition: str, round_index: int) -> Array:
    """Return the sampled share of exhaust fed back [-], 0 to 0.65, where no air mass was read."""
    z = of_round("egr_idle", round_index)
    if condition == "fast_idle":
        other = of_round("egr_fast_idle", round_index)
        z = EGR_TOGETHER * z + (1.0 - EGR_TOGETHER**2) ** 0.5 * other
    return EGR_SHARE[condition].at(z).clip(0.0, 0.65)
