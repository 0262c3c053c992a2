"""The chain as one self-contained HTML file: each node folds, unfolds and shows its rule, numbers and source.

Works offline and by keyboard; without scripts the same content stands there as text.
"""

from __future__ import annotations

import json
from functools import lru_cache
from pathlib import Path
from typing import Any

from jinja2 import Environment, FileSystemLoader, StrictUndefined
from markupsafe import Markup

from explain.chain import CAUSE, CAUTION, DERIVED, FINDING, GATE, GIVEN, REMEDY, RULE, Graph, fold_rules
from explain.howview import activations
from explain.layout import caption_of, figure_of, node_id, pen
from explain.letters import clean
from explain.look import sign
from explain.words import Speaker, figure, phrases, quantity, round_names, say
from inference.physics.valid import beyond
from inference.result import Result
from kb.model import Knowledge

TEMPLATES = Path(__file__).parent / "papers" / "templates"
ORDER = (GATE, CAUSE, REMEDY, FINDING, DERIVED, GIVEN, CAUTION, RULE, "more")


@lru_cache(maxsize=1)
def environment() -> Environment:
    """Return the templates' environment: every value is escaped, and a missing one is an error."""
    return Environment(loader=FileSystemLoader(TEMPLATES), autoescape=True, undefined=StrictUndefined)


def raw(name: str) -> Markup:
    """Return a style or script file of ours, to stand inside the page as it is."""
    return Markup((TEMPLATES / name).read_text(encoding="utf-8"))


def as_script_data(data: Any) -> Markup:
    """Return data as JSON that no content can break out of its script element."""
    body = json.dumps(data, ensure_ascii=False, separators=(",", ":"))
    return Markup(body.replace("<", "\\u003c").replace(">", "\\u003e").replace("&", "\\u0026"))


def page(knowledge: Knowledge, result: Result, graph: Graph, whole: Graph, title: str, describe: str) -> str:
    """Return the page.

    Parameters
    ----------
    graph : what is shown at first
    whole : everything that can be unfolded
    """
    full = whole if whole is graph else fold_rules(whole.copy())
    full.add_nodes_from((n, d) for n, d in graph.nodes(data=True) if n not in full)
    full.add_edges_from((a, b, d) for a, b, d in graph.edges(data=True) if not full.has_edge(a, b))
    notes = Notes(knowledge, result)
    nodes = [notes.node(n, dict(full.nodes[n]), n in graph) for n in sorted(full.nodes)]
    by_id = {n["id"]: n for n in nodes}
    edges = []
    for a, b in sorted(full.edges):
        d = full.edges[a, b]
        heavy = round(pen(d), 2) if "decibans" in d else 0
        edges.append({"s": node_id(a), "t": node_id(b), "side": d["side"], "db": figure_of(d), "w": heavy})
    words = phrases()["chainpage"]
    js_words = {k: words[k] for k in ("count", "rests", "leads")} | dict(phrases()["chain"]["edge"])
    return environment().get_template("chain.html").render(
        title=clean(title), describe=clean(describe), sign=Markup(sign(result.gate.decision, 56)),
        words=words, legend=list(phrases()["chain"]["legend_line"].items()), css=raw("chain.css"), js=raw("chain.js"),
        groups=_groups(nodes, edges, by_id), data=as_script_data({"nodes": nodes, "edges": edges, "words": js_words}),
    )  # fmt: skip


def _groups(nodes: list[dict[str, Any]], edges: list[dict[str, Any]], by_id: dict[str, Any]) -> list[dict[str, Any]]:
    """Return the nodes by kind with what each rests on in words: the text that stands for the picture."""
    out = []
    told = phrases()["chain"]["edge"]
    for kind in ORDER:
        found = [n for n in nodes if n["kind"] == kind]
        if kind == CAUSE:
            found.sort(key=lambda n: n["order"])
        lines = []
        for node in found:
            into = [
                f"{by_id[e['s']]['title']}"
                + (f": {by_id[e['s']]['value']}" if by_id[e["s"]]["value"] else "")
                + f" ({told[e['side']]}{', ' + e['db'] if e['db'] else ''})"
                for e in edges if e["t"] == node["id"]
            ]  # fmt: skip
            lines.append({**node, "into": into})
        if lines:
            out.append({"title": phrases()["chainpage"]["group"][kind], "nodes": lines})
    return out


