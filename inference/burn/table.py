"""The burn tables as they stand in table.json, read once: peak temperatures, limits and times of a burn.

``table.json`` is made by :mod:`inference.burn.make`. It names the figures of each body it was made from; a body whose
figures in kb/filters.yaml are others, or that it does not know, has no entry here and keeps its bare limit.
"""

from __future__ import annotations

import json
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np

from inference.physics.valid import Array, Numeric
from kb.model import Substrate
from kb.units import number

FILE = Path(__file__).with_name("table.json")
ASH_MELTS = 1075.0  # °C, midst of the 950 to 1,200 °C at which oil ash melts (from memory)
SCATTER = 150.0  # K, how far peaks of like burns lie apart for reasons the model leaves out, 10/90 (from memory)


@lru_cache(maxsize=1)
def table() -> dict[str, Any]:
    """Return the tables."""
    found: dict[str, Any] = json.loads(FILE.read_text("utf-8"))
    return found


def kinds(kind: str | None) -> tuple[str, ...]:
    """Return the kinds of filter to reckon with: the one named, or all where it is not known."""
    known = table()["minutes"]
    return (kind,) if kind is not None and kind in known else tuple(sorted(known))


@dataclass(frozen=True)
class Limit:
    """The soot a burn may begin with [g/l].

    Parameters
    ----------
    low, mid, high : what the gate goes by: surely safe, as likely as not, surely not
    by_heat : what the burn model alone allows, where it was asked [g/l]
    notes : how the figures came about, in plain sentences
    """

    low: float
    mid: float
    high: float
    by_heat: tuple[float, float, float] | None
    notes: tuple[str, ...]


def figures(body: Substrate) -> dict[str, str]:
    """Return what of a body the tables are made from, as it is written (reading the units would ask pint)."""
    return {"ceiling": body.ceiling, "heat_capacity": body.heat_capacity, "bulk_density": body.bulk_density}


def known_figures(body: Substrate) -> bool:
    """Say whether the tables were made from this body's present figures."""
    return bool(table()["figures"].get(body.id) == figures(body))


def peak_at(body: str, kind: str, soot: Numeric) -> Array:
    """Return peak temperatures [°C], shape (3, ...): 10, 50 and 90 % points with the scatter the model leaves out.

    ``soot`` [g/l] is held at the ends of the table, 2 to 15 g/l.
    """
    loads = table()["loads"]
    low, mid, high = (np.interp(soot, loads, row) for row in table()["peak"][body][kind])
    return np.array([mid - np.hypot(mid - low, SCATTER), mid, mid + np.hypot(high - mid, SCATTER)])


@lru_cache(maxsize=128)
def heat_limit(body: str, kind: str, ceiling: float) -> tuple[float, float, float]:
    """Return the loads [g/l] at which the peak reaches ``ceiling`` [°C] with a chance of 10, 50 and 90 %."""
    fine = np.linspace(table()["loads"][0], table()["loads"][-1], 261)
    low, mid, high = peak_at(body, kind, fine)
    reached = [float(np.interp(ceiling, np.maximum.accumulate(row), fine)) for row in (high, mid, low)]
    return reached[0], reached[1], reached[2]


def limit(bodies: Iterable[Substrate], kind: str | None, ash: bool = False) -> Limit:
    """Return the limit for one body, or the lowest of several where it is not known which it is.

    At each end the smaller counts of what the burn model allows and what such bodies are designed to hold: the model
    knows of heat, not of cracks from one part growing faster than the next, so it only ever makes the limit lower.
    With ``ash`` the body must also stay below the temperature at which a thick layer of ash melts into it.

    Raises
    ------
    ValueError : no body given
    """
    found = [_limit(body, kind, ash) for body in bodies]
    if not found:
        raise ValueError("no filter body to take a limit of")
    return min(found, key=lambda x: (x.high, x.low))


def _limit(body: Substrate, kind: str | None, ash: bool) -> Limit:
    low, high = number(body.safe_soot.low, "g/l"), number(body.safe_soot.high, "g/l")
    design = (low, (low + high) / 2.0, high)
    if not known_figures(body):
        note = f"The burn model has not been made for {body.id} with these figures; the bare design limit was taken."
        return Limit(*design, None, (note,))
    ceiling = number(body.ceiling, "°C")
    if ash:
        ceiling = min(ceiling, ASH_MELTS)
    each = [heat_limit(body.id, k, ceiling) for k in kinds(kind)]
    heat = (min(h[0] for h in each), min(h[1] for h in each), min(h[2] for h in each))
    taken = [min(a, b) for a, b in zip(heat, design, strict=True)]
    says = (
        f"In {body.id} a fall to idle at the worst moment of a burn would reach {ceiling:.0f} °C from "
        f"{heat[0]:.1f} to {heat[2]:.1f} g/l on (burn model); such bodies are designed to hold {low:g} to {high:g}"
        " g/l. "
        "The smaller was taken at each end."
    )
    return Limit(taken[0], taken[1], taken[2], heat, (says,))


def times(which: str, kind: str | None, inlet: Array, z: Array) -> Array:
    """Return minutes of a burn as a sample: ``which`` is "minutes" (80 % burnt) or "until_hot" (450 °C behind).

    Parameters
    ----------
    inlet : temperature the gas before the filter settles at [°C]
    z : standard normal quantiles of all that is not known of the burn [-]
    """
    among = kinds(kind)
    rows = [_at(which, k, inlet) for k in among]
    # a kind not known: each member of the sample is of one kind in turn
    turn = np.arange(inlet.size) % len(among)
    low, mid, high = (np.choose(turn, [row[i] for row in rows]) for i in range(3))
    return np.asarray(mid * np.exp(np.where(z < 0, np.log(mid / low), np.log(high / mid)) * z / 1.2815515655446004))


def _at(which: str, kind: str, inlet: Array) -> list[Array]:
    places = table()["inlets"]
    return [np.exp(np.interp(inlet, places, np.log(row))) for row in table()[which][kind]]


def inlet_needed(kind: str | None, minutes: float, row: int = 1) -> float:
    """Return the lowest temperature [°C] before the filter at which 80 % burns within ``minutes``.

    ``row`` 0, 1, 2: at the 10, 50 or 90 % point of the times. A kind not known takes the one that needs most.
    """
    places = np.asarray(table()["inlets"])
    needed = []
    for k in kinds(kind):
        taken = np.asarray(table()["minutes"][k][row])
        needed.append(float(np.interp(-np.log(minutes), -np.log(taken), places)))
    return max(needed)
