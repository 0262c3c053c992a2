"""Run the compiled rules over the facts of one round, level by level, and gather the verdicts.

At the end of each level its findings are final (holds, fails, conflict of votes both ways, or unknown without
a vote) and become facts for the next.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from typing import Literal

from inference.engine.program import Program, RuleError, Stage, StageName, Way
from inference.engine.verdicts import FindingResult, Leaning, Side, Verdicts, Vote
from inference.values import LEVEL_WORDS, Z10, FindingState, Level, Number, Spread, Value, Word

Facts = Mapping[str, Value]
# Each state of a finding, and the votes for which it stands when the facts give it.
STANDS_FOR: dict[FindingState, tuple[Side, ...]] = {
    "holds": ("holds",),
    "fails": ("fails",),
    "unknown": (),
    "conflict": ("holds", "fails"),
}


def run(
    program: Program,
    facts: Facts,
    stage: StageName,
    levels: Mapping[str, Level] | None = None,
    matcher: Literal["counting", "rete"] = "counting",
) -> Verdicts:
    """Run one stage of the rules.

    Parameters
    ----------
    facts : slot to value; a missing slot is unknown. A finding given here that rules also conclude counts as
        one more vote. Stage "decide" wants the findings of stage "find" (:meth:`Verdicts.as_facts`)
    levels : cause to level of belief, for stage "decide"
    matcher : "counting", or "rete" for experta's own (slower; the verdicts are the same)

    Raises
    ------
    RuleError : a condition cannot read the value of its slot
    """
    from inference.engine import adapter  # experta costs a tenth of a second to import

    part = program.stage(stage)
    known: dict[str, Value] = {**facts, **{cause: LEVEL_WORDS[level] for cause, level in (levels or {}).items()}}
    given = {finding: _state(finding, known[finding]) for finding in part.findings if finding in known}
    later = {finding for level in part.levels for finding in level}
    add = adapter.open_engine(part, matcher)
    ways = add({slot: _told(known.get(slot)) for slot in part.slots if slot not in later})
    sides: dict[str, set[str]] = {f: set(STANDS_FOR[given.get(f, "unknown")]) for f in part.findings}
    final: dict[str, FindingState] = {f: _settle(sides[f]) for f in part.findings if f not in later}
    fresh = ways
    for level in part.levels:
        for w in fresh:
            then = part.rules[part.ways[w].rule].then
            if then.finding is not None:
                sides[then.finding].add(then.state)
        final.update((finding, _settle(sides[finding])) for finding in level)
        fresh = add({finding: _told(Word(final[finding])) for finding in level})
        ways = ways + fresh
    known.update((finding, Word(state)) for finding, state in final.items())
    return _gather(part, sorted(ways), known, given, final)


def _told(value: Value | None) -> Value | None:
    return None if isinstance(value, Word) and value.text == "unknown" else value


def _state(finding: str, value: Value) -> FindingState:
    text = value.text if isinstance(value, Word) else repr(value)
    for state in STANDS_FOR:
        if text == state:
            return state
    raise RuleError(f"the finding '{finding}' is given as {text}; holds, fails, unknown or conflict would be right")


def _settle(sides: set[str]) -> FindingState:
    if not sides:
        return "unknown"
    return "conflict" if len(sides) > 1 else "holds" if "holds" in sides else "fails"


def _gather(
    stage: Stage,
    ways: list[int],
    known: Facts,
    given: Mapping[str, FindingState],
    final: Mapping[str, FindingState],
) -> Verdicts:
    votes: dict[str, list[Vote]] = {}
    cautions: dict[str, list[str]] = {}
    for w in ways:
        way = stage.ways[w]
        then = stage.rules[way.rule].then
        if then.finding is not None:
            votes.setdefault(then.finding, []).append(vote(stage, way, known))
        elif then.caution is not None and way.rule not in cautions.setdefault(then.caution, []):
            cautions[then.caution].append(way.rule)
    lean = _leanings(stage, {stage.ways[w].rule for w in ways}, known)
    findings = {
        finding: FindingResult(
            final[finding],
            tuple(votes.get(finding, ())),
            tuple(lean.get(finding, ())),
            given.get(finding),
        )
        for finding in stage.findings
    }
    return Verdicts(findings, dict(sorted(cautions.items())), tuple(ways), stage, known)


def vote(stage: Stage, way: Way, known: Facts) -> Vote:
    """Return the verdict of a way that is met, with its chance and how far beyond its limits the readings lie."""
    then = stage.rules[way.rule].then
    return Vote(way.rule, way.number, then.state, then.trust, spread_chance(way, known), beyond(stage, way, known))


def beyond(stage: Stage, way: Way, known: Facts) -> float:
    """Return how far the readings of ``all`` and ``any`` lie beyond their limits [standard errors], the least of them.

    Of a raw reading the error is its instrument's, of a derived one it comes from its 10 to 90 % interval.
    """
    found = []
    for need in way.needs:
        literal = stage.literals[need.literal]
        value = known.get(literal.slot)
        if need.part not in ("all", "any") or (margin := literal.margin(value)) is None:
            continue
        if isinstance(value, Spread):
            error: float | None = (value.high - value.low) / (2 * Z10)
        else:
            assert isinstance(value, Number)
            error = stage.error_of(literal.slot, value.value) if stage.error_of else None
        found.append(margin / error if error else 0.0)
    return max(min(found, default=0.0), 0.0)


def spread_chance(way: Way, known: Facts) -> float:
    """Return the probability [-] that the derived readings meet the conditions that ``way`` puts on them.

    Product over the slots that hold a :class:`Spread`, taken as independent; conditions on one slot are taken
    together. 1 where there is none.
    """
    out = 1.0
    for together in way.quantities:
        value = known.get(together.slot)
        if isinstance(value, Spread):
            out *= together.chance(value)
    return out


def _leanings(stage: Stage, spoke: Iterable[str], known: Facts) -> dict[str, list[Leaning]]:
    """Find the rules held back only by derived readings astride a limit; see :class:`Leaning`."""
    open_literals = {
        i
        for slot, literals in stage.by_slot.items()
        if isinstance(value := known.get(slot), Spread)
        for i in literals
        if stage.outcome(i, value) is None
    }
    quiet = {w for i in open_literals for w in stage.readers[i]}
    best: dict[str, Leaning] = {}
    for w in sorted(quiet):
        way = stage.ways[w]
        then = stage.rules[way.rule].then
        if way.rule in spoke or then.finding is None:
            continue
        if all(need.literal in open_literals or stage.serves(need, known) for need in way.needs):
            likely = spread_chance(way, known)
            if way.rule not in best or likely > best[way.rule].chance:
                best[way.rule] = Leaning(way.rule, way.number, then.state, then.trust, likely)
    out: dict[str, list[Leaning]] = {}
    for rule, leaning in sorted(best.items()):
        finding = stage.rules[rule].then.finding
        assert finding is not None
        out.setdefault(finding, []).append(leaning)
    return out
