"""A result as JSON: the shape of explain/shape.py, numbers rounded to six digits, keys in a fixed order."""

from __future__ import annotations

import json
from typing import Any

from explain.rangeview import beyond_range
from explain.shape import (
    CauseShape,
    DerivedShape,
    EvidenceShape,
    FindingShape,
    GateShape,
    KnowledgeUsed,
    Restriction,
    TestShape,
    Why,
)  # fmt: skip
from explain.words import round_names
from inference.result import CauseResult, Result, Weight
from inference.values import Spread
from kb import __version__
from kb.model import Knowledge


def rounded(value: float) -> float:
    """Return ``value`` with six significant digits, so that the last bits of arithmetic never show."""
    return float(f"{value:.6g}")


def why(knowledge: Knowledge, result: Result) -> Why:
    """Return the whole answer in its published shape."""
    names = round_names(result)
    latest = result.latest
    states = {**latest.verdicts.findings, **result.decided.findings}

    def state(finding: str) -> Any:
        return states[finding].state if finding in states else "unknown"

    def three(*slots: str) -> list[float] | None:
        for slot in slots:
            value = latest.facts.get(slot)
            if isinstance(value, Spread):
                return [rounded(value.low), rounded(value.mid), rounded(value.high)]
        return None

    return Why(
        case=result.case.name,
        knowledge=KnowledgeUsed(version=__version__, hash=result.knowledge_hash, shop_layer=None),
        gate=gate(result),
        restriction=Restriction(
            reported=state("filter_reported_blocked"),
            real=state("filter_really_restricted"),
            index=three("restriction_index.fast_idle", "restriction_index.idle"),
            soot_g_per_l=three("soot_load"),
            ash_g_per_l=three("ash_load"),
        ),
        causes=[_cause(knowledge, c, names) for c in result.causes],
        none_listed=rounded(result.none_listed),
        findings=[
            FindingShape(id=f, round=names[i], state=r.state, by=sorted({v.rule for v in r.votes}))
            for i, round_ in enumerate(result.rounds)
            for f, r in _with_decided(result, i, round_.verdicts.findings).items()
        ],
        derived=[
            DerivedShape(
                id=slot,
                round=names[i],
                low=rounded(d.spread.low),
                mid=rounded(d.spread.mid),
                high=rounded(d.spread.high),
                unit=d.unit,
                in_range=d.in_range,
            )
            for i, round_ in enumerate(result.rounds)
            for slot, d in sorted(round_.derived.items())
        ],
        next=[
            TestShape(test=t.test, minutes=t.minutes, gain_bits=rounded(t.gain_bits), score=rounded(t.score))
            for t in result.next_tests
        ],
        work=[step.remedy for step in result.work],
        cautions=list(result.cautions),
        warnings=[*(str(w) for w in result.case.warnings), *beyond_range(knowledge, result)],
        unused=list(result.unused),
        conflicts=[f"{finding}@{names[i]}" for finding, i in result.conflicts] + list(result.clashes),
    )


def gate(result: Result) -> GateShape:
    """Return the gate's part of the answer."""
    told, names = result.gate, round_names(result)
    return GateShape(
        decision=told.decision,
        because=[r.says for r in told.because],
        dangers=[r.finding for r in told.dangers],
        missing=[r.finding for r in told.missing],
        since={r.finding: names[r.since] for r in (*told.dangers, *told.doubts, *told.not_met) if r.since is not None},
        driving=told.driving,
    )


def _with_decided(result: Result, index: int, findings: dict[str, Any]) -> dict[str, Any]:
    last = index == len(result.rounds) - 1
    return dict(sorted({**findings, **(result.decided.findings if last else {})}.items()))


def _cause(knowledge: Knowledge, c: CauseResult, names: list[str]) -> CauseShape:
    def evidence(weights: tuple[Weight, ...]) -> list[EvidenceShape]:
        return [EvidenceShape(finding=w.finding, round=names[w.round], decibans=rounded(w.decibans)) for w in weights]

    return CauseShape(
        id=c.id, title=knowledge.causes[c.id].title, probability=rounded(c.probability), now=rounded(c.now),
        level=c.level, state=c.state, because_of=list(c.because_of), **{"for": evidence(c.speaks_for)},
        against=evidence(c.speaks_against),
    )  # fmt: skip


def dump(answer: Any) -> str:
    """Return pydantic shapes as indented JSON text, the same bytes for the same answer."""
    return json.dumps(answer.model_dump(by_alias=True), indent=2, ensure_ascii=False)


def schema() -> str:
    """Return the JSON Schema of ``why --json``, as shipped in explain/why.schema.json."""
    return json.dumps(Why.model_json_schema(by_alias=True), indent=2, ensure_ascii=False) + "\n"
