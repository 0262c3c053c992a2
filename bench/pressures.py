"""Pressures a vehicle would show for a known filter, for whoever writes a worked case.

    .venv/bin/python bench/pressures.py --litres 2.0 --soot 6 --ash 3 --sensor-offset 5

prints the readings as YAML. The same physics as the diagnosis, at the median of every unknown parameter. The case
that comes of it is invented: it tests the reasoning, not the physics.
"""

from __future__ import annotations

import argparse
import random
from collections.abc import Sequence
from dataclasses import dataclass

from inference.physics import ash, calibration, flow, gas
from inference.physics import filter_pressure as fp
from inference.physics.load import Body, Stream, filter_drop

MBAR = 100.0  # Pa
CONDITIONS = ("idle", "fast_idle")
STUCK_OPEN = {"idle": 0.50, "fast_idle": 0.40}  # exhaust fed back by a valve stuck open (from memory)
ERRORS = {"gauge": (1.0, 0.03), "sensor": (2.0, 0.05), "air": (0.3, 0.04)}  # as in kb/readings.yaml


@dataclass(frozen=True)
class Vehicle:
    """A vehicle whose filter and faults are known.

    Parameters
    ----------
    litres : engine size [l]
    soot, ash : loads of the filter [g/l]
    volume : of the filter [l]; None takes the usual one for the engine
    filter_type : coated, additive, coated_with_scr, uncoated
    egr : share of exhaust fed back at idle and at 2,500 1/min [-]; None takes the usual ones
    downstream : pressure behind the filter over that of a sound exhaust [-]
    sensor_offset, sensor_gain : what the vehicle's sensor adds [mbar] and multiplies by [-]
    upstream_sensor : whether that sensor measures before the filter against the air outside
    gauge_zero : what the hand gauge shows with the engine still [mbar]
    air_meter_gain : what the air meter multiplies by [-]
    outside : pressure of the air outside [mbar]
    noise : seed of the instruments' errors; None leaves them out
    """

    litres: float
    soot: float = 0.0
    ash: float = 0.0
    volume: float | None = None
    filter_type: str = "coated"
    egr: tuple[float, float] | None = None
    downstream: float = 1.0
    sensor_offset: float = 0.0
    sensor_gain: float = 1.0
    upstream_sensor: bool = False
    gauge_zero: float = 0.0
    air_meter_gain: float = 1.0
    outside: float = 1013.25
    noise: int | None = None


def body(vehicle: Vehicle) -> Body:
    """Return the filter body at the median of what is not known of it."""
    volume = vehicle.volume or vehicle.litres * calibration.VOLUME_OVER_DISPLACEMENT.mid
    return Body(
        volume=volume * 1e-3,
        pitch=fp.cell_pitch(calibration.CELLS),
        wall=calibration.WALL.mid,
        length=calibration.LENGTH,
        permeability=calibration.PERMEABILITY[vehicle.filter_type].mid,
        cake=calibration.CAKE.mid,
        deep_bed=calibration.DEEP_BED.mid,
        deep_bed_load=calibration.DEEP_BED_LOAD,
        packing=calibration.SOOT_PACKING,
        ash_permeability=ash.PERMEABILITY.mid,
    )


def air(vehicle: Vehicle, condition: str) -> float:
    """Return the fresh air the engine draws [kg/s]."""
    charge = flow.speed_density(
        calibration.SPEED[condition].mid / 60.0,
        vehicle.litres * 1e-3,
        vehicle.outside * MBAR * calibration.MANIFOLD_OVER_OUTSIDE[condition].mid,
        calibration.CHARGE_TEMPERATURE.mid,
        calibration.FILLING.mid,
    )
    share = calibration.EGR_SHARE[condition].mid
    if vehicle.egr is not None:
        share = vehicle.egr[CONDITIONS.index(condition)]
    return float(flow.fresh_air(charge, share))


def truth(vehicle: Vehicle, condition: str) -> tuple[float, float]:
    """Return the pressure across the filter and behind it [mbar]."""
    temperature = calibration.GAS_TEMPERATURE[condition].mid
    mass = float(flow.exhaust_flow(air(vehicle, condition), calibration.EXCESS_AIR[condition]))
    reference = calibration.DOWNSTREAM_REFERENCE * vehicle.litres * 1e-3
    behind = vehicle.downstream * float(flow.downstream_drop(mass, temperature, calibration.DOWNSTREAM.mid, reference))
    across = 0.0
    for _ in range(8):  # the gas is as dense as the pressure makes it; settles in a few rounds
        rho = gas.density(vehicle.outside * MBAR + (across + behind) / 2.0, temperature)
        stream = Stream(gas.viscosity(temperature), rho, gas.volume_flow(mass, rho))
        across = float(filter_drop(body(vehicle), stream, vehicle.soot, vehicle.ash))
    return across / MBAR, behind / MBAR


