"""What people write is text and stays text: any script, either direction, any length, with any markup in it."""

import dataclasses
import unicodedata
import xml.etree.ElementTree as ET
from html.parser import HTMLParser
from pathlib import Path

import pytest

from explain.chain import build, select
from explain.chainhtml import page as chain_page
from explain.draw import describe, draw, to_svg
from explain.letters import clean, families, printable
from explain.papers import letter, sheet
from explain.papers.letter import Sender
from explain.papers.printing import Printer, cut
from explain.papers.typeset import pages
from inference.diagnose import diagnose
from inference.read_case import read_case
from inference.result import Result
from kb.model import Knowledge

ROOT = Path(__file__).parent.parent.parent
HOSTILE = {
    "arabic": "محمد الأمين يقول إن الضوء يشتعل",
    "hebrew": "דוד כהן – הנורה דולקת שוב",
    "devanagari": "राम कुमार की गाड़ी",
    "thai": "สมชาย ใจดี ไฟเตือนติด",
    "chinese": "王小明说灯又亮了",
    "greek and cyrillic": "Γιώργος Жанна Ångström Đặng Łódź ő ű",
    "emoji": "🚗💨 lamp 👩🏽‍🔧",
    "stacked accents": "Z" + "\u0301\u0302\u0303\u0304\u0305\u0306\u0307\u0308" * 20 + "algo",
    "direction override": "abc \u202egnp.exe\u202c \u2066isolated",
    "html": "</title></script><script>alert(1)</script><img src=x onerror=alert(1)>",
    "svg": "]]></text></svg><svg onload=alert(1)>&lt;&amp;",
    "typst": '#eval("1+1") #panic("x") $x^2$ *bold* _it_ `raw` \\ #metadata(1) <pages> @ref = heading //c /*c*/',
    "template": "{{ 7*7 }} {% for x in y %} {# c #} ${7*7} %(name)s {name} {0}",
    "graphviz": 'a" ]; node [label="x"]; <b>x</b> \\n \\l \\N',
    "control": "a\x00b\x07c\x1b[31mred\x7f\x85\u2028new\u2029par\r\nline\ttab",
    "lone surrogate": "a\ud800b",
    "one long word": "Donaudampfschiff" * 125,
    "long": "the lamp came on again and nobody knows why " * 46,
    "unassigned": "\U000e0fff\ufdd0 \U0001ffff",
    "ancient": "\U00013000\U00013001\U00013002",
    "empty": " \n\t ",
}


@pytest.fixture(scope="module")
def demo(knowledge: Knowledge) -> Result:
    return diagnose(read_case(ROOT / "clogwise" / "demo.yaml", knowledge), knowledge)


def written(demo: Result, content: str) -> Result:
    """The demo's result with ``content`` wherever a person writes freely."""
    case = demo.case
    rounds = tuple(dataclasses.replace(r, notes=content) for r in case.rounds)
    case = dataclasses.replace(
        case, name=content or "x", complaint=content, notes=content, emission_class=content, rounds=rounds
    )
    return dataclasses.replace(demo, case=case)


class Tags(HTMLParser):
    def __init__(self) -> None:
        super().__init__()
        self.tags: list[str] = []
        self.handlers: list[str] = []
        self.text: list[str] = []

    def handle_starttag(self, tag: str, attrs: list[tuple[str, str | None]]) -> None:
        self.tags.append(tag)
        self.handlers += [name for name, _ in attrs if name.startswith("on")]

    def handle_data(self, data: str) -> None:
        self.text.append(data)


def tags(html: str) -> Tags:
    found = Tags()
    found.feed(html)
    return found


@pytest.fixture(scope="module")
def plain(knowledge: Knowledge, demo: Result) -> list[list[str]]:
    """The elements of the three pages when nothing hostile is written."""
    return [tags(html).tags for html in html_pages(knowledge, written(demo, "quiet words"), "quiet words")]


def html_pages(knowledge: Knowledge, result: Result, content: str) -> list[str]:
    whole = build(knowledge, result)
    graph = select(whole, result)
    return [
        sheet.html(knowledge, result),
        letter.html(knowledge, result, Sender(content, content)),
        chain_page(knowledge, result, graph, whole, result.case.name, describe(graph, result.case.name)),
    ]


