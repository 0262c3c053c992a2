"""Draw a chain with Graphviz: left to right, shapes before colours, so that it also reads in grey.

The only place that knows where the drawing program is: the ``graphviz-pure`` package brings one, so none need be
installed on the system.
"""

from __future__ import annotations

import os
import shutil
import sysconfig
from pathlib import Path
from textwrap import wrap
from typing import Any

import graphviz
from graphviz.backend import dot_command

from explain.chain import CAUSE, CAUTION, DERIVED, FINDING, GATE, GIVEN, REMEDY, RULE, Graph
from explain.terminal import percent
from explain.words import phrases

FORMATS = ("svg", "png", "dot")
FONT = "Arimo"  # comes with graphviz-pure, so that every machine draws the same
WIDTH = 30  # letters a line

# kind -> shape, fill, outline; chosen to stay apart in grey print and for the colour-blind
LOOK: dict[str, dict[str, str]] = {
    GIVEN: {"shape": "box", "style": "filled", "fillcolor": "#ffffff", "color": "#7a7a7a"},
    DERIVED: {"shape": "box", "style": "filled,dashed", "fillcolor": "#f4f4f1", "color": "#7a7a7a"},
    RULE: {"shape": "note", "style": "filled", "fillcolor": "#fbfaf4", "color": "#b5ad8c"},
    FINDING: {"shape": "box", "style": "filled,rounded", "fillcolor": "#e6eef5", "color": "#2f5f8a"},
    CAUSE: {"shape": "hexagon", "style": "filled", "fillcolor": "#f6e3c5", "color": "#8a5a12"},
    GATE: {"shape": "octagon", "style": "filled,bold", "fillcolor": "#ffffff", "color": "#222222"},
    REMEDY: {"shape": "cds", "style": "filled", "fillcolor": "#e3f0e1", "color": "#3c6e37"},
    CAUTION: {"shape": "triangle", "style": "filled", "fillcolor": "#fbe0dc", "color": "#9a2f20"},
}
EDGE: dict[str, dict[str, str]] = {
    "plain": {"color": "#9a9a9a"},
    "for": {"color": "#2f5f8a"},
    "against": {"color": "#b04a30", "style": "dashed", "arrowhead": "tee"},
    "open": {"color": "#9a9a9a", "style": "dotted", "arrowhead": "odot"},
}


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


def to_dot(graph: Graph, title: str) -> graphviz.Digraph:
    """Return the Graphviz description of a chain, the same text for the same chain."""
    dot = graphviz.Digraph("chain")
    dot.attr(
        "graph", rankdir="LR", fontname=FONT, nodesep="0.18", ranksep="0.55", splines="spline", bgcolor="white",
        label=_plain(title), labelloc="t", labeljust="l", fontsize="16", tooltip=_plain(title), pad="0.3",
    )  # fmt: skip
    dot.attr("node", fontname=FONT, fontsize="11", margin="0.12,0.07", penwidth="1.3")
    dot.attr("edge", fontname=FONT, fontsize="10", arrowsize="0.7")
    for node, data in sorted(
        (n, dict(d)) for n, d in graph.nodes(data=True)
    ):  # ids are unique: dicts are never compared
        dot.node(
            _id(node), _label(data), tooltip=_plain(data.get("detail") or data["label"]), id=_id(node), **_look(data)
        )
    for source, target in sorted(graph.edges):
        data = graph.edges[source, target]
        look = dict(EDGE[data["side"]])
        decibans = data.get("decibans")
        if decibans is not None:
            look |= {"penwidth": f"{min(1 + abs(decibans) / 4, 6):.2f}", "label": f" {decibans:+.0f} dB "}
        dot.edge(_id(source), _id(target), **look)
    return dot


def draw(graph: Graph, title: str, format_: str) -> bytes:
    """Return the picture of a chain as the bytes of an SVG, PNG or DOT file.

    Raises
    ------
    ValueError : another format than svg, png or dot
    """
    if format_ not in FORMATS:
        raise ValueError(f"'{format_}' is no picture format here; take one of {', '.join(FORMATS)}")
    dot = to_dot(graph, title)
    if format_ == "dot":
        return dot.source.encode()
    dot_command.DOT_BINARY = program()
    return bytes(dot.pipe(format=format_, quiet=True))


def _look(data: dict[str, Any]) -> dict[str, str]:
    look = dict(LOOK[data["kind"]])
    state = data["state"]
    if data["kind"] == FINDING and state in ("fails", "unknown", "conflict"):
        look["fillcolor"] = {"fails": "#ffffff", "unknown": "#f7f7f7", "conflict": "#fbe9d0"}[state]
        if state in ("unknown", "conflict"):
            look["style"] = "filled,rounded,dashed"
    if data["kind"] == CAUSE:
        look["penwidth"] = "3" if state in ("proven", "likely") else "1.3"
        if state in ("unlikely", "ruled out"):
            look["fillcolor"] = "#faf6ee"
    if data["kind"] == GATE:
        look["penwidth"] = "3"
    return look


def _label(data: dict[str, Any]) -> str:
    text = data["label"]
    if data["kind"] == GATE:
        text = str(phrases()["decision"][data["state"]])
    lines = wrap(_plain(text), WIDTH, break_long_words=True) or [" "]
    if data["kind"] == CAUSE:
        level = phrases()["level"][data["state"]]
        lines.append(f"{level}, {percent(data['probability'])}")
    return "\n".join(graphviz.escape(line) for line in lines)


def _plain(text: str) -> str:
    """Keep text from being read as markup of the drawing language."""
    return text.replace("\\", "/").replace("\n", " ")


def _id(node: str) -> str:
    return node.replace(":", "-").replace("/", "-").replace("@", "-r")
