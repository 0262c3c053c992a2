"""The answers on a terminal: one screen for ``why``, readable without colour, in a pipe and on a narrow window."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from rich.console import Console
from rich.text import Text

from explain.secondlook import second_look
from explain.tests_shown import tests_shown
from explain.words import Speaker, ends, figure, phrases, quantity, round_names, say
from inference.belief.evidence import COMPLAINT
from inference.result import CauseResult, GateReason, Result, Weight, WorkStep
from inference.values import Number, Spread
from kb.model import Knowledge

DECISION_STYLE = {"do not burn": "bold red", "not needed": "bold cyan", "hold": "bold yellow", "clear": "bold green"}
LEVEL_STYLE = {"proven": "bold", "likely": "bold", "possible": "", "unlikely": "dim", "ruled out": "dim"}
Line = Text | tuple[str | Text, Text]  # a line, or its lead and its body
FEW = 5  # reasons of the gate shown before --all
EVIDENCE = 3  # pieces of evidence shown each way


class Terminal:
    """Prints one result; every public method is one view."""

    def __init__(self, knowledge: Knowledge, result: Result, console: Console, everything: bool = False) -> None:
        self.k, self.r, self.out, self.all = knowledge, result, console, everything
        self.speaker = Speaker(knowledge, result)

    # --- views -------------------------------------------------------------------------------------------------

    def why(self) -> None:
        """The main answer: decision, filter, driving, causes, what next, cautions."""
        self._title()
        self.decision(0 if self.all else FEW)
        self.filter()
        self._block("driving", [Text(self.r.gate.driving)])
        self.causes()
        self.next(None if self.all else 3)
        self._work()
        self._cautions(None if self.all else 1)
        self._notes()

    def gate(self) -> None:
        """The decision on a burn alone, whole."""
        self._title()
        self.decision(0)
        self.filter()
        self._block("driving", [Text(self.r.gate.driving)])
        gate = self.k.gate
        self._burn()
        if self.r.gate.decision in ("clear", "hold"):
            for heading, told in (("watch", gate.watch), ("stop", gate.stop_at), ("after", gate.after)):
                self._block(heading, [("· ", Text(t)) for t in told])
        self._cautions(None)

    def _burn(self) -> None:
        """What a burn should do, and how one that was read went."""
        from explain.burnview import lines
        from explain.forecastview import tell

        if told := lines(self.r):
            print_block(self.out, tell("burn", "heading"), told)

    # --- parts -------------------------------------------------------------------------------------------------

    def _title(self) -> None:
        case, latest = self.r.case, self.r.case.rounds[-1]
        parts = [case.name, latest.when]
        if latest.date or case.today:
            parts.append(str(latest.date or case.today))
        km = latest.odometer_km or case.odometer_km
        if km is not None:
            parts.append(quantity(km, "km"))
        self.out.print(Text(" · ".join(parts), style="bold"))

    def decision(self, limit: int) -> None:
        gate = self.r.gate
        head = Text(str(phrases()["decision"][gate.decision]), style=DECISION_STYLE[gate.decision])
        head.append("  " + str(phrases()["decision_line"][gate.decision]), style="not bold default")
        safety = [r for r in gate.missing if r.finding in self.k.gate.set_up]
        reasons = [r for r in gate.because if r not in safety]
        shown = reasons[:limit] if limit else reasons
        lines: list[Line] = [head, *[("· ", self._reason(r, gate.decision)) for r in shown]]
        if len(reasons) > len(shown):
            lines.append(("· ", Text(say("why.more", count=len(reasons) - len(shown)), style="dim")))
        if safety and gate.decision == "hold":
            names = ", ".join(_lower(self.k.findings[r.finding].title) for r in safety)
            lines.append(("· ", Text(say("why.safety_needs", list=names))))
        if gate.decision == "do not burn" and not limit:
            lines += [("· ", Text(r.says, style="dim")) for r in (*gate.not_met, *gate.missing)]
        if gate.decision == "clear":
            told = (*self.k.gate.watch[:1], *self.k.gate.stop_at[:1], *self.k.gate.after[:2])
            lines += [("· ", Text(t)) for t in told]
        self._block("decision", lines)

    def _reason(self, reason: GateReason, decision: str) -> Text:
        text = Text(reason.says)
        if decision == "do not burn":
            text.append(f" {self.speaker.reason_why(reason)}", style="dim")
            text.append(f" {reason.instead}")
        elif reason.cause:
            chance = percent(self.r.cause(reason.cause).now)
            text.append(f" ({self.k.causes[reason.cause].title}: {chance})", style="dim")
        elif reason in self.r.gate.not_met or reason.since is not None:
            text.append(f" {self.speaker.reason_why(reason)}", style="dim")
        elif reason.minutes:
            text.append(f" ({say('why.minutes', minutes=figure(reason.minutes))})", style="dim")
        return text

    def filter(self) -> None:
        facts = self.r.latest.facts
        lines: list[Line] = []
        for condition in ("fast_idle", "idle"):
            measured = facts.get(f"gauge_pressure.{condition}")
            clean = facts.get(f"expected_clean_gauge.{condition}")
            words = phrases()["condition"][condition]
            if isinstance(measured, Number):
                told = quantity(measured.value, "mbar")
                if isinstance(clean, Spread):
                    low, high = ends(clean.low, clean.high)
                    told = say("why.filter_line", measured=told, condition=words, low=low, high=high, unit="mbar")
                else:
                    told = f"{told} {words}"
                lines.append(Text(told))
        if not lines:
            lines.append(Text(say("why.no_gauge")))
        elif self.r.case.engine_litres is None:
            lines.append(Text(say("why.no_size"), style="dim"))
        parts = []
        for slot, key in (("restriction_index.fast_idle", "restriction"), ("soot_load", "soot"), ("ash_load", "ash")):
            value = facts.get(slot)
            if isinstance(value, Spread):
                low, high = ends(value.low, value.high)
                parts.append(say(f"why.{key}", low=low, high=high))
        if parts:
            lines.append(Text("; ".join(parts)))
        self._block("filter", lines)

    def causes(self) -> None:
        shown = [c for c in self.r.causes if self.all or (c.probability >= 0.1 and c.weights)]
        shown = shown if self.all else shown[:4]
        lines: list[Line] = []
        for cause in shown:
            lines += self.cause(cause, EVIDENCE if not self.all else 99)
        if not shown:
            lines.append(Text(say("why.nothing_stands_out")))
        lines.append((f"{'':12}{percent(self.r.none_listed):>5}  ", Text(say("why.none_listed"), style="dim")))
        if rest := len(self.r.causes) - len(shown):
            below = max((c.probability for c in self.r.causes if c not in shown), default=0.0)
            told = say("why.nothing_else", count=rest, percent=percent(max(below, 0.01), up=True))
            lines.append((" " * 19, Text(told, style="dim")))
        heading = str(phrases()["heading"]["causes"])
        print_block(self.out, f"{heading} ({say('why.scale')})" if any(c.weights for c in shown) else heading, lines)

    def cause(self, c: CauseResult, evidence: int) -> list[Line]:
        """Return the lines of one cause: level, probability, title, and its strongest evidence each way."""
        lead = Text(f"{phrases()['level'][c.level]:<12}{percent(c.probability):>5}  ", style=LEVEL_STYLE[c.level])
        body = Text(self.k.causes[c.id].title, style="bold" if c.probability >= 0.5 else "")
        notes = []
        if c.state != "present":
            notes.append(str(phrases()["state"][c.state]))
        elif c.settled_by and c.level in ("proven", "ruled out"):
            notes.append(say("why.settled"))
        elif abs(c.now - c.probability) > 0.05:
            notes.append(say("why.now", percent=percent(c.now)))
        if c.because_of:
            parents = ", ".join(_lower(self.k.causes[p].title) for p in c.because_of)
            notes.append(say("why.because_of", parents=parents))
        if notes:
            body.append(f" ({'; '.join(notes)})", style="dim")
        lines: list[Line] = [(lead, body)]
        for sign, weights in ((say("why.for"), c.speaks_for), (say("why.against"), c.speaks_against)):
            lines += [self._evidence(sign, w) for w in self._worth(weights, evidence)]
        return lines

    def _worth(self, weights: Sequence[Weight], most: int) -> Iterator[Weight]:
        """The evidence worth a line: the strongest; the complaint itself only where it really parts causes."""
        told: set[str] = set()
        for weight in weights:
            says = self.speaker.finding_says(weight.finding, weight.round)
            least = 3.0 if weight.finding in COMPLAINT else 1.0
            if (abs(weight.decibans) < least and not self.all) or says in told or len(told) == most:
                continue
            told.add(says)
            yield weight

    def _evidence(self, sign: str, weight: Weight) -> Line:
        body = Text(self.speaker.finding_says(weight.finding, weight.round))
        said_in = f"{round_names(self.r)[weight.round]}, " if weight.round != len(self.r.rounds) - 1 else ""
        body.append(f" ({said_in}{weight.decibans:+.0f} dB)", style="dim")
        return (Text(f"{sign:>17}  ", style="dim"), body)

    def next(self, limit: int | None) -> None:
        lines: list[Line] = []
        tests = self.r.next_tests if limit is None else tests_shown(self.k, self.r, limit)
        for i, test in enumerate(tests, 1):
            text = Text(f"{self.k.tests[test.test].title} ({say('why.minutes', minutes=figure(test.minutes))})")
            if suspects := ", ".join(self._suspects(test.test)):
                text.append(f" – {suspects}", style="dim")
            lines.append((f"{i}. ", text))
        if lines:
            own = limit is not None and tests != list(
                self.r.next_tests[:limit]
            )  # one was put in for the likeliest cause
            lines.append(Text(say("why.next_order_own" if own else "why.next_order"), style="dim"))
            self._block("next", lines)

    def _suspects(self, test: str) -> list[str]:
        """The causes above 5 % that a test speaks to, most probable first."""
        settles = set(self.k.tests[test].settles)
        out = []
        for c in self.r.causes:
            entry = self.k.causes[c.id]
            touched = {s.finding for s in entry.shows} | {w.finding for w in entry.weighs}
            if c.probability >= 0.05 and settles & (touched | {p.finding for p in entry.proofs}):
                out.append(_lower(entry.title))
        return out[:2]

    def _work(self) -> None:
        lines: list[Line] = []
        for i, step in enumerate(self.r.work, 1):
            remedy = self.k.remedies[step.remedy]
            text = Text(remedy.title)
            if remedy.place == "the burn" and self.r.gate.decision != "clear":
                text.append(f" ({say('why.burn_waits')})", style="bold")
            if step.spared_by:
                text.append(f" ({say('why.spared', step=spared_by(self.r, step))})", style="bold")
            if step.serves:
                also = "; ".join(_lower(self.k.remedies[s].title) for s in step.serves)
                text.append(f" ({say('why.serves', jobs=also)})", style="dim")
            lines.append((f"{i}. ", text))
        if lines:
            self._block("work", lines)

    def _cautions(self, limit: int | None) -> None:
        """The cautions in order of rank; beyond ``limit`` only their titles, on one line."""
        entries = [self.k.cautions[c] for c in self.r.cautions]
        lines: list[Line] = [("· ", Text.assemble((f"{e.title}. ", "bold"), e.says)) for e in entries[:limit]]
        if limit is not None and entries[limit:]:
            lines.append(("· ", Text("; ".join(e.title for e in entries[limit:]), style="bold")))
        if lines:
            self._block("cautions", lines)

    def _notes(self) -> None:
        told = second_look(self.k, self.r)
        if told:
            self._block("warnings", [("· ", Text(t)) for t in told])

    def _block(self, heading: str, lines: Iterable[Line]) -> None:
        print_block(self.out, str(phrases()["heading"][heading]), lines)


def spared_by(result: Result, step: WorkStep) -> str:
    """Return the numbers of the steps that may leave nothing for this one to do."""
    return ", ".join(str(i) for i, job in enumerate(result.work, 1) if job.remedy in step.spared_by)


def print_block(out: Console, heading: str, lines: Iterable[Line]) -> None:
    """Print a heading and its lines; the body of a line wraps beside its lead (a bullet, a number, a label)."""
    out.print(Text(heading, style="bold"))
    for line in lines:
        lead, body = line if isinstance(line, tuple) else ("", line)
        first = Text("  ").append_text(lead if isinstance(lead, Text) else Text(lead))
        for piece in body.wrap(out, max(out.width - len(first), 20)):
            piece.rstrip()
            out.print(Text.assemble(first, piece), soft_wrap=True)
            first = Text(" " * len(first))


def _lower(title: str) -> str:
    """Begin a title in the middle of a sentence with a small letter, unless it begins with an abbreviation."""
    return title if title[1:2].isupper() else title[:1].lower() + title[1:]


def percent(p: float, up: bool = False) -> str:
    """Return a probability as a percentage that never says 0 or 100; ``up`` rounds upwards."""
    if p < 0.005 and not up:
        return "<1 %"
    if p > 0.995:
        return ">99 %"
    return f"{p * 100 + (0.499 if up else 0):.0f} %"
