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


# Functions that are no formula of their own: they go through time, look up, sample or put formulas together. All else
# that hands out a figure is a formula and says so in full.
NOT_FORMULAS = {
    "burn.conditions": "burn_gas chemistry heat_of idle_gas lattice",  # samples
    "burn.cracks": "piece rim_soot strained",  # puts formulas together
    "burn.elastic": "shares",  # solves the free body by finite elements
    "burn.foretell": "body chemistry_of foretell run",
    "burn.judge": "judge",
    "burn.make": "core fall_to_idle flares main make minutes number_of rounded",  # makes the tables
    "burn.regeneration": "advance course loaded",  # go through time
    "burn.table": "crack_limit figures heat_limit inlet_needed kinds known_figures limit peak_at strain_at table times",
    "forecast.outlook": "forecast",
    "forecast.sample": "drawn factor normal places present quantiles",  # samples and their quantiles
    "forecast.simulate": "dice simulate",
    "forecast.usage": "usage_of",
    "physics.ash": "additive_sample over_the_life",
    "physics.calibration": "egr_share",
    "physics.load": "terms",  # the parts of filter_drop
    "physics.sampling": "between between_log column exact log_spread middle normal_spread of_round spread vehicle",
    "physics.valid": "beyond outside ranges raw valid",
}


def test_every_other_function_is_a_formula() -> None:
    """So a new function cannot go without units, range and source by leaving out the word."""
    others: dict[str, set[str]] = {}
    for module in MODULES:
        for name, thing in vars(module).items():
            function = inspect.unwrap(thing) if callable(thing) else None
            mine = inspect.isfunction(function) and function.__module__ == module.__name__
            if mine and not name.startswith("_") and thing not in FORMULAS:
                others.setdefault(module.__name__.removeprefix("inference."), set()).add(name)
    assert others == {module: set(names.split()) for module, names in NOT_FORMULAS.items()}


HANDS_FIGURES = re.compile(r"Array|float|Numeric|Spread")
NO_UNIT = {"rounded"}  # leaves figures as they are but for their digits


@pytest.mark.parametrize("thing", [f for f in PUBLIC if inspect.isfunction(f)], ids=lambda f: f.__name__)
def test_what_hands_out_figures_names_their_unit(thing: Callable[..., object]) -> None:
    given = str(inspect.signature(thing).return_annotation)
    if HANDS_FIGURES.search(given) and thing.__name__ not in NO_UNIT:
        assert re.search(r"\[[^\]]+\]|\bunit", inspect.getdoc(thing) or ""), given


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


@pytest.mark.parametrize("formula", [f for f in FORMULAS if ranges(f)], ids=lambda f: f"{f.__module__}.{f.__name__}")
def test_ranges_are_ranges(formula: Callable[..., object]) -> None:
    for bounds in ranges(formula).values():
        assert bounds.low < bounds.high
        assert bounds.unit
