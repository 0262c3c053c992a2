"""Where a formula may be used, kept as data on the formula: outside it warns, the impossible raises."""

from __future__ import annotations

import functools
import inspect
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass
from typing import ParamSpec, TypeAlias, TypeVar, cast

import numpy as np
import numpy.typing as npt

Array: TypeAlias = npt.NDArray[np.float64]
Numeric: TypeAlias = float | Array

BEYOND = "outside what the formulas are good for"
# What a technician calls the arguments, where they do not say it themselves, and the units he reads them in:
# by SI unit, its name, factor and shift
NAMES = {
    "ambient": "outside temperature",
    "ash": "ash load",
    "burn_completion": "share of burns completed",
    "cells_per_square_inch": "cell density",
    "channel_reynolds": "Reynolds number in the channels",
    "cooling_share": "share of the heat that the charge air cooler takes out",
    "displacement": "engine size",
    "filling": "share that the cylinders fill",
    "inlet": "temperature before the turbocharger",
    "heat_share": "share of the late fuel's heat that the catalyst gives",
    "load": "soot load",
    "mass_flow": "exhaust mass flow",
    "oil_use": "oil consumption",
    "oxygen": "share of oxygen",
    "permeability": "wall permeability",
    "pressure": "gas pressure",
    "ratio": "pressure behind the turbocharger over that before it",
    "share": "share of exhaust fed back",
    "share_by_valve": "share of exhaust fed back",
    "speed": "engine speed",
    "sulphated_ash": "share of sulphated ash",
    "temperature": "gas temperature",
    "wall": "wall thickness",
}
SHOWN = {
    "K": ("°C", 1.0, -273.15), "Pa": ("mbar", 1e-2, 0.0), "kg/s": ("g/s", 1e3, 0.0), "m^3": ("l", 1e3, 0.0),
    "m": ("mm", 1e3, 0.0), "1/s": ("1/min", 60.0, 0.0), "m^3/m": ("l per 1000 km", 1e9, 0.0),
    "kg/m": ("g/km", 1e6, 0.0), "1/inch^2": ("a square inch", 1.0, 0.0),
}  # fmt: skip

P = ParamSpec("P")
R = TypeVar("R")


@dataclass(frozen=True)
class Bounds:
    """The closed range of one argument in which the formula holds, in the argument's own unit."""

    low: float
    high: float
    unit: str


@dataclass(frozen=True)
class Outside:
    """A warning: the formula was used outside its range; the result stands but is to be read with care."""

    formula: str
    quantity: str
    value: float
    bounds: Bounds

    def __str__(self) -> str:
        called = self.formula if self.quantity == "result" else self.quantity
        name = NAMES.get(called, called.replace("_", " "))
        unit, scale, shift = SHOWN.get(self.bounds.unit, (self.bounds.unit, 1.0, 0.0))
        if unit == "1" and "share" in name:
            unit, scale = "%", 100.0
        whole = unit == "°C"
        value, low, high = (_written(x * scale + shift, whole) for x in (self.value, self.bounds.low, self.bounds.high))
        tail = "" if unit == "1" else f" {unit}"
        return f"The {name}, {value}{tail}, is {BEYOND}, {low} to {high}{tail}."


@dataclass(frozen=True)
class NotMade:
    """A warning in words: the formula is not made for what it was used on."""

    says: str

    def __str__(self) -> str:
        return f"{self.says} This is {BEYOND}."


Odd: TypeAlias = Outside | NotMade


def _written(value: float, whole: bool) -> str:
    return f"{value:,.0f}" if whole or abs(value) >= 100.0 else f"{value:.3g}"


def beyond(notes: Iterable[str]) -> tuple[str, ...]:
    """Return those of a derived reading's notes that say where a formula left its range."""
    return tuple(note for note in notes if BEYOND in note)


def valid(
    positive: tuple[str, ...] = (),
    not_negative: tuple[str, ...] = (),
    **bounds: tuple[float, float, str],
) -> Callable[[Callable[P, R]], Callable[P, R]]:
    """Put the valid range of a formula on it, and make it raise on the impossible.

    Parameters
    ----------
    positive : arguments that must be above zero everywhere
    not_negative : arguments that must be zero or more everywhere
    bounds : argument name, or "result", to (low, high, unit): the range in which the formula holds
    """

    def wrap(function: Callable[P, R]) -> Callable[P, R]:
        names = list(inspect.signature(function).parameters)
        unknown = {*positive, *not_negative, *bounds} - {*names, "result"}
        if unknown:
            raise TypeError(f"{getattr(function, '__name__', '')} has no argument {', '.join(sorted(unknown))}")

        @functools.wraps(function)
        def checked(*args: P.args, **kwargs: P.kwargs) -> R:
            for place, value in enumerate(args):
                _possible(names[place], value)
            for name, value in kwargs.items():
                _possible(name, value)
            return function(*args, **kwargs)

        def _possible(name: str, value: object) -> None:
            if name in positive:
                if not _least(value) > 0:
                    raise ValueError(f"{name} is {_least(value):g}; it must be above zero")
            elif name in not_negative and not _least(value) >= 0:
                raise ValueError(f"{name} is {_least(value):g}; it must not be negative")

        checked.__dict__["ranges"] = {name: Bounds(*triple) for name, triple in bounds.items()}
        return checked

    return wrap


def _least(value: object) -> float:
    if isinstance(value, np.ndarray):
        return float(np.minimum.reduce(value, axis=None))  # as min(), in half the time
    return float(cast(float, value))


def raw(formula: Callable[P, R]) -> Callable[P, R]:
    """Return the formula without its checks, for inner loops over values that were checked before."""
    return cast(Callable[P, R], formula.__dict__["__wrapped__"])


def ranges(formula: Callable[..., object]) -> Mapping[str, Bounds]:
    """Return the valid range of each argument of ``formula`` that has one."""
    return cast(Mapping[str, Bounds], formula.__dict__.get("ranges", {}))


def outside(formula: Callable[..., object], **values: Numeric) -> tuple[Outside, ...]:
    """Return a warning for each argument whose mean lies outside the formula's range."""
    found = []
    for name, bounds in ranges(formula).items():
        if name in values:
            given = values[name]
            value = float(given.sum()) / given.size if isinstance(given, np.ndarray) else float(given)
            if not bounds.low <= value <= bounds.high:
                found.append(Outside(formula.__name__, name, value, bounds))
    return tuple(found)
