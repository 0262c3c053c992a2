"""Why not: for a cause, a finding or a decision, each rule that could have said it, premise by premise, in words."""

from __future__ import annotations

from pydantic import BaseModel
from rich.console import Console
from rich.text import Text

from explain.askwords import decision_word, lower, reason_says, sharp, signed, value_word, wanted
from explain.jsonout import rounded
from explain.terminal import percent, print_block
from explain.words import Speaker, phrases, round_names, say
from inference.questions import whynot as ask
from inference.result import Result, Weight
from inference.values import Spread
from kb.model import Knowledge

DEEPEST = 2  # findings below a finding that are looked into
FEW = 3  # rules, rivals or findings shown before --all
Lines = list[tuple[str, Text] | Text]


class PremiseShape(BaseModel):
    """One condition: what it looks at, its value, the limit, and how far off [unit and standard errors]."""

    part: str
    slot: str
    title: str
    value: str
    condition: str
    limit: str
    unit: str
    state: str
    serves: bool
    margin: float | None
    errors: float | None
    derived: bool
    missing: list[str]
    missing_titles: list[str]
    below: FindingAnswer | None


class RuleShape(BaseModel):
    """One rule that could have said it."""

    rule: str
    title: str
    fires: bool
    lacking: int
    premises: list[PremiseShape]


class FindingAnswer(BaseModel):
    """Why a finding is not in the state asked about."""

    finding: str
    title: str
    state: str
    wanted: str
    says: str
    rules: list[RuleShape]


class RivalShape(BaseModel):
    """A more probable cause, or one that explains this one away."""

    cause: str
    title: str
    probability: float
    gap: float
    without: float | None
    settled: bool


class WeightShape(BaseModel):
    """One finding that speaks for or against the cause."""

    finding: str
    round: str
    says: str
    decibans: float


class UnseenShape(BaseModel):
    """A finding the cause would show and that is not known to hold."""

    finding: str
    title: str
    state: str
    how_often: float
    if_held: float | None
    settles: bool


class CauseAnswer(BaseModel):
    """Why a cause is not what the answer names; ``kinds`` say in which ways."""

    cause: str
    title: str
    probability: float
    level: str
    kinds: list[str]
    prior: float
    total: float
    rivals: list[RivalShape]
    weights: list[WeightShape]
    unseen: list[UnseenShape]
    settled: FindingAnswer | None


class ObstacleShape(BaseModel):
    """One thing between the case and a decision."""

    kind: str
    says: str
    finding: FindingAnswer | None


class DecisionAnswer(BaseModel):
    """Why a decision was not taken."""

    wanted: str
    taken: str
    obstacles: list[ObstacleShape]


# --- as data ----------------------------------------------------------------------------------------------------------


def finding(knowledge: Knowledge, result: Result, found: ask.WhyNotFinding) -> FindingAnswer:
    """Word the answer for a finding."""
    speaker, entry = Speaker(knowledge, result), knowledge.findings[found.finding]
    return FindingAnswer(
        finding=found.finding, title=entry.title if found.wanted == "holds" else entry.fails, state=found.state,
        wanted=found.wanted, says=speaker.finding_says(found.finding, len(result.rounds) - 1),
        rules=[_rule(knowledge, result, speaker, r) for r in found.rules],
    )  # fmt: skip


def _rule(knowledge: Knowledge, result: Result, speaker: Speaker, near: ask.NearRule) -> RuleShape:
    rule = knowledge.rules[near.rule]
    return RuleShape(
        rule=near.rule,
        title=speaker.fill(rule.title, speaker.facts_at(speaker.result.latest)),
        fires=near.fires,
        lacking=near.lacking,
        premises=[_premise(knowledge, result, speaker, p) for p in near.premises],
    )


def _premise(knowledge: Knowledge, result: Result, speaker: Speaker, premise: ask.Premise) -> PremiseShape:
    view = premise.view
    return PremiseShape(
        part=view.part, slot=view.slot, title=speaker.slot_title(view.slot),
        value=value_word(speaker, view.slot, view.value),
        condition=view.text, limit=view.limit, unit=view.unit, state=view.state,
        serves=view.serves, margin=None if view.margin is None else rounded(view.margin),
        errors=None if premise.errors is None else rounded(premise.errors), derived=isinstance(view.value, Spread),
        missing=list(premise.missing), missing_titles=[speaker.slot_title(s) for s in premise.missing],
        below=finding(knowledge, result, premise.below) if premise.below else None,
    )  # fmt: skip


