"""Friction of the square duct: 14.227 from Poisson's equation solved anew, its round sister from the fluids library."""

from __future__ import annotations

import fluids
import numpy as np
import pytest
from scipy.sparse import diags_array, eye_array, kron
from scipy.sparse.linalg import spsolve

from inference.physics import filter_pressure as fp


def friction_constant(cells: int) -> float:
    """Fanning f Re of a square duct of width 1: laplace(u) = -1 inside, u = 0 on the walls, hydraulic diameter 1."""
    h = 1.0 / (cells + 1)
    line = diags_array([1.0, -2.0, 1.0], offsets=[-1, 0, 1], shape=(cells, cells)) / h**2
    plane = kron(line, eye_array(cells)) + kron(eye_array(cells), line)
    speed = spsolve(plane.tocsc(), -np.ones(cells * cells))
    mean = float(speed.sum()) * h**2
    return 1.0 / (2.0 * mean)  # f Re = D^2 (-dp/dx) / (2 mu u)


def test_twice_the_fanning_constant_of_a_square() -> None:
    coarse, fine = friction_constant(39), friction_constant(79)
    limit = fine + (fine - coarse) / 3.0  # Richardson, second order
    assert limit == pytest.approx(14.227, abs=0.005)
    assert pytest.approx(2.0 * limit, rel=5e-4) == fp.FRICTION


@pytest.mark.parametrize("reynolds", [50.0, 500.0, 1500.0])
def test_the_square_lies_a_little_below_the_round(reynolds: float) -> None:
    """fluids gives Darcy's factor, 64 / Re of a round pipe; the square has 4 x 14.227 / Re, 11 % less."""
    round_pipe = fluids.friction_factor(Re=reynolds)
    square = 4.0 * (fp.FRICTION / 2.0) / reynolds
    assert square / round_pipe == pytest.approx(56.91 / 64.0, rel=1e-3)


def test_reynolds_number() -> None:
    """The channel's Reynolds number from fluids, fed with the speed at the mouth worked out by hand."""
    volume, pitch, opening, length, flow = 2.475e-3, 1.7961e-3, 1.4405e-3, 0.1524, 0.0562
    channels = volume / (2.0 * length * pitch**2)
    speed = flow / (channels * opening**2)
    wanted = fluids.Reynolds(V=speed, D=opening, rho=0.62, mu=2.94e-5)
    assert fp.channel_reynolds(0.62, 2.94e-5, flow, volume, pitch, opening, length) == pytest.approx(wanted, rel=1e-9)
    assert wanted < 2000.0
