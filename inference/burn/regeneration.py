"""A burn inside one filter body, cell by cell along its length: soot and temperature over time. Base SI.

One-dimensional, after Bissett and Shadman (1985): the gas passes each stretch of wall once with the oxygen it came
with, takes on the heat of the wall and carries it on to the next stretch. Gas and wall of a cell have one
temperature (the channels are narrow: the gas comes within a few kelvin of the wall over a tenth of the length).
Many burns are worked out at once: every figure may be an array, the last axis is the cells.

Stepping: heat explicitly (the Courant number stays under 0.3), soot by the exact decay at the rate of the step. So
soot never goes below nothing, and the heat set free is that of the soot gone, to rounding. A stiff integrator gives
the same course in tests/outside/test_burn_stiff.py.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from dataclasses import dataclass

import numpy as np

from inference.burn import kinetics
from inference.physics import gas
from inference.physics.heat import carbon_heat
from inference.physics.valid import Array, Numeric, raw

CELLS = 16
AMBIENT = 293.15  # K
STEP = 0.5  # s
BAR = 1e5  # Pa

_oxygen, _dioxide = raw(kinetics.oxygen_rate), raw(kinetics.dioxide_rate)
_share, _limited, _warmth = raw(kinetics.dioxide_share), raw(kinetics.with_supply), raw(gas.heat_capacity)


@dataclass(frozen=True)
class Core:
    """The filter body: heat it takes up [J/(m^3 K)], conduction along it [W/(m K)], length [m], loss [W/(m^3 K)]."""

    heat: Numeric
    conduction: Numeric
    length: float = 0.1524
    loss: Numeric = 200.0


@dataclass(frozen=True)
class Chemistry:
    """What the soot and the coating are like.

    Parameters
    ----------
    rate, energy : of the route with oxygen, see kinetics.oxygen_rate [1/s], [J/mol]
    dioxide_rate, dioxide_energy : of the route with nitrogen dioxide, see kinetics.dioxide_rate [1/s], [J/mol]
    approach : how near the catalysts bring nitrogen oxides to their equilibrium, 0 to 1 [-]
    recycle : times a molecule of nitrogen oxide serves on its way through the wall [-]
    monoxide : share of the carbon that leaves as monoxide [-]
    """

    rate: Numeric
    energy: Numeric
    dioxide_rate: Numeric
    dioxide_energy: Numeric
    approach: Numeric
    recycle: Numeric
    monoxide: Numeric


@dataclass(frozen=True)
class Gas:
    """The gas: mass flow through a volume of filter [kg/(s m^3)], mole shares of oxygen and nitrogen oxides [-]."""

    flow: Numeric
    oxygen: Numeric
    oxides: Numeric


@dataclass(frozen=True)
class State:
    """Soot [kg/m^3] and temperature [K] of each cell."""

    soot: Array
    temperature: Array

    @property
    def mean_soot(self) -> Array:
        return np.asarray(self.soot.mean(axis=-1))

    @property
    def after(self) -> Array:
        """Temperature of the gas leaving the filter [K]."""
        return np.asarray(self.temperature[..., -1])


def burning(core_soot: Array, temperature: Array, chemistry: Chemistry, through: Gas) -> Array:
    """Soot that burns in a volume of filter, each gas within what the flow brings of it.

    Equation: b = s(k_O2 S, O2 brought x 12/32 / (1 - f/2)) + s(k_NO2 S, NO2 brought x 12/92 x n), s = with_supply

    Parameters
    ----------
    core_soot : soot in the filter, S [kg/m^3]
    temperature : of soot and gas [K]
    chemistry : rates, energies, approach to the equilibrium of nitrogen oxides, their re-use n, share f of monoxide [-]
    through : mass flow [kg/(s m^3)] and mole shares [-] of the gas

    Returns
    -------
    soot burnt [kg/(m^3 s)]

    Raises
    ------
    nothing; the rates are taken without their checks, in the inner loop

    Valid range: as oxygen_rate and dioxide_rate, 500 to 1230 K.

    References
    ----------
    bissett-shadman-1985 (form, from memory); stoichiometry by conservation of carbon, checked in tests/outside.

    Examples
    --------
    >>> much = Chemistry(1e9, 150e3, 0.0, 50e3, 0.0, 1.0, 0.0)
    >>> through = Gas(10.0, 0.1, 0.0)
    >>> limited = burning(np.array([5.0]), np.array([1100.0]), much, through)
    >>> brought = 10.0 * 0.1 * kinetics.OXYGEN_MASS * kinetics.CARBON_PER_OXYGEN
    >>> bool(abs(limited[0] / brought - 1.0) < 1e-3)
    True
    """
    with_oxygen = _oxygen(temperature, through.oxygen, chemistry.rate, chemistry.energy) * core_soot
    # carbon that leaves as monoxide takes half the oxygen
    oxygen = through.flow * through.oxygen * kinetics.OXYGEN_MASS * kinetics.CARBON_PER_OXYGEN
    supply = oxygen / (1.0 - 0.5 * np.asarray(chemistry.monoxide))
    burnt = _limited(with_oxygen, np.maximum(supply, 1e-12))
    dioxide = through.oxides * chemistry.approach * _share(temperature, np.asarray(through.oxygen))
    with_dioxide = _dioxide(temperature, dioxide, chemistry.dioxide_rate, chemistry.dioxide_energy) * core_soot
    brought = through.flow * dioxide * kinetics.DIOXIDE_MASS * kinetics.CARBON_PER_DIOXIDE * chemistry.recycle
    return np.asarray(burnt + _limited(with_dioxide, np.maximum(brought, 1e-12)))


def heating(temperature: Array, inlet: Numeric, core: Core, through: Gas) -> Array:
    """What gas flow, conduction and the outside add to each cell, the burning left out.

    Equation: q_i = m c_p (T_(i-1) - T_i) n + k (T_(i-1) - 2 T_i + T_(i+1)) / dx^2 - h (T_i - T_outside)

    Parameters
    ----------
    temperature : of each of the n cells, the last axis [K]
    inlet : of the gas before the filter [K]
    core : conduction [W/(m K)], length [m] and loss [W/(m^3 K)] of the body
    through : mass flow of the gas, m [kg/(s m^3)]

    Returns
    -------
    heat added to each cell [W/m^3]

    Raises
    ------
    ValueError : an inlet whose shape does not go with the temperatures

    Valid range: as gas.heat_capacity; gas and wall of one temperature (narrow channels).

    References
    ----------
    Balance of energy over one cell; checked by the first law in tests/outside.

    Examples
    --------
    >>> body = Core(1e6, 1.0, loss=0.0)
    >>> bool(np.allclose(heating(np.full(4, 600.0), 600.0, body, Gas(10.0, 0.1, 0.0)), 0.0))
    True
    """
    cells = temperature.shape[-1]
    before = np.concatenate([np.broadcast_to(inlet, temperature[..., :1].shape), temperature[..., :-1]], axis=-1)
    carried = through.flow * _warmth(temperature) * (before - temperature) * cells
    step = core.length / cells
    wide = np.concatenate([temperature[..., :1], temperature, temperature[..., -1:]], axis=-1)
    led = core.conduction * np.diff(wide, n=2, axis=-1) / step**2
    return np.asarray(carried + led - core.loss * (temperature - AMBIENT))


def advance(state: State, inlet: Numeric, core: Core, chemistry: Chemistry, through: Gas, step: float = STEP) -> State:
    """Return the state one time step [s] later."""
    soot = np.maximum(state.soot, 1e-9)
    left = soot * np.exp(-burning(soot, state.temperature, chemistry, through) / soot * step)
    freed = carbon_heat(chemistry.monoxide) * (soot - left)
    warmed = heating(state.temperature, inlet, core, through) * step + freed
    return State(left, state.temperature + warmed / core.heat)


def course(
    state: State,
    inlet: Callable[[float], Numeric],
    core: Core,
    chemistry: Chemistry,
    through: Gas,
    time: float,
    step: float = STEP,
) -> Iterator[tuple[float, State]]:
    """Yield time [s] and state from the beginning on, with the gas before the filter at ``inlet(t)`` [K]."""
    steps = round(time / step)
    yield 0.0, state
    for i in range(steps):
        state = advance(state, inlet(i * step), core, chemistry, through, step)
        yield (i + 1) * step, state


def loaded(soot: Numeric, temperature: Numeric, shape: tuple[int, ...] = (), cells: int = CELLS) -> State:
    """Return an evenly loaded body of one temperature; ``soot`` and ``temperature`` broadcast to ``shape``."""
    full = (*shape, cells)
    soot, temperature = (np.asarray(x, dtype=float) for x in (soot, temperature))
    each = [x[..., None] if x.ndim else x for x in (soot, temperature)]
    return State(*(np.array(np.broadcast_to(x, full)) for x in each))
