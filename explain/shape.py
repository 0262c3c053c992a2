"""The shape of ``--json``: one pydantic model, from which the shipped JSON Schema is generated.

Arrays of three are low, middle, high (10, 50, 90 %). null means unknown.
"""

from __future__ import annotations

from typing import Annotated, Literal

from pydantic import BaseModel, ConfigDict, Field

Three = Annotated[list[float], Field(min_length=3, max_length=3)]
Chance = Annotated[float, Field(ge=0, le=1)]
FindingState = Literal["holds", "fails", "unknown", "conflict"]


class Shape(BaseModel):
    """Base: nothing beyond the named fields."""

    model_config = ConfigDict(extra="forbid")


class KnowledgeUsed(Shape):
    version: str
    hash: str
    shop_layer: str | None


class GateShape(Shape):
    decision: Literal["do not burn", "not needed", "hold", "clear"]
    because: list[str]
    dangers: list[str]
    missing: list[str]
    since: dict[str, str]  # findings that stand from an earlier round, and that round
    driving: str


class Restriction(Shape):
    reported: FindingState
    real: FindingState
    index: Three | None
    soot_g_per_l: Three | None
    ash_g_per_l: Three | None


class EvidenceShape(Shape):
    finding: str
    round: str
    decibans: float


class CauseShape(Shape):
    id: str
    title: str
    probability: Chance
    now: Chance
    level: Literal["ruled out", "unlikely", "possible", "likely", "proven"]
    state: Literal["present", "repaired", "does not apply"]
    because_of: list[str]
    for_: list[EvidenceShape] = Field(alias="for")
    against: list[EvidenceShape]

    model_config = ConfigDict(extra="forbid", populate_by_name=True)


class FindingShape(Shape):
    id: str
    round: str
    state: FindingState
    by: list[str]


class DerivedShape(Shape):
    id: str
    round: str
    low: float
    mid: float
    high: float
    unit: str
    in_range: bool


class TestShape(Shape):
    test: str
    minutes: float
    gain_bits: float
    score: float


class Why(Shape):
    """Answer of ``clogwise why CASE --json``."""

    case: str
    knowledge: KnowledgeUsed
    gate: GateShape
    restriction: Restriction
    causes: list[CauseShape]
    none_listed: Chance
    findings: list[FindingShape]
    derived: list[DerivedShape]
    next: list[TestShape]
    work: list[str]
    cautions: list[str]
    warnings: list[str]
    unused: list[str]
    conflicts: list[str]
