"""The chain: complete, readable, told apart without colour, and the same bytes for the same case."""

import json
import re
import subprocess
import xml.etree.ElementTree as ET
from collections.abc import Callable
from html.parser import HTMLParser
from pathlib import Path

import networkx as nx
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from explain.chain import CAUSE, FINDING, GATE, GIVEN, MOST, REMEDY, RULE, build, select, without_inputs
from explain.chainhtml import as_script_data, page
from explain.chainwhynot import where, whynot
from explain.draw import describe, draw, to_svg
from explain.layout import node_id, pen, program
from explain.letters import clean, width, wrap
from explain.look import AGAINST, DECISION, FOR, INK, SOFT
from explain.papers.typeset import picture_to_png
from inference.case import Case
from inference.diagnose import diagnose, program_of
from inference.engine.look import explain_rule, fires
from inference.read_case import read_case
from inference.result import Result
from inference.values import Word
from kb.faults import Faults
from kb.model import Knowledge

ROOT = Path(__file__).parent.parent.parent
SVG = "{http://www.w3.org/2000/svg}"


@pytest.fixture(scope="module")
def demo(knowledge: Knowledge) -> Result:
    return diagnose(read_case(ROOT / "clogwise" / "demo.yaml", knowledge), knowledge)


def test_every_case_gives_a_whole_readable_svg(knowledge: Knowledge, case: Case) -> None:
    result = diagnose(case, knowledge)
    graph = select(build(knowledge, result), result)
    assert 0 < graph.number_of_nodes() <= MOST
    assert nx.is_directed_acyclic_graph(graph)
    assert GATE in graph
    assert sum(d["kind"] == REMEDY for _, d in graph.nodes(data=True)) == len(result.work)
    told = describe(graph, case.name)
    root = ET.fromstring(to_svg(graph, case.name, told))
    title, desc = root.find(f"{SVG}title"), root.find(f"{SVG}desc")
    assert title is not None
    assert desc is not None
    assert root.get("role") == "img"
    assert root.get("aria-labelledby") == f"{title.get('id')} {desc.get('id')}"
    assert desc.text == clean(told)
    ids = [e.get("id") for e in root.iter() if e.get("id")]
    assert len(ids) == len(set(ids))
    for node in graph.nodes:
        drawn = root.find(f".//{SVG}g[@id='{node_id(node)}']")
        assert drawn is not None, node
        assert drawn.find(f"{SVG}title") is not None, "every node has a tooltip"
    for source, target in graph.edges:
        assert f"{node_id(source)}--{node_id(target)}" in ids
    assert picture_to_png(ET.tostring(root, encoding="unicode"), 30).startswith(b"\x89PNG")
    assert draw(graph, case.name, "dot").startswith(b"digraph chain {")
    html = page(knowledge, result, graph, build(knowledge, result), case.name, told)
    assert html.count('<li id="text-') >= graph.number_of_nodes()


def test_a_finding_that_fails_is_not_denied_twice(knowledge: Knowledge) -> None:
    """The label of a finding that fails says what is so instead; "found not so" above it would say the contrary."""
    case = read_case(ROOT / "cases" / "hop-kiln.yaml", knowledge)
    result = diagnose(case, knowledge)
    drawn = to_svg(select(build(knowledge, result), result), "chain")
    assert "Burns are left to finish" in " ".join(re.findall(r">([^<]+)<", drawn))
    assert "found not so" not in drawn


def test_the_same_case_gives_the_same_bytes(knowledge: Knowledge, demo: Result) -> None:
    pictures = []
    for _ in range(2):
        graph = select(build(knowledge, demo), demo)
        pictures.append([draw(graph, "x", f, "y") for f in ("svg", "dot", "png")])
    assert pictures[0] == pictures[1]
    assert pictures[0][2].startswith(b"\x89PNG\r\n\x1a\n")


def test_the_dot_file_is_read_by_graphviz(knowledge: Knowledge, demo: Result) -> None:
    graph = build(knowledge, demo)
    done = subprocess.run(
        [str(program()), "-Tplain"], input=draw(graph, "x", "dot"), capture_output=True, check=True, timeout=120
    )
    nodes = [line for line in done.stdout.decode().splitlines() if line.startswith("node ")]
    assert len(nodes) >= graph.number_of_nodes()


