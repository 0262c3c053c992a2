"""Names as a person writes them: an id, a title, or the words that tell it ("thermostat", "ash", "short trips").

A word with an underscore or a dot is taken for an id and must be one; anything else is looked for among the titles.
Never guesses: where words fit several things, all of them are named and one is asked for.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from kb.faults import Fault, Faults

if TYPE_CHECKING:
    from kb.model import Knowledge

MOST = 6  # names offered
_WORD = re.compile(r"[^\W_]+")
_SMALL = frozenset(
    ("a", "an", "and", "at", "by", "for", "in", "is", "it", "not", "of", "on", "or", "than", "the", "to")
)


def causes(knowledge: Knowledge) -> dict[str, str]:
    """Return the causes: id to title."""
    return {id_: cause.title for id_, cause in knowledge.causes.items()}


def findings(knowledge: Knowledge) -> dict[str, str]:
    """Return the findings: id to title."""
    return {id_: finding.title for id_, finding in knowledge.findings.items()}


def facts(knowledge: Knowledge) -> dict[str, str]:
    """Return what ``whatif`` may change: slot to title, a reading with the condition it is taken at."""
    from explain.words import phrases
    from inference.change import slots_that_change
    from inference.questions.change import NUMBERS, WORDS
    from inference.understood import FIGURE_TITLES

    words = phrases()["condition"]
    out = {}
    for slot in slots_that_change(knowledge):
        name, _, condition = slot.partition(".")
        if name in knowledge.readings:
            title, at = knowledge.readings[name].title, words.get(condition, condition)
            out[slot] = title if title.endswith(at) else f"{title} {at}"
        elif slot in knowledge.questions:
            out[slot] = knowledge.questions[slot].text
        else:
            out[slot] = phrases()["slot"].get(slot, slot)
    out |= {slot: FIGURE_TITLES[slot] for slot in NUMBERS}
    return out | {slot: phrases()["slot"].get(slot, slot.replace(".", " ")) for slot in WORDS}


def meant(said: str, kinds: Sequence[Mapping[str, str]], what: str, field: str, more: Iterable[str] = ()) -> str:
    """Return the id that ``said`` names.

    Parameters
    ----------
    said : what the person wrote
    kinds : id to title; an earlier kind is taken before a later one
    what : the kinds in words, for the fault ("cause or finding")
    field : what the fault is told of
    more : further names that stand for themselves ("gate")

    Raises
    ------
    Faults : nothing is named so, or several things are
    """
    more = tuple(more)
    every = {id_: title for kind in kinds for id_, title in kind.items()}
    if said in every or said in more:
        return said
    plain = _plain(said)
    for id_, title in every.items():
        if plain and plain in (_plain(id_), _plain(title)):
            return id_
    if plain in more:
        return plain
    if "_" not in said and "." not in said:
        for kind in kinds:
            found = [id_ for id_, title in kind.items() if _fits(plain, f"{id_} {title}")]
            if len(found) == 1:
                return found[0]
            if found:
                raise Faults([Fault(field, 0, "", _several(said, found, every))])
    raise Faults([Fault(field, 0, "", f"'{said}' is no {what}{_near(said, every, more)}")])


def _several(said: str, found: Sequence[str], titles: Mapping[str, str]) -> str:
    offered = "; ".join(f"{id_} ({titles[id_]})" for id_ in found[:MOST])
    rest = f"; and {len(found) - MOST} more" if len(found) > MOST else ""
    return f"'{said}' may be one of several, name one: {offered}{rest}"


def _near(said: str, titles: Mapping[str, str], more: Iterable[str]) -> str:
    """Return " (did you mean ...?)": the id most alike, else those that share a word of some length."""
    close = difflib.get_close_matches(said.replace(" ", "_"), sorted([*titles, *more]), n=1, cutoff=0.7)
    if close:
        return f" (did you mean '{close[0]}'?)"
    vocabulary = sorted({w for id_, title in titles.items() for w in _words(f"{id_} {title}")})
    spelt = [(difflib.get_close_matches(w, vocabulary, n=1, cutoff=0.8) or [w])[0] for w in _words(said)]
    said = " ".join(spelt)
    words = {w for w in _words(said) if len(w) > 2 and w not in _SMALL}
    alike = {id_: sum(_fits(w, f"{id_} {title}") for w in words) for id_, title in titles.items()}
    best = [id_ for id_ in sorted(titles, key=lambda id_: -alike[id_]) if alike[id_]][:3]
    return f" (did you mean one of {', '.join(best)}?)" if best else ""


def _fits(said: str, text: str) -> bool:
    """Whether every word said, small ones aside, begins a word of the text."""
    words = [w for w in _words(said) if w not in _SMALL]
    there = _words(text)
    return bool(words) and all(any(t.startswith(w) for t in there) for w in words)


def _words(text: str) -> list[str]:
    return [w.lower() for w in _WORD.findall(text.replace("_", " "))]


def _plain(text: str) -> str:
    words = _words(text)
    return " ".join(words[1:] if words[:1] == ["the"] else words)