def cause(knowledge: Knowledge, result: Result, found: ask.WhyNotCause) -> CauseAnswer:
    """Word the answer for a cause."""
    speaker, names = Speaker(knowledge, result), round_names(result)

    def weight(w: Weight) -> WeightShape:
        says = speaker.finding_says(w.finding, w.round)
        return WeightShape(finding=w.finding, round=names[w.round], says=says, decibans=rounded(w.decibans))

    return CauseAnswer(
        cause=found.cause.id,
        title=knowledge.causes[found.cause.id].title,
        probability=rounded(found.cause.probability),
        level=found.cause.level,
        kinds=list(found.kinds),
        prior=rounded(found.prior),
        total=rounded(found.total),
        rivals=[
            RivalShape(
                cause=r.cause, title=knowledge.causes[r.cause].title, probability=rounded(r.probability),
                gap=rounded(r.gap), without=None if r.without is None else rounded(r.without),
                settled=result.cause(r.cause).settled_by is not None,
            )
            for r in found.rivals
        ],
        weights=[weight(w) for w in (*found.speaks_for, *found.speaks_against)],
        unseen=[
            UnseenShape(
                finding=u.finding, title=knowledge.findings[u.finding].title, state=u.state,
                how_often=rounded(u.how_often), if_held=None if u.if_held is None else rounded(u.if_held),
                settles=u.settles,
            )
            for u in found.unseen
        ],
        settled=finding(knowledge, result, found.settled) if found.settled else None,
    )  # fmt: skip


def decision(knowledge: Knowledge, result: Result, found: ask.WhyNotDecision) -> DecisionAnswer:
    """Word the answer for a decision of the gate."""
    obstacles = []
    for o in found.obstacles:
        shape = finding(knowledge, result, o.finding) if o.finding else None
        says = reason_says(knowledge, o.reason) if o.reason else shape.title if shape else ""
        obstacles.append(ObstacleShape(kind=o.kind, says=says, finding=shape))
    return DecisionAnswer(wanted=found.wanted, taken=found.taken, obstacles=obstacles)


# --- in print ---------------------------------------------------------------------------------------------------------


def show_finding(found: FindingAnswer, out: Console, everything: bool = False) -> None:
    """Print the answer for a finding."""
    out.print(Text(say("whynot.why", title=lower(found.title)), style="bold"))
    if found.state in ("holds", "fails"):
        out.print(Text(f"  {found.says}"))
    else:
        out.print(Text("  " + say("whynot.state", state=phrases()["ask"]["state"][found.state])))
    print_block(out, say("whynot.rules"), rule_lines(found, everything) or [Text(say("whynot.no_rule"))])


def rule_lines(found: FindingAnswer, everything: bool, most: int = FEW, depth: int = 0) -> Lines:
    """Return the rules of a finding with their premises, nearest first; below a premise the nearest rule for it."""
    lines: Lines = []
    shown = found.rules if everything and not depth else found.rules[:most]
    pad = "    " * depth
    for rule in shown:
        lacks = say("whynot.fires") if rule.fires else say("whynot.lacks", count=rule.lacking)
        head = Text.assemble((say("whynot.rule", rule=rule.rule, title=rule.title), "bold"), (f" ({lacks})", "dim"))
        lines.append((pad, head))
        premises = [p for p in rule.premises if everything or p.part != "unless" or not p.serves]
        alternatives = [p for p in premises if p.part == "any"]
        for premise in premises:
            lead = say("whynot.or") + " " if premise in alternatives[1:] else "· "
            lines.append((f"{pad}  {lead}", premise_text(premise)))
            if premise.below is not None and premise.below.rules and depth < DEEPEST:
                lines += rule_lines(premise.below, everything, 1, depth + 1)
    if len(shown) < len(found.rules) and not depth:
        lines.append(("  ", Text(say("whynot.more", count=len(found.rules) - len(shown)), style="dim")))
    return lines


def premise_text(premise: PremiseShape) -> Text:
    """Return one premise as a line: value, wanted limit, verdict, margin, and what would make it known."""
    text = Text(say("whynot.premise", title=premise.title, value=premise.value))
    text.append(f" [{wanted(premise.condition, premise.slot, premise.part)}]", style="dim")
    if verdict := _verdict(premise):
        style = "green" if premise.serves else "bold" if premise.state == "not met" else ""
        text.append(f" {verdict}", style=style)
    if premise.margin is not None:
        key = "whynot.inside" if premise.margin >= 0 else "whynot.off"
        margin = sharp(abs(premise.margin), "K" if premise.unit == "°C" else premise.unit)
        text.append(f", {say(key, margin=margin)}")
        if premise.errors is not None:
            key = "whynot.errors_derived" if premise.derived else "whynot.errors"
            text.append(f" ({say(key, errors=f'{abs(premise.errors):.1f}')})", style="dim")
    if premise.missing_titles and premise.missing != [premise.slot] and premise.below is None:
        facts = "; ".join(premise.missing_titles[:FEW])
        text.append(f"; {say('whynot.needs', facts=facts)}")
    return text


