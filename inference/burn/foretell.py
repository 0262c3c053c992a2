"""The course of a burn foretold: the temperature after the filter and the soot left, minute by minute, 10/50/90 %.

Worked out either as a burn should be (the gas before the filter as hot as such a burn makes it) or as the gas came (its
recorded temperature). Flow, oxygen and the temperature at the beginning are the recorded ones wherever they were
recorded, else those of :mod:`inference.burn.conditions`.

What is not known is sampled by the fixed lattice of :mod:`inference.burn.conditions`: 31 members, no random numbers,
the same answer each time. Few are enough: every unknown is met at each of its 31 quantiles, and five hundred random
members move the ends of the band far less than the band is wide (tests/outside/test_burn_foretold.py). More would only
take longer.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inference.burn import conditions as at
from inference.burn.judge import DONE, HOT_AFTER
from inference.burn.regeneration import CELLS, Chemistry, Core, Gas, State, advance
from inference.physics import gas
from inference.physics.calibration import Parameter
from inference.physics.sampling import between_log
from inference.physics.valid import Array
from inference.values import Spread
from kb.model import Substrate

POINTS = (0.1, 0.5, 0.9)
STEPS = (1.0, 0.5, 0.25, 0.125)  # s
COURANT = 0.8  # most of a cell's length that the heat may travel in a step
KEPT = 5.0  # s between the moments that are kept
NEVER = float("inf")  # min
METER = 0.05  # error of a measured gas flow, one standard deviation [-] (from memory)


@dataclass(frozen=True)
class Course:
    """Something recorded in a burn: ``values`` at ``seconds`` since its beginning; held at the ends."""

    seconds: Array
    values: Array

    def at(self, seconds: Array) -> Array:
        """Return the values at these moments, drawn straight between the recorded ones."""
        return np.interp(seconds, self.seconds, self.values)


@dataclass(frozen=True)
class Circumstances:
    """One burn; None is not recorded.

    Parameters
    ----------
    seconds : how far to foretell it [s]
    begin : temperature before and after the filter at its beginning [°C]
    soot : soot it begins with [g/l]
    inlet : temperature before the filter [°C]; None takes it as it should be
    flow : mass flow of the gas [kg/s], of use only where ``volume`` is known
    oxygen : mole share of oxygen [-]
    """

    seconds: float
    begin: tuple[float, float] | None = None
    soot: Spread | None = None
    inlet: Course | None = None
    flow: Course | None = None
    oxygen: Course | None = None


@dataclass(frozen=True)
class Filter:
    """The filter: its kind and body where known, and its volume [m^3], 10/50/90 %, where known or to be guessed."""

    kind: str | None = None
    body: Substrate | None = None
    volume: Spread | None = None


@dataclass(frozen=True)
class Foretold:
    """How a burn runs.

    Parameters
    ----------
    seconds : moments since its beginning [s], shape (times,)
    after : temperature after the filter as a sensor would show it [°C], shape (3, times): 10, 50, 90 %
    left : share of the soot left [-], shape (3, times)
    until_hot : minutes until the gas after the filter passes 450 °C; inf is not within ``seconds``
    until_done : minutes until 80 % is burnt; inf is not within ``seconds``
    """

    seconds: Array
    after: Array
    left: Array
    until_hot: Spread
    until_done: Spread

    def burnt(self, seconds: float) -> Spread:
        """Return the share of the soot burnt after so many seconds [-]."""
        low, mid, high = (float(np.interp(seconds, self.seconds, row)) for row in self.left)
        return Spread(1.0 - high, 1.0 - mid, 1.0 - low)


@dataclass(frozen=True)
class Gases:
    """What flows into the filter, one column for each step: all of shape (burns, N or 1, steps).

    Parameters
    ----------
    inlet : temperature before the filter [K]
    flow : through a volume of filter [kg/(s m^3)]
    oxygen : mole share [-]
    """

    inlet: Array
    flow: Array
    oxygen: Array


def foretell(burns: Sequence[Circumstances], filter_: Filter, error: float = 10.0) -> list[Foretold]:
    """Foretell burns of one filter, all at once.

    Parameters
    ----------
    burns : what each is foretold for
    filter_ : the filter
    error : standard error of a temperature sensor [K]
    """
    if not burns:
        return []
    core, chemistry = body(filter_.body), chemistry_of(filter_.kind)
    step = _step(burns, filter_, core)
    moments = np.arange(0.0, max(b.seconds for b in burns) + step / 2.0, step)
    parts = [_gases(b, filter_, moments, error) for b in burns]
    whole = (at.N, moments.size)
    flowing = Gases(*(np.stack([np.broadcast_to(p, whole) for p in part]) for part in zip(*parts, strict=True)))
    start = [_start(b) for b in burns]
    state = State(np.stack([s.soot for s in start]), np.stack([s.temperature for s in start]))
    times, states = zip(*run(state, flowing, core, chemistry, step), strict=True)
    seconds = np.array(times)
    after = np.stack([s.after for s in states]) - gas.ZERO_CELSIUS
    left = np.stack([s.mean_soot for s in states]) / state.mean_soot
    return [_foretold(seconds, after[:, i], left[:, i], b.seconds, error) for i, b in enumerate(burns)]


def run(
    state: State, flowing: Gases, core: Core, chemistry: Chemistry, step: float, kept: float = KEPT
) -> Iterator[tuple[float, State]]:
    """Step burns through what flows in; yield moments [s] and states from the beginning on.

    Parameters
    ----------
    state : at the beginning, shape (burns, N, cells)
    flowing : what flows in, ``step`` [s] from column to column; the last one only ends the course
    core, chemistry : of the filter, figures of shape (N, 1) or plain
    step : [s], at most what keeps the heat from passing a cell in one go
    kept : seconds between the moments that are given out [s]
    """
    every = max(1, round(kept / step))
    yield 0.0, state
    for i in range(flowing.inlet.shape[-1] - 1):
        through = Gas(flowing.flow[..., i, None], flowing.oxygen[..., i, None], at.OXIDES)
        state = advance(state, flowing.inlet[..., i, None], core, chemistry, through, step)
        if (i + 1) % every == 0:
            yield (i + 1) * step, state


def body(substrate: Substrate | None) -> Core:
    """Return the filter body over the lattice; one of no known kind is as wide as all of them."""
    if substrate is None:
        return Core(at.ANY_BODY.at(at.lattice("heat"))[:, None], at.ANY_CONDUCTION)
    return Core(at.heat_of(substrate) * at.HEAT.at(at.lattice("heat"))[:, None], at.CONDUCTION.get(substrate.id, 1.0))


def chemistry_of(kind: str | None) -> Chemistry:
    """Return the chemistry over the lattice; where the kind is not known each member is of one kind in turn."""
    if kind in at.RATE:
        return at.chemistry(kind)
    each = [at.chemistry(k) for k in sorted(at.RATE)]
    turn = np.arange(at.N)[:, None] % len(each)

    def mixed(name: str) -> Array:
        return np.choose(turn, [np.broadcast_to(getattr(c, name), (at.N, 1)) for c in each])

    return Chemistry(*(mixed(name) for name in Chemistry.__dataclass_fields__))


def _start(burn: Circumstances) -> State:
    """The body as the burn finds it: evenly loaded, its temperature straight from the inlet's to the outlet's."""
    soot = at.ANY_SOOT.at(at.lattice("soot"))
    if burn.soot is not None:
        low, mid, high = (max(x, 0.2) for x in (burn.soot.low, burn.soot.mid, burn.soot.high))
        soot = between_log(at.lattice("soot"), low, mid, high)
    front, back = burn.begin or (at.BEGIN - gas.ZERO_CELSIUS,) * 2
    share: Array = (np.arange(CELLS) + 0.5) / CELLS
    along = front + (back - front) * share + gas.ZERO_CELSIUS
    shape = (at.N, CELLS)
    return State(np.array(np.broadcast_to(soot[:, None], shape)), np.array(np.broadcast_to(along, shape)))


def _gases(burn: Circumstances, filter_: Filter, moments: Array, error: float) -> tuple[Array, Array, Array]:
    """Temperature before the filter [K], flow [kg/(s m^3)] and oxygen [-] at ``moments``: (N, steps) or (N, 1)."""
    z = at.lattice("inlet")
    if burn.inlet is not None:
        inlet = burn.inlet.at(moments)[None, :] + (z * error)[:, None] + gas.ZERO_CELSIUS
    else:
        target, ramp = _target(filter_.kind).at(z), at.RAMP.at(at.lattice("ramp"))
        begin = (burn.begin[0] + gas.ZERO_CELSIUS) if burn.begin else at.BEGIN
        inlet = begin + (target - begin)[:, None] * -np.expm1(-moments[None, :] / ramp[:, None])
    oxygen = at.BURN_OXYGEN.at(at.lattice("oxygen")).clip(0.03, 0.16)[:, None]
    if burn.oxygen is not None:
        oxygen = burn.oxygen.at(moments)[None, :].clip(0.0, 0.21)
    return inlet, _flow(burn, filter_, moments), oxygen


def _target(kind: str | None) -> Parameter:
    return at.TARGET_ADDITIVE if kind == "additive" else at.TARGET


def _flow(burn: Circumstances, filter_: Filter, moments: Array) -> Array:
    """Gas through a volume of filter [kg/(s m^3)], (N, steps) or (N, 1)."""
    if burn.flow is None or filter_.volume is None:
        return at.BURN_FLOW.at(at.lattice("flow"))[:, None]
    z, v = at.lattice("flow"), filter_.volume
    over = 1.0 / between_log(-z, v.low, v.mid, v.high) * np.exp(METER * z)  # a smaller filter has more flow through it
    return np.asarray(burn.flow.at(moments)[None, :] * over[:, None])


def _step(burns: Sequence[Circumstances], filter_: Filter, core: Core) -> float:
    """The longest step [s] in which the heat travels no further than a cell, at the strongest flow."""
    most = max(float(_flow(b, filter_, np.arange(0.0, b.seconds, 1.0)).max()) for b in burns)
    fastest = most * float(gas.heat_capacity(1100.0)) * CELLS / float(np.min(core.heat))  # cells a second
    return next((s for s in STEPS if fastest * s <= COURANT), COURANT / fastest)


def _foretold(seconds: Array, after: Array, left: Array, upto: float, error: float) -> Foretold:
    """Sum up the members of one burn, arrays of shape (times, N)."""
    use = seconds <= upto + KEPT / 2.0
    seconds, after, left = seconds[use], after[use], left[use]
    shown = after + error * at.lattice("sensor")
    return Foretold(
        seconds,
        np.quantile(shown, POINTS, axis=1),
        np.quantile(left, POINTS, axis=1),
        _until(seconds, after >= HOT_AFTER),
        _until(seconds, left <= 1.0 - DONE),
    )


def _until(seconds: Array, reached: npt.NDArray[np.bool_]) -> Spread:
    """10, 50 and 90 % points of the minutes until ``reached`` (times, N) first holds; inf where it never does."""
    first = np.where(reached.any(axis=0), seconds[reached.argmax(axis=0)] / 60.0, NEVER)
    low, mid, high = (float(x) for x in np.quantile(first, POINTS, method="inverted_cdf"))
    return Spread(low, mid, high)
