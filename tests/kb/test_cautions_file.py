"""kb/cautions.yaml: each danger in two short sentences, under the names the other files use."""

from __future__ import annotations

import re
from pathlib import Path

import pytest

from kb.model import Caution
from kb.yamlread import read_yaml

CAUTIONS = [Caution.model_validate(c) for c in read_yaml(Path(__file__).parents[2] / "kb" / "cautions.yaml").data]
# Names that readings, questions, tests, remedies and the gate use.
NAMED = {
    "hot-exhaust", "running-engine", "carbon-monoxide", "hot-coolant", "raised-vehicle", "fuel-spray",
    "battery", "caustic-dust", "rotating-parts", "fire-under-vehicle", "never-leave-a-burn", "abort-cooling",
    "fuel-in-oil-runaway", "oil-above-mark", "molten-filter", "filter-removal-law", "additive-handling",
    "high-voltage", "forced-burn-needs-open-air", "maker-procedure-first", "local-law-and-licence",
    "drive-test-lawful", "cleaning-fluids", "opened-exhaust-gas", "coolant-in-exhaust",
}  # fmt: skip


def test_names() -> None:
    ids = [c.id for c in CAUTIONS]
    assert len(ids) == len(set(ids))
    assert sorted(NAMED - set(ids)) == []


@pytest.mark.parametrize("caution", CAUTIONS, ids=lambda c: c.id)
def test_two_short_sentences_danger_then_what_to_do(caution: Caution) -> None:
    sentences = re.findall(r"[^.]+\.", caution.says)
    assert len(sentences) == 2, caution.says
    assert "".join(sentences) == caution.says
    assert all(len(s.split()) <= 32 for s in sentences), caution.says


def test_the_deadly_come_first() -> None:
    first = {c.id for c in CAUTIONS if c.rank == 1}
    assert {"carbon-monoxide", "raised-vehicle", "never-leave-a-burn", "molten-filter", "fuel-spray"} <= first
