"""The base as a whole: nothing unreachable, unused, doubled or finer than its instrument; and it is large enough."""

import shutil
from pathlib import Path

from kb.lint import CHECKS, conditions, lint
from kb.load import HOME, knowledge_files, read_all
from kb.model import Knowledge


def test_nothing_is_wrong_that_is_not_accepted_with_a_reason(knowledge: Knowledge) -> None:
    assert [str(f) for f in lint(knowledge)] == []


def test_the_base_is_as_large_as_promised(knowledge: Knowledge) -> None:
    rules = [r for r in knowledge.rules.values() if r.status == "in-use"]
    assert len(rules) >= 240
    assert sum(r.then.state == "fails" for r in rules) >= len(rules) / 4
    assert len(knowledge.findings) >= 110
    assert len(knowledge.codes) >= 220
    assert len(knowledge.tests) >= 60
    assert len(knowledge.causes) >= 36


def test_every_rule_in_use_has_a_boundary_where_it_has_a_limit(knowledge: Knowledge) -> None:
    without = [
        rule.id
        for rule in knowledge.rules.values()
        if any(t.reading for t in (*rule.when.all, *rule.when.any)) and not rule.examples.boundary
    ]
    assert without == []


def test_titles_are_told_apart(knowledge: Knowledge) -> None:
    titles = [r.title for r in knowledge.rules.values()]
    assert sorted({t for t in titles if titles.count(t) > 1}) == []


def test_conditions_of_a_rule_are_not_doubled(knowledge: Knowledge) -> None:
    for rule in knowledge.rules.values():
        told = [t.model_dump_json() for t in conditions(rule)]
        assert len(told) == len(set(told)), rule.id


def test_a_limit_moved_too_close_is_found_out(tmp_path: Path) -> None:
    """The checks can fail: a base with the fault in it is told so."""
    (tmp_path / "rules").mkdir()
    for path in [*knowledge_files(), HOME / "accepted.yaml"]:
        shutil.copy(path, tmp_path / path.relative_to(HOME))
    heat = tmp_path / "rules" / "heat.yaml"
    text = heat.read_text(encoding="utf-8")
    assert "below: 75 °C" in text
    heat.write_text(text.replace("below: 75 °C", "below: 79 °C"), encoding="utf-8")
    assert any("[limits-too-close]" in str(f) for f in lint(read_all(tmp_path), tmp_path))


def test_each_check_can_find_something(knowledge: Knowledge) -> None:
    """Each check speaks up on the shipped base once what it looks for is taken out of it or put into it."""
    few = knowledge.model_copy(update={"rules": {}})
    told = {name for name, check in CHECKS.items() if list(check(few))}
    assert told >= {
        "cause-without-a-way", "finding-nobody-sets", "finding-one-sided", "question-unused", "reading-unused",
        "finding-nobody-reads", "derived-unread", "code-group-idle",
    }  # fmt: skip
    rule = next(iter(knowledge.rules.values()))
    twice = knowledge.model_copy(update={"rules": {"a": rule, "b": rule.model_copy(update={"id": "b"})}})
    assert list(CHECKS["alike-rules"](twice))
    assert list(CHECKS["code-group-empty"](knowledge.model_copy(update={"codes": {}})))
    cause = knowledge.causes["glow_system_fault"].model_copy(update={"weighs": [], "proofs": []})
    alike = knowledge.model_copy(update={"causes": {"a": cause, "b": cause.model_copy(update={"id": "b"})}})
    assert list(CHECKS["causes-alike"](alike))


def test_a_copy_with_other_readings_sorts_them_anew(knowledge: Knowledge) -> None:
    assert knowledge.usage_figures.keys() | knowledge.round_readings.keys() == knowledge.readings.keys()
    few = dict(list(knowledge.readings.items())[:5])
    copy = knowledge.model_copy(update={"readings": few})
    assert copy.usage_figures.keys() | copy.round_readings.keys() == few.keys()
    assert len(knowledge.round_readings) > 5
