"""What to do next: the plan in words. ``answer`` makes it as data, ``show`` prints it."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal

from rich.console import Console
from rich.text import Text

from explain.jsonout import rounded
from explain.shape import Chance, KnowledgeUsed, Shape
from explain.terminal import DECISION_STYLE, Line, percent, print_block
from explain.words import figure, phrases, say
from inference.plan.answer import Action, After, Naive, Plan, PlanStep
from inference.result import Decision, Result
from kb import __version__
from kb.model import Knowledge

LIKELY = 0.5  # a repair that ends the trouble as often as this is told as a likely cure
FEW = 3  # needed facts and findings to read again that are shown before --all


class ActionShape(Shape):
    """What to do: a test by its id, a repair by its cause and remedy, handing the vehicle on, or nothing more."""

    kind: Literal["test", "repair", "refer", "stop"]
    id: str
    remedy: str
    title: str


class OutcomeShape(Shape):
    """One outcome of a step and what it changes."""

    seen: str
    findings: dict[str, Literal["holds", "fails"]]
    cured: bool | None
    chance: Chance
    top: dict[str, float]
    decision: Decision | None
    then: ActionShape
    minutes_after: float
    followed: bool


class CauseMoved(Shape):
    """A cause, and the least and the most it may come to."""

    cause: str
    low: Chance
    high: Chance


class StepShape(Shape):
    """One step. ``price`` is in minutes and counts parts, set-up and care; ``saves`` against asking nothing first."""

    action: ActionShape
    minutes: float
    price: float
    saves: float
    why: str
    causes: list[CauseMoved]
    outcomes: list[OutcomeShape]
    set_up: str
    set_up_stands: bool
    needs: list[str]
    read_again: list[str]
    proven: bool
    hazards: list[str]


class NaiveShape(Shape):
    causes: list[str]
    minutes: float
    handed_on: Chance


class NeededShape(Shape):
    finding: str
    says: str
    minutes: float
    test: str | None
    step: int | None


class AssumptionShape(Shape):
    name: str
    share: float
    names: list[str]
    says: str


class NextAnswer(Shape):
    """The whole answer; all costs in minutes, the burn and the proof drive not counted."""

    case: str
    knowledge: KnowledgeUsed
    decision: Decision
    trouble: Chance
    trouble_seen: bool
    repaired: list[str]
    steps: list[StepShape]
    expected_minutes: float
    handed_on: Chance
    repairs_only: NaiveShape
    most_probable_first: NaiveShape
    cheapest_first: NaiveShape
    rest: Chance
    put_right: list[str]
    needed: list[NeededShape]
    afterwards: list[str]
    assumptions: list[AssumptionShape]
    dangers: list[str]  # what forbids any burn and is to be put right before the steps are taken
    driving: str


def answer(knowledge: Knowledge, result: Result, plan: Plan) -> NextAnswer:
    """Word a plan."""
    return NextAnswer(
        case=result.case.name,
        knowledge=KnowledgeUsed(version=__version__, hash=result.knowledge_hash, shop_layer=None),
        decision=plan.decision,
        trouble=_share(plan.trouble),
        trouble_seen=plan.seen,
        repaired=list(plan.repaired),
        steps=[_step(knowledge, plan, i) for i in range(len(plan.steps))],
        expected_minutes=rounded(plan.cost),
        handed_on=_share(plan.handed_on),
        repairs_only=_naive(plan.repairs_only),
        most_probable_first=_naive(plan.by_probability),
        cheapest_first=_naive(plan.by_price),
        rest=_share(plan.rest),
        put_right=list(plan.put_right),
        needed=[
            NeededShape(finding=n.finding, says=n.says, minutes=n.minutes, test=n.test, step=n.in_step)
            for n in plan.needed
        ],
        afterwards=list(plan.afterwards),
        assumptions=[
            AssumptionShape(
                name=a.name,
                share=rounded(a.share),
                names=list(a.names),
                says=say_assumption(knowledge, a.name, a.share, a.names),
            )
            for a in plan.assumptions
        ],
        dangers=[f"{r.says} {r.instead}".strip() for r in result.gate.dangers],
        driving=result.gate.driving,
    )


def _share(p: float) -> float:
    """Return a probability that sums and differences may have pushed a rounding error past its ends."""
    return rounded(min(max(p, 0.0), 1.0))


def say_assumption(knowledge: Knowledge, name: str, share: float, names: Sequence[str]) -> str:
    """Return the sentence of one assumption."""
    titles = [
        _lower(knowledge.causes[n].title if n in knowledge.causes else knowledge.remedies[n].title) for n in names
    ]
    return str(phrases()["plan"]["assume"][name]).format(percent=percent(share), list=", ".join(titles))


def _naive(plan: Naive) -> NaiveShape:
    return NaiveShape(causes=list(plan.order), minutes=rounded(plan.cost), handed_on=_share(plan.handed_on))


def _action(knowledge: Knowledge, action: Action) -> ActionShape:
    acts = phrases()["plan"]["act"]
    titles = {
        "test": knowledge.tests[action.what].title if action.kind == "test" else "",
        "repair": knowledge.remedies[action.remedy].title if action.remedy else "",
    }
    title = str(acts[action.kind]).format(title=titles.get(action.kind, ""))
    return ActionShape(kind=action.kind, id=action.what, remedy=action.remedy, title=title)


def _step(knowledge: Knowledge, plan: Plan, index: int) -> StepShape:
    step = plan.steps[index]
    return StepShape(
        action=_action(knowledge, step.action),
        minutes=rounded(step.minutes),
        price=rounded(step.price),
        saves=rounded(step.saves),
        why=_why(knowledge, plan, index),
        causes=[CauseMoved(cause=c, low=_share(low), high=_share(high)) for c, low, high in step.parts],
        outcomes=[_outcome(knowledge, step, o) for o in step.outcomes],
        set_up=step.set_up,
        set_up_stands=step.shared,
        needs=list(step.needs),
        read_again=list(step.read_again),
        proven=step.proven,
        hazards=_hazards(knowledge, step),
    )


def _why(knowledge: Knowledge, plan: Plan, index: int) -> str:
    step = plan.steps[index]
    if step.action.kind == "test":
        moved = [
            say("plan.moved", cause=_lower(knowledge.causes[c].title), low=percent(low), high=percent(high))
            for c, low, high in step.parts
        ]
        why = say("plan.because_test", causes=", ".join(moved), saves=figure(round(step.saves)))
        if step.before:
            return f"{why} {say('plan.before_filter', title=knowledge.remedies[step.before].title)}"
        return why
    if step.action.kind == "repair":
        cause, chance, _ = step.parts[0]
        title = knowledge.causes[cause].title
        if step.proven and not index:
            why = say("plan.because_proven", cause=title)
        else:
            why = say("plan.because_repair", cause=title, chance=percent(chance))
        likely = chance >= LIKELY and any(o.cured and o.chance >= LIKELY for o in step.outcomes)
        return f"{why} {say('plan.likely_cured')}" if likely else why
    return say("plan.because_refer_repaired" if index else "plan.because_refer")


def _hazards(knowledge: Knowledge, step: PlanStep) -> list[str]:
    if step.action.kind == "test":
        return list(knowledge.tests[step.action.what].hazards)
    return list(knowledge.remedies[step.action.remedy].hazards) if step.action.remedy else []


def _outcome(knowledge: Knowledge, step: PlanStep, outcome: After) -> OutcomeShape:
    return OutcomeShape(
        seen=_seen(knowledge, step, outcome),
        findings={f: "holds" if holds else "fails" for f, holds in outcome.said},
        cured=outcome.cured,
        chance=_share(outcome.chance),
        top={c: _share(p) for c, p in outcome.top},
        decision=outcome.decision,
        then=_action(knowledge, outcome.then),
        minutes_after=rounded(outcome.cost),
        followed=outcome.followed,
    )


def _seen(knowledge: Knowledge, step: PlanStep, outcome: After) -> str:
    """Return what is seen at an outcome: in the test's own words, else as the findings say it."""
    if outcome.cured is not None:
        return str(phrases()["plan"]["cured" if outcome.cured else "not_cured"])
    outcomes = knowledge.tests[step.action.what].outcomes
    told = []
    for finding, holds in outcome.said:
        state = "holds" if holds else "fails"
        own = [o.sees for o in outcomes if o.finding == finding and o.state == state]
        entry = knowledge.findings[finding]
        told.append(_upper(own[0]) if len(own) == 1 else entry.title if holds else entry.fails)
    return "; ".join([told[0], *(_lower(t) for t in told[1:])])


