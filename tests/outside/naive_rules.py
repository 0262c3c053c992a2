"""A second reading of the rules, written apart from the engine: a plain loop over :class:`kb.model.Rule`.

Slow and simple on purpose. It shares with the engine only the typed model and the conversion of units.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping

from inference.values import LEVELS, Number, Spread, Value, Word
from kb.model import Finding, Rule, Test
from kb.units import number

States = dict[str, str]


def truth(test: Test, facts: Mapping[str, Value], states: States, unit_of: Callable[[str], str]) -> bool | None:
    """Return whether one condition is known to be met, known not to be, or unknown."""
    if test.finding is not None:
        state = states.get(test.finding, "unknown")
        settled = state in ("holds", "fails")
        if test.is_ == "unknown":
            return not settled
        return (state == test.is_) if settled else None
    if test.reading is not None:
        return _number(test, facts.get(test.reading), unit_of(test.reading))
    name = test.answer or test.code or test.codes or test.cause
    if name is None:
        name = f"filter.{test.filter}" if test.filter else f"layout.{test.layout}"
    value = facts.get(name)
    if not isinstance(value, Word) or value.text == "unknown":
        return None
    if test.code or test.codes:
        if test.is_ == "present":
            return value.text == "present"
        if test.is_ == "absent":
            return {"present": False, "absent": True}.get(value.text)
        return value.text != "present"
    if test.at_least is not None:
        return LEVELS.index(value.text) >= LEVELS.index(test.at_least)
    if test.at_most is not None:
        return LEVELS.index(value.text) <= LEVELS.index(test.at_most)
    return value.text == test.is_ if test.is_ is not None else value.text in (test.one_of or [])


def _number(test: Test, value: Value | None, unit: str) -> bool | None:
    if test.between is not None:
        low, high = test.between
        both = [
            _number(test.model_copy(update={"between": None, "at_least": low}), value, unit),
            _number(test.model_copy(update={"between": None, "at_most": high}), value, unit),
        ]
        return False if False in both else None if None in both else True
    if isinstance(value, Number):
        ends = [value.value]
    elif isinstance(value, Spread):
        ends = [value.low, value.high]
    else:
        return None
    if test.above is not None:
        said = [end > number(test.above, unit) for end in ends]
    elif test.at_least is not None:
        said = [end >= number(test.at_least, unit) for end in ends]
    elif test.below is not None:
        said = [end < number(test.below, unit) for end in ends]
    else:
        said = [end <= number(str(test.at_most), unit) for end in ends]
    return True if all(said) else False if not any(said) else None


def rule_fires(rule: Rule, facts: Mapping[str, Value], states: States, unit_of: Callable[[str], str]) -> bool:
    """Return whether the rule fires."""

    def t(test: Test) -> bool | None:
        return truth(test, facts, states, unit_of)

    when = rule.when
    return (
        all(t(test) is True for test in when.all)
        and (not when.any or any(t(test) is True for test in when.any))
        and all(t(test) is False for test in when.none)
        and not any(t(test) is True for test in when.unless)
    )


def naive_run(
    rules: Iterable[Rule],
    findings: Mapping[str, Finding],
    facts: Mapping[str, Value],
    stage: str,
    unit_of: Callable[[str], str],
) -> tuple[States, set[str], set[str]]:
    """Settle finding after finding, each once all that its rules read is settled.

    Returns the states of the stage's findings, the rules that fired and the cautions raised.
    """
    rules = [r for r in rules if r.status != "retired"]
    here = {f.id for f in findings.values() if f.stage == stage}
    states = {s: v.text for s, v in facts.items() if s in findings and isinstance(v, Word)}
    fired: set[str] = set()
    waiting = set(here)
    while waiting:
        before = len(waiting)
        for finding in sorted(waiting):
            setting = [r for r in rules if r.then.finding == finding]
            read = {t.finding for r in setting for t in _tests(r)} - {None}
            if read & waiting:
                continue
            spoke = [r for r in setting if rule_fires(r, facts, states, unit_of)]
            fired |= {r.id for r in spoke}
            votes = {r.then.state for r in spoke}
            states[finding] = (
                "conflict" if len(votes) == 2 else votes.pop() if votes else states.get(finding, "unknown")
            )
            waiting.discard(finding)
        assert len(waiting) < before, f"a circle among {sorted(waiting)}"
    raised = [r for r in rules if stage == "decide" and r.then.caution and rule_fires(r, facts, states, unit_of)]
    fired |= {r.id for r in raised}
    return {f: states.get(f, "unknown") for f in here}, fired, {str(r.then.caution) for r in raised}


def _tests(rule: Rule) -> list[Test]:
    return [*rule.when.all, *rule.when.any, *rule.when.none, *rule.when.unless]
