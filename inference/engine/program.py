"""The compiled rules: each rule as flat ways (conjunctions of literals), sorted into stages and levels.

A way is all of ``all``, one of ``any``, each of ``none`` known to be false and each of ``unless`` not known
to be true. It reads its slots positively, so that no negation or alternative is left for the matcher.
"""

from __future__ import annotations

import typing
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

from inference.engine.levels import Edge, levels
from inference.engine.literals import Literal, LiteralError, Together, UnitOf, compile_test, together
from inference.values import Spread, Value, Word
from kb.faults import nearest
from kb.model import Finding, Rule, Test

StageName = typing.Literal["find", "decide"]
ErrorOf = Callable[[str, float], float | None]
Part = typing.Literal["all", "any", "none", "unless"]
# The outcomes of a literal that satisfy a part of `when`.
SERVES: dict[Part, tuple[bool | None, ...]] = {
    "all": (True,),
    "any": (True,),
    "none": (False,),
    "unless": (False, None),
}
PARTS: tuple[Part, ...] = ("all", "any", "none", "unless")


class RuleProblems(Exception):  # noqa: N818  a plural, since all problems are told at once
    """All that is wrong with the rules, as (rule id, message), sorted; rule id "" where none can be named."""

    def __init__(self, problems: Iterable[tuple[str, str]]) -> None:
        self.problems = sorted(set(problems))
        super().__init__("\n".join(f"{rule}: {says}" for rule, says in self.problems))


class RuleError(Exception):
    """A condition met a value it cannot read; names rule, condition, fact and value."""


@dataclass(frozen=True)
class Need:
    """One literal of a way, by its place in :attr:`Stage.literals`, and the part of ``when`` it stands in."""

    literal: int
    part: Part


@dataclass(frozen=True)
class Way:
    """One way in which a rule's conditions can be met; ``number`` counts the choices of ``any`` from 0.

    ``quantities``: the needs that a derived reading may meet more or less surely, those on one reading together.
    """

    rule: str
    number: int
    level: int
    needs: tuple[Need, ...]
    quantities: tuple[Together, ...] = ()


@dataclass(frozen=True, eq=False)
class Stage:
    """The rules of one stage.

    Parameters
    ----------
    ways : in order of level, rule id and number of the way
    findings : every finding of the stage, sorted
    levels : the findings that rules of this stage conclude, level by level
    error_of : one standard error of the instrument behind a raw reading's slot, at a value [its unit]; None: unknown
    """

    name: StageName
    rules: Mapping[str, Rule]
    literals: tuple[Literal, ...]
    ways: tuple[Way, ...]
    findings: tuple[str, ...]
    levels: tuple[tuple[str, ...], ...]
    error_of: ErrorOf | None = None

    @cached_property
    def slots(self) -> tuple[str, ...]:
        """Every slot that any rule of the stage reads, sorted."""
        return tuple(sorted({literal.slot for literal in self.literals}))

    def way(self, rule: str, number: int) -> Way:
        """Return one way of a rule; KeyError if there is none."""
        return self._ways[rule, number]

    @cached_property
    def _ways(self) -> dict[tuple[str, int], Way]:
        return {(way.rule, way.number): way for way in self.ways}

    @cached_property
    def by_slot(self) -> dict[str, tuple[int, ...]]:
        """Literals by the slot they read."""
        out: dict[str, list[int]] = {slot: [] for slot in self.slots}
        for i, literal in enumerate(self.literals):
            out[literal.slot].append(i)
        return {slot: tuple(found) for slot, found in out.items()}

    @cached_property
    def served(self) -> tuple[dict[bool | None, tuple[int, ...]], ...]:
        """For each literal, the ways that each of its three outcomes brings nearer, one entry per need."""
        out: list[dict[bool | None, list[int]]] = [{True: [], False: [], None: []} for _ in self.literals]
        for w, way in enumerate(self.ways):
            for need in way.needs:
                for outcome in SERVES[need.part]:
                    out[need.literal][outcome].append(w)
        return tuple({outcome: tuple(ways) for outcome, ways in row.items()} for row in out)

    @cached_property
    def sizes(self) -> tuple[int, ...]:
        """How many needs each way has."""
        return tuple(len(way.needs) for way in self.ways)

    @cached_property
    def _by_word(self) -> dict[tuple[str, Value | None], tuple[int, ...]]:
        return {}

    def served_by(self, slot: str, value: Value | None) -> tuple[int, ...]:
        """Return the ways that ``value`` in ``slot`` brings nearer, once a need (kept for words: few)."""
        lasting = value is None or isinstance(value, Word)
        if lasting and (slot, value) in self._by_word:
            return self._by_word[slot, value]
        found = tuple(w for i in self.by_slot.get(slot, ()) for w in self.served[i][self.outcome(i, value)])
        if lasting:
            self._by_word[slot, value] = found
        return found

    @cached_property
    def readers(self) -> tuple[tuple[int, ...], ...]:
        """For each literal, the ways that read it."""
        out: list[set[int]] = [set() for _ in self.literals]
        for w, way in enumerate(self.ways):
            for need in way.needs:
                out[need.literal].add(w)
        return tuple(tuple(sorted(ways)) for ways in out)

    @cached_property
    def of_rule(self) -> dict[str, tuple[int, ...]]:
        """Ways by rule."""
        out: dict[str, list[int]] = {rule: [] for rule in self.rules}
        for w, way in enumerate(self.ways):
            out[way.rule].append(w)
        return {rule: tuple(ways) for rule, ways in out.items()}

    def outcome(self, literal: int, value: Value | None) -> bool | None:
        """Test one literal against a value.

        Raises
        ------
        RuleError : the value cannot be read by the condition
        """
        condition = self.literals[literal]
        try:
            return condition.test(value)
        except (TypeError, ValueError, ArithmeticError) as error:
            rules = sorted({self.ways[w].rule for w in self.readers[literal]})
            raise RuleError(
                f"rule {', '.join(rules)}: the condition '{condition.text}' cannot be tested on the fact "
                f"{condition.slot} = {value!r}: {error}"
            ) from error

    def serves(self, need: Need, facts: Mapping[str, Value]) -> bool:
        """Return whether the facts satisfy one need."""
        return self.outcome(need.literal, facts.get(self.literals[need.literal].slot)) in SERVES[need.part]

    def in_doubt(self, need: Need, facts: Mapping[str, Value]) -> bool:
        """Return whether one need hangs on a derived reading that lies astride its limit."""
        value = facts.get(self.literals[need.literal].slot)
        return isinstance(value, Spread) and self.outcome(need.literal, value) is None