def test_line_width_grows_with_weight_and_figures_carry_their_unit(knowledge: Knowledge, demo: Result) -> None:
    graph = select(build(knowledge, demo), demo)
    weighed = [d for _, _, d in graph.edges(data=True) if "decibans" in d]
    assert weighed
    by_weight = sorted(weighed, key=lambda d: abs(d["decibans"]))
    assert [pen(d) for d in by_weight] == sorted(pen(d) for d in weighed)
    svg = to_svg(graph, "x")
    assert svg.count(" dB</text>") == len(weighed)


def test_for_against_and_unknown_differ_without_colour(knowledge: Knowledge, demo: Result) -> None:
    """Line pattern and end mark part the sides; outlines part what is known from what is not."""
    root = ET.fromstring(to_svg(build(knowledge, demo), "x"))
    patterns: dict[str, set[str | None]] = {}
    for g in root.iter(f"{SVG}g"):
        kind = g.get("class") or ""
        if kind.startswith("edge "):
            patterns.setdefault(kind, set()).add(g.findall(f"{SVG}path")[0].get("stroke-dasharray"))
    assert patterns["edge for"] == {None}
    assert patterns["edge against"] != patterns["edge open"] != {None}
    assert None not in patterns["edge against"] | patterns["edge open"]
    graph = build(knowledge, demo)
    for node, data in graph.nodes(data=True):
        if data["kind"] == FINDING:
            outline = root.find(f".//{SVG}g[@id='{node_id(node)}']/{SVG}path")
            assert outline is not None
            dashed = outline.get("stroke-dasharray") is not None
            assert dashed == (data["state"] in ("unknown", "conflict"))


def luminance(colour: str) -> float:
    """Relative luminance, WCAG 2.1, definition of "relative luminance" (W3C Recommendation)."""
    parts = [int(colour[i : i + 2], 16) / 255 for i in (1, 3, 5)]
    r, g, b = (c / 12.92 if c <= 0.04045 else ((c + 0.055) / 1.055) ** 2.4 for c in parts)
    return 0.2126 * r + 0.7152 * g + 0.0722 * b


@pytest.mark.parametrize("colour", [FOR, AGAINST, INK, SOFT, *DECISION.values()])
def test_what_carries_meaning_stands_out_in_grey_print(colour: str) -> None:
    """Contrast of 4.5 to 1 against white paper, WCAG 2.1 success criterion 1.4.3."""
    assert 1.05 / (luminance(colour) + 0.05) >= 4.5


def test_one_branch_holds_one_cause_and_what_it_rests_on(knowledge: Knowledge, demo: Result) -> None:
    top = demo.causes[0].id
    branch = select(build(knowledge, demo), demo, cause=top)
    goal = f"{CAUSE}:{top}"
    assert goal in branch
    assert all(nx.has_path(branch, n, goal) for n in branch.nodes)


def test_small_paper_leaves_out_only_what_feeds_worked_out_readings(knowledge: Knowledge, demo: Result) -> None:
    graph = select(build(knowledge, demo), demo)
    small = without_inputs(graph)
    assert set(small.nodes) < set(graph.nodes)
    assert all(graph.nodes[n]["kind"] in (GIVEN, "derived") for n in set(graph.nodes) - set(small.nodes))


def test_a_failed_branch_shows_where_it_broke(knowledge: Knowledge, demo: Result) -> None:
    """Held against the engine itself: a rule drawn as met fires, a rule drawn as broken has that condition unmet."""
    unlikely = demo.causes[-1].id if demo.causes[-1].state == "present" else demo.causes[-5].id
    facts = {**demo.latest.facts, **demo.latest.verdicts.as_facts()}
    facts |= {c.id: Word(c.level if c.state == "present" else "ruled out") for c in demo.causes}
    rules = broken = 0
    for wanted in (unlikely, demo.causes[0].id, demo.causes[8].id):
        graph = whynot(knowledge, demo, wanted)
        assert f"{CAUSE}:{wanted}" in graph
        for node, data in graph.nodes(data=True):
            if data["kind"] != RULE:
                continue
            rules += 1
            name = node.partition(":")[2].partition("@")[0]
            assert (data["state"] == "holds") == fires(program_of(knowledge), name, facts)
            met = where(explain_rule(program_of(knowledge), name, facts))
            assert (met is None) == (data["state"] == "holds")
            if met is not None:
                assert not met.serves
                broken += data["state"] == "broke"
        assert ET.fromstring(to_svg(graph, "x")) is not None
    assert rules > 5
    assert broken > 0