def readings(vehicle: Vehicle) -> dict[str, dict[str, float]]:
    """Return what the instruments show: pressures [mbar], air mass flow [g/s]."""
    dice = random.Random(vehicle.noise) if vehicle.noise is not None else None

    def shown(kind: str, value: float) -> float:
        fixed, share = ERRORS[kind]
        error = dice.gauss(0.0, max(fixed, share * abs(value))) if dice else 0.0
        return round(value + error, 1 if kind == "air" else 0)

    out: dict[str, dict[str, float]] = {
        "gauge_pressure": {"key_on": round(vehicle.gauge_zero, 1)},
        "gauge_pressure_after": {},
        "sensor_pressure": {"key_on": shown("sensor", vehicle.sensor_offset)},
        "air_mass_flow": {},
    }
    for condition in CONDITIONS:
        across, behind = truth(vehicle, condition)
        seen = across + (behind if vehicle.upstream_sensor else 0.0)
        out["gauge_pressure"][condition] = shown("gauge", across + behind + vehicle.gauge_zero)
        out["gauge_pressure_after"][condition] = shown("gauge", behind + vehicle.gauge_zero)
        sensor = seen * vehicle.sensor_gain + vehicle.sensor_offset
        out["sensor_pressure"][condition] = shown("sensor", sensor)
        drawn = air(vehicle, condition) * 1e3
        out["air_mass_flow"][condition] = shown("air", drawn * vehicle.air_meter_gain)
    return out


def as_yaml(shown: dict[str, dict[str, float]]) -> str:
    """Return the readings as they stand in a case file."""
    lines = ["readings:"]
    for name, values in shown.items():
        unit = "g/s" if name == "air_mass_flow" else "mbar"
        inside = ", ".join(f"{condition}: {value:g} {unit}" for condition, value in values.items())
        lines.append(f"  {name}: {{{inside}}}")
    return "\n".join(lines)


def main(arguments: Sequence[str] | None = None) -> None:
    """Read the command line and print the readings."""
    parser = argparse.ArgumentParser(description=__doc__, formatter_class=argparse.RawDescriptionHelpFormatter)
    parser.add_argument("--litres", type=float, required=True, help="engine size [l]")
    parser.add_argument("--soot", type=float, default=0.0, help="soot load [g/l]")
    parser.add_argument("--ash", type=float, default=0.0, help="ash load [g/l]")
    parser.add_argument("--volume", type=float, help="filter volume [l]")
    parser.add_argument("--filter-type", default="coated", choices=[k for k in calibration.PERMEABILITY if k])
    parser.add_argument("--egr", type=float, nargs=2, metavar=("IDLE", "FAST"), help="shares fed back, 0 to 0.65")
    parser.add_argument("--egr-stuck-open", action="store_true", help="shares of a valve stuck open")
    parser.add_argument("--downstream", type=float, default=1.0, help="restriction behind the filter, 1 is sound")
    parser.add_argument("--sensor-offset", type=float, default=0.0, help="[mbar]")
    parser.add_argument("--sensor-gain", type=float, default=1.0, help="0.5: one hose half blocked, -1: swapped")
    parser.add_argument("--upstream-sensor", action="store_true", help="layout gauge_pressure_upstream")
    parser.add_argument("--gauge-zero", type=float, default=0.0, help="[mbar]")
    parser.add_argument("--air-meter-gain", type=float, default=1.0)
    parser.add_argument("--outside", type=float, default=1013.25, help="air pressure outside [mbar]")
    parser.add_argument("--noise", type=int, help="seed of the instruments' errors")
    given = vars(parser.parse_args(arguments))
    stuck = given.pop("egr_stuck_open")
    given["egr"] = tuple(STUCK_OPEN.values()) if stuck else given["egr"] and tuple(given["egr"])
    try:
        print(as_yaml(readings(Vehicle(**given))))
    except ValueError as error:
        parser.error(str(error))


if __name__ == "__main__":
    main()
