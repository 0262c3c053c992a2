"""The chain of reasoning as a graph: what was read -> computed -> found -> believed -> decided and done.

``build`` makes the whole DAG with every derivation kept: each activation of a rule is a node of its own between the
facts it read and the finding it set. ``select`` cuts out what matters to the decision and the top causes.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import TYPE_CHECKING

import networkx as nx

from explain.terminal import percent, spared_by
from explain.words import Speaker, phrases, round_names, say
from inference.engine.verdicts import Fired
from inference.physics.valid import beyond
from inference.result import Result, RoundResult
from kb.model import Knowledge

if TYPE_CHECKING:
    Graph = nx.DiGraph[str]
else:
    Graph = nx.DiGraph

GATE = "gate"
GIVEN, DERIVED, RULE, FINDING, CAUSE = "given", "derived", "rule", "finding", "cause"
REMEDY, CAUTION, MORE = "remedy", "caution", "more"
WEAK_DB = (1.0, 2.0, 3.0, 5.0, 8.0)  # evidence below this is left out; the next where the picture grows too large
MOST = 60  # nodes that a page can carry and a reader follow
FEW = 3  # things not known that are named in the short picture; the rest are counted


def new_graph() -> Graph:
    """Return an empty chain."""
    return nx.DiGraph()


def build(knowledge: Knowledge, result: Result) -> Graph:
    """Return the whole chain.

    Nodes carry ``kind``, ``label`` (words), ``value`` (words with unit, or empty), ``state`` and ``round``, rules
    also ``fired``; edges ``side`` ("for", "against", "open", "plain") and, between finding and cause, ``decibans``.
    An edge to a rule is ``spare`` where it only stands for an exception ("unless") that did not stop the rule.
    Ids are stable: ``finding:engine_runs_cold@0``.
    """
    graph = new_graph()
    speaker = Speaker(knowledge, result)
    for i, round_ in enumerate(result.rounds):
        _add_round(graph, knowledge, speaker, round_, i)
    last = len(result.rounds) - 1
    for fired in result.decided.fired:
        _add_rule(graph, knowledge, speaker, result.latest, fired, last, result)
    _add_causes(graph, knowledge, result)
    _add_gate(graph, knowledge, result, last)
    _add_work(graph, knowledge, result, last)
    if last:
        for name, data in graph.nodes(data=True):
            if data["kind"] in (GIVEN, DERIVED, FINDING):
                data["when"] = round_names(result)[int(name.rpartition("@")[2])]
    return graph


def slot_node(round_: RoundResult, slot: str, index: int) -> str:
    """Return the node id of a slot: where it was taken, for a fact carried forward."""
    if slot in round_.derived:
        return f"{DERIVED}:{slot}@{index}"
    if slot in round_.verdicts.findings:
        return f"{FINDING}:{slot}@{index}"
    return f"{GIVEN}:{slot}@{round_.origin.get(slot, index)}"


def _add_round(graph: Graph, knowledge: Knowledge, speaker: Speaker, round_: RoundResult, index: int) -> None:
    for slot, derived in sorted(round_.derived.items()):
        value = speaker.value(slot, derived.spread)
        graph.add_node(
            f"{DERIVED}:{slot}@{index}",
            kind=DERIVED, label=speaker.slot_title(slot), value=value, round=index, slot=slot,
            state="in range" if derived.in_range else "out of range",
            detail=" ".join((derived.formula, *beyond(derived.notes))),
        )  # fmt: skip
        for name in derived.inputs:
            if name in round_.facts:
                source = slot_node(round_, name, index)
                _add_slot(graph, speaker, round_, source, name)
                graph.add_edge(source, f"{DERIVED}:{slot}@{index}", side="plain")
    for fired in round_.verdicts.fired:
        _add_rule(graph, knowledge, speaker, round_, fired, index)


def _add_slot(graph: Graph, speaker: Speaker, round_: RoundResult, node: str, slot: str) -> None:
    if node in graph:
        return
    facts = speaker.facts_at(round_)
    value = speaker.value(slot, facts.get(slot), facts)
    index = int(node.rpartition("@")[2])
    graph.add_node(node, kind=GIVEN, label=speaker.slot_title(slot), value=value, state="given", round=index, slot=slot)


def _add_rule(
    graph: Graph,
    knowledge: Knowledge,
    speaker: Speaker,
    round_: RoundResult,
    fired: Fired,
    index: int,
    result: Result | None = None,
) -> None:
    """Add what a rule read and concluded.

    With ``result`` it is a rule of the stage "decide": what stands from before hangs on the round that found it.
    """
    rule = knowledge.rules[fired.rule]
    needed = {met.slot for met in fired.conditions if met.part != "unless"}
    node = f"{RULE}:{fired.rule}/{fired.way}@{index}"
    says = speaker.fill(rule.because, speaker.facts_at(round_))
    graph.add_node(node, kind=RULE, label=says, state=fired.verdict, round=index, detail=rule.title, fired=fired)
    for slot, value in fired.facts:
        if value is None:
            continue
        if slot in knowledge.causes:
            graph.add_edge(f"{CAUSE}:{slot}", node, side="plain", spare=slot not in needed)
            continue
        if slot in knowledge.findings:
            source = _add_finding(graph, knowledge, round_, slot, index, result)
        else:
            source = slot_node(round_, slot, index)
            _add_slot(graph, speaker, round_, source, slot)
        graph.add_edge(source, node, side="plain", spare=slot not in needed)
    if fired.verdict == "show":
        target = f"{CAUTION}:{fired.concludes}"
        caution = knowledge.cautions[fired.concludes]
        graph.add_node(target, kind=CAUTION, label=caution.title, state="show", round=index, detail=caution.says)
    else:
        target = f"{FINDING}:{fired.concludes}@{index}"
        _add_finding(graph, knowledge, round_, fired.concludes, index, result)
    graph.add_edge(node, target, side="for" if fired.verdict != "fails" else "against")


def _add_finding(
    graph: Graph, knowledge: Knowledge, round_: RoundResult, finding: str, index: int, result: Result | None = None
) -> str:
    """Add a finding of a round and return its node; with ``result``, of the latest round as it was decided on."""
    found = round_.verdicts.findings.get(finding)
    if result is not None:
        found = result.decided.findings.get(finding, found)
        index = result.stands.since.get(finding, index)
        if index != len(result.rounds) - 1:
            found = result.stands.findings[finding]
    node = f"{FINDING}:{finding}@{index}"
    if node not in graph:
        state = found.state if found else "unknown"
        entry = knowledge.findings[finding]
        label = entry.fails if state == "fails" else entry.title
        graph.add_node(node, kind=FINDING, label=label, state=state, round=index, detail=entry.means)
    return node


def _add_causes(graph: Graph, knowledge: Knowledge, result: Result) -> None:
    for cause in result.causes:
        node = f"{CAUSE}:{cause.id}"
        entry = knowledge.causes[cause.id]
        graph.add_node(
            node, kind=CAUSE, label=entry.title, state=cause.level, probability=cause.probability,
            value=percent(cause.probability),
            detail=entry.mechanism, round=len(result.rounds) - 1,
        )  # fmt: skip
        for weight in cause.weights:
            source = f"{FINDING}:{weight.finding}@{weight.round}"
            _add_finding(graph, knowledge, result.rounds[weight.round], weight.finding, weight.round)
            side = "for" if weight.decibans > 0 else "against"
            graph.add_edge(source, node, side=side, decibans=weight.decibans)
        for parent in cause.because_of:
            graph.add_edge(f"{CAUSE}:{parent}", node, side="plain")
    if not nx.is_directed_acyclic_graph(graph):  # two consequences of each other: keep the order of belief
        rank = {f"{CAUSE}:{c.id}": i for i, c in enumerate(result.causes)}
        graph.remove_edges_from([(a, b) for a, b in graph.edges if a in rank and b in rank and rank[a] > rank[b]])


def _add_gate(graph: Graph, knowledge: Knowledge, result: Result, last: int) -> None:
    gate = result.gate
    words = phrases()
    graph.add_node(
        GATE, kind=GATE, label=str(words["decision"][gate.decision]), state=gate.decision, round=last,
        detail=str(words["decision_line"][gate.decision]),
    )  # fmt: skip
    if gate.decision in ("not needed", "clear"):
        backing = [knowledge.gate.not_needed] if gate.decision == "not needed" else list(gate.met)
        for finding in backing:
            node = _add_finding(graph, knowledge, result.latest, finding, last, result)
            graph.add_edge(node, GATE, side="for")
    for reason in gate.because:
        if reason.cause is not None:
            graph.add_edge(f"{CAUSE}:{reason.cause}", GATE, side="against")
            continue
        node = _add_finding(graph, knowledge, result.latest, reason.finding, last, result)
        side = "open" if reason in gate.missing else "against"
        graph.add_edge(node, GATE, side=side, set_up=reason.finding in knowledge.gate.set_up)


def _add_work(graph: Graph, knowledge: Knowledge, result: Result, last: int) -> None:
    """Add the jobs due, in their order: each hangs on the one before it, and on the cause or decision behind it."""
    before = ""
    for i, step in enumerate(result.work, 1):
        node = f"{REMEDY}:{step.remedy}"
        remedy = knowledge.remedies[step.remedy]
        also = (
            say("why.serves", jobs="; ".join(knowledge.remedies[s].title for s in step.serves)) if step.serves else ""
        )
        graph.add_node(
            node, kind=REMEDY, label=remedy.title, state="due", round=last, step=i,
            detail=f"{remedy.proof} ({also})" if also else remedy.proof,
        )  # fmt: skip
        if remedy.place == "the burn" and result.gate.decision != "clear":
            graph.nodes[node]["waits"] = True  # a box that says "burn it" right behind HOLD must not read as a leave
        if step.spared_by:
            graph.nodes[node]["value"] = say("why.spared", step=spared_by(result, step))
        sources = [f"{CAUSE}:{why}" if why in knowledge.causes else GATE for why in step.because]
        for source in sources if i == 1 or before == "" else [s for s in sources if s != GATE]:
            if source in graph:
                graph.add_edge(source, node, side="plain")
        if before:
            graph.add_edge(before, node, side="plain")
        before = node


def select(graph: Graph, result: Result, cause: str | None = None, everything: bool = False, top: int = 3) -> Graph:
    """Return the part worth a picture: at most ``MOST`` nodes unless all or one branch is wanted.

    Parameters
    ----------
    cause : only the branch of this cause
    everything : the whole chain
    top : how many causes are drawn by default (those at 10 % or more)
    """
    if everything:
        return graph
    chosen = part(graph, result, cause, WEAK_DB[0], top)
    for weak in WEAK_DB[1:]:
        if cause is not None or chosen.number_of_nodes() <= MOST:
            break
        chosen = part(graph, result, cause, weak, top)
    return chosen


def part(graph: Graph, result: Result, cause: str | None, weak: float, top: int = 3) -> Graph:
    """Return decision, work and top causes (or one cause) with the evidence of ``weak`` [dB] or more and its grounds.

    Exceptions that did not stop a rule are left out: it would stand without knowing of them.
    """
    graph = graph.copy()
    graph.remove_edges_from([(a, b) for a, b, d in graph.edges(data=True) if d.get("spare")])
    if cause is not None:
        goals: set[str] = {f"{CAUSE}:{cause}"}
    else:
        goals = {f"{CAUSE}:{c.id}" for c in result.causes[:top] if c.probability >= 0.1}
    keep = set(goals)
    for goal in goals:
        keep |= {
            s for s in graph.predecessors(goal)
            if graph.nodes[s]["kind"] == CAUSE or abs(graph.edges[s, goal].get("decibans", 99)) >= weak
        }  # fmt: skip
    missing: list[str] = []
    if cause is None:
        keep.add(GATE)
        stated = [s for s in graph.predecessors(GATE) if graph.edges[s, GATE]["side"] != "open"]
        keep |= set(_weightiest(graph, stated, result))
        missing = [f"{FINDING}:{r.finding}@{len(result.rounds) - 1}" for r in result.gate.because]
        missing = [m for m in missing if m not in keep and graph.has_edge(m, GATE)]
        missing = [m for m in missing if graph.edges[m, GATE]["side"] == "open"]
        missing.sort(key=lambda m: graph.edges[m, GATE]["set_up"])  # what is done when it is lit comes last
        keep |= set(missing[:FEW])
        keep |= {n for n, d in graph.nodes(data=True) if d["kind"] == REMEDY}
    keep |= _grounds(graph, keep - set(missing))
    out = fold_rules(graph.subgraph(keep).copy())
    out.remove_edges_from([(a, b) for a, b, d in out.edges(data=True) if abs(d.get("decibans", 99)) < weak])
    if len(missing) > FEW:
        _add_more(out, [str(graph.nodes[m]["label"]) for m in missing[FEW:]])
    return out


def without_inputs(graph: Graph) -> Graph:
    """Return the chain without the readings that only feed worked-out ones: for small paper."""
    plumbing = [
        n for n, d in graph.nodes(data=True)
        if d["kind"] == GIVEN and all(graph.nodes[t]["kind"] == DERIVED for t in graph.successors(n))
    ]  # fmt: skip
    out = graph.copy()
    out.remove_nodes_from(plumbing)
    inner = [
        n for n, d in out.nodes(data=True)
        if d["kind"] == DERIVED and all(out.nodes[t]["kind"] == DERIVED for t in out.successors(n))
    ]  # fmt: skip
    out.remove_nodes_from(inner)
    return out


def _add_more(graph: Graph, labels: list[str]) -> None:
    """Stand one node for the things not known that are not drawn, so that the picture does not hide them."""
    graph.add_node(
        "more:not_known", kind=MORE, label=say("chain.more", count=len(labels)), state="unknown",
        round=graph.nodes[GATE]["round"], detail="; ".join(labels),
    )  # fmt: skip
    graph.add_edge("more:not_known", GATE, side="open")


def _weightiest(graph: Graph, nodes: list[str], result: Result) -> list[str]:
    """Of the findings behind the gate keep those that decide: all against, and for it the measured ones."""
    if result.gate.decision != "clear":
        return nodes
    telling = ("filter_really_restricted", "need_soot_below_limit", "need_mostly_soot", "need_codes_allow")
    return [n for n in nodes if n.partition(":")[2].partition("@")[0] in telling]


def _grounds(graph: Graph, goals: Iterable[str]) -> set[str]:
    """Return, for every finding among ``goals``, the shortest derivation down to what was read."""
    out: set[str] = set()
    waiting = [g for g in goals if graph.nodes[g]["kind"] == FINDING]
    while waiting:
        node = waiting.pop()
        sources = list(graph.predecessors(node))
        if graph.nodes[node]["kind"] == FINDING:
            rules = [s for s in sources if graph.nodes[s]["kind"] == RULE]
            wanted = [r for r in rules if graph.nodes[r]["state"] == graph.nodes[node]["state"]]
            sources = [min(wanted, key=lambda r: (graph.in_degree(r), r))] if wanted else []
        elif graph.nodes[node]["kind"] == DERIVED:
            sources = [s for s in sources if graph.nodes[s]["kind"] in (GIVEN, DERIVED)]
        for source in sources:
            if source not in out:
                out.add(source)
                if graph.nodes[source]["kind"] in (FINDING, RULE, DERIVED):
                    waiting.append(source)
    return out


def fold_rules(graph: Graph) -> Graph:
    """Replace each rule by edges from what it read to what it found; its words become the finding's own."""
    for rule in [n for n, d in graph.nodes(data=True) if d["kind"] == RULE]:
        for target in list(graph.successors(rule)):
            if graph.nodes[target]["kind"] == FINDING:
                graph.nodes[target]["detail"] = graph.nodes[rule]["label"]
                graph.nodes[target]["fired"] = graph.nodes[rule]["fired"]
            for source in list(graph.predecessors(rule)):
                graph.add_edge(source, target, side=graph.edges[rule, target]["side"])
        graph.remove_node(rule)
    lonely = [n for n, d in graph.nodes(data=True) if d["kind"] in (GIVEN, DERIVED) and not list(graph.successors(n))]
    graph.remove_nodes_from(lonely)
    return graph