def show(knowledge: Knowledge, result: Result, plan: Plan, out: Console, everything: bool = False) -> None:
    """Print a plan."""
    words = phrases()["plan"]
    told = answer(knowledge, result, plan)
    if told.dangers:  # a step may want the vehicle driven or its engine run, so what forbids that comes first
        word = str(phrases()["decision"][plan.decision])
        first: list[Line] = [Text(word, style=DECISION_STYLE[plan.decision])]
        first += [("· ", Text(d)) for d in told.dangers]
        first.append(("· ", Text(say("plan.driving", driving=told.driving))))
        print_block(out, str(words["first"]), first)
    lines: list[Line] = []
    if plan.repaired:
        titles = [_lower(knowledge.causes[c].title) for c in plan.repaired]
        how = "plan.came_back" if plan.seen else "plan.probably" if plan.trouble < LIKELY else "plan.open"
        lines.append(Text(say(how, list="; ".join(titles), percent=percent(plan.trouble))))
    if plan.decision == "clear":
        lines.append(Text(str(words["burn_first" if plan.steps else "nothing_clear"])))
    elif not plan.steps:
        lines.append(Text(str(words["nothing_hold" if plan.put_right or plan.needed else "nothing"])))
    for i in range(len(told.steps)):
        lines += _step_lines(knowledge, plan, told, i, everything)
    print_block(out, str(words["heading"]), lines)
    if plan.steps and (plan.seen or plan.trouble >= LIKELY):
        costs = [
            say("plan.expected", minutes=whole(plan.cost), referred=figure(round(plan.handed_on * 100))),
            say("plan.naive", probable=whole(plan.by_probability.cost), cheap=whole(plan.by_price.cost)),
        ]
        print_block(out, str(words["cost"]), [Text(c) for c in costs])
    if plan.needed or plan.put_right:
        print_block(out, str(words["needed"]), _needed_lines(plan, everything))
    if plan.afterwards:
        heading = "burn_and_after" if plan.decision == "clear" else "after" if plan.steps else "left_to_do"
        print_block(out, str(words[heading]), [("· ", _later(knowledge, plan, r)) for r in plan.afterwards])
    if told.assumptions:
        print_block(out, str(words["granted"]), [("· ", Text(a.says, style="dim")) for a in told.assumptions])