@pytest.mark.parametrize("kind", HOSTILE)
def test_html_holds_the_same_elements_whatever_is_written(
    knowledge: Knowledge, demo: Result, plain: list[list[str]], kind: str
) -> None:
    content = HOSTILE[kind]
    result = written(demo, content)
    for html, quiet in zip(html_pages(knowledge, result, content), plain, strict=True):
        found = tags(html)
        assert found.handlers == []
        if clean(content):
            assert found.tags == quiet
        html.encode()  # no lone surrogate is left
        assert not any(unicodedata.category(c) == "Cc" and c not in "\n\t\r" for c in html)
        assert not set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069") & set(html)
    whole = clean(content)
    if whole and len(whole) < 80:
        assert any(whole in t for t in tags(html_pages(knowledge, result, content)[1]).text), "it is shown as written"


@pytest.mark.parametrize("kind", HOSTILE)
def test_paper_keeps_its_pages_whatever_is_written(knowledge: Knowledge, demo: Result, kind: str) -> None:
    content = HOSTILE[kind]
    result = written(demo, content)
    assert letter.pdf(knowledge, result, Sender(content, content)).startswith(b"%PDF")
    assert pages("letter.typ", letter._fitted(knowledge, result, Sender(content, content), "a4")) == 1
    assert 1 <= pages("sheet.typ", sheet._fitted(knowledge, result, "a4")) <= sheet.LONGEST


@pytest.mark.parametrize("kind", HOSTILE)
def test_the_picture_stays_well_formed(knowledge: Knowledge, demo: Result, kind: str) -> None:
    content = HOSTILE[kind]
    graph = select(build(knowledge, demo), demo)
    for node in list(graph.nodes)[:6]:
        graph.nodes[node]["label"] = content
        graph.nodes[node]["detail"] = content
    svg = to_svg(graph, content, describe(graph, content))
    root = ET.fromstring(svg)
    assert not any(e.tag.endswith("script") or "onload" in e.attrib for e in root.iter())
    assert len(draw(graph, content, "png", "")) > 1000
    assert draw(graph, content, "dot").decode()


def test_letters_no_font_has_are_shown_as_missing_and_named(knowledge: Knowledge, demo: Result) -> None:
    told, lost = printable("ab\U00013000\U00013001c")
    assert told == "ab□□c"
    assert len(lost) == 2
    printer = Printer()
    printer.fit({"a": ["\U00013000"], "svg": "\U00013001"})
    assert "U+13000 egyptian hieroglyph a001" in printer.note
    assert "U+13001" not in printer.note
    data = letter._fitted(knowledge, demo, Sender(name="\U00013000"), "a4")
    assert data["name"] == "□"
    assert "U+13000" in data["lost"]
    assert letter._fitted(knowledge, demo, Sender(name="José"), "a4")["lost"] == ""


@pytest.mark.parametrize(
    "name", ["محمد", "דוד", "राम", "สมชาย", "Γιώργος", "Жанна", "José Ångström", "Հայկ", "გია", "ክፍለ"]
)
def test_names_in_these_scripts_are_printed_whole(name: str) -> None:
    assert printable(name) == (name, ())


def test_signs_of_the_trade_can_be_printed() -> None:
    assert printable("°C ≥ 80, g/m², −3 dB, ½, ± × · – — “é” → µm Ω") == (
        "°C ≥ 80, g/m², −3 dB, ½, ± × · – — “é” → µm Ω",
        (),
    )
    assert families()[0] == "Fira Sans"


def test_what_is_cut_says_so() -> None:
    told = cut("word " * 400, 100)
    assert len(told) < 150
    assert "more letters in the case file" in told
    assert cut("short", 100) == "short"


def test_direction_and_control_characters_go_and_joiners_stay() -> None:
    assert clean("a\u202eb\u0000c\nd") == "abc d"
    assert clean("می\u200cخواهم") == "می\u200cخواهم"
    assert len(clean("e" + "\u0301\u0302" * 40)) < 8
