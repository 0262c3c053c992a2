"""How the belief in one cause came about: the waterfall, then for each finding the rules, facts and limits behind it.

``how`` makes the answer as data (it is also the JSON), ``show`` prints it.
"""

from __future__ import annotations

from pydantic import BaseModel
from rich.console import Console
from rich.text import Text

from explain.askwords import value_word, wanted
from explain.jsonout import rounded
from explain.terminal import LEVEL_STYLE, Line, percent, print_block
from explain.words import Speaker, phrases, round_names, say
from inference.belief.judge import waterfall, weigh
from inference.diagnose import evidence_of
from inference.engine.verdicts import Fired, Met
from inference.physics.valid import beyond
from inference.result import Result
from kb.model import Knowledge

NAMED = 0.5  # dB, weight from which a finding is named unasked
PROVED = 1.0  # dB, weight from which its proof is shown unasked


class Condition(BaseModel):
    """One condition that a rule put, and the value that met it; ``part`` is all, any, none or unless."""

    slot: str
    part: str
    says: str
    value: str
    condition: str
    read_in: str
    formula: str | None
    in_range: bool
    beyond: list[str]


class Activation(BaseModel):
    """One rule that fired, in one way."""

    rule: str
    says: str
    state: str
    source: str
    conditions: list[Condition]


class Ground(BaseModel):
    """One finding that speaks for or against the cause, with all rules that set it."""

    finding: str
    says: str
    round: str
    state: str
    decibans: float
    step: float | None
    activations: list[Activation]
    leanings: list[str] = []


class How(BaseModel):
    """The whole answer. ``start`` is the prior in decibans; ``grounds`` are sorted by weight."""

    cause: str
    title: str
    probability: float
    now: float
    level: str
    state: str
    start_decibans: float
    total_decibans: float
    mechanism: str
    leads_to: list[str]
    grounds: list[Ground]
    settle: list[str]
    prior_source: str
    settled: bool = False


def how(knowledge: Knowledge, result: Result, cause_id: str) -> How:
    """Return the proof for one cause: every finding that weighs on it, with every derivation of it."""
    cause, entry = result.cause(cause_id), knowledge.causes[cause_id]
    evidence = evidence_of(result.case, knowledge, result.rounds)
    steps = waterfall(knowledge, evidence, cause_id)
    step_of = {(s.finding, s.round): s.decibans for s in steps if s.finding}
    speaker = Speaker(knowledge, result)
    names = round_names(result)
    grounds = [
        Ground(
            finding=w.finding, says=speaker.finding_says(w.finding, w.round), round=names[w.round],
            state="holds" if w.holds else "fails", decibans=rounded(w.decibans),
            step=rounded(step_of[w.finding, w.round]) if (w.finding, w.round) in step_of else None,
            activations=activations(knowledge, result, speaker, w.finding, w.round),
            leanings=_leanings(knowledge, result, speaker, w.finding, w.round),
        )
        for w in weigh(evidence, [cause_id])[cause_id]
    ]  # fmt: skip
    return How(
        cause=cause_id, title=entry.title, probability=rounded(cause.probability), now=rounded(cause.now),
        level=cause.level, state=cause.state, start_decibans=rounded(steps[0].total),
        total_decibans=rounded(steps[-1].total), mechanism=entry.mechanism, leads_to=list(entry.leads_to),
        grounds=grounds, settle=[knowledge.tests[t].title for t in entry.tests],
        prior_source=knowledge.sources[entry.prior.source].title, settled=cause.settled_by is not None,
    )  # fmt: skip


def activations(
    knowledge: Knowledge, result: Result, speaker: Speaker, finding: str, round_index: int
) -> list[Activation]:
    """Return every activation behind a finding of a round, the one with the fewest conditions first."""
    round_ = result.rounds[round_index]
    facts = speaker.facts_at(round_)
    return [
        Activation(
            rule=fired.rule, says=speaker.fill(knowledge.rules[fired.rule].because, facts), state=fired.verdict,
            source=knowledge.sources[knowledge.rules[fired.rule].source].title,
            conditions=[_condition(speaker, result, round_index, met) for met in fired.conditions],
        )
        for fired in _shortest_first(round_.verdicts.fired, finding)
    ]  # fmt: skip


def _leanings(knowledge: Knowledge, result: Result, speaker: Speaker, finding: str, round_index: int) -> list[str]:
    """Return, for a finding whose readings lie too near its limits to settle it, to which rules they lean how far."""
    found = result.rounds[round_index].verdicts.findings.get(finding)
    if found is None or found.state in ("holds", "fails"):
        return []
    return [
        say("how.leans", rule=x.rule, chance=percent(x.chance), title=knowledge.rules[x.rule].title)
        for x in sorted(found.leanings, key=lambda x: (-x.chance, x.rule))
    ]


