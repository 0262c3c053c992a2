"""Where the nodes of a chain stand: sizes measured with our own fonts, places and curves found by Graphviz.

The only place that knows where the drawing program is: the ``graphviz-pure`` package brings one, so none need be
installed on the system. It guesses the width of letters outside ASCII, so every node goes to it with a fixed size.
"""

from __future__ import annotations

import os
import shlex
import shutil
import sysconfig
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import graphviz
from graphviz.backend import dot_command

from explain.chain import CAUSE, DERIVED, FINDING, GATE, GIVEN, REMEDY, RULE, Graph
from explain.letters import clean, width, wrap
from explain.words import phrases, say

SIZE = 11.0  # letters [pt]
LEAD = 14.0  # from line to line
SMALL = 8.5  # captions
ROOM = {GATE: 130.0, CAUSE: 140.0, RULE: 190.0, FINDING: 150.0}  # width of the text [pt]
USUAL_ROOM = 130.0
LINES = 7  # a longer label is cut; the tooltip has all of it
PAD = {GIVEN: 8.0, DERIVED: 15.0, CAUSE: 20.0, GATE: 18.0, REMEDY: 14.0}
POINT = 72.0


@dataclass(frozen=True)
class Box:
    """A node ready to draw: its lines of text (bold or not), and its size and middle [pt]."""

    caption: str
    lines: tuple[tuple[str, bool], ...]
    width: float
    height: float
    x: float = 0.0
    y: float = 0.0


@dataclass(frozen=True)
class Curve:
    """An edge: Bézier points from source to target, and where its figure stands, if it has one."""

    points: tuple[tuple[float, float], ...]
    label: str = ""
    at: tuple[float, float] = (0.0, 0.0)


@dataclass(frozen=True)
class Layout:
    """A chain laid out [pt], the origin at the top left."""

    width: float
    height: float
    boxes: dict[str, Box] = field(default_factory=dict)
    curves: dict[tuple[str, str], Curve] = field(default_factory=dict)


def program() -> Path:
    """Return the drawing program: the one the Python environment brings, else a ``dot`` on the path.

    Raises
    ------
    FileNotFoundError : neither is there; the sentence says what to install
    """
    name = "graphviz-pure.exe" if os.name == "nt" else "graphviz-pure"
    brought = Path(sysconfig.get_path("scripts")) / name
    if brought.exists():
        return brought
    found = shutil.which("graphviz-pure") or shutil.which("dot")
    if found is None:
        raise FileNotFoundError("no drawing program is there; install it with: pip install graphviz-pure")
    return Path(found)


def node_id(node: str) -> str:
    """Return a node's id as it stands in every picture: ``finding-engine_runs_cold-r0``."""
    return node.replace(":", "-").replace("/", "-").replace("@", "-r")


def measure(data: dict[str, Any]) -> Box:
    """Return the box that a node's words need."""
    kind = data["kind"]
    room = ROOM.get(kind, USUAL_ROOM)
    main = kind in (CAUSE, GATE, REMEDY)
    label = clean(str(data["label"])) or " "
    label = label[:1].upper() + label[1:]
    lines = [(line, main) for line in wrap(label, room, SIZE, main) or [" "]]
    value = clean(str(data.get("value", "")))
    strong = [(line, not main) for line in wrap(value, room, SIZE, True)] if value else []
    if len(lines) + len(strong) > LINES:
        strong = strong[: LINES - 1]
        lines = [*lines[: LINES - len(strong) - 1], ("…", False)]
    lines += strong
    caption = caption_of(data)
    widest = max(width(caption, SMALL), *(width(line, SIZE, bold) for line, bold in lines))
    pad = PAD.get(kind, 9.0)
    return Box(caption, tuple(lines), widest + 2 * pad, LEAD * len(lines) + SMALL + 14.0)


def caption_of(data: dict[str, Any]) -> str:
    """Return what a node is, in a word or two ("found", "cause, likely", "read, after repair")."""
    caption = _caption(data)
    return f"{caption}, {data['when']}" if "when" in data else caption


def _caption(data: dict[str, Any]) -> str:
    words = phrases()["chain"]
    if data["kind"] == FINDING:
        return str(words["finding"][data["state"]])
    if data["kind"] == CAUSE:
        return say("chain.cause", level=phrases()["level"][data["state"]])
    if data["kind"] in (GIVEN, DERIVED) and data["state"] == "unknown":
        return str(phrases()["value"]["unknown"])
    if data["state"] == "out of range":
        return str(words["kind"]["out of range"])
    if "step" in data:
        return say("chain.step_waits" if data.get("waits") else "chain.step", step=data["step"])
    return str(words["kind"][data["kind"]])