class Notes:
    """What a node shows when it is chosen: its rule with conditions and limits, numbers, source."""

    def __init__(self, knowledge: Knowledge, result: Result) -> None:
        self.k, self.r = knowledge, result
        self.speaker = Speaker(knowledge, result)
        self.rounds = round_names(result)
        self.rank = {c.id: i for i, c in enumerate(result.causes)}

    def node(self, node: str, data: dict[str, Any], shown: bool) -> dict[str, Any]:
        """Return a node as the page's script wants it."""
        kind, _, rest = node.partition(":")
        name = rest.partition("@")[0]
        label = clean(str(data["label"]))
        return {
            "id": node_id(node), "kind": data["kind"], "state": str(data["state"]), "caption": caption_of(data),
            "title": label[:1].upper() + label[1:], "value": clean(str(data.get("value", ""))), "shown": shown,
            "tip": clean(str(data.get("detail") or "")), "goal": shown and data["kind"] in (CAUSE, GATE, REMEDY),
            "order": self.rank.get(name, 0), "facts": self.facts(kind, name, data),
            "rules": self.rules(kind, name, data),
        }  # fmt: skip

    def facts(self, kind: str, name: str, data: dict[str, Any]) -> list[list[str]]:
        """Return the numbers and sources of a node as label and text."""
        words = phrases()["chainpage"]["fact"]
        out: list[tuple[str, str]] = []
        if kind in (GIVEN, DERIVED, FINDING) and len(self.rounds) > 1:
            out.append((words["round"], self.rounds[int(data["round"])]))
        base = name.partition(".")[0]
        if kind == GIVEN and base in self.k.readings:
            reading = self.k.readings[base]
            out += [(words["how"], reading.how), (words["error"], reading.error)]
            if reading.error_share:
                out[-1] = (words["error"], say("chainpage.or_share", error=reading.error,
                                               share=figure(reading.error_share * 100)))  # fmt: skip
            out.append((words["source"], self.k.sources[reading.source].title))
        elif kind == GIVEN and name in self.k.questions:
            out += [(words["how"], self.k.questions[name].how), (words["why"], self.k.questions[name].why)]
        elif kind == DERIVED and base in self.k.derived:
            entry, derived = self.k.derived[base], self.r.rounds[int(data["round"])].derived.get(name)
            out += [(words["formula"], derived.formula if derived else entry.formula), (words["valid"], entry.valid)]
            if derived:
                three = (derived.spread.low, derived.spread.mid, derived.spread.high)
                out.append((words["three"], " / ".join(quantity(v, derived.unit) for v in three)))
                if not derived.in_range:
                    out.append((words["valid"], " ".join(beyond(derived.notes))))
            out.append((words["source"], self.k.sources[entry.source].title))
        elif kind == FINDING and name in self.k.findings:
            out.append((words["means"], self.k.findings[name].means))
        elif kind == CAUSE:
            cause, known = self.k.causes[name], self.r.cause(name)
            out += [(words["links"], " → ".join(cause.leads_to)), (words["seen"], cause.also_seen)]
            out.append(
                (words["prior"], f"{figure(cause.prior.p * 100)} % ({self.k.sources[cause.prior.source].title})")
            )
            if known.settled_by:
                out.append((words["settled"], self.k.findings[known.settled_by].title))
            out.append((words["tests"], "; ".join(self.k.tests[t].title for t in cause.tests)))
        elif kind == REMEDY:
            remedy = self.k.remedies[name]
            out += [(words["steps"], " ".join(f"{i}. {s}" for i, s in enumerate(remedy.steps, 1)))]
            out.append((words["proof"], remedy.proof))
            out.append((words["source"], self.k.sources[remedy.source].title))
        return [[a, clean(b)] for a, b in out if b]

    def rules(self, kind: str, name: str, data: dict[str, Any]) -> list[dict[str, Any]]:
        """Return the rules that fired for a finding, with each condition and the value that met it."""
        if kind != FINDING or name not in self.k.findings:
            return []
        out = []
        for fired in activations(self.k, self.r, self.speaker, name, int(data["round"])):
            conditions = [
                f"{c.says}: {c.value} [{c.condition}]" + ("" if c.in_range else f" {say('how.out_of_range')}")
                for c in fired.conditions
            ]
            out.append({
                "head": say("how.rule", rule=fired.rule), "says": clean(fired.says),
                "conditions": [clean(c) for c in conditions], "source": say("how.source", source=fired.source),
            })  # fmt: skip
        return out