def _shortest_first(fired: list[Fired], finding: str) -> list[Fired]:
    return sorted((f for f in fired if f.concludes == finding), key=lambda f: (len(f.conditions), f.rule, f.way))


def _condition(speaker: Speaker, result: Result, round_index: int, met: Met) -> Condition:
    round_ = result.rounds[round_index]
    derived = round_.derived.get(met.slot)
    return Condition(
        slot=met.slot, part=met.part, says=speaker.slot_title(met.slot),
        value=value_word(speaker, met.slot, met.value, round_.facts), condition=met.text,
        read_in=round_names(result)[round_.origin.get(met.slot, round_index)],
        formula=derived.formula if derived else None, in_range=derived.in_range if derived else True,
        beyond=list(beyond(derived.notes)) if derived else [],
    )  # fmt: skip


def show(answer: How, out: Console, everything: bool = False) -> None:
    """Print the answer: belief, how it grew, the proof below each finding, and what would settle it.

    Unless ``everything``, findings that weigh less than half a decibel are only counted, and those below one decibel
    are named without their proof.
    """
    head = Text(f"{answer.title}: {phrases()['level'][answer.level]}, {percent(answer.probability)}", style="bold")
    if answer.state != "present":
        head.append(f" ({phrases()['state'][answer.state]})")
    elif abs(answer.now - answer.probability) > 0.05:
        head.append(f" (now {percent(answer.now)})")
    out.print(head, style=LEVEL_STYLE[answer.level])
    mechanism: list[Line] = [Text(answer.mechanism)]
    mechanism += [(f"{i}. ", Text(link)) for i, link in enumerate(answer.leads_to, 1)]
    print_block(out, str(phrases()["how"]["mechanism"]), mechanism)
    several = len({ground.round for ground in answer.grounds}) > 1
    named = [g for g in answer.grounds if everything or abs(g.decibans) >= NAMED]
    lines: list[Line] = [(_decibans(answer.start_decibans), Text(f"{say('how.start')} ({answer.prior_source})"))]
    lines += [(_decibans(g.decibans), Text(f"{g.says} ({g.round})" if several else g.says)) for g in named]
    if rest := len(answer.grounds) - len(named):
        lines.append((" " * len(_decibans(0)), Text(say("how.slight", count=rest), style="dim")))
    if answer.settled:
        lines.append((" " * len(_decibans(0)), Text(say("how.settled"), style="bold")))
    else:
        lines.append((_decibans(answer.total_decibans), Text(say("how.sum"), style="bold")))
    lines.append(Text(say("why.scale"), style="dim"))
    parts = answer.start_decibans + sum(g.decibans for g in answer.grounds)
    if abs(parts - answer.total_decibans) >= 1 and not answer.settled:
        lines.append(Text(say("how.not_added"), style="dim"))
    print_block(out, str(phrases()["heading"]["evidence"]), lines)
    proved = [g for g in answer.grounds if everything or abs(g.decibans) >= PROVED]
    for ground in proved:
        print_block(out, f"{ground.says} ({ground.round})", _proof(ground))
    if len(proved) < len(answer.grounds):
        out.print(Text(say("how.folded", count=len(answer.grounds) - len(proved)), style="dim"))
    if not answer.settled:
        print_block(out, str(phrases()["how"]["settle"]), [("· ", Text(t)) for t in answer.settle])


def _decibans(value: float) -> str:
    return f"{value:+7.1f} dB  "


def _proof(ground: Ground) -> list[Line]:
    """One rule to a line with its conditions below; its sentence only where the heading does not say it already."""
    lines: list[Line] = [Text(leaning) for leaning in ground.leanings]
    for activation in ground.activations:
        says = "" if activation.says == ground.says else f": {activation.says}"
        rule, source = say("how.rule", rule=activation.rule), say("how.source", source=activation.source)
        lines.append(Text.assemble((rule, "bold"), says, (f" ({source})", "dim")))
        for condition in activation.conditions:
            text = Text(f"{condition.says}: {condition.value}")
            text.append(f" [{wanted(condition.condition, condition.slot, condition.part)}]", style="dim")
            if condition.read_in != ground.round:
                text.append(f" {say('how.read_in', round=condition.read_in)}", style="dim")
            if condition.formula:
                text.append(f" {say('how.derived', formula=condition.formula)}", style="dim")
            if not condition.in_range:
                text.append(f" {' '.join(condition.beyond)}", style="bold")
            lines.append(("  · ", text))
    return lines
