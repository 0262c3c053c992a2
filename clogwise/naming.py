"""Names as a person writes them: an id, a title, or the words that tell it ("thermostat", "ash", "short trips").

A word with an underscore or a dot is taken for an id and must be one; anything else is looked for among the titles.
Never guesses: where words fit several things, all of them are named and one is asked for.
"""

from __future__ import annotations

import difflib
import re
from collections.abc import Callable, Iterable, Mapping, Sequence
from typing import TYPE_CHECKING

from kb.faults import Fault, Faults
from kb.other_words import in_words_of_titles

if TYPE_CHECKING:
    from kb.model import Knowledge

SEE = "; clogwise names lists the causes, readings and questions"
MOST = 6  # names offered
FEW = 3  # findings named that go by a reading
_WORD = re.compile(r"[^\W_]+")
_SMALL = frozenset(
    ("a", "an", "and", "at", "by", "for", "in", "is", "it", "not", "of", "on", "or", "than", "the", "to")
)


DECISIONS = {
    "clear": "clear", "clear to burn": "clear", "hold": "hold", "on hold": "hold", "not needed": "not needed",
    "no burn needed": "not needed", "do not burn": "do not burn", "dont burn": "do not burn",
}  # fmt: skip


def is_decision(said: str) -> bool:
    """Whether the decision on a burn is meant: by that word, or by one of the decisions."""
    return decision_of(said) is not None or _plain(said) in ("decision", "burn it clean")


def decision_of(said: str) -> str | None:
    """Return the decision that is named, None where none is."""
    return DECISIONS.get(_plain(said.replace("'", "").replace("’", "")))


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


def meant(
    said: str,
    kinds: Sequence[Mapping[str, str]],
    what: str,
    field: str,
    more: Iterable[str] = (),
    elsewhere: Callable[[], str] = str,
) -> str:
    """Return the id that ``said`` names.

    Parameters
    ----------
    said : what the person wrote
    kinds : id to title; an earlier kind is taken before a later one
    what : the kinds in words, for the fault ("cause or finding")
    field : what the fault is told of
    more : further names that stand for themselves ("gate")
    elsewhere : what it is instead, said where it is none of these

    Raises
    ------
    Faults : nothing is named so, or several things are
    """
    more = tuple(more)
    every = {id_: title for kind in kinds for id_, title in kind.items()}
    if said in every or said in more:
        return said
    plain = _plain(said)
    usual = _plain(in_words_of_titles(said))
    for id_, title in every.items():
        if plain and plain in (_plain(id_), _plain(title)):
            return id_
    if plain in more:
        return plain
    if "_" not in said and "." not in said:
        for words in dict.fromkeys((plain, usual)):
            for kind in kinds:
                found = [id_ for id_, title in kind.items() if _fits(words, f"{id_} {title}")]
                if len(found) == 1:
                    return found[0]
                if found:
                    raise Faults([Fault(field, 0, "", _several(said, found, every))])
    says = elsewhere() or _near(usual or said, every, more) or SEE
    raise Faults([Fault(field, 0, "", f"'{said}' is no {what}{says}")])


def _several(said: str, found: Sequence[str], titles: Mapping[str, str]) -> str:
    offered = "; ".join(f"{id_} ({titles[id_]})" for id_ in found[:MOST])
    rest = f"; and {len(found) - MOST} more" if len(found) > MOST else ""
    return f"'{said}' may be one of several, name one: {offered}{rest}"


def _near(said: str, titles: Mapping[str, str], more: Iterable[str]) -> str:
    """Return " (did you mean ...?)": the id most alike, else those that share a word of some length."""
    close = difflib.get_close_matches(said.replace(" ", "_"), sorted([*titles, *more]), n=1, cutoff=0.7)
    if close:
        return f"; did you mean {_told(close[0], titles)}?"
    vocabulary = sorted({w for id_, title in titles.items() for w in _words(f"{id_} {title}")})
    spelt = [(difflib.get_close_matches(w, vocabulary, n=1, cutoff=0.8) or [w])[0] for w in _words(said)]
    said = " ".join(spelt)
    words = {w for w in _words(said) if len(w) > 2 and w not in _SMALL}
    alike = {id_: sum(_fits(w, f"{id_} {title}") for w in words) for id_, title in titles.items()}
    best = [id_ for id_ in sorted(titles, key=lambda id_: -alike[id_]) if alike[id_]][:3]
    return f"; did you mean {' or '.join(_told(id_, titles) for id_ in best)}?" if best else ""


def _told(id_: str, titles: Mapping[str, str]) -> str:
    return f"'{id_}' ({titles[id_]})" if id_ in titles else f"'{id_}'"


def elsewhere(said: str, knowledge: Knowledge) -> str:
    """Return what ``said`` is where it names a reading, a question or a code: what that is, and which findings see it.

    "" where it names none of them, or several.
    """
    from kb.slots import ROLE_GROUPS, slot_of

    if (code := said.strip().upper()) in knowledge.codes:
        entry = knowledge.codes[code]
        title, seen = f"a code ({entry.meaning})", {code, entry.group}
        seen |= {slot for slot, name in ROLE_GROUPS.items() if name == knowledge.role_of(code)}
    else:
        try:
            slot = meant(said, [facts(knowledge)], "", "")
        except Faults:
            return ""
        title, seen = f"a reading or an answer ({facts(knowledge)[slot]})", {slot}
    for _ in range(4):  # what is worked out from it, and from that
        for derived in knowledge.derived.values():
            if seen & set(derived.inputs):
                seen |= {f"{derived.id}.{c}" for c in derived.conditions} or {derived.id}
    by = [
        rule.then.finding
        for rule in knowledge.rules.values()
        if rule.then.finding and seen & {slot_of(t) for t in (*rule.when.all, *rule.when.any)}
    ]
    found = list(dict.fromkeys(f for f in by if f in knowledge.findings))[:FEW]
    ask = f"; ask of a finding that goes by it, such as {' or '.join(_told(f, findings(knowledge)) for f in found)}"
    return f"; it is {title}{ask if found else ''}"


def fitting(said: str, text: str) -> bool:
    """Whether the words said fit a text, as they stand or in the words that titles have; no words fit all."""
    return not said.strip() or _fits(said, text) or _fits(in_words_of_titles(said), text)


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
