"""Make the burn tables: ``python -m inference.burn.make`` writes inference/burn/table.json (some three minutes).

The tables depend on this folder's code and on kb/filters.yaml alone. tests/inference/test_burn_table.py makes them
again and compares.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from pathlib import Path
from typing import Any

import numpy as np

from inference.burn import conditions as at
from inference.burn import table
from inference.burn.judge import DONE, HOT_AFTER
from inference.burn.regeneration import Chemistry, Core, Gas, State, course, loaded
from inference.physics.gas import ZERO_CELSIUS
from inference.physics.valid import Array
from kb.model import Substrate

TABLE = Path(__file__).with_name("table.json")
LOADS = (2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0)  # g/l
INLETS = tuple(float(t) for t in range(375, 701, 25))  # °C
LONGEST = 60.0  # min of a burn; one that takes longer has failed
POINTS = (0.1, 0.5, 0.9)


def make(bodies: Mapping[str, Substrate]) -> dict[str, Any]:
    """Return both tables as they stand in table.json."""
    kinds = sorted(at.RATE)
    times = {kind: minutes(kind) for kind in kinds}
    return {
        "loads": list(LOADS),
        "inlets": list(INLETS),
        "figures": {body.id: table.figures(body) for body in bodies.values()},
        "peak": {b.id: {kind: rounded(peaks(b, kind)) for kind in kinds} for b in bodies.values()},
        "minutes": {kind: rounded(times[kind][0]) for kind in kinds},
        "until_hot": {kind: rounded(times[kind][1]) for kind in kinds},
    }


def rounded(table: Array) -> list[list[float]]:
    """Return rows (10, 50, 90 %) to four figures, so that the file does not hang on the last bits."""
    return [[float(f"{v:.4g}") for v in row] for row in table.tolist()]


def core(body: Substrate, soft: bool = False) -> Core:
    """Return the body for the model, its heat capacity over the lattice where ``soft``."""
    heat: Any = at.heat_of(body)
    if soft:
        heat = heat * at.HEAT.at(at.lattice("heat"))[:, None]
    return Core(heat, at.CONDUCTION.get(body.id, 1.0))


def peaks(body: Substrate, kind: str, loads: tuple[float, ...] = LOADS) -> Array:
    """Peak temperature in the body if the engine falls to idle at the worst moment of a burn [°C].

    Shape (3, loads): 10, 50 and 90 % points of what is not known of soot, gas and engine. The worst moment is
    looked for every 20 s from the beginning until 90 % is burnt.
    """
    target = (at.TARGET_ADDITIVE if kind == "additive" else at.TARGET).at(at.lattice("inlet"))[:, None]
    ramp = at.RAMP.at(at.lattice("ramp"))[:, None]
    body_core, chemistry, driving, idle = core(body, True), at.chemistry(kind), at.burn_gas(), at.idle_gas()
    uneven = at.UNEVEN.at(at.lattice("uneven"))
    worst = np.full((len(loads), at.N), -np.inf)
    start = loaded(np.asarray(loads)[:, None] * uneven, at.BEGIN, (len(loads), at.N))

    def inlet(t: float) -> Array:
        return np.asarray(at.BEGIN + (target - at.BEGIN) * -np.expm1(-t / ramp))

    for time, state in course(start, inlet, body_core, chemistry, driving, 900.0):
        if time % 20.0 == 0.0 and time > 0:
            worst = np.maximum(worst, fall_to_idle(state, inlet(time), body_core, chemistry, idle))
            if np.all(state.mean_soot < 0.1 * start.mean_soot):
                break
    return np.asarray(np.quantile(worst, POINTS, axis=1)) - ZERO_CELSIUS


def fall_to_idle(state: State, inlet: Array, body: Core, chemistry: Chemistry, idle: Gas, time: float = 240.0) -> Array:
    """Return the highest temperature [K] any cell sees in ``time`` [s] after a fall to idle, by burn."""
    hottest = state.temperature.max(axis=-1)

    def cooling(t: float) -> Array:
        return np.asarray(at.IDLE_INLET + (inlet - at.IDLE_INLET) * np.exp(-t / at.IDLE_COOLING))

    for _, after in course(state, cooling, body, chemistry, idle, time, 1.0):
        hottest = np.maximum(hottest, after.temperature.max(axis=-1))
    return np.asarray(hottest)


def minutes(kind: str, inlets: tuple[float, ...] = INLETS) -> tuple[Array, Array]:
    """Minutes until 80 % of the soot is burnt, and until the gas after the filter passes 450 °C.

    Both of shape (3, inlets): 10, 50 and 90 % points over soot (3 to 8 g/l), body, gas and coating, by the
    temperature the gas before the filter settles at [°C]; at most LONGEST, which stands for never.
    """
    heat = at.ANY_BODY.at(at.lattice("heat"))[:, None]
    body = Core(heat, at.ANY_CONDUCTION)
    chemistry, through = at.chemistry(kind), at.burn_gas()
    soot = at.ANY_SOOT.at(at.lattice("soot"))
    ramp = at.RAMP.at(at.lattice("ramp"))[:, None]
    settled = np.asarray(inlets)[:, None, None] + ZERO_CELSIUS
    shape = (len(inlets), at.N)
    start = loaded(np.broadcast_to(soot, shape), at.BEGIN, shape)
    done, hot = np.full(shape, LONGEST), np.full(shape, LONGEST)

    def inlet(t: float) -> Array:
        return np.asarray(at.BEGIN + (settled - at.BEGIN) * -np.expm1(-t / ramp))

    for time, state in course(start, inlet, body, chemistry, through, LONGEST * 60.0, 1.0):
        passed = time / 60.0
        done = np.minimum(done, np.where(state.mean_soot <= (1.0 - DONE) * start.mean_soot, passed, LONGEST))
        hot = np.minimum(hot, np.where(state.after >= HOT_AFTER + ZERO_CELSIUS, passed, LONGEST))
    return np.quantile(done, POINTS, axis=1), np.quantile(hot, POINTS, axis=1)


def main() -> None:
    """Write the tables to table.json."""
    from kb.load import load

    made = make(load().substrates)
    TABLE.write_text(json.dumps(made, indent=1, sort_keys=True).replace("\n    ", " ") + "\n", "utf-8")
    print(f"{TABLE}: written")


if __name__ == "__main__":
    main()
