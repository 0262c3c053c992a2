"""A recorded drive made by the physics, for tests and benchmarks: a given soot load, sensor fault and burn.

``python -m bench.drive --burn 440 > drive.csv`` writes one, to try ``clogwise log`` with.

Deterministic: the same wishes give the same rows. The engine is a plain one (2 l); the exhaust's temperature follows
its load with the lag of the metal, the filter's pressure comes from the same formulas as the diagnosis uses, so the
pressure in it proves nothing about a real filter: it tests that what was put in is found again.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from inference.physics import gas
from inference.physics.load import Body, Stream, filter_drop
from inference.physics.valid import Array

BODY = Body(2.5e-3, 1.7961e-3, 0.3556e-3, 0.1524, 3e-13, 1.4e-12, 0.3, 0.5, 100.0, 2e-13)
LITRES = 2.0


@dataclass(frozen=True)
class Wish:
    """What the drive should be like.

    Parameters
    ----------
    minutes : length [min]; key on for the first 20 s, idle for the first minute
    step : time from row to row [s]
    soot : soot in the filter [g/l]
    coolant : where the coolant settles [°C]
    ambient : outside [°C]
    burns : (start, length) of burns [min]
    burn_temperature : before the filter during a burn [°C]
    soot_left : share of the soot that a burn leaves [-]
    sensor_offset : added to the pressure sensor [mbar]
    sensor_lag : time constant of a split or blocked hose [s]
    sensor_sign : -1 for hoses the wrong way round
    sensor_share : share of the true pressure the sensor shows (0: flat)
    sensor_ceiling : the sensor's upper end [mbar]
    stops : (start, length) of standing at idle [min]
    fast_idle : (start, length) of standing at 2,500 1/min [min]
    off : (start, length) of the engine switched off [min]
    unrecorded : (start, length) in which the logger stood still while the clock went on [min]
    cooling : time constant by which a stopped engine's coolant cools [min]
    run_time : whether the time since the engine was started is recorded
    motorway : (start, length) of 130 km/h [min]
    climbs : (start, length) of a long hill: more load at the same speed [min]
    burn_lift : heat that late fuel makes in the catalyst in a burn [K], in place of ``burn_temperature``; 0: that one
    contact : share of the time in which the pressure sensor's plug has no contact, by turns of some seconds [-]
    seed : seed of the instruments' noise
    """

    minutes: float = 60.0
    step: float = 1.0
    soot: float = 4.0
    coolant: float = 88.0
    ambient: float = 12.0
    burns: tuple[tuple[float, float], ...] = ()
    burn_temperature: float = 600.0
    soot_left: float = 0.15
    sensor_offset: float = 0.0
    sensor_lag: float = 0.0
    sensor_sign: float = 1.0
    sensor_share: float = 1.0
    sensor_ceiling: float = 1e9
    stops: tuple[tuple[float, float], ...] = ()
    fast_idle: tuple[tuple[float, float], ...] = ()
    off: tuple[tuple[float, float], ...] = ()
    unrecorded: tuple[tuple[float, float], ...] = ()
    cooling: float = 1e9
    run_time: bool = False
    motorway: tuple[tuple[float, float], ...] = ()
    climbs: tuple[tuple[float, float], ...] = ()
    burn_lift: float = 0.0
    contact: float = 0.0
    seed: int = 1


@dataclass(frozen=True)
class Drive:
    """The drive: time [s] and columns under the names and in the units of SAE J1979, and the true soot [g/l]."""

    time: Array
    columns: dict[str, Array] = field(default_factory=dict)
    soot: Array = field(default_factory=lambda: np.zeros(0))


def lagged(values: Array, step: float, constant: Array | float) -> Array:
    """First-order lag of ``values``, with a time constant [s] that may change from row to row."""
    share = np.broadcast_to(1.0 - np.exp(-step / np.maximum(constant, 1e-9)), values.shape).tolist()
    out, now = [], float(values[0])
    for value, part in zip(values.tolist(), share, strict=True):
        now += part * (value - now)
        out.append(now)
    return np.array(out)


def within(minutes: Array, spans: tuple[tuple[float, float], ...]) -> np.ndarray:
    """Say for each moment whether it lies in one of the (start, length) spans [min]."""
    out = np.zeros(minutes.size, dtype=bool)
    for start, length in spans:
        out |= (minutes >= start) & (minutes < start + length)
    return out


def make(wish: Wish = Wish()) -> Drive:
    """Make the drive."""
    rng = np.random.default_rng(wish.seed)
    time = np.arange(0.0, wish.minutes * 60.0, wish.step)
    minutes = time / 60.0
    still = (time < 20.0) | within(minutes, wish.off)
    idle = ~still & ((time < 80.0) | within(minutes, wish.stops))
    fast = ~still & within(minutes, wish.fast_idle)
    rolling = ~still & ~idle & ~fast
    # road speed swings slowly between town and country
    wave = 72 + 22 * np.sin(time / 97.0) + 13 * np.sin(time / 31.0 + 1) + 6 * np.sin(time / 11.0 + 2)
    fast_road = within(minutes, wish.motorway)
    wave = np.where(fast_road, 130 + 4 * np.sin(time / 41.0), wave)
    speed = lagged(np.where(rolling, wave.clip(18, 140), 0.0), wish.step, 4.0)
    speed = np.where(idle | fast | still, np.where(speed < 1.5, 0.0, speed), speed)
    standing = idle | fast | still
    speed = np.where(standing, 0.0, speed)
    rpm = np.where(still, 0.0, np.where(idle, 820.0, np.where(fast, 2500.0, 1150.0 + 13.5 * speed)))
    rpm = np.where(still, 0.0, lagged(rpm, wish.step, 0.8))
    push = np.concatenate([[0.0], np.diff(speed)]) / wish.step  # km/h per s
    uphill = np.where(within(minutes, wish.climbs), 35.0, 0.0) + np.where(fast_road, 8.0, 0.0)
    load = np.where(standing, 18.0, (22 + 0.28 * speed + 9 * push + uphill).clip(0, 100))
    load = np.where(still, 0.0, lagged(load, wish.step, 1.0))
    manifold = np.where(still, 1010.0, 1010.0 + 12.0 * (load - 18).clip(0) + 0.02 * (rpm - 820).clip(0))
    air = np.where(still, 0.0, 0.86 * rpm / 120.0 * LITRES * 1e-3 * manifold * 100 / (287.05 * 318.0) * 1e3)
    burning = within(minutes, wish.burns) & ~still
    engine_out = np.where(still, wish.ambient, 115 + 3.1 * load + 0.035 * rpm)
    before_catalyst = lagged(engine_out, wish.step, np.where(still, 900.0, 25.0))
    metal = np.where(still, 900.0, 1.0)  # a stopped engine's exhaust cools by itself, slowly
    plain = np.maximum(before_catalyst - 12, wish.ambient)
    wanted = np.where(burning, plain + wish.burn_lift if wish.burn_lift else wish.burn_temperature, plain)
    before_filter = lagged(wanted, wish.step, np.maximum(metal, 45.0))
    beyond = np.where(burning, 25.0, np.where(still, 0.0, -8.0))
    after_filter = lagged(before_filter + beyond, wish.step, np.maximum(metal, 80.0))
    warm = wish.ambient + (wish.coolant - wish.ambient) * (1 - np.exp(-((time - 20.0).clip(0) / 240.0)))
    coolant = np.minimum(warm, wish.coolant)
    if wish.cooling < 1e9:  # warms and cools by turns
        settles, constant = np.where(still, wish.ambient, wish.coolant), np.where(still, wish.cooling * 60.0, 240.0)
        coolant = wish.ambient + lagged(np.append(0.0, settles - wish.ambient), wish.step, np.append(1e9, constant))[1:]
    done = np.cumsum(burning) * wish.step / 60.0
    rate = -np.log(wish.soot_left) / max(sum(b[1] for b in wish.burns), 1e-9)
    hot = wish.burn_temperature > 520 and not wish.burn_lift
    soot = wish.soot * np.exp(-rate * done) if wish.burns and hot else np.full(time.size, wish.soot)
    true = pressure(air, before_filter, soot)
    sensed = lagged(true, wish.step, wish.sensor_lag) if wish.sensor_lag else true
    sensed = wish.sensor_sign * wish.sensor_share * sensed + wish.sensor_offset
    sensed = np.minimum(sensed + rng.normal(0, 0.35, time.size), wish.sensor_ceiling)
    if wish.contact:
        turns = np.repeat(rng.random(time.size // 4 + 1) < wish.contact, 4)[: time.size]
        sensed = np.where(turns, 0.4 * sensed, sensed)

    def noise(size: float) -> Array:
        return rng.normal(0, size, time.size)

    columns = {
        "Engine RPM (rpm)": np.where(still, 0.0, (rpm + noise(6)).round()),
        "Vehicle Speed (km/h)": (speed.round()),
        "Engine Coolant Temperature (°C)": coolant.round(),
        "Intake Air Temperature (°C)": np.full(time.size, wish.ambient + 9).round(),
        "Ambient Air Temperature (°C)": np.full(time.size, wish.ambient),
        "Mass Air Flow (g/s)": np.where(still, 0.0, (air * (1 + noise(0.012))).round(2)),
        "Intake Manifold Absolute Pressure (kPa)": (manifold / 10).round(),
        "Barometric Pressure (kPa)": np.full(time.size, 101.0),
        "Calculated Engine Load (%)": load.round(1),
        "Exhaust Temperature Before Catalyst (°C)": (before_catalyst + noise(1)).round(1),
        "Exhaust Temperature Before Particulate Filter (°C)": (before_filter + noise(1)).round(1),
        "Exhaust Temperature After Particulate Filter (°C)": (after_filter + noise(1)).round(1),
        "DPF Differential Pressure (kPa)": (sensed / 10).round(2),
    }
    if wish.run_time:
        began = np.maximum.accumulate(np.where(still, time, 0.0))
        columns["Run Time Since Engine Start (s)"] = np.where(still, 0.0, (time - began).round())
    seen = ~within(minutes, wish.unrecorded)
    return Drive(time[seen], {name: values[seen] for name, values in columns.items()}, soot[seen])


def pressure(air: Array, before_filter: Array, soot: Array | float) -> Array:
    """Pressure across the filter [mbar] at an air mass flow [g/s], gas temperature [°C] and soot [g/l]."""
    mass = air * 1e-3 * (1 + 1 / (14.5 * 3.0))
    kelvin = before_filter + gas.ZERO_CELSIUS
    drop = np.zeros_like(mass)
    for _ in range(4):  # the gas is as dense as half the drop above the air outside makes it
        density = np.asarray(gas.density(101e3 + drop / 2, kelvin))
        stream = Stream(gas.viscosity(kelvin), density, np.asarray(gas.volume_flow(mass, density)))
        drop = np.asarray(filter_drop(BODY, stream, soot))
    return drop / 100.0


def as_csv(drive: Drive, delimiter: str = ",", comma: bool = False, time: str = "Time (s)") -> str:
    """Return the drive as the text of a CSV file."""
    names = [time, *drive.columns]
    table = np.column_stack([drive.time, *drive.columns.values()])
    lines = [delimiter.join(names)]
    for row in table.tolist():
        cells = delimiter.join(f"{x:.6g}" if i else f"{x:.3f}".rstrip("0").rstrip(".") for i, x in enumerate(row))
        lines.append(cells.replace(".", ",") if comma else cells)
    return "\n".join(lines) + "\n"


def main() -> None:
    """Write a drive of an hour as CSV: town and road, a burn in the middle of it, and two minutes at idle."""
    from argparse import ArgumentParser

    ask = ArgumentParser(prog="python -m bench.drive", description=main.__doc__)
    ask.add_argument("--soot", type=float, default=5.0, help="soot in the filter, g/l")
    ask.add_argument("--burn", type=float, default=600.0, help="before the filter in the burn, °C; 0 for none")
    ask.add_argument("--minutes", type=float, default=14.0, help="length of the burn")
    ask.add_argument("--left", type=float, default=0.15, help="share of the soot that the burn leaves")
    ask.add_argument("--coolant", type=float, default=88.0, help="where the coolant settles, °C")
    ask.add_argument("--lag", type=float, default=0.0, help="delay of the pressure sensor, s")
    got = ask.parse_args()
    spans = {
        "soot": (0, 30),
        "burn": (0, 1000),
        "minutes": (0, 25),
        "left": (0, 1),
        "coolant": (20, 120),
        "lag": (0, 60),
    }
    for name, (low, high) in spans.items():
        if not low <= getattr(got, name) <= high:
            ask.error(f"--{name}: {getattr(got, name):g} was given; {low} to {high} can be driven here")
    wish = Wish(
        soot=got.soot, coolant=got.coolant, sensor_lag=got.lag, soot_left=got.left, burn_temperature=got.burn,
        burns=((30.0, got.minutes),) if got.burn > 0 else (), fast_idle=((55.0, 1.0),), stops=((51.0, 2.0),),
    )  # fmt: skip
    print(as_csv(make(wish)), end="")


if __name__ == "__main__":
    main()
