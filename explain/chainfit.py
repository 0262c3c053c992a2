"""The chain made to fit on one sheet of paper in letters that can be read.

What was the same in two rounds, with all it rests on, is drawn once. Where that is not enough, the weakest evidence
and the readings that only feed worked-out ones are left out, step by step, and the picture says how much is.
"""

from __future__ import annotations

from collections.abc import Iterable

import networkx as nx

from explain.chain import DERIVED, FINDING, GIVEN, WEAK_DB, Graph, part, without_inputs
from explain.layout import SIZE, Layout, lay_out
from explain.words import say
from inference.result import Result

READABLE = 6.5  # pt of letters in print; about what small print on a form has
LYING, STANDING = (762.0, 500.0), (515.0, 745.0)  # A4 less margins, heading and foot, either way up [pt]
KEY = 30.0  # of the picture's own key [pt]
# weight of the weakest evidence drawn [dB], and whether readings that only feed worked-out ones are; richest first
TRIALS = ((WEAK_DB[0], True), (WEAK_DB[1], True), *((weak, False) for weak in WEAK_DB))
Key = tuple[str, str, str, str, str, frozenset[str]]


def fit(whole: Graph, result: Result, cause: str | None = None) -> Graph:
    """Return the richest part of a chain that is readable on A4, see :func:`richest`."""

    def trial(weak: float, inputs: bool) -> Graph:
        chosen = once(part(whole, result, cause, weak))
        return chosen if inputs else without_inputs(chosen)

    return richest((trial(*one) for one in TRIALS), smaller=True)


def richest(trials: Iterable[Graph], smaller: bool = False) -> Graph:
    """Return the first of some pictures that is readable on A4, else the one with the largest letters.

    Its ``graph["left_out"]`` says how many boxes fewer it has than the largest looked at, ``graph["upright"]`` whether
    the sheet is better stood upright. ``smaller``: one that has no fewer boxes than the best so far is passed over.
    """
    best, size, most = None, 0.0, 0
    for chosen in trials:
        most = max(most, chosen.number_of_nodes())
        if smaller and best is not None and chosen.number_of_nodes() >= best.number_of_nodes():
            continue
        lying, standing = letters(lay_out(chosen))
        if best is None or max(lying, standing) > size:
            best, size = chosen, max(lying, standing)
            best.graph["upright"] = standing > lying
        if size >= READABLE:
            break
    assert best is not None
    best.graph["left_out"] = most - best.number_of_nodes()
    return best


def letters(place: Layout) -> tuple[float, float]:
    """Return how large the letters come out on A4 lying and standing, never larger than they are [pt]."""
    wide, high = place.width, place.height + KEY
    lying, standing = (SIZE * min(w / wide, h / high, 1.0) for w, h in (LYING, STANDING))
    return lying, standing


def once(graph: Graph) -> Graph:
    """Return a chain in which what two rounds have alike, down to all it rests on, stands once with both named."""
    out: Graph = graph.copy()
    stands: dict[str, str] = {}
    first: dict[Key, str] = {}
    for node in list(nx.lexicographical_topological_sort(graph)):
        data, stands[node] = graph.nodes[node], node
        if data["kind"] not in (GIVEN, DERIVED, FINDING) or "when" not in data:
            continue
        rests = frozenset(stands[source] for source in graph.predecessors(node))
        name = node.partition("@")[0]
        key = (str(data["kind"]), name, str(data["label"]), str(data.get("value", "")), str(data["state"]), rests)
        same = first.setdefault(key, node)
        if same == node or _speak_twice(graph, same, node):
            continue
        stands[node] = same
        out.nodes[same]["when"] = say("chain.rounds", first=out.nodes[same]["when"], last=data["when"])
        for target in list(out.successors(node)):
            if not out.has_edge(same, target):
                out.add_edge(same, target, **out.edges[node, target])
        out.remove_node(node)
    return out


def _speak_twice(graph: Graph, one: str, other: str) -> bool:
    """Whether two nodes weigh on one cause each for itself: then both figures have to stand."""
    weighed = [{t for t in graph.successors(n) if "decibans" in graph.edges[n, t]} for n in (one, other)]
    return not weighed[0].isdisjoint(weighed[1])
