"""How a finding or the decision came about: every derivation, the shortest first, down to what was read; folded.

``finding`` and ``gate`` make the answer as data (whole), ``show`` prints it with the deep parts folded away.
"""

from __future__ import annotations

from pydantic import BaseModel
from rich.console import Console
from rich.text import Text

from explain.askwords import decision_word, reason_says, value_word, wanted
from explain.terminal import DECISION_STYLE, percent, print_block
from explain.words import Speaker, phrases, round_names, round_told, say
from inference.engine.verdicts import Met
from inference.physics.valid import beyond
from inference.questions.ground import Node, Proof
from inference.result import GateReason, Result
from inference.values import Word
from kb.model import Knowledge

DEPTH = 2  # findings below a finding that are unfolded unasked
Lines = list[tuple[str, Text] | Text]


class PremiseShape(BaseModel):
    """One condition that was met: the slot, its value, how it is known, and the round it was taken in."""

    slot: str
    title: str
    value: str
    condition: str
    part: str
    kind: str
    round: str
    formula: str | None
    beyond: list[str]


class WayShape(BaseModel):
    """One derivation: the rule, its own sentence with the case's figures, its source, and its conditions."""

    rule: str
    says: str
    state: str
    source: str
    height: int
    premises: list[PremiseShape]


class NodeShape(BaseModel):
    """One finding (all derivations, shortest first) or derived reading (what it was made from)."""

    slot: str
    title: str
    says: str
    state: str
    kind: str
    ways: list[WayShape]
    inputs: list[PremiseShape]
    leanings: list[str]


class FindingProof(BaseModel):
    """The whole proof of a finding in the latest round: ``nodes`` by slot, ``facts`` the facts it rests on."""

    finding: str
    round: str
    facts: list[str]
    nodes: dict[str, NodeShape]


class ReasonShape(BaseModel):
    """One thing that the decision was taken on."""

    kind: str
    says: str
    finding: str


class GateProof(BaseModel):
    """The decision with everything that speaks to it, and the proofs of all findings it looked at."""

    decision: str
    reasons: list[ReasonShape]
    facts: list[str]
    nodes: dict[str, NodeShape]


def finding(knowledge: Knowledge, result: Result, name: str) -> FindingProof:
    """Return the proof of one finding in the latest round; KeyError if there is none such."""
    proof, speaker = Proof(knowledge, result), Speaker(knowledge, result)
    knowledge.findings[name]
    nodes: dict[str, NodeShape] = {}
    _collect(proof, speaker, name, nodes)
    return FindingProof(
        finding=name, round=round_names(result)[proof.index], facts=sorted(proof.raw_facts(name)), nodes=nodes
    )


def gate(knowledge: Knowledge, result: Result) -> GateProof:
    """Return the decision's reasons and the proofs behind them."""
    proof, speaker, g = Proof(knowledge, result), Speaker(knowledge, result), result.gate
    reasons = [
        ReasonShape(kind=kind, says=_told(speaker, r), finding=r.cause or r.finding)
        for kind, group in (
            ("danger", g.dangers), ("not met", g.not_met), ("doubt", g.doubts), ("likely cause", g.likely),
            ("missing", g.missing),
        )
        for r in group
    ]  # fmt: skip
    if g.decision == "not needed":
        title = knowledge.findings[knowledge.gate.not_needed].title
        reasons.insert(0, ReasonShape(kind="not needed", says=title, finding=knowledge.gate.not_needed))
    good = {need.finding: need.state for need in knowledge.gate.needs}
    for f in g.met:
        entry = knowledge.findings[f]
        reasons.append(ReasonShape(kind="met", says=entry.title if good[f] == "holds" else entry.fails, finding=f))
    nodes: dict[str, NodeShape] = {}
    facts: set[str] = set()
    for reason in reasons:
        if reason.finding in knowledge.findings:
            _collect(proof, speaker, reason.finding, nodes)
            facts |= proof.raw_facts(reason.finding)
    return GateProof(decision=g.decision, reasons=reasons, facts=sorted(facts), nodes=nodes)


