"""Every thing that can be noticed in a recording has a sentence, every sentence is used, every slot is filled."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import get_args

from explain.logview import OF_FILE, OF_PRESSURE, told
from explain.words import phrases
from inference.log import episodes
from inference.log.notes import Note

LOG = Path(__file__).parents[2] / "inference" / "log"


def notes_in_code() -> dict[str, set[str]]:
    """Kind of note -> the slots the code fills, from every call ``note("kind", slot=...)``."""
    out: dict[str, set[str]] = {}
    for path in LOG.glob("*.py"):
        tree = ast.parse(path.read_text(encoding="utf-8"))
        for call in ast.walk(tree):
            if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "note":
                first = call.args[0]
                names = [first.value] if isinstance(first, ast.Constant) else ["delta_by_key_on", "delta_off_at_key_on"]
                for name in names:
                    out[str(name)] = {str(k.arg) for k in call.keywords}
    return out


def test_every_note_has_a_sentence_whose_slots_are_filled_and_the_reverse() -> None:
    sentences = phrases("en_log")["note"]
    code = notes_in_code()
    assert set(code) == set(sentences)
    for kind, slots in code.items():
        assert set(re.findall(r"\{(\w+)\}", sentences[kind])) <= slots, kind


def test_every_note_can_be_told() -> None:
    for kind, slots in notes_in_code().items():
        says = told(Note(kind, tuple((s, 1.5) for s in sorted(slots))))
        assert says[0].isupper() or says[0] in "'1", says
        assert "{" not in says.replace("[{", "")


def test_kinds_that_stand_in_a_block_of_their_own_exist() -> None:
    assert {*OF_FILE, *OF_PRESSURE} <= set(notes_in_code())


def test_every_ending_and_verdict_of_a_burn_has_words() -> None:
    words = phrases("en_log")
    assert set(get_args(episodes.Ended)) == set(words["ended"])
    assert set(get_args(episodes.Verdict)) == set(words["verdict"])