def _later(knowledge: Knowledge, plan: Plan, remedy: str) -> Text:
    entry = knowledge.remedies[remedy]
    text = Text(entry.title)
    if entry.place == "the burn" and plan.decision != "clear":
        text.append(f" ({say('why.burn_waits')})", style="bold")
    if {*entry.spared_by} & {*plan.afterwards}:
        text.append(f" ({say('plan.spared')})", style="bold")
    return text


def _step_lines(knowledge: Knowledge, plan: Plan, told: NextAnswer, index: int, everything: bool) -> list[Line]:
    step, shape = plan.steps[index], told.steps[index]
    lines: list[Line] = [(f"{index + 1}. ", Text(_headline(knowledge, step), style="bold"))]
    lines.append(("   ", Text(shape.why)))
    if titles := [_lower(knowledge.cautions[h].title) for h in shape.hazards]:
        lines.append(("   ", Text(say("plan.cautions", list="; ".join(titles)), style="dim")))
    for outcome, seen in zip(step.outcomes, shape.outcomes, strict=True):
        lines.append((f"   {percent(outcome.chance):>5}  ", _outcome_text(knowledge, outcome, seen, index, told)))
    if step.action.kind == "repair":
        proof = knowledge.remedies[step.action.remedy].proof
        lines.append(("   ", Text(say("plan.check", proof=proof))))
    if step.read_again:
        names = [_lower(knowledge.findings[f].title) for f in step.read_again]
        if not everything and len(names) > FEW:
            names[FEW:] = [say("plan.again_more", count=len(names) - FEW)]
        lines.append(("   ", Text(say("plan.again", list="; ".join(names)))))
    if step.needs:
        lines.append(("   ", Text(say("plan.fills"))))
    return lines


def _headline(knowledge: Knowledge, step: PlanStep) -> str:
    if step.action.kind == "test":
        test = knowledge.tests[step.action.what]
        set_up = ""
        if step.shared:
            set_up = say("plan.set_up_shared")
        elif test.set_up_minutes:
            set_up = say("plan.set_up", minutes=figure(test.set_up_minutes))
        return say("plan.test", title=test.title, minutes=figure(step.minutes), set_up=set_up)
    if step.action.kind == "repair":
        remedy = knowledge.remedies[step.action.remedy]
        parts = phrases()["plan"]["parts"][remedy.parts]
        return say("plan.repair", title=remedy.title, minutes=figure(step.minutes), parts=parts)
    return say("plan.refer")


def _outcome_text(knowledge: Knowledge, outcome: After, shape: OutcomeShape, index: int, told: NextAnswer) -> Text:
    text = Text(shape.seen)
    if outcome.cured is None or not outcome.cured:
        tops = [
            say("plan.outcome_top", cause=_lower(knowledge.causes[c].title), chance=percent(p)) for c, p in outcome.top
        ]
        text.append(": " + (", ".join(tops) or say("plan.outcome_none")), style="dim")
    following = outcome.followed and index + 1 < len(told.steps)
    if following:
        then = say("plan.then_following", step=index + 2)
    else:
        action = shape.then.title if shape.then.kind in ("refer", "stop") else f"“{shape.then.title}”"
        then = say("plan.then", action=action)
    if outcome.decision:
        then = str(phrases()["plan"]["then_decision"][outcome.decision]).format(action=then)
    text.append(f" → {then}")
    return text


def _needed_lines(plan: Plan, everything: bool) -> list[Line]:
    few = plan.needed if everything else plan.needed[:FEW]
    lines: list[Line] = [("· ", Text(say("plan.put_right", says=s))) for s in plan.put_right]
    for fact in few:
        if fact.in_step:
            says = say("plan.fact_in_step", says=fact.says, step=fact.in_step)
        else:
            says = say("plan.fact", says=fact.says, minutes=figure(fact.minutes))
        lines.append(("· ", Text(says)))
    if rest := len(plan.needed) - len(few):
        lines.append(("· ", Text(say("plan.fact_more", count=rest), style="dim")))
    if plan.needed:
        lines.append(Text(say("plan.fact_reason"), style="dim"))
    return lines


def whole(minutes: float) -> str:
    """Return minutes to the nearest five: more would pretend to more than the prices bear."""
    return figure(5 * round(minutes / 5))


def _lower(title: str) -> str:
    return title if title[1:2].isupper() else title[:1].lower() + title[1:]


def _upper(text: str) -> str:
    return text[:1].upper() + text[1:]
