"""Why something is not said: each rule that could have said it, premise by premise, and for a cause what outweighs it.

A premise is met, not met (with how far the value lies from the limit, in the unit and in errors of the instrument) or
unknown (with the facts that would settle it). Rules that lack least come first.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from inference.belief.activation import posteriors
from inference.belief.ahead import look_ahead
from inference.belief.evidence import Evidence
from inference.belief.judge import POSSIBLE, waterfall, weigh
from inference.belief.net import ImpossibleEvidence
from inference.diagnose import evidence_of, levels_now, program_of
from inference.engine.look import ConditionView, explain_rule
from inference.engine.verdicts import FindingResult, Side
from inference.questions.ground import facts_behind
from inference.questions.instrument import spread_error
from inference.result import CauseResult, Decision, GateReason, Result, Weight
from inference.values import LEVEL_WORDS, Value, Word
from kb.model import Knowledge

RIVALS = 3  # causes looked at as what might explain a cause away
EXPLAINED = 1.25  # a rival explains a cause away if without it the cause's odds would be so many times what they are
Kind = Literal[
    "said", "does not apply", "ruled out", "repaired", "outscored", "explained away", "spoken against", "unseen"
]


@dataclass(frozen=True)
class Premise:
    """One condition of a rule; ``errors`` is the margin in standard errors, negative outside the limit."""

    view: ConditionView
    errors: float | None
    missing: tuple[str, ...]  # facts that would settle it, where it is unknown
    below: WhyNotFinding | None = None  # where it asks for a finding that does not stand so: why not


@dataclass(frozen=True)
class NearRule:
    """A rule that could have said it, and how much it lacks."""

    rule: str
    state: Side | Literal["show"]
    fires: bool
    premises: tuple[Premise, ...]
    lacking: int  # premises that are not served; of the alternatives under "any" one is enough
    short: float  # the errors by which the premises known to be missed are missed, in sum


@dataclass(frozen=True)
class WhyNotFinding:
    """A finding that does not stand as ``wanted``: its state, and every rule that could say so, nearest first."""

    finding: str
    state: str
    wanted: Side
    rules: tuple[NearRule, ...]


@dataclass(frozen=True)
class Rival:
    """A more probable cause, or one that explains this one away: ``without`` is the chance [-] if it were not there."""

    cause: str
    probability: float
    gap: float  # dB by which its odds stand above
    without: float | None


@dataclass(frozen=True)
class Unseen:
    """A finding this cause would show so often and that is not known to hold; ``if_held`` is the chance then [-]."""

    finding: str
    state: str
    how_often: float
    if_held: float | None
    settles: bool = False


@dataclass(frozen=True)
class WhyNotCause:
    """Why a cause is not what the answer names (or that it is)."""

    cause: CauseResult
    kinds: tuple[Kind, ...]
    prior: float  # dB
    total: float  # dB
    speaks_for: tuple[Weight, ...]
    speaks_against: tuple[Weight, ...]
    rivals: tuple[Rival, ...]
    unseen: tuple[Unseen, ...]
    settled: WhyNotFinding | None  # the proof that rules it out, rule by rule


@dataclass(frozen=True)
class Obstacle:
    """One thing that stands between the case and a decision."""

    kind: Literal["danger", "doubt", "not met", "missing", "likely cause", "finding"]
    reason: GateReason | None
    finding: WhyNotFinding | None


@dataclass(frozen=True)
class WhyNotDecision:
    """Why a decision was not taken; nothing in the way and ``wanted`` is ``taken``: it was."""

    wanted: Decision
    taken: Decision
    obstacles: tuple[Obstacle, ...]


class WhyNot:
    """Answers for one result; the facts are those of the latest round."""

    def __init__(self, knowledge: Knowledge, result: Result) -> None:
        self.knowledge, self.result = knowledge, result
        self.program = program_of(knowledge)
        latest = result.latest
        self.states: dict[str, FindingResult] = {**result.stands.findings, **result.decided.findings}
        self.facts: dict[str, Value] = {
            **latest.facts,
            **{f: Word(r.state) for f, r in self.states.items()},
            **{c: LEVEL_WORDS[level] for c, level in levels_now(result.causes).items()},
        }

    def finding(self, finding: str, wanted: Side | None = None) -> WhyNotFinding:
        """Answer for a finding; ``wanted`` is the state asked about, by default the one it does not have."""
        found = self.states.get(finding)
        state = found.state if found else "unknown"
        if wanted is None:
            wanted = "fails" if state == "holds" else "holds"
        rules = [
            self._near(rule.id)
            for stage in (self.program.find, self.program.decide)
            for rule in stage.rules.values()
            if rule.then.finding == finding and rule.then.state == wanted
        ]
        return WhyNotFinding(finding, state, wanted, tuple(sorted(rules, key=lambda r: (r.lacking, r.short, r.rule))))

    def _near(self, rule: str) -> NearRule:
        view = explain_rule(self.program, rule, self.facts)
        premises = tuple(self._premise(c) for c in view.conditions)
        choices = [p for p in premises if p.view.part == "any"]
        lacking = [p for p in premises if not p.view.serves and p.view.part != "any"]
        if choices and not any(p.view.serves for p in choices):
            lacking.append(min(choices, key=lambda p: (p.view.state == "unknown", -(p.errors or 0.0))))
        short = sum(abs(p.errors or 0.0) for p in lacking if p.view.state != "unknown")
        then = self.knowledge.rules[rule].then
        return NearRule(rule, then.state if then.finding else "show", view.fires, premises, len(lacking), short)

    def _premise(self, view: ConditionView) -> Premise:
        errors = None
        if view.margin is not None:
            error = spread_error(self.result.case, self.knowledge, view.slot, view.value)
            errors = view.margin / error if error else None
        missing: tuple[str, ...] = ()
        if view.state == "unknown" and not view.serves:
            behind = facts_behind(self.knowledge, [view.slot], self.facts)
            read = "codes" if self.result.case.rounds[-1].codes is not None else ""
            missing = tuple(sorted(f for f in behind if f not in self.facts and f != read))
        return Premise(view, errors, missing, self._below(view))

    def _below(self, view: ConditionView) -> WhyNotFinding | None:
        """A finding that does not stand as a condition wants it is asked about in its turn; findings make no circle."""
        if view.slot not in self.knowledge.findings or view.serves or view.part in ("none", "unless"):
            return None
        wanted: Side = "fails" if view.limit == "fails" else "holds"
        return self.finding(view.slot, wanted) if view.limit in ("holds", "fails") else None

    # --- a cause ------------------------------------------------------------------------------------------------

    def cause(self, cause_id: str) -> WhyNotCause:
        """Answer for a cause."""
        result, knowledge = self.result, self.knowledge
        cause = result.cause(cause_id)
        evidence = evidence_of(result.case, knowledge, result.rounds)
        weights = weigh(evidence, [cause_id])[cause_id]
        steps = waterfall(knowledge, evidence, cause_id)
        rivals = self._rivals(cause, evidence)
        settled = evidence.settled.get(cause_id)
        proof = self._settled(settled[1].finding) if settled and settled[0] == "absent" else None
        against = tuple(w for w in weights if w.decibans < 0)
        kinds = self._kinds(cause, rivals, bool(against))
        return WhyNotCause(
            cause,
            kinds,
            steps[0].total,
            steps[-1].total,
            tuple(w for w in weights if w.decibans > 0),
            against,
            rivals,
            self._unseen(cause, evidence),
            proof,
        )

    def _settled(self, finding: str) -> WhyNotFinding:
        """The rules that made the finding which rules a cause out; they fire, so nothing is lacking in them."""
        state = self.states[finding].state if finding in self.states else "unknown"
        return self.finding(finding, "fails" if state == "fails" else "holds")

    def _kinds(self, cause: CauseResult, rivals: Sequence[Rival], against: bool) -> tuple[Kind, ...]:
        if cause.state == "does not apply":
            return ("does not apply",)
        if cause.level == "ruled out":
            return ("ruled out",)
        out: list[Kind] = []
        if cause.state == "repaired":
            out.append("repaired")
        if cause.level in ("likely", "proven") and cause.state == "present":
            return ("said",)
        if any(r.gap > 0 for r in rivals):
            out.append("outscored")
        if any(self._explains(cause, r) for r in rivals):
            out.append("explained away")
        if against:
            out.append("spoken against")
        return tuple(out) or ("unseen",)

    @staticmethod
    def _explains(cause: CauseResult, rival: Rival) -> bool:
        return rival.without is not None and _odds(rival.without) >= EXPLAINED * _odds(cause.probability)

    def _rivals(self, cause: CauseResult, evidence: Evidence) -> tuple[Rival, ...]:
        out = []
        others = [c for c in self.result.causes if c.id != cause.id and c.probability >= POSSIBLE][:RIVALS]
        for other in others:
            weights = evidence.net.weights.copy()
            weights[evidence.net.index(other.id), 1:] = 0.0
            without: float | None
            try:
                found = posteriors(replace(evidence.net, weights=weights))
                without = float(found.causes[0, evidence.net.index(cause.id)])
            except (ImpossibleEvidence, ValueError):
                without = None  # the rival is proven: it cannot be thought away
            gap = 10 * float(np.log10(_odds(other.probability) / _odds(cause.probability)))
            out.append(Rival(other.id, other.probability, gap, without))
        return tuple(out)

    def _unseen(self, cause: CauseResult, evidence: Evidence) -> tuple[Unseen, ...]:
        entry = self.knowledge.causes[cause.id]
        proofs = {p.finding: p for p in entry.proofs if p.shows_it == "present"}
        out = []
        for finding, proof in proofs.items():
            if (state := self._state(finding)) != proof.state:
                out.append(Unseen(finding, state, 0.0, None, settles=True))
        often = {s.finding: s.how_often for s in entry.shows}
        often |= {w.finding: w.with_it for w in entry.weighs if w.with_it > w.without_it}
        open_ones = [f for f in often if f not in proofs and self._state(f) != "holds"]
        spoken = {self.knowledge.findings[n.finding].group or n.finding for n in evidence.nodes}
        fresh = [
            f
            for f in open_ones
            if self.knowledge.findings[f].leak
            and self._state(f) == "unknown"
            and (self.knowledge.findings[f].group or f) not in spoken
            and f in {s.finding for s in entry.shows}
        ]
        chance: dict[str, float] = {}
        if fresh:
            holds = look_ahead(self.knowledge, evidence, fresh).if_holds
            at = evidence.net.index(cause.id)
            chance = {f: float(holds[i, at]) for i, f in enumerate(fresh)}
        out += [Unseen(f, self._state(f), often[f], chance.get(f)) for f in open_ones]
        return tuple(sorted(out, key=lambda u: (not u.settles, -(u.if_held or 0.0), -u.how_often, u.finding)))

    def _state(self, finding: str) -> str:
        found = self.states.get(finding)
        return found.state if found else "unknown"

    # --- a decision ---------------------------------------------------------------------------------------------

    def decision(self, wanted: Decision) -> WhyNotDecision:
        """Answer for a decision of the gate."""
        gate, taken = self.knowledge.gate, self.result.gate
        if wanted == taken.decision:
            return WhyNotDecision(wanted, taken.decision, ())
        out: list[Obstacle] = []
        if wanted == "do not burn":
            near = [self.finding(d.finding, "holds") for d in gate.dangers]
            near.sort(
                key=lambda f: (f.rules[0].lacking, f.rules[0].short, f.finding) if f.rules else (99, 0.0, f.finding)
            )
            return WhyNotDecision(wanted, taken.decision, tuple(Obstacle("finding", None, f) for f in near))
        out += [Obstacle("danger", r, self.finding(r.finding, "fails")) for r in taken.dangers]
        if wanted == "not needed":
            out.append(Obstacle("finding", None, self.finding(gate.not_needed, "holds")))
            out += [Obstacle("doubt", r, self.finding(r.finding, "fails")) for r in taken.doubts]
        if wanted == "clear":
            if taken.decision == "not needed":
                out.append(Obstacle("finding", None, self.finding(gate.not_needed, "fails")))
            state_of: Mapping[str, Side] = {n.finding: n.state for n in gate.needs}
            out += [Obstacle("not met", r, self.finding(r.finding, state_of[r.finding])) for r in taken.not_met]
            out += [Obstacle("doubt", r, self.finding(r.finding, "fails")) for r in taken.doubts]
            out += [Obstacle("likely cause", r, None) for r in taken.likely]
            out += [
                Obstacle("missing", r, self.finding(r.finding, state_of.get(r.finding, "fails"))) for r in taken.missing
            ]
        return WhyNotDecision(wanted, taken.decision, tuple(out))


def _odds(p: float) -> float:
    p = min(max(p, 1e-12), 1 - 1e-12)
    return p / (1 - p)
