"""The answers on a terminal: one screen for ``why``, readable without colour, in a pipe and on a narrow window."""

from __future__ import annotations

from collections.abc import Iterable, Iterator, Sequence

from rich.console import Console
from rich.padding import Padding
from rich.table import Table
from rich.text import Text

from explain.words import Speaker, figure, phrases, quantity, say
from inference.result import CauseResult, GateReason, Result, Weight
from inference.values import Number, Spread
from kb.model import Knowledge

DECISION_STYLE = {"do not burn": "bold red", "not needed": "bold cyan", "hold": "bold yellow", "clear": "bold green"}
LEVEL_STYLE = {"proven": "bold", "likely": "bold", "possible": "", "unlikely": "dim", "ruled out": "dim"}
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
        self._cautions(None if self.all else 4)
        self._notes()

    def gate(self) -> None:
        """The decision on a burn alone, whole."""
        self._title()
        self.decision(0)
        self.filter()
        self._block("driving", [Text(self.r.gate.driving)])
        gate = self.k.gate
        if self.r.gate.decision in ("clear", "hold"):
            self._block("watch", [Text(t) for t in gate.watch], bullets=True)
            self._block("stop", [Text(t) for t in gate.stop_at], bullets=True)
            self._block("after", [Text(t) for t in gate.after], bullets=True)
        self._cautions(None)

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
        lines: list[Text] = [head]
        reasons = list(gate.because)
        shown = reasons[:limit] if limit else reasons
        ready = [r for r in shown if r in gate.missing and r.finding.startswith("need_")]
        for reason in shown:
            lines.append(self._reason(reason, gate.decision))
        if len(reasons) > len(shown):
            lines.append(Text(f"  … {len(reasons) - len(shown)} more: --all", style="dim"))
        if gate.decision == "clear" or not ready:
            pass
        if gate.decision == "do not burn" and gate.missing and self.all:
            lines += [Text(f"  · {r.says}", style="dim") for r in gate.missing]
        if gate.decision == "clear":
            lines += [
                Text(f"  · {t}") for t in (*self.k.gate.watch[:1], *self.k.gate.stop_at[:1], *self.k.gate.after[:2])
            ]
        self._block("decision", lines)

    def _reason(self, reason: GateReason, decision: str) -> Text:
        text = Text("  · ")
        text.append(reason.says)
        if decision == "do not burn":
            says = self.speaker.finding_says(reason.finding, len(self.r.rounds) - 1)
            text.append(f" {says}", style="dim")
            text.append(f" {reason.instead}")
        elif reason.cause:
            chance = percent(self.r.cause(reason.cause).now)
            text.append(f" ({self.k.causes[reason.cause].title}: {chance})", style="dim")
        elif reason.minutes:
            text.append(f" ({say('why.minutes', minutes=figure(reason.minutes))})", style="dim")
        return text

    def filter(self) -> None:
        facts = self.r.latest.facts
        lines: list[Text] = []
        for condition in ("fast_idle", "idle"):
            measured = facts.get(f"gauge_pressure.{condition}")
            clean = facts.get(f"expected_clean_gauge.{condition}")
            words = phrases()["condition"][condition]
            if isinstance(measured, Number):
                told = quantity(measured.value, "mbar")
                if isinstance(clean, Spread):
                    told = say(
                        "why.filter_line", measured=told, condition=words, low=figure(clean.low),
                        high=figure(clean.high), unit="mbar",
                    )  # fmt: skip
                else:
                    told = f"{told} {words}"
                lines.append(Text(told))
        if not lines:
            lines.append(Text(say("why.no_gauge")))
        parts = []
        for slot, key in (("restriction_index.fast_idle", "restriction"), ("soot_load", "soot"), ("ash_load", "ash")):
            value = facts.get(slot)
            if isinstance(value, Spread):
                parts.append(say(f"why.{key}", low=figure(value.low), high=figure(value.high)))
        if parts:
            lines.append(Text("; ".join(parts)))
        self._block("filter", lines)

    def causes(self) -> None:
        shown = [c for c in self.r.causes if self.all or (c.probability >= 0.1 and c.weights)]
        shown = shown if self.all else shown[:4]
        lines: list[Text] = []
        for cause in shown:
            lines += self.cause(cause, EVIDENCE if not self.all else 99)
        lines.append(Text(f"{'':11}{percent(self.r.none_listed):>5}  {say('why.none_listed')}", style="dim"))
        if rest := len(self.r.causes) - len(shown):
            below = max((c.probability for c in self.r.causes if c not in shown), default=0.0)
            lines.append(
                Text(say("why.nothing_else", count=rest, percent=percent(max(below, 0.01), up=True)), style="dim")
            )
        self._block("causes", lines)

    def cause(self, c: CauseResult, evidence: int) -> list[Text]:
        """Return the lines of one cause: level, probability, title, and its strongest evidence each way."""
        head = Text(f"{phrases()['level'][c.level]:<11}", style=LEVEL_STYLE[c.level])
        head.append(f"{percent(c.probability):>5}  ", style=LEVEL_STYLE[c.level])
        head.append(self.k.causes[c.id].title, style="bold" if c.probability >= 0.5 else "")
        notes = []
        if c.state == "repaired":
            notes.append(phrases()["state"]["repaired"])
        elif c.state == "does not apply":
            notes.append(phrases()["state"]["does not apply"])
        elif c.settled_by and c.level in ("proven", "ruled out"):
            notes.append(say("why.settled"))
        elif abs(c.now - c.probability) > 0.05:
            notes.append(f"now {percent(c.now)}")
        if c.because_of:
            notes.append(say("why.because_of", parents=", ".join(self.k.causes[p].title.lower() for p in c.because_of)))
        if notes:
            head.append(f" ({'; '.join(notes)})", style="dim")
        lines = [head]
        for sign, weights in ((say("why.for"), c.speaks_for), (say("why.against"), c.speaks_against)):
            lines += [self._evidence(sign, w) for w in self._worth(weights, evidence)]
        return lines

    def _worth(self, weights: Sequence[Weight], most: int) -> Iterator[Weight]:
        """The evidence worth a line: the strongest, and none that moves the odds by less than a quarter."""
        told: set[str] = set()
        for weight in weights:
            says = self.speaker.finding_says(weight.finding, weight.round)
            if (abs(weight.decibans) < 1 and not self.all) or says in told or len(told) == most:
                continue
            told.add(says)
            yield weight

    def _evidence(self, sign: str, weight: Weight) -> Text:
        text = Text(f"{'':11}{sign:>8}  ", style="dim")
        text.append(self.speaker.finding_says(weight.finding, weight.round), style="not dim")
        text.append(f" ({weight.decibans:+.0f} dB)", style="dim")
        return text

    def next(self, limit: int | None) -> None:
        lines = []
        for i, test in enumerate(self.r.next_tests[:limit], 1):
            entry = self.k.tests[test.test]
            settles = ", ".join(self._suspects(test.test))
            text = Text(f"{i}. {entry.title} ({say('why.minutes', minutes=figure(test.minutes))})")
            if settles:
                text.append(f" – {settles}", style="dim")
            lines.append(text)
        if lines:
            self._block("next", lines)

    def _suspects(self, test: str) -> list[str]:
        """The causes above 5 % that a test speaks to, most probable first."""
        settles = set(self.k.tests[test].settles)
        out = []
        for c in self.r.causes:
            entry = self.k.causes[c.id]
            touched = {s.finding for s in entry.shows} | {w.finding for w in entry.weighs}
            if c.probability >= 0.05 and settles & (touched | {p.finding for p in entry.proofs}):
                out.append(entry.title.lower())
        return out[:2]

    def _work(self) -> None:
        lines = [Text(f"{i}. {self.k.remedies[step.remedy].title}") for i, step in enumerate(self.r.work, 1)]
        if lines:
            self._block("work", lines)

    def _cautions(self, limit: int | None) -> None:
        lines = [self._caution(c) for c in self.r.cautions[:limit]]
        if limit is not None and len(self.r.cautions) > limit:
            lines.append(Text(f"… {len(self.r.cautions) - limit} more: --all", style="dim"))
        if lines:
            self._block("cautions", lines, bullets=True)

    def _caution(self, caution: str) -> Text:
        entry = self.k.cautions[caution]
        return Text.assemble((entry.title + ". ", "bold"), entry.says)

    def _notes(self) -> None:
        lines = [Text(w.says) for w in self.r.case.warnings]
        for finding, _ in self.r.conflicts:
            lines.append(Text(say("why.conflict", finding=self.k.findings[finding].title)))
        for cause in self.r.clashes:
            lines.append(Text(say("why.clash", cause=self.k.causes[cause].title)))
        if self.r.unused:
            lines.append(Text(say("why.unused", codes=", ".join(self.r.unused))))
        if lines:
            self._block("warnings", lines, bullets=True)

    def _block(self, heading: str, lines: Iterable[Text], bullets: bool = False) -> None:
        """Print a heading with its lines set off to the right, each line wrapping below itself."""
        print_block(self.out, str(phrases()["heading"][heading]), lines, bullets)


def print_block(out: Console, heading: str, lines: Iterable[Text], bullets: bool = False) -> None:
    """Print a heading and its lines; a bullet or number hangs to the left of the text it begins."""
    out.print(Text(heading, style="bold underline"))
    for line in lines:
        plain = line.plain
        hang = len(plain) - len(plain.lstrip(" ·0123456789.")) if not bullets else 0
        hang = hang if hang <= 24 else 0
        table = Table.grid(padding=0)
        lead = Text("· ") if bullets else line[:hang] if hang else Text("")
        rest = line if bullets or not hang else line[hang:]
        table.add_column(no_wrap=True)
        table.add_column()
        table.add_row(lead, rest)
        out.print(Padding(table, (0, 0, 0, 2)))


def percent(p: float, up: bool = False) -> str:
    """Return a probability as a percentage that never says 0 or 100; ``up`` rounds upwards."""
    if p < 0.005 and not up:
        return "<1 %"
    if p > 0.995:
        return ">99 %"
    return f"{p * 100 + (0.499 if up else 0):.0f} %"
