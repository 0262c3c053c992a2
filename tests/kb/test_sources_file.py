"""kb/sources.yaml: every source reads, no mark claims more than it says, every knowledge file cites known ones."""

from __future__ import annotations

import re
from pathlib import Path

from kb.model import Source
from kb.yamlread import read_yaml

HOME = Path(__file__).parents[2] / "kb"
SOURCES = [Source.model_validate(s) for s in read_yaml(HOME / "sources.yaml").data]
BY_ID = {s.id: s for s in SOURCES}


def test_each_stands_once() -> None:
    assert len(BY_ID) == len(SOURCES)
    assert {"common-practice", "from-memory", "open-code-table", "open-code-list"} <= set(BY_ID)


def test_what_was_read_can_be_found_again() -> None:
    """A source marked as read says where or by whom; one not read has no address that suggests it was."""
    without_address = {"s15-activation-energies", "s16-metal-activated-soot", "s31-mass-balance-soot"}
    for source in SOURCES:
        if source.kind in ("common practice", "from memory"):
            assert (source.read, source.where, source.by) == ("no", "", ""), source.id
        elif source.read == "no":
            assert source.where == "", source.id
        elif source.id not in without_address:
            assert source.where or source.by or source.year, source.id


def test_nothing_is_marked_as_more_than_it_was_read() -> None:
    """Of papers only abstracts, first pages and excerpts were read, of standards nothing (FACTS section 0)."""
    assert [s.id for s in SOURCES if s.kind == "paper" and s.read == "whole"] == []
    assert [s.id for s in SOURCES if s.kind == "standard" and s.read != "no"] == []
    assert [s.id for s in SOURCES if s.read == "whole"] == ["open-code-table"]


def test_every_cited_source_is_known() -> None:
    cited = re.compile(r"\b(?:leak_)?source: ([a-z][a-z0-9-]*)")
    for path in sorted(HOME.rglob("*.yaml")):
        text = path.read_text(encoding="utf-8")
        unknown = sorted(set(cited.findall(text)) - set(BY_ID))
        assert unknown == [], f"{path.name} cites {unknown}"
