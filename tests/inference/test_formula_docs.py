"""Every public function of the burn and the forecast says what it is; every formula with units, range and source."""

from __future__ import annotations

import doctest
import importlib
import inspect
import pkgutil
import re
from collections.abc import Callable
from types import ModuleType
from typing import Any

import pytest

import inference.burn
import inference.forecast
import inference.physics
from inference.physics.valid import ranges
from kb.load import HOME
from kb.yamlread import read_yaml

PACKAGES = (inference.burn, inference.forecast, inference.physics)
MODULES = [
    importlib.import_module(f"{p.__name__}.{m.name}") for p in PACKAGES for m in pkgutil.iter_modules(p.__path__)
]
PUBLIC = [
    thing for m in MODULES for name, thing in inspect.getmembers(m)
    if not name.startswith("_") and getattr(thing, "__module__", "") == m.__name__
    and (inspect.isfunction(thing) or inspect.isclass(thing))
]  # fmt: skip
FORMULAS = [f for f in PUBLIC if inspect.isfunction(f) and (ranges(f) or "Equation:" in (f.__doc__ or ""))]
SOURCES = [entry["id"] for entry in read_yaml(HOME / "sources.yaml").data]
WORDS = (
    "from-memory",
    "from memory",
    "definition",
    "conservation",
    "geometry",
    "common textbook",
    "balance",
    "first-order",
)


@pytest.mark.parametrize("module", MODULES, ids=lambda m: m.__name__)
def test_examples_are_true(module: ModuleType) -> None:
    assert doctest.testmod(module).failed == 0
    assert module.__doc__


@pytest.mark.parametrize("thing", PUBLIC, ids=lambda t: f"{t.__module__}.{t.__name__}")
def test_it_says_what_it_is(thing: Any) -> None:
    text = inspect.getdoc(thing) or ""
    assert len(text) > 20
    assert text[0].isupper() or text[0].isdigit()


def test_there_are_formulas() -> None:
    mine = [f for f in FORMULAS if not f.__module__.startswith("inference.physics")]
    assert len(mine) >= 8
    assert len(FORMULAS) >= 40


@pytest.mark.parametrize("formula", FORMULAS, ids=lambda f: f"{f.__module__}.{f.__name__}")
def test_a_formula_says_all_of_it(formula: Callable[..., object]) -> None:
    text = inspect.getdoc(formula) or ""
    parts = ("Equation:", "Parameters\n", "Returns\n", "Raises\n", "Valid range:", "References\n", "Examples\n")
    places = [text.index(part) for part in parts]
    assert places == sorted(places)
    assert re.search(r"\[[^\]]+\]", text[places[2] : places[3]]), "the result has no unit"
    described = text[places[1] : places[2]]
    for name, given in inspect.signature(formula).parameters.items():
        line = re.search(rf"^[\w, ]*\b{name}\b[\w, ]* : .*", described, re.M)
        assert line, f"{name} is not described"
        figure = (
            "Body" not in str(given.annotation)
            and "Stream" not in str(given.annotation)
            and "dict" not in str(given.annotation)
        )
        assert re.search(r"\[[^\]]+\]", line[0]) or not figure, f"{name} has no unit"


@pytest.mark.parametrize("formula", FORMULAS, ids=lambda f: f"{f.__module__}.{f.__name__}")
def test_a_formula_names_a_source_that_is_listed_or_says_that_it_has_none(formula: Callable[..., object]) -> None:
    text = inspect.getdoc(formula) or ""
    source = text[text.index("References\n") : text.index("Examples\n")].lower()
    named = [s for s in SOURCES if s in source]
    assert named or any(w in source for w in WORDS) or "checked" in source or "tests/outside" in source, source
