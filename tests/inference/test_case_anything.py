"""Whatever stands in the file, reading it gives a case or sentences about it, and nothing else."""

from __future__ import annotations

import json
from typing import Any

import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from inference.case import Case
from inference.facts import round_facts
from inference.read_case import CASE_KEYS, parse_case
from inference.read_round import ROUND_KEYS
from inference.understood import understood
from kb.faults import Faults
from tests.inference.case_knowledge import knowledge
from tests.inference.test_case_reading import WHOLE

QUICK = settings(max_examples=150, deadline=None, suppress_health_check=list(HealthCheck))
figures = st.one_of(
    st.integers(-10, 10**7),
    st.floats(allow_nan=False, allow_infinity=False),
    st.booleans(),
    st.none(),
    st.sampled_from(["9 mbar", "9,5 mbar", "1e400 km", "71 °C", "yes", "no", "unknown", "2026-03-02", "P0128", "x"]),
    st.text(max_size=12),
)
names = st.sampled_from(
    [*CASE_KEYS, *ROUND_KEYS, "gauge_pressure", "idle", "fast_idle", "event", "what", "status", "distance"]
)
trees = st.recursive(
    figures,
    lambda inner: st.one_of(st.lists(inner, max_size=3), st.dictionaries(names, inner, max_size=5)),
    max_leaves=12,
)
rounds = st.lists(
    st.fixed_dictionaries(
        {},
        optional={
            "when": st.sampled_from(["arrival", "after repair", "after burn", "follow-up"]),
            "readings": st.dictionaries(st.sampled_from(sorted(knowledge().readings)), trees, max_size=3),
            "answers": st.dictionaries(st.sampled_from(sorted(knowledge().questions)), figures, max_size=4),
            "codes": st.lists(figures, max_size=3),
            "date": figures,
            "odometer": figures,
            "codes_cleared": trees,
        },
    ),
    max_size=3,
)


def read_or_told(data: Any) -> Case | Faults:
    """JSON is YAML, so a tree is written down without a YAML writer of our own."""
    return told_or_read(json.dumps(data, ensure_ascii=False).encode("utf-8", "surrogatepass"))


def told_or_read(raw: bytes) -> Case | Faults:
    try:
        return parse_case(raw, "any.yaml", knowledge())
    except Faults as told:
        return told


@QUICK
@given(st.dictionaries(names, trees, max_size=6))
def test_any_tree_of_known_names(data: dict[str, Any]) -> None:
    out = read_or_told(data)
    if isinstance(out, Faults):
        assert out.faults
        assert all(len(f.says) < 1500 and f.says.isprintable() for f in out.faults)


@QUICK
@given(rounds)
def test_any_rounds(data: list[dict[str, Any]]) -> None:
    out = read_or_told({"case": "c", "rounds": data})
    if isinstance(out, Case):
        facts = round_facts(out, knowledge())
        assert len(facts.slots) == len(facts.origin) == len(out.rounds)
        for slots, origin in zip(facts.slots, facts.origin, strict=True):
            assert set(slots) == set(origin)
        assert all(line.section for line in understood(out, knowledge()))


@QUICK
@given(st.data())
def test_any_damage_to_a_good_file(data: st.DataObject) -> None:
    at = data.draw(st.integers(0, len(WHOLE)))
    cut = data.draw(st.integers(0, 12))
    new = data.draw(st.text(alphabet="{}[]:,-#&*!|>'\"%@\n\t 0aé\x00", max_size=6))
    raw = (WHOLE[:at] + new + WHOLE[at + cut :]).encode()
    out = told_or_read(raw)
    assert isinstance(out, Case) or out.faults


@pytest.mark.parametrize(
    "text",
    [
        "case: c\nrounds: [{odometer: " + "9" * 5000 + "}]\n",
        "case: c\nrounds: [{odometer: " + "9" * 5000 + " km}]\n",
        "case: c\nrounds: [{odometer: 1e999 km}]\n",
        "case: " + "9" * 5000 + "\nrounds: [{}]\n",
        "case: c\nrounds: [{readings: {fuel_level: 5 km**99999}}]\n",
        "case: c\nrounds: [{readings: {? [a, b] : 1}}]\n",
        "case: c\nrounds: [{readings: {fuel_level: {fuel_level: {fuel_level: 5 %}}}}]\n",
        "case: &a c\nrounds: [*a]\n",
        "case: !!python/object:os.system c\nrounds: [{}]\n",
        "case: c\nrounds: " + "[" * 300 + "]" * 300 + "\n",
        "case: c\nrounds: [{? '' : 1}]\n",
        "case: c\nrounds: [null]\n",
        "case: c\nrounds: ['arrival']\n",
        "case: c\nhistory: [arrival, null]\nrounds: [{}]\n",
        "case: c\nrounds: [{when: [arrival]}]\n",
        "case: c\nfilter: [coated]\nvehicle: 2.0\nlayout: 3\nusage: x\nrounds: [{}]\n",
    ],
)
def test_known_ways_to_break_a_reader_are_told(text: str) -> None:
    out = told_or_read(text.encode())
    assert isinstance(out, Faults)
    assert all(f.says.isprintable() and len(f.says) < 600 for f in out.faults), out
