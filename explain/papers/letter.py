"""The customer's page: what happened and why, what was or should be done, how to drive, and what is not known yet.

Every sentence of ours stands on something of the case (``letter --trace`` prints it); what the customer or the shop
wrote is quoted. Possible causes are told as possible; nobody is blamed; nothing is promised.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any, Protocol

from explain.bands import Row, rows
from explain.look import FOR
from explain.papers.breath import bars, in_words, picture
from explain.papers.ease import reading_ease
from explain.papers.letterwords import driving_words, lower, open_checks, plain
from explain.papers.pricelist import Prices
from explain.papers.printing import Printer, cut
from explain.papers.typeset import pages, to_pdf, to_pngs
from explain.words import figure, phrases, say
from inference.result import CauseResult, Result
from inference.values import Spread
from inference.work import BURN, CLEAN
from kb.model import Knowledge

ORDER = ("found", "why", "plan", "left", "drive", "numbers", "forecast", "limits")
# From roomy to tight, tried until it is one page: letters [tenths of a point], causes told
ROOM = ({"size": 112, "causes": 3}, {"size": 104, "causes": 3}, {"size": 97, "causes": 3}, {"size": 90, "causes": 2},
        {"size": 83, "causes": 2}, {"size": 76, "causes": 1})  # fmt: skip
_BETWEEN = re.compile(r"(?<=[.!?])\s+(?=[A-Z])")
MOST_NAME, MOST_COMPLAINT = 80, 220
OIL = {"oil-change-first": "oil_first", "oil-change-before-burn": "oil_before"}  # jobs no cause's own words tell of
ENDS = (".", "!", "?", "…", ")", "]")  # a complaint that ends so needs no full stop of ours


@dataclass(frozen=True)
class Sentence:
    """One sentence of the letter, its section, and what of the case or the knowledge it rests on."""

    section: str
    text: str
    rests_on: tuple[str, ...]
    quoted: bool = False  # words of the customer, not ours
    begins: bool = True  # begins a thought of its own; False where it goes on with the one before


class Forecast(Protocol):
    """What a forecast must bring to be shown: a picture with its words, and sentences with what they rest on.

    ``svg`` may be empty, where there is nothing to draw.
    """

    @property
    def svg(self) -> str: ...

    @property
    def alt(self) -> str: ...

    @property
    def sentences(self) -> tuple[tuple[str, tuple[str, ...]], ...]: ...


@dataclass(frozen=True)
class Sender:
    """What the shop gives with the command: names, a logo (PNG or JPEG bytes), its own prices, a forecast."""

    name: str = ""
    workshop: str = ""
    logo: bytes = b""
    prices: Prices | None = None
    forecast: Forecast | None = None


class Letter:
    """The letter of one result; ``sentences`` is all that it says."""

    def __init__(self, knowledge: Knowledge, result: Result, sender: Sender | None = None, causes: int = 3) -> None:
        self.k, self.r, self.sender = knowledge, result, sender or Sender()
        self.most = causes
        self.last = len(result.rounds) - 1
        self.states = {**result.stands.findings, **result.decided.findings}
        told = (s for section in ORDER for s in getattr(self, f"_{section}")())
        self.sentences: tuple[Sentence, ...] = tuple(one for s in told for one in _single(s))

    def ease(self) -> float:
        """Return the reading ease of our own sentences, without what is quoted."""
        return reading_ease(" ".join(s.text for s in self.sentences if not s.quoted))

    def trace(self) -> list[str]:
        """Return each sentence with what it rests on, one a line."""
        return [f"{s.text}  [{', '.join(s.rests_on)}]" for s in self.sentences]

    # --- sections ------------------------------------------------------------------------------------------------

    def _found(self) -> Iterator[Sentence]:
        if self.r.case.complaint:
            yield self._say("found", "told", ("case:complaint",))
            words = cut(self.r.case.complaint, MOST_COMPLAINT)
            quote = say("letter.quote" if words[-1:] in ENDS else "letter.quote_unended", words=words)
            yield Sentence("found", quote, ("case:complaint",), quoted=True)
        yield self._say("found", "filter", ("knowledge:filter",))
        reported, real = (self._state(f) for f in ("filter_reported_blocked", "filter_really_restricted"))
        if reported == "holds":
            yield self._say("found", "reported", (self._node("filter_reported_blocked"),))
        if self._state(self.k.gate.not_needed) == "holds":
            yield self._say("found", "free", (self._node(self.k.gate.not_needed),))
        elif real == "holds":
            yield self._say("found", "blocked", (self._node("filter_really_restricted"),))
            index = self.r.latest.facts.get("restriction_index.fast_idle")
            if isinstance(index, Spread) and index.low > 1:
                at = f"derived:restriction_index.fast_idle@{self.last}"
                low, high = figure(round(index.low, 1)), figure(round(index.high, 1))
                yield self._say("found", "times", (at,), low=low, high=high)
        elif real == "fails":
            yield self._say("found", "not_blocked", (self._node("filter_really_restricted"),))
        else:
            yield self._say("found", "not_known", (self._node("filter_really_restricted"),))

    def told_causes(self) -> list[CauseResult]:
        """Return the causes worth telling: those proven or likely, else the possible ones at 10 % or more."""
        sure = [c for c in self.r.causes if c.probability >= 0.5 and c.weights]
        return (
            sure[: self.most] or [c for c in self.r.causes if c.probability >= 0.1 and c.weights][: min(2, self.most)]
        )

    def _why(self) -> Iterator[Sentence]:
        told = self.told_causes()
        if not told:
            free, warned = (self._state(f) for f in (self.k.gate.not_needed, "filter_reported_blocked"))
            key = "no_fault" if free == "holds" and warned == "fails" else "no_cause"
            yield self._say("why", key, ("causes", self._node(self.k.gate.not_needed)))
        maybe = [c for c in told if c.probability < 0.5]
        if maybe:
            key = "may_be_several" if len(maybe) > 1 else "may_be_one"
            yield self._say("why", key, tuple(f"cause:{c.id}" for c in maybe))
        for cause in told:
            words, node = self.k.causes[cause.id].customer, (f"cause:{cause.id}",)
            if cause.level == "proven":
                at = self._settling(cause)
                yield Sentence("why", say("letter.proven", what=lower(words.what)), (*node, *at))
                yield Sentence("why", words.why, node)
            else:
                key = "likely" if cause.probability >= 0.5 else "maybe"
                yield Sentence("why", say(f"letter.{key}", what=lower(words.what)), self._backing(cause))
                yield self._say("why", "if_so", node)
                yield Sentence("why", words.why, node)
            if cause.state == "repaired":
                yield self._say("why", "mended", (*node, *self._rounds()))
        if told and not any(c.level == "proven" or c.state == "repaired" for c in told):
            yield self._say("why", "unproved", tuple(f"cause:{c.id}" for c in told))

    def _plan(self) -> Iterator[Sentence]:
        due = [c for c in self.told_causes() if c.state == "present" and c.now >= 0.5]
        habits = [c for c in due if self.k.causes[c.id].kind == "habit"]
        may_drive = driving_words(self.k, self.r)[0] == self.k.gate.not_needed
        for cause in due if may_drive else [c for c in due if c not in habits]:
            yield Sentence("plan", self.k.causes[cause.id].customer.do, (f"cause:{cause.id}",))
        work = {step.remedy for step in self.r.work}
        if not any("change the oil" in self.k.causes[c.id].customer.do for c in due):
            yield from (self._say("plan", OIL[job], (f"remedy:{job}",)) for job in OIL if job in work)
        backing = tuple(dict.fromkeys(self._node(x.finding) for x in self.r.gate.because if x.finding))
        decision = self.r.gate.decision
        if decision == "not needed":
            backing = (self._node(self.k.gate.not_needed),)
        elif decision == "clear":
            backing = tuple(self._node(f) for f in self.r.gate.met)
        yield self._say("plan", f"gate_{decision.replace(' ', '_')}", ("gate", *backing[:4]))
        if CLEAN in work and all(self.k.causes[c.id].remedy != CLEAN for c in due):
            yield self._say("plan", "take_off", (f"remedy:{CLEAN}",))
        if decision == "hold" and BURN in work:
            yield self._say("plan", "burn_later", (f"remedy:{BURN}",))
        if decision == "do not burn" and BURN in work:
            yield self._say("plan", "look_again", (f"remedy:{BURN}",))
        if not due and decision in ("hold", "do not burn"):
            yield self._say("plan", "test_first", tuple(f"test:{t.test}" for t in self.r.next_tests[:3]) or ("gate",))
        yield from self._habits(habits, may_drive)
        if self.r.work:
            yield self._say("plan", "proof", (f"remedy:{self.r.work[-1].remedy}",))

    def _habits(self, habits: list[CauseResult], may_drive: bool) -> Iterator[Sentence]:
        """How to drive from then on: a long fast run is told of as soon as the filter bears one, not before."""
        for i, cause in enumerate(habits if not may_drive else ()):
            later = say("letter.habit_later") + " " if i == 0 else ""
            yield Sentence("plan", later + self.k.causes[cause.id].customer.do, (f"cause:{cause.id}",))
        if habits:
            yield self._say("plan", "habit", tuple(f"cause:{c.id}" for c in habits))

    def _left(self) -> Iterator[Sentence]:
        open_ = [c for c in self.told_causes() if c.state == "present" and c.now >= 0.1]
        for cause in open_[:1]:
            left = self.k.causes[cause.id].customer.left
            key = "left" if cause.level == "proven" else "left_if"
            yield Sentence("left", say(f"letter.{key}", left=left), (f"cause:{cause.id}",))

    def _drive(self) -> Iterator[Sentence]:
        finding, text = driving_words(self.k, self.r)
        yield Sentence("drive", text, (self._node(finding) if finding else "gate:driving",))
        yield self._say("drive", "watch", ("knowledge:watch",))

    def _numbers(self) -> Iterator[Sentence]:
        for row in self.compared():
            slots = {"before": row.before_told, "now": row.told, "clean": row.expected}
            yield self._say("numbers", "before_after", (f"given:{row.slot}@{self.last}",), **slots)

    def _forecast(self) -> Iterator[Sentence]:
        if self.sender.forecast is not None:
            for text, rests in self.sender.forecast.sentences:
                yield Sentence("forecast", text, rests)

    def _limits(self) -> Iterator[Sentence]:
        about, tests = open_checks(self.k, self.r)
        if about:
            yield self._say("limits", "open", tests, list=about)
        if self.r.conflicts:
            yield self._say("limits", "conflict", tuple(f"finding:{f}@{i}" for f, i in self.r.conflicts[:4]))
        if self.r.none_listed >= 0.1:
            yield self._say("limits", "none_listed", ("none_listed",))
        day = self.r.case.today
        yield self._say("limits", "today" if day else "today_undated", ("case:date",), day=plain(day))

    # --- helpers -------------------------------------------------------------------------------------------------

    def compared(self) -> list[Row]:
        """Return the pressure of the hand gauge before and now, if there are two rounds with it."""
        slots = ("gauge_pressure.fast_idle", "gauge_pressure.idle")
        found = [x for x in rows(self.k, self.r) if x.slot in slots and x.before is not None and x.expected]
        return sorted(found, key=lambda x: slots.index(x.slot))[:1]

    def _say(self, section: str, key: str, rests_on: tuple[str, ...], **slots: object) -> Sentence:
        return Sentence(section, say(f"letter.{key}", **slots), rests_on)

    def _state(self, finding: str) -> str:
        return self.states[finding].state if finding in self.states else "unknown"

    def _node(self, finding: str) -> str:
        return f"finding:{finding}@{self.r.stands.since.get(finding, self.last)}"

    def _settling(self, cause: CauseResult) -> tuple[str, ...]:
        if cause.settled_by is None:
            return self._backing(cause)[1:]
        rounds = [i for i, x in enumerate(self.r.rounds) if cause.settled_by in x.verdicts.findings]
        return (f"finding:{cause.settled_by}@{rounds[0] if rounds else self.last}",)

    def _backing(self, cause: CauseResult) -> tuple[str, ...]:
        best = sorted(cause.speaks_for, key=lambda w: (-w.decibans, w.finding))[:3]
        return (f"cause:{cause.id}", *(f"finding:{w.finding}@{w.round}" for w in best))

    def _rounds(self) -> tuple[str, ...]:
        return tuple(f"round:{x.when}" for x in self.r.case.rounds[1:]) or ("case:history",)


def _single(sentence: Sentence) -> Iterator[Sentence]:
    """Part a text of several sentences into its sentences, each with the same ground."""
    if sentence.quoted:
        yield sentence
        return
    for i, text in enumerate(_BETWEEN.split(sentence.text)):
        yield Sentence(sentence.section, text, sentence.rests_on, begins=i == 0)


def page(knowledge: Knowledge, result: Result, sender: Sender, causes: int = 3) -> dict[str, Any]:
    """Return all that stands on the page as data."""
    letter = Letter(knowledge, result, sender, causes)
    case, words = result.case, phrases()["letterpage"]
    km = case.rounds[-1].odometer_km or case.odometer_km
    car = ", ".join(
        x for x in (
            say("letterpage.litres", litres=figure(case.engine_litres)) if case.engine_litres else "",
            cut(case.emission_class, 30), say("letterpage.km", km=figure(km)) if km is not None else "",
        ) if x
    )  # fmt: skip
    sections = [
        {"id": s, "title": str(words["section"][s]),
         "lines": [{"text": x.text, "quoted": x.quoted, "begins": x.begins}
                   for x in letter.sentences if x.section == s]}
        for s in ORDER
    ]  # fmt: skip
    shown = [s for s in sections if s["lines"]]
    forecast = sender.forecast
    return {
        "words": {k: v for k, v in words.items() if isinstance(v, str)}, "accent": FOR,
        "title": str(words["title"]), "name": cut(sender.name, MOST_NAME), "workshop": cut(sender.workshop, MOST_NAME),
        "logo": list(sender.logo), "day": plain(case.today), "car": car, "case": cut(case.name, 40),
        "sections": shown, "agree": str(words["agree" if result.work else "agree_tests"]),
        "breath": {"svg": picture(found), "alt": in_words(found)} if (found := bars(result)) else None,
        "breath_at": "numbers" if letter.compared() else "found",
        "forecast": {"svg": forecast.svg, "alt": forecast.alt} if forecast and forecast.svg else None,
        "prices": sender.prices.bill(knowledge, result) if sender.prices else None,
    }  # fmt: skip


def pdf(knowledge: Knowledge, result: Result, sender: Sender | None = None, paper: str = "a4") -> bytes:
    """Return the letter as PDF, on one page."""
    return to_pdf("letter.typ", _fitted(knowledge, result, sender or Sender(), paper), result.case.today)


def pngs(knowledge: Knowledge, result: Result, sender: Sender | None = None, ppi: int = 110) -> list[bytes]:
    """Return the letter as a picture."""
    return to_pngs("letter.typ", _fitted(knowledge, result, sender or Sender(), "a4"), ppi)


def html(knowledge: Knowledge, result: Result, sender: Sender | None = None) -> str:
    """Return the letter as one self-contained HTML page."""
    from explain.chainhtml import environment, raw
    from explain.papers.pricelist import data_uri

    sender = sender or Sender()
    data = page(knowledge, result, sender)
    data["logo"] = data_uri(sender.logo) if sender.logo else ""
    return environment().get_template("letter.html").render(**data, css=raw("paper.css"))


def _fitted(knowledge: Knowledge, result: Result, sender: Sender, paper: str) -> dict[str, Any]:
    """Return the page's data in the roomiest form that keeps to one page."""
    data: dict[str, Any] = {}
    for room in ROOM:
        printer = Printer()
        data = printer.fit(page(knowledge, result, sender, room["causes"]))
        data |= {"paper": paper, "size": room["size"] / 10, "lost": printer.note}
        if pages("letter.typ", data) == 1:
            break
    return data