@dataclass(frozen=True, eq=False)
class Program:
    """All rules, compiled; made by :func:`compile_rules`, never changed, safe to share between threads."""

    find: Stage
    decide: Stage

    def stage(self, name: StageName) -> Stage:
        return self.find if name == "find" else self.decide

    def stage_of(self, rule: str) -> Stage:
        """Return the stage that runs ``rule``; KeyError, naming the nearest, if there is none such."""
        for stage in (self.find, self.decide):
            if rule in stage.rules:
                return stage
        near = nearest(rule, [*self.find.rules, *self.decide.rules])
        raise KeyError(f"there is no rule '{rule}' in use{near}")


def compile_rules(
    rules: Iterable[Rule], findings: Mapping[str, Finding], unit_of: UnitOf, error_of: ErrorOf | None = None
) -> Program:
    """Compile rules (retired ones are left out) into a program.

    Parameters
    ----------
    rules : in any order; the order changes nothing
    findings : every finding, by id
    unit_of : unit of a reading's or derived reading's slot; raises KeyError for an unknown one
    error_of : one standard error of the instrument behind a raw reading, so that votes say how far beyond a limit it is

    Raises
    ------
    RuleProblems : every condition, conclusion, stage or circle that is wrong, at once
    """
    problems: list[tuple[str, str]] = []
    by_stage: dict[StageName, dict[str, Rule]] = {"find": {}, "decide": {}}
    seen: set[str] = set()
    for rule in rules:
        if rule.id in seen:
            problems.append((rule.id, "two rules have this id; ids are used once, even after a rule retires"))
        seen.add(rule.id)
        if rule.status == "retired":
            continue
        stage = _stage_of(rule, findings, problems)
        if stage is not None:
            by_stage[stage][rule.id] = rule
    stages = {
        name: _compile_stage(name, dict(sorted(chosen.items())), findings, unit_of, error_of, problems)
        for name, chosen in by_stage.items()
    }
    if problems:
        raise RuleProblems(problems)
    return Program(stages["find"], stages["decide"])


