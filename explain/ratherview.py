"""Why one cause rather than another: the findings that part them, in words and as data."""

from __future__ import annotations

from pydantic import BaseModel
from rich.console import Console
from rich.text import Text

from explain.askwords import lower, signed
from explain.jsonout import rounded
from explain.terminal import percent, print_block
from explain.words import Speaker, phrases, round_names, say
from inference.questions.contrast import Contrast
from inference.result import CauseResult, Result
from kb.model import Knowledge

NAMED = 0.5  # dB, difference from which a finding is named unasked


class Side(BaseModel):
    """One of the two causes as it stands."""

    cause: str
    title: str
    probability: float
    level: str
    settled: bool


class ShareShape(BaseModel):
    """What one finding weighs on each cause, and the difference [dB]."""

    finding: str
    round: str
    says: str
    state: str
    apart: float
    on_a: float
    on_b: float


class PartingShape(BaseModel):
    """A finding not known yet, and the gap [dB] between the causes for each of its outcomes."""

    finding: str
    title: str
    if_holds: float
    if_fails: float


class RatherAnswer(BaseModel):
    """The whole answer; positive decibans speak for ``a`` rather than ``b``."""

    case: str
    a: Side
    b: Side
    gap: float
    prior_gap: float
    shares: list[ShareShape]
    partings: list[PartingShape]


def answer(knowledge: Knowledge, result: Result, found: Contrast) -> RatherAnswer:
    """Word a contrast."""
    speaker, names = Speaker(knowledge, result), round_names(result)
    return RatherAnswer(
        case=result.case.name,
        a=_side(knowledge, found.a),
        b=_side(knowledge, found.b),
        gap=rounded(found.gap),
        prior_gap=rounded(found.prior_gap),
        shares=[
            ShareShape(
                finding=s.finding, round=names[s.round], says=speaker.finding_says(s.finding, s.round),
                state="holds" if s.holds else "fails", apart=rounded(s.apart), on_a=rounded(s.on_a),
                on_b=rounded(s.on_b),
            )
            for s in found.shares
        ],
        partings=[
            PartingShape(
                finding=p.finding, title=knowledge.findings[p.finding].title, if_holds=rounded(p.if_holds),
                if_fails=rounded(p.if_fails),
            )
            for p in found.partings
        ],
    )  # fmt: skip


def _side(knowledge: Knowledge, cause: CauseResult) -> Side:
    title = knowledge.causes[cause.id].title
    return Side(
        cause=cause.id, title=title, probability=rounded(cause.probability), level=cause.level,
        settled=cause.settled_by is not None,
    )  # fmt: skip


def show(found: RatherAnswer, out: Console, everything: bool = False, most: int = 5) -> None:
    """Print the answer; ``most`` bounds the findings that would part the two further.

    Unless ``everything``, findings that part the two by less than half a decibel are only counted. Where a direct
    test has settled one of them there is no gap to tell and nothing left to part.
    """
    out.print(Text(say("rather.heading", a=lower(found.a.title), b=lower(found.b.title)), style="bold"))
    for side in (found.a, found.b):
        level = phrases()["level"][side.level]
        out.print(Text("  " + say("rather.stand", title=side.title, level=level, percent=percent(side.probability))))
    settled = [lower(side.title) for side in (found.a, found.b) if side.settled]
    if settled:
        out.print(Text(say("rather.settled", which="; ".join(settled))))
    else:
        key = "level" if abs(found.gap) < 0.5 else "ahead" if found.gap > 0 else "behind"
        out.print(Text(say(f"rather.{key}", gap=signed(abs(found.gap)).lstrip("+"))))
    lines = [(f"{signed(found.prior_gap):>5} dB  ", Text(say("rather.start")))]
    several = len({share.round for share in found.shares}) > 1
    named = [s for s in found.shares if everything or abs(s.apart) >= NAMED]
    for share in named:
        told = f"{share.says} ({share.round})" if several else share.says
        says = say("rather.share", says=told, on_a=signed(share.on_a), on_b=signed(share.on_b))
        lines.append((f"{signed(share.apart):>5} dB  ", Text(says)))
    if rest := len(found.shares) - len(named):
        lines.append((" " * 10, Text(say("rather.slight", count=rest), style="dim")))
    if not found.shares:
        lines.append(("", Text(say("rather.no_shares"))))
    print_block(out, say("rather.shares"), lines)
    if not settled:
        out.print(Text(say("rather.sum"), style="dim"))
    if found.partings and not settled:
        partings = [
            say("rather.parting", title=p.title, if_holds=signed(p.if_holds), if_fails=signed(p.if_fails))
            for p in found.partings[:most]
        ]
        print_block(out, say("rather.partings"), [("· ", Text(p)) for p in partings])
