"""The branch that failed: what would speak for a cause (or a finding), rule by rule, and the condition where it broke.

The engine looks at each rule afresh (inference.engine.look); nothing is inferred here.
"""

from __future__ import annotations

from explain.askwords import OPPOSITE
from explain.chain import CAUSE, FINDING, GIVEN, RULE, Graph, new_graph, slot_node
from explain.chainfit import richest
from explain.terminal import percent
from explain.words import Speaker, phrases, say
from inference.diagnose import program_of
from inference.engine.look import ConditionView, RuleView, explain_rule
from inference.result import Result
from inference.values import Word
from kb.model import Cause, Knowledge, Rule

MOST_FINDINGS = 6  # of a cause, the most telling first
MOST_RULES = 3  # of a finding, the nearest to firing first
# findings, rules of each, and whether conditions that serve a rule are drawn beside those at which it broke
TRIALS = (
    (MOST_FINDINGS, MOST_RULES, True), (6, 3, False), (6, 2, False), (4, 3, False), (5, 2, False), (6, 1, False),
    (4, 2, False), (3, 3, False), (5, 1, False), (3, 2, False), (4, 1, False), (3, 1, False), (2, 1, False),
)  # fmt: skip


def fitted(knowledge: Knowledge, result: Result, wanted: str) -> Graph:
    """Return the richest readable picture of a branch that does not stand, see :func:`explain.chainfit.richest`.

    Raises
    ------
    KeyError : there is no such cause or finding
    """
    return richest(whynot(knowledge, result, wanted, *trial) for trial in TRIALS)


def whynot(
    knowledge: Knowledge, result: Result, wanted: str,
    findings: int = MOST_FINDINGS, rules: int = MOST_RULES, serving: bool = True,
) -> Graph:  # fmt: skip
    """Return the graph of a branch that does not stand, in the latest round.

    Parameters
    ----------
    wanted : id of a cause or of a finding
    findings : how many findings of a cause are drawn
    rules : how many rules of a finding
    serving : whether the conditions that serve a rule are drawn, not only those at which it broke

    Raises
    ------
    KeyError : there is no such cause or finding
    """
    graph = new_graph()
    last = len(result.rounds) - 1
    if wanted in knowledge.causes:
        cause, entry = result.cause(wanted), knowledge.causes[wanted]
        goal = f"{CAUSE}:{wanted}"
        graph.add_node(
            goal, kind=CAUSE, label=entry.title, state=cause.level, value=percent(cause.probability),
            probability=cause.probability, detail=entry.mechanism, round=last,
        )  # fmt: skip
        for finding, side in telling(entry)[:findings]:
            node = _finding(graph, knowledge, result, finding, side, rules, serving)
            state = graph.nodes[node]["state"]
            graph.add_edge(node, goal, side="for" if state == side else "open" if state == "unknown" else "against")
    else:
        knowledge.findings[wanted]  # a KeyError names what is not there
        _finding(graph, knowledge, result, wanted, "holds", rules, serving)
    return graph


def telling(entry: Cause) -> list[tuple[str, str]]:
    """Return the findings that would speak for a cause, with the state wanted, the most telling first."""
    out = [(p.finding, p.state) for p in entry.proofs if p.shows_it == "present"]
    weighs = sorted(entry.weighs, key=lambda w: (-w.with_it / w.without_it, w.finding))
    out += [(w.finding, "holds") for w in weighs]
    shows = sorted(entry.shows, key=lambda s: (-s.how_often, s.finding))
    out += [(s.finding, "holds") for s in shows]
    return list(dict.fromkeys(out))


