"""Make the burn tables: ``python -m inference.burn.make`` writes inference/burn/table.json (some five minutes).

The tables depend on this folder's code and on kb/filters.yaml alone. tests/inference/test_burn_table.py makes them
again and compares.
"""

from __future__ import annotations

import json
from collections.abc import Callable, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import numpy as np

from inference.burn import conditions as at
from inference.burn import cracks, table
from inference.burn.cracks import Piece
from inference.burn.judge import DONE, HOT_AFTER
from inference.burn.regeneration import AMBIENT, CELLS, STEP, Chemistry, Core, Gas, State, course, loaded
from inference.physics.gas import ZERO_CELSIUS
from inference.physics.valid import Array, Numeric
from kb.model import Substrate

TABLE = Path(__file__).with_name("table.json")
LOADS = (2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 10.0, 12.0, 15.0)  # g/l
INLETS = tuple(float(t) for t in range(375, 701, 25))  # °C
LONGEST = 60.0  # min of a burn; one that takes longer has failed
POINTS = (0.1, 0.5, 0.9)
SECOND = 1.0  # s, step of the fall to idle
STRAINED = 10.0  # s between the moments at which tension is worked out; zones of heat take longer to wander


def make(bodies: Mapping[str, Substrate]) -> dict[str, Any]:
    """Return all tables as they stand in table.json."""
    kinds = sorted(at.RATE)
    times = {kind: minutes(kind) for kind in kinds}
    all_flares = {b.id: {kind: flares(b, kind) for kind in kinds} for b in bodies.values()}

    def rows(what: Callable[[Flares], Array]) -> dict[str, dict[str, list[list[float]]]]:
        return {body: {kind: rounded(what(f)) for kind, f in each.items()} for body, each in all_flares.items()}

    return {
        "loads": list(LOADS),
        "inlets": list(INLETS),
        "figures": {body.id: table.figures(body) for body in bodies.values()},
        "peak": rows(lambda f: f.peak),
        "crack": rows(lambda f: f.crack),
        "joint": rows(lambda f: f.joint),
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


@dataclass(frozen=True)
class Flares:
    """What comes of a fall to idle at the worst moment of a burn; each of shape (3, loads), 10, 50 and 90 % points.

    Parameters
    ----------
    peak : highest temperature in the body [°C]
    crack : greatest tension in a piece of the body over its strength as new [-]
    joint : greatest shear of a joint between segments over what it bears [-]; 0 for a body in one piece
    """

    peak: Array
    crack: Array
    joint: Array


def flares(body: Substrate, kind: str, loads: tuple[float, ...] = LOADS) -> Flares:
    """Return what comes of a fall to idle, at the moment of a burn that is worst for each: peak [°C], the others [-].

    The points are those of what is not known of soot, gas and engine. The worst moment is looked for every 20 s from
    the beginning until 90 % is burnt. Two paths through the filter are followed at once: the middle, where most soot
    lies, and the rim.
    """
    target = (at.TARGET_ADDITIVE if kind == "additive" else at.TARGET).at(at.lattice("inlet"))[:, None]
    ramp = at.RAMP.at(at.lattice("ramp"))[:, None]
    body_core, chemistry, driving, idle = core(body, True), at.chemistry(kind), at.burn_gas(), at.idle_gas()
    uneven = at.UNEVEN.at(at.lattice("uneven"))
    parts = np.stack([uneven, cracks.rim_soot(uneven)])[:, None, :]
    start = loaded(np.asarray(loads)[:, None] * parts, at.BEGIN, (2, len(loads), at.N))
    plain, loss = number_of(body_core.conduction), number_of(body_core.loss)
    piece = cracks.piece(body, at.heat_of(body), body_core.length, loss, plain, CELLS)
    worst = np.full((3, len(loads), at.N), -np.inf)

    def inlet(t: float) -> Array:
        return np.asarray(at.BEGIN + (target - at.BEGIN) * -np.expm1(-t / ramp))

    across = Across(start, piece.evens)
    for time, state in course(start, inlet, body_core, chemistry, driving, 900.0):
        across = across.later(state, STEP)
        if time % 20.0 == 0.0 and time > 0:
            worst = np.maximum(worst, fall_to_idle(across, inlet(time), body_core, chemistry, idle, piece))
            if np.all(state.mean_soot[0] < 0.1 * start.mean_soot[0]):
                break
    peak, crack, joint = np.quantile(worst, POINTS, axis=-1).transpose(1, 0, 2)
    return Flares(peak - ZERO_CELSIUS, crack, joint)


class Across:
    """The middle and the rim of a body, and the difference between them [K] as conduction evens it out."""

    def __init__(self, state: State, evens: float, difference: Array | None = None) -> None:
        self.state, self.evens = state, evens
        middle, rim = state.temperature
        self.difference = middle - rim if difference is None else difference

    def later(self, state: State, step: float) -> Across:
        """Return it one step [s] later, middle and rim having gone on by themselves to ``state``."""
        middle, rim = state.temperature - self.state.temperature
        return Across(state, self.evens, cracks.evened(self.difference, middle - rim, step, self.evens))


def number_of(figure: Numeric) -> float:
    """Return a figure that is the same for the whole lattice, in its own unit."""
    return float(np.asarray(figure).max())


def fall_to_idle(
    across: Across, inlet: Array, body: Core, chemistry: Chemistry, idle: Gas, piece: Piece, time: float = 240.0
) -> Array:
    """Return the worst in ``time`` [s] after a fall to idle: peak [K], tension and shear over what is borne [-]."""
    state = across.state
    hottest = state.temperature[0].max(axis=-1)
    strained = np.zeros((2, *hottest.shape))

    def cooling(t: float) -> Array:
        return np.asarray(at.IDLE_INLET + (inlet - at.IDLE_INLET) * np.exp(-t / at.IDLE_COOLING))

    for passed, after in course(state, cooling, body, chemistry, idle, time, SECOND):
        hottest = np.maximum(hottest, after.temperature[0].max(axis=-1))
        if passed > 0:
            across = across.later(after, SECOND)
        if passed % STRAINED == 0.0:
            mean = after.temperature.mean(axis=0) - AMBIENT
            strained = np.maximum(strained, np.stack(cracks.strained(piece, mean, across.difference, body.length)))
    return np.stack([hottest, *strained])


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
