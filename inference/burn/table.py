"""The burn tables as they stand in table.json, read once: peaks, tension, limits and times of a burn.

``table.json`` is made by :mod:`inference.burn.make`. It names the figures of each body it was made from; a body whose
figures in kb/filters.yaml are others, or that it does not know, has no entry here and keeps its bare design limit.
"""

from __future__ import annotations

import json
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any, Literal

import numpy as np

from inference.physics.calibration import Parameter
from inference.physics.valid import Array, Numeric
from kb.model import Substrate
from kb.units import number

FILE = Path(__file__).with_name("table.json")
ASH_MELTS = 1075.0  # °C, midst of the 950 to 1,200 °C at which oil ash melts (from memory)
# What is borne, over what a new piece bears: pieces differ, and water and earlier burns wear them
WORN = Parameter(0.55, 0.8, 1.1, "1", True, "makers keep lasting stress under half the strength; from memory")
# what a joint bears is itself known to a factor of two; the scatter is no wider than leaves the careful end at what
# segmented bodies are designed to hold, so that figure checks the joint, the joint does not check the figure
JOINT = Parameter(0.7, 1.0, 1.4, "1", True, "joints from piece to piece, held to the design figure; from memory")
SCATTER = 150.0  # K, how far peaks of like burns lie apart for reasons the model leaves out, 10/90 (from memory)

Three = tuple[float, float, float]


@lru_cache(maxsize=1)
def table() -> dict[str, Any]:
    """Return the tables."""
    found: dict[str, Any] = json.loads(FILE.read_text("utf-8"))
    return found


def kinds(kind: str | None) -> tuple[str, ...]:
    """Return the kinds of filter to reckon with: the one named, or all where it is not known."""
    known = table()["minutes"]
    return (kind,) if kind is not None and kind in known else tuple(sorted(known))


Cause = Literal["melts", "cracks", "joints"]


COMES = {"melts": "reach {ceiling:.0f} °C", "cracks": "crack it", "joints": "tear the joints between its segments"}
FIRST = {
    "melts": "The body gets too hot (melts) before it cracks",
    "cracks": "The body cracks before it gets too hot (melts)",
    "joints": "The joints tear (cracks between the segments) before the body gets too hot (melts)",
}
MOSTLY = {"melts": "it gets too hot", "cracks": "it cracks", "joints": "the joints tear"}


@dataclass(frozen=True)
class Limit:
    """The soot a burn may begin with [g/l].

    Parameters
    ----------
    low, mid, high : what the gate goes by: surely safe, as likely as not, surely not
    by_heat, by_cracks : what the burn model allows before the body gets too hot, and before it cracks [g/l]; None
        where the model was not made for the body
    notes : how the figures came about, in plain sentences; the last is the short of it
    """

    low: float
    mid: float
    high: float
    by_heat: Three | None
    by_cracks: Three | None
    notes: tuple[str, ...]


def figures(body: Substrate) -> dict[str, str]:
    """Return what of a body the tables are made from, as it is written (reading the units would ask pint)."""
    solid = body.solid
    out = {
        "ceiling": body.ceiling, "heat_capacity": body.heat_capacity, "bulk_density": body.bulk_density,
        "strength": solid.strength or "", "stretch": solid.stretch or "", "stiffness": solid.stiffness,
        "expansion": solid.expansion, "poisson": str(solid.poisson), "width": solid.width,
    }  # fmt: skip
    if solid.joint is not None:
        out |= {"joint thickness": solid.joint.thickness, "joint shear": solid.joint.shear}
    return out


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


def strain_at(which: Literal["crack", "joint"], body: str, kind: str, soot: Numeric) -> Array:
    """Return tension in a piece, or shear in a joint, over what it bears [-], shape (3, ...): 10, 50 and 90 % points.

    With the scatter and wear of strength that the model leaves out; ``soot`` [g/l] is held at the ends, 2 to 15 g/l.
    """
    loads = table()["loads"]
    bears = WORN if which == "crack" else JOINT
    low, mid, high = (np.log(np.maximum(np.interp(soot, loads, row), 1e-6)) for row in table()[which][body][kind])
    weak, usual, strong = np.log([bears.low, bears.mid, bears.high])
    middle = mid - usual
    return np.exp([middle - np.hypot(mid - low, strong - usual), middle, middle + np.hypot(high - mid, usual - weak)])


def _reaches(rows: Array, fine: Array, mark: float) -> Three:
    """The loads [g/l] at which a quantity reaches ``mark`` with a chance of 10, 50 and 90 %."""
    low, mid, high = rows
    first, half, last = (float(np.interp(mark, np.maximum.accumulate(row), fine)) for row in (high, mid, low))
    return first, half, last


def _fine() -> Array:
    return np.linspace(table()["loads"][0], table()["loads"][-1], 261)


