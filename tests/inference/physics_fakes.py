"""Small cases for the physics tests, and the few knowledge tables that deriving needs, read from kb/."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from pathlib import Path
from typing import Any

import kb
from inference.derive import DerivedReading, derive
from kb import model
from kb.yamlread import read_yaml

HOME = Path(kb.__file__).parent


def _table(name: str, kind: type[model.Entry], key: str = "") -> dict[str, Any]:
    data = read_yaml(HOME / name).data
    return {entry["id"]: kind.model_validate(entry) for entry in (data[key] if key else data)}


@lru_cache(maxsize=1)
def knowledge() -> model.Knowledge:
    return model.Knowledge.model_construct(
        readings=_table("readings.yaml", model.Reading),
        derived=_table("derived.yaml", model.Derived),
        layouts=_table("layouts.yaml", model.Layout),
        substrates=_table("filters.yaml", model.Substrate, "substrates"),
        filter_types=_table("filters.yaml", model.FilterType, "filter_types"),
    )


@dataclass(frozen=True)
class FakeEvent:
    event: str
    odometer_km: float | None = None
    date: date | None = None
    completed: str | None = None


@dataclass(frozen=True)
class FakeRound:
    numbers: Mapping[str, float] = field(default_factory=dict)
    answers: Mapping[str, str] = field(default_factory=dict)
    index: int = 0
    when: str = "arrival"
    date: date | None = None
    odometer_km: float | None = None

    def number(self, slot: str) -> float | None:
        return self.numbers.get(slot)

    def answer(self, name: str) -> str | None:
        return self.answers.get(name)


@dataclass(frozen=True)
class FakeCase:
    rounds: tuple[FakeRound, ...]
    engine_litres: float | None = 2.0
    odometer_km: float | None = None
    filter_type: str | None = "coated"
    substrate: str | None = "silicon carbide"
    layout: str | None = "differential_pressure_two_temperatures"
    volume_l: float | None = None
    diameter_mm: float | None = None
    length_mm: float | None = None
    cells_per_square_inch: float | None = None
    wall_mm: float | None = None
    burn_limit_g_l: float | None = None
    fitted_at_km: float | None = None
    fitted: date | None = None
    history: tuple[FakeEvent, ...] = ()


def derived(
    numbers: Mapping[str, float], answers: Mapping[str, str] | None = None, odometer: float | None = None, **case: Any
) -> dict[str, DerivedReading]:
    """Derive one round of a 2.0 l case with a coated silicon carbide filter, or whatever ``case`` says."""
    round_ = FakeRound(numbers, answers or {}, odometer_km=odometer)
    return derive(FakeCase((round_,), **case), knowledge())[0]
