"""Every formula says what it is, in which units, where it holds, where it comes from, and shows one true example."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable
from types import ModuleType

import pytest

import inference.physics
from inference.physics.valid import ranges

MODULES = [
    importlib.import_module(f"inference.physics.{m.name}") for m in pkgutil.iter_modules(inference.physics.__path__)
]
FORMULAS = [
    f for m in MODULES for _, f in inspect.getmembers(m, inspect.isfunction)
    if f.__module__ == m.__name__ and (ranges(f) or "Equation:" in (f.__doc__ or ""))
]  # fmt: skip


@pytest.mark.parametrize("module", MODULES, ids=lambda m: m.__name__)
def test_examples_are_true(module: ModuleType) -> None:
    assert doctest.testmod(module).failed == 0


def test_there_are_formulas() -> None:
    assert len(FORMULAS) >= 25


@pytest.mark.parametrize("formula", FORMULAS, ids=lambda f: f.__name__)
def test_a_formula_says_all_of_it(formula: Callable[..., object]) -> None:
    text = inspect.getdoc(formula) or ""
    places = [
        text.index(part)
        for part in ("Equation:", "Parameters\n", "Returns\n", "Raises\n", "Valid range:", "References\n", "Examples\n")
    ]
    assert places == sorted(places)
    assert ">>>" in text
    assert re.search(r"\[[^\]]+\]", text[places[2] : places[3]]), "the result has no unit"
    for name in inspect.signature(formula).parameters:
        line = re.search(rf"^{name} : .*|^[a-z_, ]*\b{name}\b[a-z_, ]* : .*", text, re.M)
        assert line, f"{name} is not described"
        assert re.search(r"\[[^\]]+\]$", line[0]) or name in ("body", "gas", "used", "made"), f"{name} has no unit"


@pytest.mark.parametrize("formula", [f for f in FORMULAS if ranges(f)], ids=lambda f: f.__name__)
def test_ranges_are_ranges(formula: Callable[..., object]) -> None:
    for bounds in ranges(formula).values():
        assert bounds.low < bounds.high
        assert bounds.unit
