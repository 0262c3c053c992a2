"""Judge many changes of one case quickly: what a change cannot reach is taken over from the case as it stands.

The answer to each is the same as from the plain path (:func:`inference.diagnose.judge_case`); a test says so over all
cases. Readings are derived anew only where one of their inputs changed, rules run again only where a changed fact
reaches them, and the belief is worked out anew only when a finding it hears of has changed.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Mapping, Sequence
from contextlib import suppress
from dataclasses import dataclass, fields, replace
from functools import cached_property
from operator import attrgetter

from inference.belief.evidence import Evidence
from inference.belief.judge import POSSIBLE, judge
from inference.belief.net import ImpossibleEvidence
from inference.belief.together import posteriors_of
from inference.belief.verdict import Memory
from inference.case import Case, Round
from inference.derive import BUILT_ON, DerivedReading, derive
from inference.diagnose import Judged, evidence_from, gate_of, judge_case, levels_now, program_of
from inference.engine.verdicts import FindingResult, Leaning, Vote, states_of
from inference.facts import CLEARED_LATELY, round_facts, told_now
from inference.gate import holding, looked_at
from inference.questions.redo import Moved, Redone, Stand, redo, with_moved
from inference.result import CauseResult, GateResult
from inference.standing import Stood, standing
from inference.steps import Journal
from inference.values import LEVEL_WORDS, STATE_WORDS, Value
from kb.model import Knowledge

Facts = Mapping[str, Value]


@dataclass(frozen=True)
class Standing:
    """What is concluded of a case, round by round: facts, derived readings, findings; then belief and decision.

    ``changed``: by round, and last of what was decided, the findings that are others than in the case unchanged.
    """

    case: Case
    facts: tuple[dict[str, Value], ...]
    derived: tuple[dict[str, DerivedReading], ...]
    findings: tuple[Mapping[str, FindingResult], ...]
    decided: Mapping[str, FindingResult]
    evidence: Evidence
    causes: tuple[CauseResult, ...]
    none_listed: float
    gate: GateResult
    changed: tuple[frozenset[str], ...] = ()

    @property
    def chance(self) -> dict[str, float]:
        """Probability of each cause at arrival [-]."""
        return {c.id: c.probability for c in self.causes}

    def state(self, finding: str) -> str:
        """Return the state of a finding in the latest round."""
        found = self.decided.get(finding) or self.findings[-1].get(finding)
        return found.state if found else "unknown"


def standing_of(case: Case, judged: Judged) -> Standing:
    """Return the plain path's answer in the same shape."""
    rounds = judged.rounds
    return Standing(
        case,
        tuple(r.facts for r in rounds),
        tuple(r.derived for r in rounds),
        tuple(r.verdicts.findings for r in rounds),
        judged.decided.findings,
        judged.evidence,
        judged.causes,
        judged.none_listed,
        judged.gate,
    )


