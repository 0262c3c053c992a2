"""Every thing that can be noticed in a recording has a sentence, every sentence is used, every slot is filled."""

from __future__ import annotations

import ast
import re
from pathlib import Path
from typing import get_args

from explain.burntold import reason_told, verdict_told
from explain.logview import OF_FILE, OF_PRESSURE, told
from explain.words import phrases
from inference.burn import judge
from inference.log import episodes
from inference.log.notes import Note
from inference.values import Spread

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


def test_every_ending_verdict_and_reason_of_a_burn_has_words() -> None:
    words = phrases("en_log")
    assert set(get_args(episodes.Ended)) == set(words["ended"])
    assert set(get_args(judge.Mode)) == set(words["mode"])
    assert set(get_args(judge.Kind)) == set(words["reason"])


def test_the_code_fills_every_slot_of_a_reason() -> None:
    tree = ast.parse(Path(judge.__file__).read_text(encoding="utf-8"))
    filled: dict[str, set[str]] = {}
    for call in ast.walk(tree):
        if isinstance(call, ast.Call) and isinstance(call.func, ast.Name) and call.func.id == "_reason":
            kinds = [call.args[0].value] if isinstance(call.args[0], ast.Constant) else ["little_time", "little_burnt"]
            filled |= {str(kind): {str(k.arg) for k in call.keywords} for kind in kinds}
    assert set(filled) == set(get_args(judge.Kind))
    for kind, slots in filled.items():
        assert set(re.findall(r"\{(\w+)\}", phrases("en_log")["reason"][kind])) <= slots, kind
        says = reason_told(judge.Reason(kind, tuple((s, 0.5) for s in sorted(slots))))  # type: ignore[arg-type]
        assert "{" not in says
        assert not says.endswith(".")


def test_gaps_are_told_alike_in_both_places() -> None:
    """A trip's distance is reckoned through a gap, so it cannot be said that nothing is made up for gaps."""
    notes = phrases("en_log")["note"]
    assert "distance is reckoned" in notes["gaps_in_trips"]
    assert "no rows are made up" in notes["gaps"]
    assert "gap" in phrases("en_log")["ended"]["recording ended"], "a burn behind a gap may be told of next"


def test_a_burn_is_told_with_its_figures() -> None:
    seen = judge.BurnSeen(
        Spread(512.0, 544.0, 587.0), 430.0, 390.0, 15.0, hot_by=Spread(2.0, 4.0, 8.0), could=Spread(0.7, 0.9, 1.0)
    )
    assert verdict_told(judge.judge(seen)) == (
        "It never got hot enough: it should pass 450 °C after the filter within 8 minutes; it was 390 °C at most;"
        " before the filter it held 430 °C, and 512 to 587 °C is needed."
    )
