"""What a finding stands on: every derivation of it, down to what was read, answered or listed as a code.

``Proof`` holds the derivations as a graph (a node is reached once, however many rules read it); ``raw_facts`` are its
leaves, and feeding only those derives the finding again. ``open_facts`` are the leaves not known yet.
"""

from __future__ import annotations

from collections.abc import Container, Iterable, Iterator
from dataclasses import dataclass
from typing import Literal

from inference.case import Case, Round
from inference.diagnose import program_of
from inference.engine.program import PARTS, Part
from inference.engine.verdicts import Fired, Verdicts
from inference.facts import unnamed_codes
from inference.questions.again import Standing
from inference.result import Result
from inference.values import LEVEL_WORDS, Number, Value, Word
from kb.model import Knowledge
from kb.slots import OF_CODES, ROLE_GROUPS

# what derived readings take from the head of a case, and the field of Case where that is one figure
CASE_INPUTS = {
    "engine_litres": "engine_litres", "odometer": "odometer_km", "fitted_at": "fitted_at_km", "filter": "",
    "history": "", "layout": "", "burn_limit": "burn_limit_g_l",
}  # fmt: skip
MAKING_KNOWN: tuple[Part, ...] = ("all", "any", "none")  # conditions that a rule wants known
Kind = Literal["read", "answered", "code", "case", "derived", "finding", "cause", "not known"]


@dataclass(frozen=True)
class Node:
    """One slot of a proof: how it is known, and what it is made from.

    ``ways`` are the activations that conclude a finding, the shortest derivation first; ``inputs`` the slots a derived
    reading was made from. ``height`` counts the steps down to what was read (0), along the shortest derivation.
    """

    slot: str
    round: int
    kind: Kind
    value: Value | None
    ways: tuple[Fired, ...] = ()
    inputs: tuple[str, ...] = ()
    height: int = 0


class Proof:
    """The derivations of everything in one round of a result; nodes are made when asked for."""

    def __init__(self, knowledge: Knowledge, result: Result, round_index: int = -1) -> None:
        self.knowledge, self.result = knowledge, result
        self.index = round_index % len(result.rounds)
        self.round = result.rounds[self.index]
        self.case_round: Round = result.case.rounds[self.index]
        self.verdicts: list[Verdicts] = [self.round.verdicts]
        if self.index == len(result.rounds) - 1:
            self.verdicts.append(result.decided)
        self._nodes: dict[str, Node] = {}

    def node(self, slot: str) -> Node:
        """Return the node of a slot; it is "not known" where nothing is known of it."""
        if slot not in self._nodes:
            self._nodes[slot] = self._make(slot)
        return self._nodes[slot]

    def raw_facts(self, slot: str) -> frozenset[str]:
        """Return the facts of the case that all derivations of a slot cite, as names that a change takes."""
        out: set[str] = set()
        seen: set[str] = set()
        waiting = [slot]
        while waiting:
            node = self.node(waiting.pop())
            if node.slot in seen:
                continue
            seen.add(node.slot)
            waiting += [s for way in node.ways for s, _ in way.facts]
            waiting += node.inputs
            if node.kind in ("read", "answered"):
                out.add(node.slot)
            elif node.kind == "code":
                out |= set(self._codes(node)) or {"codes"}
        return frozenset(out)

    def _make(self, slot: str) -> Node:
        k, index = self.knowledge, self.round.origin.get(slot, self.index)
        value = self.round.facts.get(slot)
        if slot in k.findings:
            if (earlier := self._from_before(slot)) is not None:
                return earlier
            found = next((v.findings[slot] for v in reversed(self.verdicts) if slot in v.findings), None)
            ways = [f for v in self.verdicts for f in v.fired if f.concludes == slot]
            state = Word(found.state) if found else None
            ordered = sorted(ways, key=lambda w: (self._height(w), len(w.conditions), w.rule, w.way))
            height = self._height(ordered[0]) if ordered else 0
            return Node(slot, self.index, "finding" if ordered else "not known", state, tuple(ordered), (), height)
        if slot in k.causes:
            level = next((c.level for c in self.result.causes if c.id == slot), None)
            return Node(slot, self.index, "cause", LEVEL_WORDS[level] if level else None)
        if slot in self.round.derived:
            inputs = tuple(s for s in self.round.derived[slot].inputs if s != slot)
            height = 1 + max((self.node(s).height for s in inputs), default=0)
            return Node(slot, index, "derived", value, (), inputs, height)
        if value is None and (slot in CASE_INPUTS or slot.startswith("filter.")):
            figure = getattr(self.result.case, CASE_INPUTS.get(slot, ""), None)
            return Node(slot, index, "case", Number(figure) if isinstance(figure, float) else None)
        if value is None:
            return Node(slot, index, "not known", None)
        if slot.partition(".")[0] in k.readings:
            return Node(slot, index, "read", value)
        if slot in k.questions:
            return Node(slot, index, "answered" if self.case_round.answer(slot) else "case", value)
        is_code = slot in k.codes or slot in k.code_groups or slot in OF_CODES
        return Node(slot, index, "code" if is_code else "case", value)

    def _from_before(self, slot: str) -> Node | None:
        """Return the node of a finding that stands from an earlier round, None where this round has its own say."""
        stands, rounds = self.result.stands, self.result.rounds
        if self.index != len(rounds) - 1 or slot not in stands.since:
            return None
        at, state = stands.since[slot], Word(stands.findings[slot].state)
        ways = tuple(f for f in rounds[at].verdicts.fired if f.concludes == slot and f.verdict == state.text)
        return Node(slot, at, "finding", state, ways, (), 1)

    def _height(self, way: Fired) -> int:
        return 1 + max((self.node(slot).height for slot, _ in way.facts), default=0)

    def _codes(self, node: Node) -> Iterator[str]:
        """The listed codes that make a code, a group or a role present, or that nobody here can read."""
        if node.slot == "codes_unnamed" and node.value == Word("yes"):
            yield from sorted(
                unnamed_codes({c.code for c in self.case_round.codes or () if not c.harmless}, self.knowledge)
            )
        if node.value != Word("present"):
            return
        for seen in self.case_round.codes or ():
            known = self.knowledge.codes.get(seen.code)
            role = self.knowledge.role_of(seen.code)
            named = node.slot in (seen.code, "any_code", known.group if known else "")
            if named or (role is not None and ROLE_GROUPS.get(node.slot) == role):
                yield seen.code


