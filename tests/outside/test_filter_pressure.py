"""The closed form of the filter's pressure against a boundary-value solution of the channel equations (scipy).

Two different methods agree, so the closed form is worked right. Neither knows a real filter's permeability: this
checks the mathematics, not reality. Momentum balance of inlet and outlet channel: Bissett 1984 (from memory).
"""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.integrate import solve_bvp

from inference.physics import filter_pressure as fp
from inference.physics.gas import density, viscosity, volume_flow
from inference.physics.load import Body, Stream, filter_drop

# Worked example A: 200 cells a square inch, 14 thousandths of an inch wall, no deep bed.
BODY = Body(
    volume=math.pi / 4 * 0.1438**2 * 0.1524, pitch=fp.cell_pitch(200.0), wall=0.3556e-3, length=0.1524,
    permeability=3e-13, cake=100.0 * 2e-14, deep_bed=0.0, deep_bed_load=0.5, packing=100.0, ash_permeability=2e-13,
)  # fmt: skip
STATES = {"idle": (0.010, 150.0), "light": (0.035, 300.0), "cruise": (0.070, 400.0), "high": (0.120, 550.0)}


def stream(state: str) -> Stream:
    mass, celsius = STATES[state]
    rho = density(103e3, celsius + 273.15)
    return Stream(viscosity(celsius + 273.15), rho, volume_flow(mass, rho))


def by_boundary_values(body: Body, gas: Stream, soot: float, momentum: bool) -> float:
    """Pressure before the inlet channel [Pa], from flow and pressure along both channels."""
    a, length = float(body.opening), float(body.length)
    layer = float(fp.layer_thickness(soot, body.pitch, a, body.packing))
    b = a - 2 * layer
    cake = float(body.cake) / body.packing
    channels = float(body.volume) / (2 * length * float(body.pitch) ** 2)
    entering = float(gas.flow) / channels  # m^3/s into one inlet channel
    mu, rho = float(gas.viscosity), float(gas.density)
    walls = mu * (float(body.wall) / (4 * a * float(body.permeability)) + math.log(a / b) / (8 * cake))

    def slopes(x: np.ndarray, y: np.ndarray) -> np.ndarray:
        inflow, p1, p2 = y[0] * entering, y[1], y[2]
        leaving = (p1 - p2) / walls  # m^2/s through the walls on a metre of channel
        outflow = entering - inflow
        d1 = -mu * fp.FRICTION * inflow / b**4
        d2 = -mu * fp.FRICTION * outflow / a**4
        if momentum:
            d1 = d1 + 2 * rho * inflow * leaving / b**4
            d2 = d2 - 2 * rho * outflow * leaving / a**4
        return np.vstack([-leaving / entering, d1, d2])

    def ends(first: np.ndarray, last: np.ndarray) -> np.ndarray:
        return np.array([first[0] - 1.0, last[0], last[2]])

    x = np.linspace(0.0, length, 101)
    guess = np.vstack([1 - x / length, np.full_like(x, walls * entering / length), np.zeros_like(x)])
    solved = solve_bvp(slopes, ends, x, guess, tol=1e-6, max_nodes=20000)
    assert solved.success, solved.message
    return float(solved.y[1][0])


def without_ends(body: Body, gas: Stream, soot: float) -> float:
    """The closed form less the loss at entrance and exit, which the channel equations do not have."""
    ends = fp.entrance_exit_drop(gas.density, gas.flow, body.volume, body.pitch, body.opening, body.length)
    return float(filter_drop(body, gas, soot) - ends)


@pytest.mark.parametrize("soot", [0.0, 6.0])
@pytest.mark.parametrize("state", STATES)
def test_closed_form_within_two_per_cent_of_the_boundary_value_solution(state: str, soot: float) -> None:
    gas = stream(state)
    assert without_ends(BODY, gas, soot) == pytest.approx(by_boundary_values(BODY, gas, soot, True), rel=0.02)


@pytest.mark.parametrize("state", STATES)
def test_without_momentum_the_two_agree_within_half_a_per_cent(state: str) -> None:
    """So the third in the friction term is right."""
    gas = stream(state)
    assert without_ends(BODY, gas, 0.0) == pytest.approx(by_boundary_values(BODY, gas, 0.0, False), rel=0.005)


def test_friction_of_a_square_duct_from_its_series_solution() -> None:
    """Mean velocity of laminar flow in a square duct, by Fourier series (classical, Poisson's equation)."""
    series = sum(math.tanh(n * math.pi / 2) / n**5 for n in range(1, 200, 2))
    mean = (1 - 192 / math.pi**5 * series) / 12  # in units of pressure gradient times width squared over viscosity
    assert pytest.approx(1 / mean, rel=1e-4) == fp.FRICTION


EXAMPLE_A = {  # clean, 3, 6, 10 g/l [Pa]
    "idle": (228, 461, 722, 1126), "light": (1351, 2711, 4231, 6586),
    "cruise": (3586, 7133, 11097, 17239), "high": (8699, 17139, 26571, 41184),
}  # fmt: skip


@pytest.mark.regression
@pytest.mark.parametrize("state", STATES)
def test_worked_example_a(state: str) -> None:
    """Computed beforehand from the same formulas by another program, and kept: no measurement."""
    gas = stream(state)
    for soot, pascal in zip((0.0, 3.0, 6.0, 10.0), EXAMPLE_A[state], strict=True):
        assert float(filter_drop(BODY, gas, soot)) == pytest.approx(pascal, rel=0.003, abs=1.0)


@pytest.mark.regression
def test_layer_of_worked_example_a() -> None:
    for soot, micron in ((3.0, 34.4), (6.0, 70.6), (10.0, 122.4)):
        assert fp.layer_thickness(soot, BODY.pitch, BODY.opening, 100.0) * 1e6 == pytest.approx(micron, abs=0.1)
    assert fp.filtration_area(BODY.volume, BODY.pitch, BODY.opening) == pytest.approx(2.2105, abs=1e-3)


def test_a_thin_layer_is_mass_over_area_and_density() -> None:
    """Limit of the layer formula, geometry alone: thickness tends to soot V / (rho Af)."""
    area = fp.filtration_area(BODY.volume, BODY.pitch, BODY.opening)
    thin = 0.01 * BODY.volume / (100.0 * area)
    assert fp.layer_thickness(0.01, BODY.pitch, BODY.opening, 100.0) == pytest.approx(thin, rel=1e-3)
