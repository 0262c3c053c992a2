"""What the interview says: the question for a fact, why it is asked, how to find it out, what an answer looks like."""

from __future__ import annotations

import re
from collections.abc import Mapping

from explain.words import phrases, say
from inference.plan.asking import Ask
from kb.model import FilterType, Knowledge, Layout
from kb.units import number

# figures of the vehicle itself: their unit and an example; a reading says both itself
FIGURES = {
    "vehicle.engine_litres": ("l", "2.0"),
    "vehicle.odometer": ("km", "84000"),
    "filter.fitted_at": ("km", "84000"),
}
BARE = re.compile(r"[-+−]?(\d+\.?\d*|\.\d+)")


def question(knowledge: Knowledge, slot: str, options: bool = True) -> str:
    """Return the question for a fact, with what an answer looks like; with ``options`` its choices below, numbered."""
    text = f"{asked(knowledge, slot)} ({looks_like(knowledge, slot)})"
    numbered = enumerate(choices(knowledge, slot).values() if options else (), 1)
    return "\n".join([text, *(f"  {number} {title}" for number, title in numbered)])


def choices(knowledge: Knowledge, slot: str) -> dict[str, str]:
    """Return what a fact of the vehicle may be, id to title; nothing for other facts."""
    if slot == "filter.substrate":
        return {id_: id_.replace("_", " ") for id_ in knowledge.substrates}
    kinds: dict[str, Mapping[str, FilterType | Layout]] = {
        "filter.type": knowledge.filter_types, "layout": knowledge.layouts,
    }  # fmt: skip
    return {id_: entry.title for id_, entry in kinds.get(slot, {}).items()}


def chosen(knowledge: Knowledge, slot: str, said: str) -> str | None:
    """Return the id that a number, an id, a title or some of its words name; None where none or several do."""
    options = choices(knowledge, slot)
    if said.isdecimal():
        return list(options)[int(said) - 1] if 0 < int(said) <= len(options) else None
    words = _words(said)
    for id_, title in options.items():
        if words in (_words(id_), _words(title)):
            return id_
    found = [
        id_ for id_, title in options.items()
        if words and all(any(t.startswith(w) for t in _words(f"{id_} {title}")) for w in words)
    ]  # fmt: skip
    return found[0] if len(found) == 1 else None


def _words(text: str) -> list[str]:
    return re.findall(r"[^\W_]+", text.lower())


def asked(knowledge: Knowledge, slot: str) -> str:
    """Return the question for a fact."""
    own = phrases()["start"]["question"].get(slot)
    name, _, condition = slot.partition(".")
    reading = knowledge.readings.get(name)
    if own is not None:
        return str(own)
    if reading is not None:
        words = phrases()["condition"].get(condition, "")
        told = bool(words) and not reading.title.endswith(words)
        return say("start.reading_ask", title=_upper(reading.title), condition=f" {words}" if told else "")
    return knowledge.questions[slot].text


def looks_like(knowledge: Knowledge, slot: str) -> str:
    """Return in a few words what an answer to a fact looks like."""
    if slot in ("complaint", "codes"):
        return say("start.text" if slot == "complaint" else "start.codes")
    if choices(knowledge, slot):
        return say("start.choices")
    if slot in knowledge.questions:
        options = knowledge.questions[slot].options
        if list(options) == ["yes", "no"]:
            return say("start.yes_no")
        return say("start.options", list=", ".join(o.replace("_", " ") for o in options))
    unit = unit_asked(knowledge, slot)
    if slot in FIGURES:
        return say("start.in_unit", unit=unit, example=FIGURES[slot][1])
    return say("start.number") if unit == "1" else say("start.mostly", unit=unit, usual=_usual(knowledge, slot))


def unit_asked(knowledge: Knowledge, slot: str) -> str:
    """Return the unit that the question for a figure names; "1" for a count, empty for what is no figure."""
    name = slot.partition(".")[0]
    return knowledge.readings[name].unit if name in knowledge.readings else FIGURES.get(slot, ("", ""))[0]


def _usual(knowledge: Knowledge, slot: str) -> str:
    """Return what a reading mostly is, as it would be typed; "" where nothing is known of that."""
    name, _, condition = slot.partition(".")
    reading = knowledge.readings[name]
    usual = reading.usual.get(condition) or reading.usual.get("any")
    if usual is None or usual.low is None or usual.high is None:
        return ""
    low, high = (f"{number(end, reading.unit):g}" for end in (usual.low, usual.high))
    return say("start.usual", low=low, high=high)


def in_unit(knowledge: Knowledge, slot: str, said: str) -> str:
    """Return what was said with the unit that the question named, where it was a bare figure; else as it was said."""
    unit = unit_asked(knowledge, slot)
    return f"{said} {unit}" if unit not in ("", "1") and BARE.fullmatch(said) else said


def cautions(knowledge: Knowledge, slot: str) -> list[str]:
    """Return the cautions to read before finding out a fact, by id."""
    entry = knowledge.readings.get(slot.partition(".")[0]) or knowledge.questions.get(slot)
    return [entry.hazard] if entry is not None and entry.hazard else []


def reasons(knowledge: Knowledge, slot: str, ask: Ask | None) -> list[str]:
    """Return why a fact is asked for and how it is found out, a sentence or two to a line."""
    own = phrases()["start"]["reason_of"].get(slot)
    reading = knowledge.readings.get(slot.partition(".")[0])
    told = knowledge.questions.get(slot)
    lines: list[str] = []
    if own is not None:
        lines.append(say("start.reason", why=own))
    elif told is not None:
        lines.append(say("start.reason", why=" ".join(told.why.split())))
    elif reading is not None and reading.group == "usage":
        lines.append(say("start.reason", why=say_word("usage")))
    if ask is not None:
        finding = knowledge.findings[ask.finding]
        if not ask.need:
            lines.append(say("start.tells", finding=_lower(finding.title)))
        if ask.causes:
            titles = ", ".join(_lower(knowledge.causes[c].title) for c in ask.causes)
            lines.append(say("start.bears_on", causes=titles))
        if ask.need:
            lines.append(say("start.need", need=ask.need))
    entry = reading or told
    if entry is not None:
        lines.append(say("start.how", how=" ".join(entry.how.split())))
    return lines


def say_word(name: str) -> str:
    """Return a phrase of the interview that has no slots."""
    return str(phrases()["start"][name])


def _lower(title: str) -> str:
    return title if title[1:2].isupper() else title[:1].lower() + title[1:]


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