def test_whynot_knows_findings_too_and_refuses_other_names(knowledge: Knowledge, demo: Result) -> None:
    assert f"{FINDING}:short_trip_pattern@0" in whynot(knowledge, demo, "short_trip_pattern")
    with pytest.raises(KeyError):
        whynot(knowledge, demo, "no_such_thing")


# --- the page ------------------------------------------------------------------------------------------------------


class Outline(HTMLParser):
    """Collects tags, addresses and text of a page."""

    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.addresses: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.addresses += [v or "" for k, v in attrs if k in ("src", "href", "action", "xlink:href")]

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def test_the_page_stands_alone_and_says_the_chain_in_words(knowledge: Knowledge, demo: Result) -> None:
    whole = build(knowledge, demo)
    graph = select(whole, demo)
    html = page(knowledge, demo, graph, whole, "title", "in words")
    outline = Outline()
    outline.feed(html)
    assert outline.addresses == [], "nothing is loaded from elsewhere"
    assert outline.tags.count("script") == 2
    found = re.search(r'<script type="application/json" id="data">(.*?)</script>', html, re.S)
    assert found
    data = json.loads(found[1])
    known = {n["id"] for n in data["nodes"]}
    assert {node_id(n) for n in graph.nodes} <= known
    assert all(e["s"] in known and e["t"] in known for e in data["edges"])
    said = " ".join(outline.text)
    for node in data["nodes"]:
        assert node["title"] in said, "the text alternative names every node"
    fired = [n for n in data["nodes"] if n["rules"]]
    assert fired
    assert all(r["source"] and r["conditions"] for n in fired for r in n["rules"])


@given(st.text(max_size=60))
def test_no_content_breaks_out_of_the_script(content: str) -> None:
    told = str(as_script_data({"x": content + "</script><!--"}))
    assert "<" not in told
    assert json.loads(told)["x"].startswith(content)


# --- letters -------------------------------------------------------------------------------------------------------


@settings(max_examples=60)
@given(st.text(max_size=200), st.floats(30, 300))
def test_wrapped_lines_keep_to_their_room_and_lose_nothing(content: str, room: float) -> None:
    content = clean(content)
    lines = wrap(content, room, 11)
    assert "".join(lines).replace(" ", "") == content.replace(" ", "")
    assert all(width(line, 11) <= room or len(line) < 7 for line in lines)


def test_accents_are_not_parted_from_their_letter() -> None:
    word = "e\u0327" * 80  # no precomposed form with both marks survives normalisation as one letter everywhere
    assert not any(line.startswith("\u0327") for line in wrap(clean(word), 40, 11))


@pytest.mark.parametrize("ending", [".pdf", ".txt", ""])
def test_other_endings_are_refused_in_one_sentence(knowledge: Knowledge, demo: Result, ending: str) -> None:
    from clogwise.paper import draw_chain

    with pytest.raises(Faults, match="no format here"):
        draw_chain(knowledge, demo, Path(f"x{ending}"))


@pytest.mark.parametrize("ending", [".svg", ".png", ".dot", ".html"])
def test_each_format_is_written(knowledge: Knowledge, demo: Result, tmp_path: Path, ending: str) -> None:
    from clogwise.paper import draw_chain

    path = tmp_path / f"chain{ending}"
    assert draw_chain(knowledge, demo, path, whynot="egr_stuck_open") > 3
    assert draw_chain(knowledge, demo, path) > 3
    assert path.stat().st_size > 1000


def test_unknown_names_are_refused_with_the_nearest(knowledge: Knowledge, demo: Result, tmp_path: Path) -> None:
    from clogwise.paper import draw_chain

    calls: list[Callable[[], int]] = [
        lambda: draw_chain(knowledge, demo, tmp_path / "a.svg", cause="thermostat_stuck_opn"),
        lambda: draw_chain(knowledge, demo, tmp_path / "a.svg", whynot="thermostat_stuck_opn"),
    ]
    for call in calls:
        with pytest.raises(Faults, match="thermostat_stuck_open"):
            call()