def facts_behind(
    knowledge: Knowledge, findings: Iterable[str], known: Container[str] = (), parts: Container[Part] = PARTS
) -> frozenset[str]:
    """Return every reading, answer or "codes" that any rule for these findings could look at, at whatever remove.

    A derived reading in ``known`` is not followed to its inputs: it is there, and more would only sharpen it. ``parts``
    of a rule's conditions that are followed.
    """
    program = program_of(knowledge)
    out: set[str] = set()
    seen: set[str] = set()
    waiting = list(findings)
    concluding: dict[str, list[str]] = {}
    for stage in (program.find, program.decide):
        for way in stage.ways:
            finding = stage.rules[way.rule].then.finding
            if finding is not None:
                slots = [stage.literals[need.literal].slot for need in way.needs if need.part in parts]
                concluding.setdefault(finding, []).extend(slots)
    while waiting:
        slot = waiting.pop()
        name = slot.partition(".")[0]
        if slot in seen or (name in knowledge.derived and slot in known):
            continue
        seen.add(slot)
        if slot in knowledge.findings:
            waiting += concluding.get(slot, [])
        elif name in knowledge.derived:
            condition = slot.partition(".")[2]
            for given in knowledge.derived[name].inputs:
                entry = knowledge.readings.get(given) or knowledge.derived.get(given)
                bare = entry is not None and condition in entry.conditions
                waiting.append(f"{given}.{condition}" if bare else given)
        elif name in knowledge.readings:
            reading = knowledge.readings[name]
            out |= {slot} if "." in slot or not reading.conditions else {f"{name}.{c}" for c in reading.conditions}
        elif slot in knowledge.questions:
            out.add(slot)
        elif slot in knowledge.code_groups or slot in knowledge.codes or slot in OF_CODES:
            out.add("codes")
    return frozenset(out)


def open_facts(knowledge: Knowledge, standing: Standing, case: Case) -> tuple[str, ...]:
    """Return the facts not known in the latest round that the decision is missing, sorted.

    A derived reading that is not known counts by what it is made from, so this says what to read, not what to compute.
    What rules read under ``unless`` alone is left out: known or not, it makes no missing finding known.
    """
    missing = [r.finding for r in standing.gate.missing]
    latest = case.rounds[-1]
    known = standing.facts[-1]
    return tuple(
        sorted(
            f
            for f in facts_behind(knowledge, missing, known, MAKING_KNOWN)
            if f not in known and not (f == "codes" and latest.codes is not None)
        )
    )