def _finding(
    graph: Graph, knowledge: Knowledge, result: Result, finding: str, wanted: str, most: int, serving: bool
) -> str:
    last = len(result.rounds) - 1
    found = {**result.stands.findings, **result.decided.findings}.get(finding)
    state = found.state if found else "unknown"
    entry = knowledge.findings[finding]
    node = f"{FINDING}:{finding}@{last}"
    label = entry.fails if state == "fails" else entry.title
    graph.add_node(node, kind=FINDING, label=label, state=state, round=last, detail=entry.means)
    facts = {**result.latest.facts, **result.latest.verdicts.as_facts()}
    facts |= {c.id: Word(c.level if c.state == "present" else "ruled out") for c in result.causes}
    rules = [
        r for r in knowledge.rules.values()
        if r.then.finding == finding and r.then.state == wanted and r.status != "retired"
    ]  # fmt: skip
    program = program_of(knowledge)
    views = sorted(
        (explain_rule(program, r.id, facts) for r in rules),
        key=lambda v: (not v.fires, sum(not c.serves for c in v.conditions), v.rule),
    )
    for view in views[:most]:
        _rule(graph, Speaker(knowledge, result), result, knowledge.rules[view.rule], view, node, serving)
    return node


def where(view: RuleView) -> ConditionView | None:
    """Return the condition at which a rule broke: the first known to be wrong, else the first not known, else None.

    Alternatives (``any``) break a rule only together, so they come after what stands alone.
    """
    if view.fires:
        return None
    open_ = [c for c in view.conditions if not c.serves]
    ranked = sorted(open_, key=lambda c: (c.part == "any", c.state == "unknown"))
    return ranked[0] if ranked else None


def _rule(
    graph: Graph, speaker: Speaker, result: Result, rule: Rule, view: RuleView, target: str, serving: bool
) -> None:
    last = len(result.rounds) - 1
    broke = where(view)
    state = "holds" if broke is None else "unknown" if broke.state == "unknown" else "broke"
    told = say("chain.met")
    if broke is not None:
        key = "lacks" if state == "unknown" else "stopped" if broke.part == "unless" else "broke"
        told = say(f"chain.{key}", condition=condition(speaker, broke))
    node = f"{RULE}:{rule.id}@{last}"
    graph.add_node(node, kind=RULE, label=rule.title, value=told, state=state, round=last, detail=rule.id)
    side = {"holds": "for", "unknown": "open", "broke": "against"}[state]
    graph.add_edge(node, target, side=side)
    for seen in view.conditions:
        if seen.slot in speaker.knowledge.causes or (seen.serves and broke is not None and not serving):
            continue
        source = slot_node(result.latest, seen.slot, last)
        if source not in graph:
            _slot(graph, speaker, source, seen, last)
        if not graph.has_edge(source, node):
            sided = "for" if seen.serves else "open" if seen.state == "unknown" else "against"
            graph.add_edge(source, node, side=sided)


def _slot(graph: Graph, speaker: Speaker, node: str, seen: ConditionView, last: int) -> None:
    kind = node.partition(":")[0]
    state = "unknown" if seen.value is None else "given"
    if kind == FINDING:
        state = seen.value.text if isinstance(seen.value, Word) else "unknown"
        graph.add_node(node, kind=FINDING, label=speaker.slot_title(seen.slot), state=state, round=last)
        return
    value = speaker.value(seen.slot, seen.value) if seen.value is not None else ""
    graph.add_node(node, kind=kind if kind != FINDING else GIVEN, label=speaker.slot_title(seen.slot), value=value,
                   state=state, round=last, slot=seen.slot)  # fmt: skip


def condition(speaker: Speaker, seen: ConditionView) -> str:
    """Return what a condition asks for in words, with the slot's own name before it; of an exception, what it is."""
    title, limit = speaker.slot_title(seen.slot), seen.text.removeprefix(seen.slot).strip().removeprefix("is ")
    states = phrases()["ask"]["state"]
    if limit in states:
        return f"{title}: {states[OPPOSITE.get(limit, limit) if seen.part == 'none' else limit]}"
    return f"{title} {say('chain.not', limit=limit) if seen.part == 'none' else limit}"