def _told(speaker: Speaker, reason: GateReason) -> str:
    says = reason_says(speaker.knowledge, reason)
    if reason.since is None:
        return says
    return f"{says} {say('why.since', round=round_told(speaker.result, reason.since))}"


def _collect(proof: Proof, speaker: Speaker, slot: str, nodes: dict[str, NodeShape]) -> None:
    """Add the node of a slot and all nodes below it that have something below themselves."""
    waiting = [slot]
    while waiting:
        slot = waiting.pop()
        node = proof.node(slot)
        if slot in nodes or (node.kind not in ("finding", "derived") and slot not in speaker.knowledge.findings):
            continue
        nodes[slot] = _node(proof, speaker, slot)
        waiting += [s for way in node.ways for s, _ in way.facts]
        waiting += node.inputs


def _node(proof: Proof, speaker: Speaker, slot: str) -> NodeShape:
    k, node = speaker.knowledge, proof.node(slot)
    is_finding = slot in k.findings
    state = node.value.text if isinstance(node.value, Word) else "unknown"
    found = next((v.findings[slot] for v in reversed(proof.verdicts) if slot in v.findings), None)
    found_in = node.round if is_finding else proof.index  # a lasting finding may stand from an earlier round
    facts = speaker.facts_at(proof.result.rounds[found_in])
    return NodeShape(
        slot=slot,
        title=speaker.slot_title(slot),
        says=speaker.finding_says(slot, found_in) if is_finding else speaker.value(slot, node.value),
        state=state if is_finding else "read",
        kind=node.kind,
        ways=[
            WayShape(
                rule=way.rule, says=speaker.fill(k.rules[way.rule].because, facts), state=way.verdict,
                source=k.sources[k.rules[way.rule].source].title,
                height=1 + max((proof.node(s).height for s, _ in way.facts), default=0),
                premises=[_premise(proof, speaker, m) for m in way.conditions],
            )
            for way in node.ways
        ],
        inputs=[_input(proof, speaker, s) for s in node.inputs],
        leanings=[
            say("proof.leans", chance=percent(x.chance), says=speaker.fill(k.rules[x.rule].because, facts))
            for x in (found.leanings if found and not node.ways else ())
        ],
    )  # fmt: skip


def _premise(proof: Proof, speaker: Speaker, met: Met) -> PremiseShape:
    shape = _input(proof, speaker, met.slot)
    shape.condition, shape.part = met.text, met.part
    shape.value = value_word(speaker, met.slot, met.value)
    if shape.kind == "not known" and met.value is not None and met.slot not in speaker.knowledge.findings:
        shape.kind = "read"  # read in an earlier round, in which the finding was made
    return shape


def _input(proof: Proof, speaker: Speaker, slot: str) -> PremiseShape:
    node, derived = proof.node(slot), proof.round.derived.get(slot)
    return PremiseShape(
        slot=slot, title=speaker.slot_title(slot), value=_input_value(speaker, node), condition="", part="",
        kind=node.kind,
        round=round_names(proof.result)[node.round], formula=derived.formula if derived else None,
        beyond=list(beyond(derived.notes)) if derived else [],
    )  # fmt: skip


def _input_value(speaker: Speaker, node: Node) -> str:
    if node.kind == "case" and node.value is None:
        return say("ask.from_case")
    return value_word(speaker, node.slot, node.value)


# --- in print ---------------------------------------------------------------------------------------------------------


