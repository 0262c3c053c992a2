"""The whole middle of clogwise as one pure function: a case and the knowledge in, a ``Result`` out.

derive (physics) -> rules, stage "find", round by round -> belief -> gate -> rules, stage "decide" -> work and next
tests. No I/O, no clock, no globals: the same input gives the same result. ``confirmed`` is not looked at.
"""

from __future__ import annotations

from collections.abc import Collection, Mapping, Sequence
from dataclasses import dataclass, replace

from inference.belief.activation import Posterior, posteriors
from inference.belief.ahead import look_ahead
from inference.belief.evidence import Evidence, gather
from inference.belief.judge import SHOWN, judge, weigh
from inference.belief.verdict import Findings, Memory
from inference.case import Case
from inference.derive import derive
from inference.engine.program import Program, compile_rules
from inference.engine.run import run
from inference.engine.verdicts import FindingResult, Verdicts, states_of
from inference.facts import round_facts, unused_codes
from inference.gate import decide
from inference.nexttest import next_tests, open_findings, shared_and_open
from inference.result import CauseResult, GateResult, Result, RoundResult
from inference.standing import Stood, rests_on, standing
from inference.values import Level
from inference.work import order_of_work
from kb.model import Knowledge
from kb.slots import Slots

_programs: dict[str, Program] = {}


def program_of(knowledge: Knowledge) -> Program:
    """Return the compiled rules of a knowledge base (kept by its hash: compiling takes longer than a diagnosis)."""
    if knowledge.hash not in _programs:
        rules = [r for r in knowledge.rules.values() if r.status != "retired"]

        def error_of(slot: str, value: float) -> float | None:
            reading = knowledge.readings.get(slot.partition(".")[0])
            return reading.error_at(value) if reading else None

        _programs[knowledge.hash] = compile_rules(rules, knowledge.findings, Slots(knowledge).unit, error_of)
    return _programs[knowledge.hash]


def repairs(case: Case) -> tuple[dict[str, int], int | None]:
    """Return, by cause, the first round after its named repair, and the first round after an unnamed one."""
    named: dict[str, int] = {}
    unnamed: int | None = None
    first = case.repaired_by(case.rounds[0]) - set(case.rounds[0].repaired)  # mended before the story began
    for round_ in case.rounds[1:]:
        done = case.repaired_by(round_) - first
        for cause in sorted(done):
            named.setdefault(cause, round_.index)
        if round_.when == "after repair" and unnamed is None and not done:
            unnamed = round_.index
    return named, unnamed


def evidence_of(case: Case, knowledge: Knowledge, rounds: tuple[RoundResult, ...]) -> Evidence:
    """Return the belief net of a case whose rounds have been through the rules."""
    return evidence_from(case, knowledge, [r.verdicts.findings for r in rounds])


def evidence_from(
    case: Case,
    knowledge: Knowledge,
    findings: Sequence[Findings],
    memory: Memory | None = None,
    changed: Collection[str] = (),
) -> Evidence:
    """Return the belief net of a case from the findings of each round; ``memory``, ``changed`` as in :func:`gather`."""
    named, unnamed = repairs(case)
    return gather(knowledge, findings, named, unnamed, case.filter_type, memory, changed)


def find(case: Case, knowledge: Knowledge) -> tuple[RoundResult, ...]:
    """Derive and run the rules of stage "find" for every round."""
    derived = derive(case, knowledge)
    facts = round_facts(case, knowledge, derived)
    program = program_of(knowledge)
    return tuple(
        RoundResult(slots, origin, dict(d), run(program, slots, "find"))
        for slots, origin, d in zip(facts.slots, facts.origin, derived, strict=True)
    )


@dataclass(frozen=True)
class Judged:
    """What is concluded of a case without the decibans, the next tests and the order of work: the light answer."""

    rounds: tuple[RoundResult, ...]
    evidence: Evidence
    causes: tuple[CauseResult, ...]  # most probable first, without weights
    none_listed: float
    stands: Stood
    decided: Verdicts
    gate: GateResult