def _verdict(premise: PremiseShape) -> str:
    if premise.part == "unless":
        return say("whynot.serves_unless" if premise.serves else "whynot.blocks")
    if premise.part == "none" and premise.serves:
        return say("whynot.serves_none")
    if premise.part == "none" and premise.state == "met":
        return say("whynot.blocks")
    if premise.state == "unknown" and not premise.derived:
        return ""  # the value says already that it is not known
    return say({"met": "whynot.met", "not met": "whynot.not_met", "unknown": "whynot.unknown"}[premise.state])


def show_cause(found: CauseAnswer, out: Console, everything: bool = False) -> None:
    """Print the answer for a cause."""
    level = phrases()["level"][found.level]
    out.print(Text(say("whynot.why", title=lower(found.title)), style="bold"))
    if "said" in found.kinds:
        out.print(Text("  " + say("whynot.it_is_said", level=level, percent=percent(found.probability))))
    else:
        out.print(Text("  " + say("whynot.stands", level=level, percent=percent(found.probability))))
        for kind in found.kinds:
            out.print(Text(f"  · {phrases()['whynot']['kind'][kind]}"))
    if found.settled is not None:
        lines: Lines = [Text(found.settled.says)]
        print_block(out, say("whynot.settled"), lines + rule_lines(found.settled, everything))
    if found.rivals and not {"said", "ruled out", "does not apply"} & set(found.kinds):
        print_block(out, say("whynot.rivals"), [("· ", Text(_rival(found, r))) for r in found.rivals])
    lines = [(f"{signed(found.prior):>6} dB  ", Text(say("how.start")))]
    weights = sorted(found.weights, key=lambda w: -abs(w.decibans))
    shown = weights if everything else [w for w in weights if abs(w.decibans) >= 0.5][: 2 * FEW]
    several = len({w.round for w in weights}) > 1
    told = [f"{w.says} ({w.round})" if several else w.says for w in shown]
    lines += [(f"{signed(w.decibans):>6} dB  ", Text(says)) for w, says in zip(shown, told, strict=True)]
    if len(shown) < len(weights):
        lines.append(("  ", Text(say("whynot.more", count=len(weights) - len(shown)), style="dim")))
    print_block(out, say("whynot.evidence"), lines)
    if found.unseen:
        unseen = found.unseen if everything else found.unseen[: 2 * FEW]
        lines = [("· ", Text(_unseen(u))) for u in unseen]
        if len(unseen) < len(found.unseen):
            lines.append(("  ", Text(say("whynot.more", count=len(found.unseen) - len(unseen)), style="dim")))
        print_block(out, say("whynot.unseen_heading"), lines)


def _rival(found: CauseAnswer, rival: RivalShape) -> str:
    told = {"title": rival.title, "percent": percent(rival.probability), "gap": signed(rival.gap).lstrip("+")}
    if rival.settled:
        return say("whynot.rival_proven", **told)
    if rival.without is None or percent(rival.without) == percent(found.probability):
        return say("whynot.rival", **told) if rival.gap > 0 else say("rather.stand", level="", **told)
    key = "whynot.rival_without" if rival.gap > 0 else "whynot.rival_weaker"
    return say(key, without=percent(rival.without), **told)


def _unseen(unseen: UnseenShape) -> str:
    told = {"title": unseen.title, "state": phrases()["ask"]["state"][unseen.state]}
    if unseen.settles:
        return say("whynot.settles", **told)
    told["often"] = percent(unseen.how_often)
    if unseen.if_held is None:
        return say("whynot.unseen", **told)
    return say("whynot.unseen_if", percent=percent(unseen.if_held), **told)


def show_decision(found: DecisionAnswer, out: Console, everything: bool = False) -> None:
    """Print the answer for a decision; what is only not known yet is a list of things to do unless ``everything``."""
    out.print(Text(say("whynot.why_decision", decision=decision_word(found.wanted)), style="bold"))
    if found.wanted == found.taken:
        out.print(Text("  " + say("whynot.is_taken")))
        return
    out.print(Text("  " + say("whynot.taken", taken=decision_word(found.taken))))
    if not found.obstacles:
        key = "whynot.hold_only" if found.taken == "clear" else "whynot.nothing_in_the_way"
        out.print(Text("  " + say(key)))
    obstacles = found.obstacles
    if found.wanted == "do not burn" and not everything:
        obstacles = obstacles[:FEW]
    missing = [] if everything else [o for o in obstacles if o.kind == "missing"]
    for obstacle in obstacles:
        if obstacle in missing:
            continue
        kind = phrases()["whynot"]["obstacle"][obstacle.kind]
        lines = rule_lines(obstacle.finding, everything, 1) if obstacle.finding else []
        print_block(out, say("ask.fact", title=kind, value=obstacle.says), lines)
    if missing:
        lines = [("· ", Text(o.says)) for o in missing]
        print_block(out, say("whynot.missing", count=len(missing)), lines)
    if len(obstacles) < len(found.obstacles):
        out.print(Text(say("whynot.more", count=len(found.obstacles) - len(obstacles)), style="dim"))
    out.print(Text(say("whynot.precedence"), style="dim"))
