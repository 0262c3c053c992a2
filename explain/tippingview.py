"""What would turn the answer: ``answer`` makes it as data, ``show`` prints it, the doubtful readings first."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from pydantic import BaseModel
from rich.console import Console
from rich.text import Text

from explain.askwords import StandingSpeaker, decision_word, lower, sharp
from explain.jsonout import rounded
from explain.terminal import print_block
from explain.words import phrases, say, told_round
from inference.questions.again import Standing
from inference.questions.instrument import WITHIN
from inference.questions.tipping import Tipping
from inference.questions.turn import Turn
from kb.model import Knowledge

FEW = 8  # facts not known that are told unasked
FAR_OFF = 20.0  # errors of the instrument, beyond which their number tells a person nothing


class TurnShape(BaseModel):
    """One fact and where it turns the answer.

    ``errors`` are standard errors of the instrument, null for words; ``told``: by a person, without an instrument.
    """

    slot: str
    title: str
    round: str
    read_earlier: str | None  # name and day of that round where it is not the latest
    given: bool
    now: float | str | None
    at: float | str
    to: float | None
    side: str
    unit: str
    exact: bool
    errors: float | None
    measure_again: bool
    told: bool
    decision: str
    top: str | None
    top_title: str | None


class TippingAnswer(BaseModel):
    """The whole answer; ``asked`` are the facts not known yet that were tried."""

    case: str
    decision: str
    top: str | None
    top_title: str | None
    turns: list[TurnShape]
    asked: list[str]
    tried: int
    within_errors: float


def answer(knowledge: Knowledge, standing: Standing, found: Tipping) -> TippingAnswer:
    """Word the turns of a case that stands so."""
    speaker = StandingSpeaker(knowledge, standing)
    return TippingAnswer(
        case=standing.case.name,
        decision=found.decision,
        top=found.top,
        top_title=knowledge.causes[found.top].title if found.top else None,
        turns=[_turn(knowledge, speaker, t) for t in found.turns],
        asked=list(found.asked),
        tried=found.tried,
        within_errors=WITHIN,
    )


def _turn(knowledge: Knowledge, speaker: StandingSpeaker, turn: Turn) -> TurnShape:
    case = speaker.standing.case
    given_earlier = turn.given and turn.round < len(case.rounds) - 1 and turn.slot not in case.usage
    return TurnShape(
        slot=turn.slot,
        title=speaker.slot_title(turn.slot),
        round=case.rounds[turn.round].when,
        read_earlier=told_round(case, turn.round) if given_earlier else None,
        given=turn.given,
        now=turn.before,
        at=rounded(turn.at) if isinstance(turn.at, float) else turn.at,
        to=None if turn.to is None else rounded(turn.to),
        side=turn.side,
        unit=turn.unit,
        exact=turn.exact,
        errors=None if turn.errors is None else rounded(turn.errors),
        measure_again=turn.within_error,
        told=_told(knowledge, turn.slot),
        decision=turn.decision,
        top=turn.top,
        top_title=knowledge.causes[turn.top].title if turn.top else None,
    )


def _told(knowledge: Knowledge, slot: str) -> bool:
    reading = knowledge.readings.get(slot.partition(".")[0])
    return reading is not None and reading.group == "usage"


def show(found: TippingAnswer, out: Console, everything: bool = False) -> None:
    """Print the answer; only ``FEW`` facts that are not near unless ``everything``."""
    top = lower(found.top_title) if found.top_title else say("ask.none")
    out.print(Text(say("tipping.stands", decision=decision_word(found.decision), top=top)))
    groups = (
        ("near", [t for t in found.turns if t.measure_again]),
        ("far", [t for t in found.turns if t.given and not t.measure_again]),
        ("open", [t for t in found.turns if not t.given]),
    )
    for heading, turns in groups:
        if not turns:
            continue
        shown = turns if everything or heading == "near" else _first(found, turns)
        lines = list(_lines(found, shown))
        if rest := len(_facts(turns)) - len(_facts(shown)):
            lines.append(("  ", Text(say("whynot.more", count=rest), style="dim")))
        print_block(out, say(f"tipping.{heading}"), lines)
    if not found.turns:
        out.print(Text(say("tipping.none")))
    out.print(Text(say("tipping.tried", count=found.tried), style="dim"))


def _facts(turns: Iterable[TurnShape]) -> list[tuple[str, str]]:
    return list(dict.fromkeys((t.slot, t.round) for t in turns))


def _first(found: TippingAnswer, turns: Sequence[TurnShape]) -> list[TurnShape]:
    """Return the turns of the first few facts; of those not known, first those that turn the decision."""
    bears = _facts(t for t in turns if t.decision != found.decision and not t.given)
    shown = [*bears, *(f for f in _facts(turns) if f not in bears)][:FEW]
    return [t for fact in shown for t in turns if (t.slot, t.round) == fact]


def _lines(found: TippingAnswer, turns: Iterable[TurnShape]) -> Iterable[tuple[str, Text]]:
    """One entry a fact, with a line below it for each value at which it turns."""
    told: tuple[str, str] | None = None
    turns = list(turns)
    place = {fact: i for i, fact in enumerate(_facts(turns))}
    for turn in sorted(turns, key=lambda t: place[t.slot, t.round]):  # all values of a fact below its name
        if told != (turn.slot, turn.round):
            told = (turn.slot, turn.round)
            key = "earlier" if turn.read_earlier else "now" if turn.given else "unknown"
            now = _value(turn.now, turn.unit) if turn.now is not None else ""
            told_of = say(f"tipping.{key}", title=turn.title, value=now, round=turn.read_earlier)
            yield ("· ", Text(told_of, style="bold"))
        line = Text(say("tipping.turn", where=_where(turn), what=_what(found, turn)))
        notes = []
        if turn.errors is not None and not turn.told:
            key = "on_limit" if turn.errors < 0.05 else "far_off" if turn.errors > FAR_OFF else "errors"
            notes.append(say(f"tipping.{key}", errors=f"{turn.errors:.1f}"))
        if isinstance(turn.at, float):
            notes.append(say("tipping.exact" if turn.exact else "tipping.smooth"))
        if notes:
            line.append(f" ({'; '.join(notes)})", style="dim")
        if turn.measure_again:
            line.append(f" {say('tipping.ask_again' if turn.told else 'tipping.again')}", style="bold")
        yield ("    ", line)


def _value(value: float | str, unit: str) -> str:
    if isinstance(value, float):
        return sharp(value, unit)
    return str(phrases()["value"].get(value, value))


def _where(turn: TurnShape) -> str:
    if turn.slot == "codes":
        return say("tipping.codes")
    if turn.at == "not listed":
        return say("tipping.gone")
    to = _value(turn.to, turn.unit) if turn.to is not None else ""
    return say(f"tipping.{turn.side}", at=_value(turn.at, turn.unit), to=to)


def _what(found: TippingAnswer, turn: TurnShape) -> str:
    parts = []
    if turn.decision != found.decision:
        parts.append(say("tipping.decision", decision=decision_word(turn.decision)))
    if turn.top != found.top:
        title = turn.top_title
        parts.append(say("tipping.top", top=lower(title)) if title else say("tipping.no_top"))
    return parts[0] if len(parts) == 1 else say("tipping.both", first=parts[0], second=parts[1])