@lru_cache(maxsize=128)
def heat_limit(body: str, kind: str, ceiling: float) -> Three:
    """Return the loads [g/l] at which the peak reaches ``ceiling`` [°C] with a chance of 10, 50 and 90 %."""
    return _reaches(peak_at(body, kind, _fine()), _fine(), ceiling)


@lru_cache(maxsize=128)
def crack_limit(which: Literal["crack", "joint"], body: str, kind: str) -> Three:
    """Return the loads [g/l] at which a piece, or a joint, tears with a chance of 10, 50 and 90 %."""
    return _reaches(strain_at(which, body, kind, _fine()), _fine(), 1.0)


def limit(bodies: Iterable[Substrate], kind: str | None, ash: bool = False) -> Limit:
    """Return the limit for one body, or the lowest of several where it is not known which it is.

    The burn model says from what soot on the body gets too hot, cracks, or its joints tear; the first of these to
    come decides, at each end. What such bodies are designed to hold is only a cap, for what the model leaves out: never
    above its upper end, and surely safe no further than its lower. With ``ash`` the body must also stay below the
    temperature at which a thick layer of ash melts into it.

    Raises
    ------
    ValueError : no body given
    """
    found = [_limit(body, kind, ash) for body in bodies]
    if not found:
        raise ValueError("no filter body to take a limit of")
    return min(found, key=lambda x: (x.high, x.low))


@lru_cache(maxsize=128)
def _limit(body: Substrate, kind: str | None, ash: bool) -> Limit:
    low, high = number(body.safe_soot.low, "g/l"), number(body.safe_soot.high, "g/l")
    if not known_figures(body):
        note = f"The burn model has not been made for {body.id} with these figures; the bare design limit was taken."
        return Limit(low, (low + high) / 2.0, high, None, None, (note,))
    ceiling = number(body.ceiling, "°C")
    if ash:
        ceiling = min(ceiling, ASH_MELTS)
    allows: dict[Cause, Three] = {
        "melts": _least(heat_limit(body.id, k, ceiling) for k in kinds(kind)),
        "cracks": _least(crack_limit("crack", body.id, k) for k in kinds(kind)),
    }
    if body.solid.joint is not None:
        allows["joints"] = _least(crack_limit("joint", body.id, k) for k in kinds(kind))
    model = _least(allows.values())
    cap = (low, high, high)
    taken = _least([model, cap])
    cracks = _least(three for cause, three in allows.items() if cause != "melts")
    notes = _notes(body.id, ceiling, allows, taken, (low, high))
    return Limit(*taken, allows["melts"], cracks, notes)


def _least(threes: Iterable[Three]) -> Three:
    """The smallest at each of the three points."""
    low, mid, high = (min(ends) for ends in zip(*threes, strict=True))
    return low, mid, high


def _notes(
    body: str, ceiling: float, allows: Mapping[Cause, Three], taken: Three, design: tuple[float, float]
) -> tuple[str, ...]:
    """How the limit came about: what comes when; and in short what comes first and where the design range caps it."""
    model = _least(allows.values())
    comes = [f"{COMES[cause].format(ceiling=ceiling)} {_from_on(three)}" for cause, three in allows.items()]
    says = f"In {body} a fall to idle at the worst moment of a burn would {', '.join(comes[:-1])}"
    says += f" and {comes[-1]} (the first figure with one chance in ten, the last with nine; burn model)."
    careful, usual = (min(allows, key=lambda cause: allows[cause][end]) for end in (0, 1))
    low, high = design
    built = f"the {low:g} to {high:g} g/l that such bodies are designed to hold"
    sets = f"{FIRST[careful]}: surely safe is {taken[0]:.1f} g/l"
    if taken[0] < model[0]:
        sets += f", the lower end of {built}; the model alone would allow {_up_to(model[0], taken[0])}"
    decides = careful != usual and taken[1] == model[1]
    sets += f"; as likely as not {MOSTLY[usual]} first." if decides else "."
    if taken[2] < model[2]:
        end = "their upper end" if taken[0] < model[0] else f"the upper end of {built}"
        ends = f"The limit is never above {high:g} g/l, {end}; the model alone might allow {_up_to(model[2], high)}."
    else:
        ends = f"The limit is never above {taken[2]:.1f} g/l, within {built}."
    return says, f"{sets} {ends}"


def _up_to(load: float, cap: float) -> str:
    """What the model alone would allow above a cap; never the cap's own figure, nor the table's end as one."""
    most = float(table()["loads"][-1])
    if load >= most:
        return f"{most:g} g/l and more"
    return f"{load:.1f} g/l" if f"{load:.1f}" != f"{cap:.1f}" else "hardly more"


def _from_on(three: Three) -> str:
    """From what soot on, in words; the table's end is no figure of its own."""
    most = float(table()["loads"][-1])
    low, _, high = three
    if low >= most:
        return f"only above {most:g} g/l"
    return f"at {low:.1f} to {high:.1f} g/l" if high < most else f"at {low:.1f} to more than {most:g} g/l"


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