class Again:
    """Judges changes of ``case``; ``base`` is how it stands unchanged.

    ``sparing`` leaves out of the changes what turns neither decision nor order of the causes that matter: the derived
    readings that no rule reads (they stand there as in the case unchanged, or not at all), and causes less than
    possible. Findings and all else are the same.

    Raises what :func:`inference.diagnose.judge_case` raises on the case itself.
    """

    def __init__(self, case: Case, knowledge: Knowledge, sparing: bool = False) -> None:
        self.case, self.knowledge = case, knowledge
        self.program = program_of(knowledge)
        self.heard = _heard(knowledge)
        self._frame = _frame(case)
        read = {slot for stage in (self.program.find, self.program.decide) for slot in stage.by_slot}
        self._journal = Journal({*read, *BUILT_ON} if sparing else None)
        self._least = POSSIBLE if sparing else 0.0
        derived = tuple(derive(case, knowledge, self._journal))  # kept, so that a change derives only what it touches
        own = round_facts(case, knowledge, derived, origins=False).slots
        judged = standing_of(case, judge_case(case, knowledge))
        # the same once more, but made of the journal's own objects: what a change leaves alone is then the very same
        facts = tuple({**there, **here} for there, here in zip(judged.facts, own, strict=True))
        whole = tuple({**there, **here} for there, here in zip(judged.derived, derived, strict=True))
        self.base = base = replace(judged, facts=facts, derived=whole)
        self._derived = derived
        self._found = [Stand(self.program.find, *stood) for stood in zip(facts, base.findings, strict=True)]
        stood = standing(case, knowledge, self.program.find, facts, base.findings)
        levels: dict[str, Value] = {cause: LEVEL_WORDS[level] for cause, level in levels_now(base.causes).items()}
        unlikely = LEVEL_WORDS["unlikely"]
        self._were_told: Facts = {cause: unlikely for cause, word in levels.items() if word != unlikely}
        before = {**facts[-1], **states_of(stood.findings), **levels}
        self._decided = Stand(self.program.decide, before, base.decided)
        many = len(case.rounds) > 1  # then findings of earlier rounds may stand for the decision
        self._lasting = [f for f in base.findings[-1] if many and knowledge.findings[f].lasting is not None]
        self._gate_looks_at = looked_at(knowledge.gate)
        self._looked_at = self.heard | self._gate_looks_at
        self._gates: dict[object, GateResult] = {}
        self._memory = Memory()
        evidence_from(case, knowledge, base.findings, self._memory)  # remembered first, and so for good

    def of(self, case: Case) -> Standing | None:
        """Return how a changed case stands; None where its evidence contradicts itself beyond belief."""
        return self.of_all([case])[0]

    def of_all(self, cases: Sequence[Case]) -> list[Standing | None]:
        """Return how each of several changed cases stands; the belief of all is worked out together."""
        out: list[Standing | None] = [None] * len(cases)
        heard: list[tuple[int, _Heard]] = []
        for place, case in enumerate(cases):
            if _frame(case) == self._frame:
                heard.append((place, self._hear(case)))
                continue
            with suppress(ImpossibleEvidence):
                out[place] = standing_of(case, judge_case(case, self.knowledge))
        anew = [h.evidence for _, h in heard if h.evidence is not None]
        believed = iter(posteriors_of([e.net for e in anew]))
        for place, one in heard:
            if one.evidence is None:
                out[place] = self._decide(one, self.base.evidence, self.base.causes, self.base.none_listed)
            elif (posterior := next(believed)) is not None:
                causes, none_listed = judge(self.knowledge, one.evidence, posterior, self._least)
                out[place] = self._decide(one, one.evidence, causes, none_listed)
        return out

    def speaking(self, standing: Standing) -> frozenset[tuple[object, ...]]:
        """Return, of the findings that belief or decision look at, those on which other rules speak or lean than in the
        case unchanged, each with its rules.
        """
        out = set()
        after, before = (*standing.findings, standing.decided), (*self.base.findings, self.base.decided)
        for place, changed in enumerate(standing.changed):
            for finding in changed & self._looked_at:
                now, was = after[place][finding], before[place][finding]
                if (spoken := _spoken(now)) != _spoken(was):
                    out.add((place, finding, *spoken))
        return frozenset(out)

    @cached_property
    def _hanging_on(self) -> Counter[tuple[str, str]]:
        return self._journal.hanging_on()

    def derived_from(self, slot: str) -> int:
        """Return how many steps of what is derived hang on a reading."""
        return self._hanging_on["number", slot]

    def _hear(self, case: Case) -> _Heard:
        """Derive and find what a change reaches; gather the evidence anew if the belief hears of a finding changed."""
        knowledge = self.knowledge
        names = [names_moved(old, new) for old, new in zip(self.case.rounds, case.rounds, strict=True)]
        derived = derive(case, knowledge, self._journal, frozenset().union(*names))
        moved, facts = self._moved(case, names, derived)
        redone = [redo(stand, now) for stand, now in zip(self._found, moved, strict=True)]
        findings = tuple(r.findings for r in redone)
        evidence = None
        changed = tuple(r.changed for r in redone)
        if not all(map(self.heard.isdisjoint, changed)):
            evidence = evidence_from(case, knowledge, findings, self._memory, frozenset().union(*changed))
        return _Heard(case, tuple(facts), tuple(derived), findings, evidence, moved[-1], changed)

    def _moved(
        self, case: Case, names: Sequence[Collection[str]], derived: Sequence[Mapping[str, DerivedReading]]
    ) -> tuple[list[Moved], list[dict[str, Value]]]:
        """Return, by round, the new values of all facts that may have moved, and all its facts."""
        base = self.base
        reread = any(new.codes != old.codes for new, old in zip(case.rounds, self.case.rounds, strict=True))
        if reread or any(CLEARED_LATELY in here for here in names):
            full = round_facts(case, self.knowledge, derived, origins=False).slots
            both = zip(full, base.facts, strict=True)
            return [{slot: now.get(slot) for slot in now.keys() | was.keys()} for now, was in both], full
        moved: list[Moved] = []
        for round_, here, now, was in zip(case.rounds, names, derived, self._derived, strict=True):
            told = told_now(case, round_, here)
            told |= dict.fromkeys(was.keys() - now.keys())
            told |= {slot: reading.spread for slot, reading in now.items() if reading is not was.get(slot)}
            moved.append(told)
        return moved, [with_moved(facts, told) for facts, told in zip(base.facts, moved, strict=True)]

    def _decide(
        self, heard: _Heard, evidence: Evidence, causes: tuple[CauseResult, ...], none_listed: float
    ) -> Standing:
        stood = standing(heard.case, self.knowledge, self.program.find, heard.facts, heard.findings)
        now = {**heard.moved, **{f: STATE_WORDS[stood.findings[f].state] for f in (*heard.changed[-1], *self._lasting)}}
        if causes is not self.base.causes:
            now |= self._were_told  # what is not told of now is unlikely
            now |= {cause: LEVEL_WORDS[level] for cause, level in levels_now(causes).items()}
        redone = redo(self._decided, now)
        gate = self._gate(heard, stood, redone, causes)
        return Standing(
            heard.case, heard.facts, heard.derived, heard.findings, redone.findings,
            evidence, causes, none_listed, gate, (*heard.changed, redone.changed),
        )  # fmt: skip

    def _gate(self, heard: _Heard, stood: Stood, redone: Redone, causes: tuple[CauseResult, ...]) -> GateResult:
        """Return the decision; changes that leave the gate the same findings and causes to look at share it."""
        if len(heard.case.rounds) > 1:  # then findings of earlier rounds may stand for it
            return gate_of(self.knowledge, stood, redone.findings, causes)
        states = {(f, heard.findings[-1][f].state) for f in heard.changed[-1] if f in self._gate_looks_at}
        states |= {(f, redone.findings[f].state) for f in redone.changed if f in self._gate_looks_at}
        key = frozenset(states), tuple((c.id, c.settled_by) for c in holding(self.knowledge, causes))
        if key not in self._gates:
            self._gates[key] = gate_of(self.knowledge, stood, redone.findings, causes)
        return self._gates[key]


