"""What every test may use: the knowledge, loaded once, and the folder of cases."""

from __future__ import annotations

from pathlib import Path

import pytest

from inference.case import Case
from inference.read_case import read_case
from kb.load import load
from kb.model import Knowledge

ROOT = Path(__file__).parent.parent
CASES = sorted(p for p in (ROOT / "cases").glob("*.yaml") if not p.name.endswith(".expected.yaml"))


@pytest.fixture(scope="session")
def knowledge() -> Knowledge:
    return load()


@pytest.fixture(params=CASES, ids=lambda p: p.stem)
def case(request: pytest.FixtureRequest, knowledge: Knowledge) -> Case:
    return read_case(request.param, knowledge)
