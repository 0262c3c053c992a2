"""The rules told to CLIPS, the reference forward chainer, straight from :class:`kb.model.Rule`.

Each condition becomes a pattern of CLIPS; NOT is CLIPS' own, safe because the salience falls with the level
(Forgy-style agenda: a rule of a lower level never fires while one of a higher salience waits). Comparisons of
numbers are CLIPS' own too; only units are converted here.
"""

from __future__ import annotations

import tempfile
from collections.abc import Callable, Iterable, Mapping
from itertools import count

import clips

from inference.values import LEVELS, Number, Value, Word
from kb.model import Finding, Rule, Test
from kb.units import number

TEMPLATES = (
    "(deftemplate num (slot id) (slot low) (slot high))",
    "(deftemplate word (slot id) (slot is))",
    "(deftemplate vote (slot id) (slot side))",
    "(deftemplate state (slot id) (slot is))",
    "(deftemplate fired (slot rule))",
)


class ClipsRules:
    """One environment of CLIPS holding the rules of one stage."""

    def __init__(
        self,
        rules: Iterable[Rule],
        findings: Mapping[str, Finding],
        stage: str,
        unit_of: Callable[[str], str],
        with_salience: bool = True,
    ) -> None:
        self.unit_of = unit_of
        self.env = clips.Environment()
        self.constructs = list(TEMPLATES)
        rules = [r for r in rules if r.status != "retired"]
        here = {f.id for f in findings.values() if f.stage == stage}
        rules = [r for r in rules if (r.then.finding in here if r.then.finding else stage == "decide")]
        self.here = sorted(here)
        depth = depths(rules, here)
        self._names = count()
        for rule in rules:
            level = max((depth[f] + 1 for f in read_by(rule) & here), default=0)
            salience = -2 * level if with_salience else 0
            choices: list[Test | None] = [*rule.when.any] or [None]
            for choice in choices:
                self._build(rule, choice, salience)
        for finding in self.here:
            salience = -2 * depth[finding] - 1 if with_salience else 0
            for side, other in (("holds", "fails"), ("fails", "holds")):
                self.constructs.append(
                    f"(defrule settle-{finding}-{side} (declare (salience {salience}))"
                    f' (vote (id "{finding}") (side {side})) (not (vote (id "{finding}") (side {other})))'
                    f' => (assert (state (id "{finding}") (is {side}))))'
                )
        with tempfile.NamedTemporaryFile("w", suffix=".clp", encoding="utf-8") as file:
            file.write("\n".join(self.constructs))  # read as a file: clipspy reads a text letter by letter
            file.flush()
            self.env.load(file.name)

    def run(self, facts: Mapping[str, Value]) -> tuple[dict[str, str], set[str]]:
        """Return the states of the stage's findings and the ids of the rules that fired."""
        self.env.reset()
        for slot, value in facts.items():
            if isinstance(value, Word):
                if value.text in ("holds", "fails"):
                    self.env.assert_string(f'(state (id "{slot}") (is {value.text}))')
                elif value.text != "unknown":
                    self.env.assert_string(f'(word (id "{slot}") (is "{value.text}"))')
            else:
                low, high = (value.value,) * 2 if isinstance(value, Number) else (value.low, value.high)
                self.env.assert_string(f'(num (id "{slot}") (low {low!r}) (high {high!r}))')
        self.env.run()
        votes: dict[str, set[str]] = {finding: set() for finding in self.here}
        fired = set()
        for fact in self.env.facts():
            if fact.template.name == "vote":
                votes[fact["id"]].add(str(fact["side"]))
            elif fact.template.name == "fired":
                fired.add(fact["rule"])
        states = {
            finding: "conflict" if len(sides) == 2 else sides.pop() if sides else "unknown"
            for finding, sides in votes.items()
        }
        return states, fired

    def _build(self, rule: Rule, choice: Test | None, salience: int) -> None:
        patterns = [self._known(test, True) for test in rule.when.all]
        patterns += [self._known(choice, True)] if choice else []
        patterns += [self._known(test, False) for test in rule.when.none]
        patterns += [f"(not {self._known(test, True)})" for test in rule.when.unless]
        action = f'(assert (fired (rule "{rule.id}")))'
        if rule.then.finding:
            action += f' (assert (vote (id "{rule.then.finding}") (side {rule.then.state})))'
        self.constructs.append(
            f"(defrule {rule.id}-{next(self._names)} (declare (salience {salience})) {' '.join(patterns)} => {action})"
        )

    def _known(self, test: Test, met: bool) -> str:
        """Return the pattern for: the condition is known to be met (or, not ``met``, known not to be)."""
        if test.finding is not None:
            fact = f'(state (id "{test.finding}") (is {{}}))'
            if test.is_ == "unknown":
                either = f"(or {fact.format('holds')} {fact.format('fails')})"
                return f"(not {either})" if met else either
            other = "fails" if test.is_ == "holds" else "holds"
            return fact.format(test.is_ if met else other)
        if test.reading is not None:
            return self._number(test, met)
        name = test.answer or test.code or test.codes or test.cause
        if name is None:
            name = f"filter.{test.filter}" if test.filter else f"layout.{test.layout}"
        if test.code or test.codes:
            wanted = {
                ("present", True): ["present"],
                ("present", False): ["absent", "not listed"],
                ("absent", True): ["absent"],
                ("absent", False): ["present"],
                ("not_listed", True): ["absent", "not listed"],
                ("not_listed", False): ["present"],
            }[str(test.is_), met]
            return self._word(name, wanted, True)
        if test.at_least:
            return self._word(name, list(LEVELS[LEVELS.index(test.at_least) :]), met)
        if test.at_most:
            return self._word(name, list(LEVELS[: LEVELS.index(test.at_most) + 1]), met)
        return self._word(name, test.one_of or [str(test.is_)], met)

    def _word(self, slot: str, words: list[str], met: bool) -> str:
        constraint = ("|" if met else "&").join(("" if met else "~") + f'"{word}"' for word in words)
        return f'(word (id "{slot}") (is {constraint}))'

    def _number(self, test: Test, met: bool) -> str:
        unit = self.unit_of(str(test.reading))

        def limit(text: str | None) -> str:
            return repr(number(str(text), unit))

        low, high = f"?l{next(self._names)}", f"?h{next(self._names)}"
        if test.between:
            a, b = (limit(text) for text in test.between)
            inside, outside = (
                f"(and (>= {low} {a}) (<= {high} {b}))",
                f"(or (< {high} {a}) (> {low} {b}))",
            )
        elif test.above:
            inside, outside = f"(> {low} {limit(test.above)})", f"(<= {high} {limit(test.above)})"
        elif test.at_least:
            inside, outside = f"(>= {low} {limit(test.at_least)})", f"(< {high} {limit(test.at_least)})"
        elif test.below:
            inside, outside = f"(< {high} {limit(test.below)})", f"(>= {low} {limit(test.below)})"
        else:
            inside, outside = f"(<= {high} {limit(test.at_most)})", f"(> {low} {limit(test.at_most)})"
        asked = inside if met else outside
        return f'(num (id "{test.reading}") (low {low}) (high {high}&:{asked}))'


def read_by(rule: Rule) -> set[str]:
    """Return the findings that the rule reads."""
    when = rule.when
    return {t.finding for t in (*when.all, *when.any, *when.none, *when.unless) if t.finding}


def depths(rules: Iterable[Rule], here: Iterable[str]) -> dict[str, int]:
    """Return for each finding the longest chain of findings below it."""
    here, rules = set(here), list(rules)
    out: dict[str, int] = {}

    def depth(finding: str) -> int:
        if finding not in out:
            below = [g for r in rules if r.then.finding == finding for g in read_by(r) & here]
            out[finding] = max((depth(g) + 1 for g in below), default=0)
        return out[finding]

    return {finding: depth(finding) for finding in sorted(here)}
