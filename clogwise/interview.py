"""The interview behind ``clogwise start``: asks what pays, keeps every answer at once, ends with the answer to why.

It reads lines and prints lines, so it works at a terminal, over a poor connection and from a file. After each answer
the whole case file is written in one step; the program may be killed at any point and nothing said before is lost.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, field
from datetime import date
from pathlib import Path

from rich.console import Console
from rich.text import Text

from clogwise.casedata import CaseData, Unreadable
from clogwise.files import write_whole
from explain.startwords import asked, cautions, choices, chosen, in_unit, question, reasons
from explain.words import say
from inference.belief.net import ImpossibleEvidence
from inference.diagnose import diagnose
from inference.plan.asking import Ask, next_fact
from inference.read_case import read_case
from inference.result import Result
from kb.model import Knowledge
from kb.yamlread import read_yaml

# asked of every case, in this order, before what pays is worked out
BASICS = (
    "complaint", "vehicle.engine_litres", "vehicle.odometer", "filter.type", "filter.substrate", "filter.fitted_at",
    "layout", "codes", "gauge_pressure.key_on", "gauge_pressure.idle", "gauge_pressure.fast_idle",
    "typical_trip", "typical_distance", "trips_per_week", "long_run_per_month",
)  # fmt: skip
BARE = ("vehicle.engine_litres",)  # a case file takes it without a unit too, and knows cubic centimetres by their size
PASS = ("", "unknown", "don't know", "dont know", "dunno", "not known", "no idea", "pass", "skip")
WHY, BACK, STOP, HELP = ("why", "?", "how"), ("back", "b"), ("stop", "quit", "exit", "q"), ("help", "h")


def open_case(path: Path, knowledge: Knowledge, today: date) -> tuple[CaseData, bool]:
    """Return the data of a case file, and whether it was there already; a new one has a name, a day and one round.

    Raises
    ------
    Faults : the file is there and cannot be read
    """
    if path.exists():
        read_case(path, knowledge)
        return CaseData(read_yaml(path).data, knowledge, str(path)), True
    day = today.isoformat()
    data = {"case": path.stem[:80], "opened": day, "rounds": [{"when": "arrival", "date": day}]}
    return CaseData(data, knowledge, str(path)), False


@dataclass
class Interview:
    """One sitting over one case file."""

    path: Path
    case: CaseData
    knowledge: Knowledge
    out: Console
    lines: Iterator[str]
    echo: bool  # print what was read, where no terminal shows it
    asked: list[str] = field(default_factory=list)  # in order, for "back"
    passed: set[str] = field(default_factory=set)
    warned: set[str] = field(default_factory=set)
    result: Result | None = None  # of the case as it stands; what is passed on does not change it

    def run(self) -> None:
        """Ask until nothing more pays, or the person stops, or no more lines come."""
        again: str | None = None
        while True:
            slot, ask = (again, None) if again else self._next()
            again = None
            if slot is None:
                self._say(say("start.enough"))
                return
            said = self._ask(slot, ask)
            if said == "stop":
                return
            if said == "back":
                again = self._back() or slot
            else:
                self.asked.append(slot)

    def _next(self) -> tuple[str | None, Ask | None]:
        for slot in BASICS:
            if not self.case.known(slot) and slot not in self.passed:
                return slot, None
        if self.result is None:
            self.result = diagnose(self.case.case, self.knowledge)
        ask = next_fact(self.knowledge, self.result, {*self.passed, *self.asked})
        return (ask.slot, ask) if ask else (None, None)

    def _ask(self, slot: str, ask: Ask | None) -> str:
        """Ask for one fact until it is answered, passed on, or the person goes elsewhere: "done", "back" or "stop"."""
        for caution in cautions(self.knowledge, slot):
            if caution not in self.warned:
                self.warned.add(caution)
                entry = self.knowledge.cautions[caution]
                self._say(say("start.mind", caution=f"{entry.title}. {entry.says}"), "dim")
        options = True  # a list of choices is shown once, not after every word that could not be taken
        while True:
            self._say(question(self.knowledge, slot, options), "bold")
            options = False
            line = self._read()
            if line is None or line.lower() in STOP:
                return "stop"
            if line.lower() in BACK:
                return "back"
            if line.lower() in HELP:
                self._say(say("start.hello"))
                continue
            if line.lower() in WHY:
                for reason in reasons(self.knowledge, slot, ask):
                    self._say(reason)
                continue
            if line.lower() in PASS:
                self.passed.add(slot)
                if slot in self.knowledge.questions:
                    self.case.put(slot, "unknown")
                    self.keep()
                return "done"
            if self._take(slot, line):
                return "done"

    def _take(self, slot: str, line: str) -> bool:
        if choices(self.knowledge, slot):
            option = chosen(self.knowledge, slot, line)
            if option is None:
                self._say(say("start.again", says=say("start.no_choice", said=line)), "red")
                return False
            line = option
        whole = in_unit(self.knowledge, slot, line)
        before, warnings = self.case.data, {w.says for w in self.case.case.warnings}
        try:
            self.case.put(slot, line if slot in BARE else whole)
            self.result = diagnose(self.case.case, self.knowledge)
        except Unreadable as found:
            for says in found.says:
                self._say(say("start.again", says=says), "red")
            return False
        except ImpossibleEvidence as found:
            self._say(say("start.contradicts", says=found), "red")
            self.case = CaseData(before, self.knowledge, self.case.file)
            return False
        if whole != line:  # the unit was ours: said back, so that a figure read in another one is noticed
            self._say(say("start.taken", said=whole))
        for warning in self.case.case.warnings:
            if warning.says not in warnings:
                self._say(warning.says[:1].upper() + warning.says[1:], "yellow")
        self.keep()
        return True

    def _back(self) -> str | None:
        """Take back the last answer and return what was asked."""
        if not self.asked:
            self._say(say("start.at_start"))
            return None
        slot = self.asked.pop()
        self.passed.discard(slot)
        self.case.take_out(slot)
        self.result = None
        self.keep()
        self._say(say("start.taken_back", what=asked(self.knowledge, slot)))
        return slot

    def keep(self) -> None:
        """Write the case file, whole."""
        write_whole(self.path, self.case.as_bytes())

    def _read(self) -> str | None:
        self.out.print("> ", end="")
        line = next(self.lines, None)
        if self.echo:
            self.out.print(Text(line.strip() if line is not None else ""))
        return None if line is None else " ".join(line.split())

    def _say(self, text: str, style: str = "") -> None:
        """Print a text; a line that begins with a gap (a choice) goes on below its own words, not below the gap."""
        for line in text.split("\n"):
            first = "  " if line.startswith("  ") else ""
            for piece in Text(line.strip(), style=style).wrap(self.out, max(self.out.width - 4, 20)):
                piece.rstrip()
                self.out.print(Text(first) + piece, soft_wrap=True)
                first = "    " if line.startswith("  ") else ""


def interview(
    path: Path, knowledge: Knowledge, out: Console, lines: Iterable[str], echo: bool, today: Callable[[], date]
) -> Interview:
    """Hold the interview over one file and return it when it has ended; the file then holds all that was said.

    Raises
    ------
    Faults : the file is there and cannot be read, or cannot be written
    """
    case, was_there = open_case(path, knowledge, today())
    talk = Interview(path, case, knowledge, out, iter(lines), echo)
    out.print(Text(say("start.resumed" if was_there else "start.new", file=path)))
    if was_there and any(line.lstrip().startswith("#") for line in path.read_text("utf-8").splitlines()):
        out.print(Text(say("start.comments", file=path)))
    out.print(Text(say("start.hello"), style="dim"))
    if not was_there:
        talk.keep()
    try:
        talk.run()
    except KeyboardInterrupt:
        out.print()
    return talk