def levels_now(causes: Sequence[CauseResult]) -> dict[str, Level]:
    """Return what is there now, for the rules that read causes: what was repaired neither warns nor holds a burn."""
    return {c.id: c.level if c.state == "present" else "ruled out" for c in causes}


def stands_in(case: Case, knowledge: Knowledge, rounds: Sequence[RoundResult]) -> Stood:
    """Return the findings that the decision on a case is taken on, see :mod:`inference.standing`."""
    stage = program_of(knowledge).find
    return standing(case, knowledge, stage, [r.facts for r in rounds], [r.verdicts.findings for r in rounds])


def gate_of(
    knowledge: Knowledge, stands: Stood, decided: Mapping[str, FindingResult], causes: Sequence[CauseResult]
) -> GateResult:
    """Return the decision from what stands and what stage "decide" made of it."""
    since = stands.since
    if since:
        since = {**since, **rests_on(decided, program_of(knowledge).decide, since)}
    return decide(knowledge, {**stands.findings, **decided}, causes, since)


def judge_case(case: Case, knowledge: Knowledge) -> Judged:
    """Find, believe and decide: all of :func:`diagnose` that a decision and a ranking of causes need."""
    rounds = find(case, knowledge)
    evidence = evidence_of(case, knowledge, rounds)
    return _judged(case, knowledge, rounds, evidence, posteriors(evidence.net))


def _judged(
    case: Case, knowledge: Knowledge, rounds: tuple[RoundResult, ...], evidence: Evidence, posterior: Posterior
) -> Judged:
    causes, none_listed = judge(knowledge, evidence, posterior)
    stands = stands_in(case, knowledge, rounds)
    facts = {**rounds[-1].facts, **states_of(stands.findings)}
    decided = run(program_of(knowledge), facts, "decide", levels_now(causes))
    gate = gate_of(knowledge, stands, decided.findings, causes)
    return Judged(rounds, evidence, causes, none_listed, stands, decided, gate)


def diagnose(case: Case, knowledge: Knowledge) -> Result:
    """Diagnose one case.

    Parameters
    ----------
    case : as read by :func:`inference.read_case.read_case`
    knowledge : as loaded by :func:`kb.load.load`

    Returns
    -------
    Result : the gate's decision, all causes with their belief, the chain's parts, next tests and order of work
    """
    rounds = find(case, knowledge)
    evidence, latest = evidence_of(case, knowledge, rounds), rounds[-1]
    unknown = open_findings(knowledge, latest)
    ahead = look_ahead(knowledge, evidence, shared_and_open(knowledge, evidence, unknown), without_each=True)
    judged = _judged(case, knowledge, rounds, evidence, ahead.now)
    decided, gate = judged.decided, judged.gate
    weights = weigh(evidence, [c.id for c in judged.causes[:SHOWN]], ahead.decibans)
    causes = tuple(c._replace(weights=weights[c.id]) if c.id in weights else c for c in judged.causes)
    cautions = sorted(decided.cautions, key=lambda c: (knowledge.cautions[c].rank, c))
    conflicts = tuple(
        (finding, i)
        for i, r in enumerate(rounds)
        for finding, result in sorted(r.verdicts.findings.items())
        if result.state == "conflict"
    )
    return Result(
        case=replace(case, confirmed=()),
        knowledge_hash=knowledge.hash,
        rounds=rounds,
        decided=decided,
        gate=gate,
        causes=causes,
        none_listed=judged.none_listed,
        next_tests=next_tests(knowledge, latest, unknown, ahead, causes, gate),
        work=order_of_work(knowledge, causes, gate, latest),
        cautions=tuple(cautions),
        conflicts=conflicts,
        clashes=tuple(evidence.clashes),
        unused=tuple(unused_codes(case, knowledge)),
        stands=judged.stands,
    )