def _spoken(found: FindingResult) -> tuple[object, ...]:
    """Return the state of a finding and the ways that say so or lean to it."""
    opinions: tuple[Vote | Leaning, ...] = (*found.votes, *found.leanings)
    return found.state, *((opinion.rule, opinion.way) for opinion in opinions)


@dataclass(frozen=True)
class _Heard:
    """A changed case up to its evidence; None where that is the same as of the case as it stands.

    ``moved``: facts of the latest round that may be others than in the case as it stands; ``changed``: by round the
    findings that are others.
    """

    case: Case
    facts: tuple[dict[str, Value], ...]
    derived: tuple[dict[str, DerivedReading], ...]
    findings: tuple[Mapping[str, FindingResult], ...]
    evidence: Evidence | None
    moved: Moved
    changed: tuple[frozenset[str], ...]


def _frame(case: Case) -> tuple[object, ...]:
    """Return all of a case but its readings, answers, codes and usage."""
    return _OF_CASE(case), *map(_OF_ROUND, case.rounds)


_MOVES = {"rounds", "usage", "warnings"}
_MOVES_IN_ROUND = {"readings", "usage", "answers", "codes", "carried_readings", "carried_answers", "taken"}
_OF_CASE = attrgetter(*(f.name for f in fields(Case) if f.name not in _MOVES))
_OF_ROUND = attrgetter(*(f.name for f in fields(Round) if f.name not in _MOVES_IN_ROUND))


_MAPPINGS = ("readings", "usage", "answers", "carried_readings", "carried_answers")


def names_moved(old: Round, new: Round) -> set[str]:
    """Return the readings, usage figures and answers of one round that differ between two changes of a case."""
    out: set[str] = set()
    for name in _MAPPINGS:
        before: Mapping[str, object] = getattr(old, name)
        after: Mapping[str, object] = getattr(new, name)
        if before is not after:
            out |= before.keys() - after.keys()
            out.update(slot for slot, value in after.items() if before.get(slot) is not value)
    return out


def _heard(knowledge: Knowledge) -> frozenset[str]:
    """Return every finding that the belief listens to."""
    out: set[str] = set()
    for cause in knowledge.causes.values():
        out |= {s.finding for s in cause.shows} | {w.finding for w in cause.weighs} | {p.finding for p in cause.proofs}
        out |= {p.finding for p in knowledge.remedies[cause.remedy].proof_findings}
    return frozenset(f for f in out if f in knowledge.findings and knowledge.findings[f].stage == "find")