def show_finding(found: FindingProof, out: Console, everything: bool = False) -> None:
    """Print the proof of a finding, folded below ``DEPTH`` unless ``everything``."""
    node = found.nodes[found.finding]
    state = phrases()["ask"]["state"][node.state]
    out.print(Text(say("proof.heading", title=node.title, state=state), style="bold"))
    printer = _Tree(found.nodes, 99 if everything else DEPTH)
    count = len(node.ways)
    heading = say("proof.derivation_one") if count == 1 else say("proof.derivation", count=count)
    print_block(out, heading if count else say("proof.none"), printer.below(found.finding, 0))
    if found.facts:
        print_block(out, say("proof.facts"), [Text(", ".join(found.facts))])


def show_gate(found: GateProof, out: Console, everything: bool = False) -> None:
    """Print the decision and, below each reason, its proof; what is good is only named unless ``everything``."""
    title = say("proof.gate", decision=decision_word(found.decision))
    out.print(Text(title, style=DECISION_STYLE[found.decision]))
    printer = _Tree(found.nodes, 99 if everything else 1)
    groups = ("not needed", "danger", "not met", "doubt", "likely cause", "met" if found.decision == "clear" else "")
    for reason in found.reasons:
        if reason.kind in groups or everything:
            lines = printer.below(reason.finding, 0) if reason.finding in found.nodes else []
            print_block(out, reason.says, lines)
    if not everything:
        for kind in ("missing", "met"):
            rest = [r.says for r in found.reasons if r.kind == kind and kind not in groups]
            if rest:
                print_block(out, say(f"proof.{kind}"), [("· ", Text(r)) for r in rest])


class _Tree:
    """Prints nodes below each other; a node shown once is only named afterwards."""

    def __init__(self, nodes: dict[str, NodeShape], depth: int) -> None:
        self.nodes, self.depth = nodes, depth
        self.shown: set[str] = set()

    def below(self, slot: str, level: int) -> Lines:
        node = self.nodes[slot]
        self.shown.add(slot)
        pad = "    " * level
        lines: Lines = []
        for way in node.ways:
            text = Text.assemble((say("proof.rule", rule=way.rule, says=way.says), ""))
            text.append(f" ({say('proof.source', source=way.source)})", style="dim")
            lines.append((pad, text))
            for premise in way.premises:
                lines += self._premise(premise, level + 1)
        for premise in node.inputs:
            lines += self._premise(premise, level + 1)
        lines += [(pad, Text(leaning)) for leaning in node.leanings]
        return lines

    def _premise(self, premise: PremiseShape, level: int) -> Lines:
        text = Text(say("ask.fact", title=premise.title, value=premise.value))
        if premise.condition:
            text.append(f" [{wanted(premise.condition, premise.slot, premise.part)}]", style="dim")
        if premise.formula:
            text.append(f" {say('proof.derived', formula=premise.formula)}", style="dim")
            text.append("".join(f" {says}" for says in premise.beyond), style="bold")
        elif premise.kind == "not known":
            text.append(f" {say('proof.not_known')}", style="dim")
        line: Lines = [("    " * level + "· ", text)]
        if premise.slot not in self.nodes or not self._has_more(premise.slot):
            return line
        if premise.slot in self.shown:
            text.append(f" ({say('proof.above')})", style="dim")
            return line
        if level > self.depth:
            key = "proof.folded" if self.nodes[premise.slot].ways else "proof.folded_derived"
            text.append(f" ({say(key, count=self._size(premise.slot), slot=premise.slot)})", style="dim")
            return line
        return line + self.below(premise.slot, level + 1)

    def _has_more(self, slot: str) -> bool:
        return bool(self.nodes[slot].ways or self.nodes[slot].inputs)

    def _size(self, slot: str) -> int:
        """How many steps (derivations and computations) lie below a slot, each counted once."""
        seen: set[str] = set()
        waiting = [slot]
        count = 0
        while waiting:
            here = waiting.pop()
            if here in seen or here not in self.nodes:
                continue
            seen.add(here)
            node = self.nodes[here]
            count += len(node.ways) + bool(node.inputs)
            waiting += [p.slot for way in node.ways for p in way.premises] + [p.slot for p in node.inputs]
        return count
