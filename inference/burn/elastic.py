"""What tension comes of an uneven temperature in a round body: linear elasticity, by finite elements. Base SI.

A cylinder free on all sides, of one elastic material, hotter here than there (Timoshenko and Goodier, Theory of
Elasticity, thermal stress). Round about its axis everything is the same, so a half section is enough: bilinear
elements over radius and length. The work is done once for a body: stress is linear in the temperatures, so what one
degree in each cell does is kept as a matrix (:class:`Shares`), and a burn's stress is that matrix times its
temperatures. The textbook's closed solutions for the long cylinder give the same in
tests/outside/test_thermal_stress.py.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
import numpy.typing as npt

from inference.physics.valid import Array

ALONG, OUT = 32, 12  # elements along the body and from its axis to its skin
GAUSS = 3.0**-0.5
Places = npt.NDArray[np.int_]
Field = Callable[[float, float], Array]  # temperatures by radius and place along [m], one for each cell
NORMAL = np.array([1.0, 1.0, 1.0, 0.0])  # heat makes a body grow in every direction and shears it in none


@dataclass(frozen=True)
class Shares:
    """Stress over E alpha / (1 - nu) for one degree; each of shape (4, points, cells): radial, round, along, shear.

    Parameters
    ----------
    along : one degree more in one cell [-], the same from axis to skin
    across : one degree on the axis and minus one degree at the skin of one cell [-], a parabola between
    """

    along: Array
    across: Array


def shares(length: float, radius: float, poisson: float, cells: int) -> Shares:
    """Return what stress one degree in each cell makes anywhere in a free cylinder [-], as shares of E alpha/(1 - nu).

    Parameters
    ----------
    length, radius : of the cylinder [m]
    poisson : Poisson's ratio [-]
    cells : stretches of equal length whose temperatures are known [-]; straight lines join their midsts
    """
    mesh = _Mesh(length, radius, poisson)
    middles = (np.arange(cells) + 0.5) / cells * length

    def along(_: float, z: float) -> Array:
        return np.array([np.interp(z, middles, one) for one in np.eye(cells)])

    def across(r: float, z: float) -> Array:
        return along(r, z) * (1.0 - 2.0 * (r / radius) ** 2)

    both = mesh.stress([along, across])
    return Shares(*(part * (1.0 - poisson) for part in both))


def tension(stress: Array) -> Array:
    """Return the greatest tension at each point, whichever way it pulls.

    Equation: s_1 = max(s_round, (s_radial + s_along) / 2 + sqrt(((s_radial - s_along) / 2)^2 + s_shear^2))

    Parameters
    ----------
    stress : radial, round, along and shear stress, first axis [Pa] (or any one unit)

    Returns
    -------
    greatest principal stress, tension counted positive [Pa] (or the unit of ``stress``)

    Raises
    ------
    ValueError : not four components

    Valid range: bodies that are the same all round their axis.

    References
    ----------
    Mohr's circle; common textbook.

    Examples
    --------
    >>> float(tension(np.array([3.0, 1.0, -3.0, 4.0])))
    5.0
    """
    radial, around, along, shear = stress
    in_plane = (radial + along) / 2.0 + np.hypot((radial - along) / 2.0, shear)
    out: Array = np.maximum(in_plane, around)
    return out


class _Mesh:
    """The half section of a cylinder as bilinear elements, E = 1 and alpha = 1."""

    def __init__(self, length: float, radius: float, poisson: float) -> None:
        self.high, self.wide = length / ALONG, radius / OUT
        side, rest = 1.0 - poisson, (1.0 - 2.0 * poisson) / 2.0
        law = np.full((4, 4), poisson)
        law[3, :] = law[:, 3] = 0.0
        law[range(4), range(4)] = side, side, side, rest
        self.law = law / ((1.0 + poisson) * (1.0 - 2.0 * poisson))  # Hooke's law

    def strain(self, x: float, y: float, r: float) -> Array:
        """Strain by the movements of an element's four corners, at the place (x, y) within it, -1 to 1."""
        corners = np.array([(-1, -1), (1, -1), (1, 1), (-1, 1)])
        by_x, by_y = 1.0 + corners[:, 0] * x, 1.0 + corners[:, 1] * y
        outward = corners[:, 0] * by_y / (2.0 * self.wide)
        upward = corners[:, 1] * by_x / (2.0 * self.high)
        out = np.zeros((4, 8))
        out[0, 0::2] = out[3, 1::2] = outward
        out[2, 1::2] = out[3, 0::2] = upward
        out[1, 0::2] = by_x * by_y / 4.0 / r
        return out

    def elements(self) -> list[tuple[int, int, Places]]:
        """Each element's place along and out, and the numbers of its corners' movements."""
        out = []
        for i in range(ALONG):
            for j in range(OUT):
                first = i * (OUT + 1) + j
                corners = np.array([first, first + 1, first + OUT + 2, first + OUT + 1])
                out.append((i, j, np.stack([2 * corners, 2 * corners + 1], axis=1).ravel()))
        return out

    def stress(self, fields: Sequence[Field]) -> list[Array]:
        """Stress (4, points, cells) that each field of temperatures makes."""
        count = 2 * (ALONG + 1) * (OUT + 1)
        stiff = np.zeros((count, count))
        loads = [np.zeros((count, field(0.0, 0.0).size)) for field in fields]
        elements = self.elements()
        for i, j, moved in elements:
            for x, y in ((x, y) for x in (-GAUSS, GAUSS) for y in (-GAUSS, GAUSS)):
                r, z = (j + 0.5 + x / 2.0) * self.wide, (i + 0.5 + y / 2.0) * self.high
                strain = self.strain(x, y, r)
                weight = r * self.high * self.wide / 4.0
                stiff[np.ix_(moved, moved)] += strain.T @ self.law @ strain * weight
                push = strain.T @ self.law @ NORMAL * weight
                for load, field in zip(loads, fields, strict=True):
                    load[moved] += np.outer(push, field(r, z))
        axis = 2 * np.arange(ALONG + 1) * (OUT + 1)  # the axis keeps its place, and one point of it does not slide
        free = np.setdiff1d(np.arange(count), [*axis, 1])
        within = stiff[np.ix_(free, free)]
        out = []
        for load, field in zip(loads, fields, strict=True):
            movements = np.zeros_like(load)
            movements[free] = np.linalg.solve(within, load[free])
            out.append(self._up_to_the_faces(elements, movements, field))
        return out

    def _up_to_the_faces(self, elements: list[tuple[int, int, Places]], movements: Array, field: Field) -> Array:
        """Stress in the midst of each element, where it is best known, and drawn on to skin and end faces."""
        middles = np.zeros((4, ALONG, OUT, movements.shape[1]))
        for i, j, moved in elements:
            r, z = (j + 0.5) * self.wide, (i + 0.5) * self.high
            grown = self.strain(0.0, 0.0, r) @ movements[moved] - np.outer(NORMAL, field(r, z))
            middles[:, i, j] = self.law @ grown
        skin = 1.5 * middles[:, :, -1:] - 0.5 * middles[:, :, -2:-1]
        wide = np.concatenate([middles, skin], axis=2)
        front, back = (1.5 * wide[:, a : a + 1] - 0.5 * wide[:, b : b + 1] for a, b in ((0, 1), (ALONG - 1, ALONG - 2)))
        return np.concatenate([front, wide, back], axis=1).reshape(4, -1, movements.shape[1])