def to_dot(graph: Graph, title: str, words: bool = True) -> tuple[graphviz.Digraph, dict[str, Box]]:
    """Return the Graphviz description of a chain, the same text for the same chain, and the measured boxes.

    Without ``words`` the nodes are bare: enough to lay them out.
    """
    dot = graphviz.Digraph("chain")
    dot.attr("graph", rankdir="LR", nodesep="0.16", ranksep="0.5", splines="spline", label=_plain(title))
    dot.attr("node", shape="box", fixedsize="true", fontsize="11")
    dot.attr("edge", arrowhead="none", fontsize="9")
    boxes: dict[str, Box] = {}
    for node in sorted(graph.nodes):
        data = dict(graph.nodes[node])
        box = boxes[node] = measure(data)
        told = _plain(str(data.get("detail") or data["label"])) if words else ""
        dot.node(
            node_id(node), "\n".join(graphviz.escape(_plain(line)) for line, _ in box.lines) if words else "-",
            id=node_id(node), tooltip=graphviz.escape(told),
            width=f"{box.width / POINT:.4f}", height=f"{box.height / POINT:.4f}",
        )  # fmt: skip
    for source, target in sorted(graph.edges):
        data = graph.edges[source, target]
        more: dict[str, str] = {}
        if label := figure_of(data):
            more["label"] = label
        if graph.nodes[source]["kind"] == graph.nodes[target]["kind"] == CAUSE:
            more["constraint"] = "false"
        if data["side"] in ("against", "open"):
            more["style"] = "dashed" if data["side"] == "against" else "dotted"
        dot.edge(node_id(source), node_id(target), penwidth=f"{pen(data):.2f}", **more)
    causes = sorted(n for n, d in graph.nodes(data=True) if d["kind"] == CAUSE)
    if GATE in graph and not words:
        for cause in causes:
            if not graph.has_edge(cause, GATE):
                dot.edge(node_id(cause), node_id(GATE), style="invis", weight="0")
    if len(causes) > 1 and graph.number_of_nodes() < 100:
        with dot.subgraph() as row:
            row.attr(rank="same")
            for cause in causes:
                row.node(node_id(cause))
    jobs = sorted((n for n, d in graph.nodes(data=True) if d["kind"] == REMEDY), key=lambda n: graph.nodes[n]["step"])
    if jobs and GATE in graph:  # the order of work stands as a list under the decision
        with dot.subgraph() as row:
            row.attr(rank="same")
            for node in (GATE, *jobs):
                row.node(node_id(node))
        if not words and not graph.has_edge(GATE, jobs[0]):
            dot.edge(node_id(GATE), node_id(jobs[0]), style="invis")
    return dot, boxes


def figure_of(data: dict[str, Any]) -> str:
    """Return the figure beside an edge: its weight, or nothing."""
    decibans = data.get("decibans")
    return "" if decibans is None else say("chain.weight", decibans=f"{decibans:+.0f}".replace("-", "−"))


def pen(data: dict[str, Any]) -> float:
    """Return the width of an edge's line [pt]: the heavier the evidence, the thicker; 1 where it has no weight."""
    decibans = data.get("decibans")
    return 1.0 if decibans is None else min(1.0 + abs(decibans) / 3.0, 7.0)


def lay_out(graph: Graph) -> Layout:
    """Return places and curves for every node and edge of a chain.

    Raises
    ------
    FileNotFoundError : there is no drawing program
    """
    dot, boxes = to_dot(graph, "", words=False)
    dot_command.DOT_BINARY = program()
    plain = dot.pipe(format="plain", quiet=True, encoding="utf-8")
    by_id = {node_id(n): n for n in graph.nodes}
    out_boxes: dict[str, Box] = {}
    curves: dict[tuple[str, str], Curve] = {}
    wide = high = 0.0
    for line in plain.replace("\\\n", "").splitlines():
        parts = shlex.split(line)
        if not parts:
            continue
        if parts[0] == "graph":
            wide, high = float(parts[2]) * POINT, float(parts[3]) * POINT
        elif parts[0] == "node":
            box = boxes[by_id[parts[1]]]
            x, y = float(parts[2]) * POINT, high - float(parts[3]) * POINT
            out_boxes[by_id[parts[1]]] = Box(box.caption, box.lines, box.width, box.height, x, y)
        elif parts[0] == "edge":
            key = (by_id[parts[1]], by_id[parts[2]])
            if not graph.has_edge(*key):
                continue  # it only kept the decision to the right of the causes
            curves[key] = _curve(parts, high, figure_of(graph.edges[key]))
    return Layout(wide, high, out_boxes, curves)


def _curve(parts: list[str], high: float, label: str) -> Curve:
    count = int(parts[3])
    numbers = [float(v) * POINT for v in parts[4 : 4 + 2 * count]]
    points = tuple((numbers[i], high - numbers[i + 1]) for i in range(0, 2 * count, 2))
    if not label:
        return Curve(points)
    x, y = (float(v) * POINT for v in parts[5 + 2 * count : 7 + 2 * count])
    return Curve(points, label, (x, high - y))


def _plain(text: str) -> str:
    """Keep text from being read as markup of the drawing language."""
    return clean(text).replace("\\", "/")