def _stage_of(rule: Rule, findings: Mapping[str, Finding], problems: list[tuple[str, str]]) -> StageName | None:
    if (rule.then.finding is None) == (rule.then.caution is None):
        problems.append((rule.id, "'then' concludes one thing: a finding or a caution"))
        return None
    if rule.then.finding is None:
        return "decide"
    finding = findings.get(rule.then.finding)
    if finding is None:
        near = nearest(rule.then.finding, findings)
        problems.append((rule.id, f"it concludes '{rule.then.finding}', which is no finding{near}"))
        return None
    return finding.stage


def _compile_stage(
    name: StageName,
    rules: dict[str, Rule],
    findings: Mapping[str, Finding],
    unit_of: UnitOf,
    error_of: ErrorOf | None,
    problems: list[tuple[str, str]],
) -> Stage:
    literals: dict[Literal, int] = {}
    flat: list[tuple[Rule, int, tuple[Need, ...]]] = []
    for rule in rules.values():
        places: dict[Part, list[Need]] = {}
        for part in PARTS:
            tests: list[Test] = getattr(rule.when, part)
            places[part] = []
            for test in tests:
                says = _out_of_stage(test, name, findings)
                try:
                    literal = compile_test(test, unit_of)
                except LiteralError as error:
                    says = says or str(error)
                if says:
                    problems.append((rule.id, f"when.{part}: {says}"))
                else:
                    places[part].append(Need(literals.setdefault(literal, len(literals)), part))
        if not (rule.when.all or rule.when.any or rule.when.none):
            problems.append((rule.id, "it has no condition under all, any or none, so it would always fire"))
        choices = [[one] for one in places["any"]] or [[]]
        for number, choice in enumerate(choices):
            needs = dict.fromkeys([*places["all"], *choice, *places["none"], *places["unless"]])
            flat.append((rule, number, tuple(needs)))
    stood = _levels(rules, problems)
    read = tuple(literals)
    ways = sorted(
        (Way(rule.id, number, _level_of(rule, stood), needs, _quantities(needs, read)) for rule, number, needs in flat),
        key=lambda way: (way.level, way.rule, way.number),
    )
    top = max(stood.values(), default=-1) + 1
    return Stage(
        name,
        rules,
        read,
        tuple(ways),
        tuple(sorted(f.id for f in findings.values() if f.stage == name)),
        tuple(tuple(sorted(f for f, level in stood.items() if level == i)) for i in range(top)),
        error_of,
    )


def _quantities(needs: Iterable[Need], literals: Sequence[Literal]) -> tuple[Together, ...]:
    by_slot: dict[str, list[tuple[Literal, bool]]] = {}
    for need in needs:
        literal = literals[need.literal]
        if literal.kind == "number":
            by_slot.setdefault(literal.slot, []).append((literal, need.part in ("all", "any")))
    return tuple(map(together, by_slot.values()))


def _out_of_stage(test: Test, stage: StageName, findings: Mapping[str, Finding]) -> str:
    if test.cause is not None and stage == "find":
        return (
            f"the level of the cause '{test.cause}' is known only after the findings; "
            "only rules for cautions and for findings of stage 'decide' may read it"
        )
    if test.finding is None:
        return ""
    finding = findings.get(test.finding)
    if finding is None:
        return f"there is no finding '{test.finding}'{nearest(test.finding, findings)}"
    if finding.stage == "decide" and stage == "find":
        return f"the finding '{test.finding}' is made in stage 'decide', after this rule has run"
    return ""


def reads(rule: Rule) -> frozenset[str]:
    """Return the findings that the rule's conditions name."""
    tests = [*rule.when.all, *rule.when.any, *rule.when.none, *rule.when.unless]
    return frozenset(test.finding for test in tests if test.finding is not None)


def _levels(rules: Mapping[str, Rule], problems: list[tuple[str, str]]) -> dict[str, int]:
    concluded: dict[str, list[Edge]] = {}
    for rule in rules.values():
        if rule.then.finding is not None:
            concluded.setdefault(rule.then.finding, []).append((rule.id, reads(rule)))
    stood, circles = levels(concluded)
    for circle in circles:
        sets = [str(rules[rule].then.finding) for rule in circle]
        round_ = ", ".join(f"'{r}' (sets {f})" for r, f in zip(circle, sets, strict=True))
        problems.append((circle[0], f"the rules go round in a circle, each reading what the next sets: {round_}"))
    return stood


def _level_of(rule: Rule, stood: Mapping[str, int]) -> int:
    return max((stood[f] for f in reads(rule) if f in stood), default=-1) + 1
