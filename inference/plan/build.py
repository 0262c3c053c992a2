"""The plan of a case: the first three steps with what each outcome would change, against plans that ask nothing.

Decision-theoretic troubleshooting (Heckerman, Breese, Rommelse 1995, from memory) on the exact belief, several causes
at once. Steps after the first follow the most likely outcome that leaves something to do. A question is asked only if
its outcomes lead to different moves, different leading causes or a different decision.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from inference.belief.evidence import COMPLAINT
from inference.diagnose import evidence_of
from inference.offered import may_be_done, still_open
from inference.plan.answer import Action, After, Naive, Plan, PlanStep
from inference.plan.changes import decision_after
from inference.plan.cure import Cure, at_work
from inference.plan.first import CERTAIN, PARTED, bears_on, renews_the_filter, sure_causes
from inference.plan.joint import joint
from inference.plan.notes import assumptions_of, needed_facts
from inference.plan.outlook import Held, Outlook, Outlooks, Scene, links_of
from inference.plan.prices import left_behind, repair_minutes, repair_price, tariff, test_price
from inference.plan.search import Move, PriceOfTest, Search, State
from inference.plan.subsets import Prices, best_order, cost_of
from inference.plan.trouble import at_root, blocking, repaired, trouble_seen
from inference.result import Result
from inference.work import DUE, PLACES
from kb.model import Knowledge

STEPS = 3
MOST_CAUSES, MOST_IF_WIDE, WIDE = 9, 8, 9  # causes planned for; fewer where many present findings hang together
SHORT = 12  # tests tried at the later points of a plan
SECONDS = 7  # tests tried as a second step at the root
SEEN = 0.02  # an outcome less likely than this is not told
SOLVED = 0.03  # with less than this left there is nothing to plan
WATCH = 0.5  # with less than this left a vehicle is not handed on: it is driven and watched


def plan_of(knowledge: Knowledge, result: Result) -> Plan:
    """Return the plan for a diagnosed case.

    Raises as :func:`inference.belief.activation.posteriors`.
    """
    return Planner(knowledge, result).plan()


@dataclass(frozen=True)
class Choice:
    """A move, what it saves over the best that asks nothing, and a test's outlook."""

    move: Move
    saves: float
    outlook: Outlook | None


def changes_something(step: PlanStep) -> bool:
    """Whether the outcomes of a step lead to different moves, leading causes or decisions."""
    return len({(o.then, o.top[:1] and o.top[0][0], o.decision) for o in step.outcomes}) > 1


class Planner:
    """Plans one case: ``root`` is the state it begins in, ``offered`` the tests in question, ``causes`` the bits."""

    def __init__(self, knowledge: Knowledge, result: Result) -> None:
        self.k, self.r = knowledge, result
        self.prices = tariff(knowledge)
        evidence = evidence_of(result.case, knowledge, result.rounds)
        there = sorted(
            (c for c in result.causes if c.state == "present" and c.now >= self.prices.least),
            key=lambda c: (-c.now, c.id),
        )
        most = MOST_IF_WIDE if sum(n.holds for n in evidence.nodes) > WIDE else MOST_CAUSES
        self.causes = tuple(c.id for c in there[:most])
        self.joint = joint(evidence.net, self.causes)
        tail = {c.id: c.now for c in result.causes if c.state == "present" and c.id not in self.causes}
        total = max(sum(tail.values()) + float(self.joint.unlisted), 1e-9)
        scene = Scene(self.causes, {c: p / total for c, p in tail.items()})
        seen = trouble_seen(result)
        blocks = blocking(knowledge, result)
        cure = Cure(tuple(blocks[c] for c in self.causes), self.prices.holds)
        rest = at_work([blocks[c] for c in tail], list(tail.values()))
        self.root = State(at_root(self.joint, cure, rest, seen), seen=seen)
        self.rest = float(self.root.weights[1].sum())
        self.outlooks = Outlooks(knowledge, evidence, scene)
        self.search = Search(
            self.causes,
            Prices(
                tuple(
                    repair_price(knowledge, self.prices, knowledge.remedies[knowledge.causes[c].remedy])
                    for c in self.causes
                ),
                self.prices.refer,
                tuple(left_behind(knowledge, self.prices, knowledge.causes[c].remedy) for c in self.causes),
            ),
            self.prices.holds,
            {
                t.id: PriceOfTest(test_price(knowledge, self.prices, t), t.set_up, t.set_up_minutes)
                for t in knowledge.tests.values()
            },
            self.prices.worth,
            cure.blocks,
        )
        self.findings = result.latest.verdicts.findings
        self.allowed = [t for t in knowledge.tests.values() if may_be_done(knowledge, t, result.gate, self.findings)]
        self.offered = self._offered()
        self.short: list[Outlook] = []

    # --- tests in question ----------------------------------------------------------------------------------------

    def _offered(self) -> list[Outlook]:
        out = []
        facts = self.r.latest.facts
        for test in self.allowed:
            wanted = [f for f in test.settles if (r := self.findings.get(f)) is not None and r.state == "unknown"]
            if wanted and still_open(test, facts):
                outlook = self.outlooks.of(test.id, wanted, self.root.weights)
                if outlook is not None:
                    out.append(outlook)
        return out

    def _again(self, state: State) -> list[Outlook]:
        """The tests whose reading a repair of the plan may have changed; they count anew."""
        opened = self.reopened(state)
        if not opened:
            return []
        out = []
        for test in self.allowed:
            wanted = [f for f in test.settles if f in opened]
            if wanted and test.id not in state.gone_over:
                outlook = self.outlooks.of(test.id, wanted, state.weights, opened)
                if outlook is not None:
                    out.append(outlook)
        return out

    def reopened(self, state: State) -> set[str]:
        """Return the findings known now that a cause repaired in this state bears on."""
        mended = {c for i, c in enumerate(self.causes) if state.done >> i & 1}
        if not mended:
            return set()
        out = set()
        for finding, result in self.findings.items():
            if result.state in ("holds", "fails") and finding not in COMPLAINT:
                shows, pairs = links_of(Held(self.k), finding)
                if mended & (shows.keys() | pairs.keys()):
                    out.add(finding)
        return out

    def _left_to_ask(self, state: State, from_: Sequence[Outlook]) -> list[Outlook]:
        closed = {f for t in state.gone_over for f in self.k.tests[t].settles}
        return [o for o in from_ if o.test not in state.gone_over and not {f for s in o.said for f, _ in s} <= closed]

    # --- moves ----------------------------------------------------------------------------------------------------

    def moves(self, state: State, how: str) -> list[Choice]:
        """Return the moves worth taking, the best first: tests that save enough, and the best without a test.

        ``how``: "root" and "main" look two steps deep, "side" one.
        """
        trouble = self.search.left_now(state)
        chances = dict(zip(self.causes, self.marginals(state).tolist(), strict=True))
        sure = sure_causes(self.k, self.r.work, chances)
        if trouble < SOLVED and not sure:
            return [Choice(Move("stop", "", 0.0, 0.0), 0.0, None)]
        deep, second = {"root": (5, SECONDS), "main": (3, 5), "side": (0, 0)}[how]
        tests = self._left_to_ask(state, self.offered if how == "root" else self.short)
        if how != "side":
            tests += self._left_to_ask(state, self._again(state))
        by_test = {o.test: o for o in tests}
        moves = self.search.best(state, list(by_test.values()), deep, second)
        if how == "root":
            self._shorten(moves)
        others = [m for m in moves if m.kind != "test"]
        due = [m for m in others if m.kind == "repair" and chances[m.what] >= DUE]
        first: tuple[str, float] | None = None  # a repair that goes first while its cause is at least so likely
        if sure:
            first = sure[0], CERTAIN
            others = sorted(others, key=lambda m: m.what != sure[0])
        elif trouble < WATCH:  # it is not known that anything is wrong, so nothing is repaired or handed on
            others = [replace(others[0], kind="stop")]
        elif others[0].kind == "refer" and due:  # what the order of work names is repaired here first
            first = due[0].what, DUE
            others = [due[0], *(m for m in others if m is not due[0])]
        least = others[0].cost
        saved = max(others[1].cost - least, 0.0) if len(others) > 1 else 0.0
        out = [
            Choice(m, least - m.cost, by_test[m.what])
            for m in moves
            if m.kind == "test"
            and least - m.cost >= self.search.worth
            and (first is None or self._bears_on(state, by_test[m.what], *first))
        ]
        return [*out, Choice(others[0], saved, None)]

    def _bears_on(self, state: State, outlook: Outlook, cause: str, likely: float) -> bool:
        after = (self.search.after_test(state, outlook, o) for o in range(len(outlook.said)))
        return bears_on(self.k, self.causes, [self.marginals(s) for p, s in after if p >= SEEN], cause, likely)

    def _shorten(self, moves: Sequence[Move]) -> None:
        """Keep the tests that save most before their own price, for the later points of the plan."""
        by_test = {o.test: o for o in self.offered}
        ranked = sorted((m for m in moves if m.kind == "test"), key=lambda m: (m.cost - m.price, m.what))
        self.short = [by_test[m.what] for m in ranked[:SHORT]]

    # --- what to tell ---------------------------------------------------------------------------------------------

    def marginals(self, state: State) -> np.ndarray:
        """Return [K] how likely each cause is there and not repaired."""
        both = state.weights.sum(axis=0)
        masks = np.arange(len(both)) & ~state.done
        return np.array([both[masks >> i & 1 == 1].sum() for i in range(len(self.causes))])

    def _top(self, state: State) -> tuple[tuple[str, float], ...]:
        ranked = sorted(zip(self.marginals(state).tolist(), self.causes, strict=True), key=lambda t: (-t[0], t[1]))
        return tuple((c, p) for p, c in ranked[:2] if p >= SEEN)

    def _decision(self, said: Sequence[tuple[str, bool]], state: State) -> str | None:
        chances = dict(zip(self.causes, self.marginals(state).tolist(), strict=True))
        return decision_after(self.k, self.r.gate.decision, said, chances)

    def _action(self, move: Move) -> Action:
        remedy = self.k.causes[move.what].remedy if move.kind == "repair" else ""
        return Action(move.kind, move.what, remedy)

    def _step(self, state: State, choice: Choice) -> tuple[PlanStep, list[State]]:
        """Return one step with its outcomes, and the state after each."""
        move = choice.move
        if choice.outlook is not None:
            return self._test_step(state, choice, choice.outlook)
        if move.kind in ("refer", "stop"):
            return PlanStep(self._action(move), move.price, move.price, choice.saves, (), ()), []
        i = self.causes.index(move.what)
        p, failed = self.search.after_failing(state, i)
        remedy = self.k.remedies[self.k.causes[move.what].remedy]
        chance = float(self.marginals(state)[i])
        then = self.moves(failed, "side")[0].move
        outcomes = (
            After((), True, 1 - p, (), Action("stop"), None, 0.0),
            After((), False, p, self._top(failed), self._action(then), None, then.cost),
        )
        before = self.reopened(state)
        again = tuple(sorted(self.reopened(failed) - before))
        minutes = repair_minutes(self.k, remedy) + self.prices.check
        proven = chance >= CERTAIN and self.r.cause(move.what).settled_by is not None
        step = PlanStep(self._action(move), minutes, move.price, choice.saves, ((move.what, chance, chance),), outcomes,
                        read_again=again, proven=proven)  # fmt: skip
        return step, [state, failed]

    def _test_step(self, state: State, choice: Choice, outlook: Outlook) -> tuple[PlanStep, list[State]]:
        move, test = choice.move, self.k.tests[choice.move.what]
        outcomes, states, moved = [], [], []
        for o, said in enumerate(outlook.said):
            p, after = self.search.after_test(state, outlook, o)
            if p < SEEN:
                continue
            then = self.moves(after, "side")[0].move
            moved.append(self.marginals(after))
            decision = self._decision(said, after)
            outcomes.append(After(said, None, p, self._top(after), self._action(then), decision, then.cost))  # type: ignore[arg-type]
            states.append(after)
        table = np.stack(moved)
        spread = sorted((float(table[:, i].min()), float(table[:, i].max()), c) for i, c in enumerate(self.causes))
        parts = [(c, low, high) for low, high, c in sorted(spread, key=lambda t: t[0] - t[1]) if high - low >= PARTED]
        shared = bool(test.set_up) and test.set_up in state.standing
        minutes = test.minutes + (0.0 if shared else test.set_up_minutes)
        needs = tuple(
            r.finding for r in self.r.gate.missing
            if r.finding in test.settles
        )  # fmt: skip
        order = sorted(range(len(outcomes)), key=lambda o: (-outcomes[o].chance, o))
        known = zip(self.causes, self.marginals(state).tolist(), strict=True)
        before = [c for c, p in known if p >= CERTAIN and renews_the_filter(self.k, c)]
        step = PlanStep(self._action(move), minutes, move.price, choice.saves, tuple(parts[:3]),
                        tuple(outcomes[o] for o in order), test.set_up, shared, needs,
                        before=self.k.causes[before[0]].remedy if before else "")  # fmt: skip
        return step, [states[o] for o in order]

    # --- all of it ------------------------------------------------------------------------------------------------

    def plan(self) -> Plan:
        """Return the plan: step by step along the likely outcomes; a test that turns out pointless is taken back."""
        steps: list[PlanStep] = []
        points: list[tuple[State, str]] = [(self.root, "root")]
        pointless: set[str] = set()
        cost, referred = 0.0, 0.0
        while len(steps) < STEPS:
            state, how = points[-1]
            choice, step, states = self._next_step(state, how, pointless)
            if steps:
                before = self._followed(steps[-1], step)
                if before.action.kind == "test" and not changes_something(before):
                    pointless.add(before.action.what)
                    steps.pop()
                    points.pop()
                    continue
                steps[-1] = before
            else:
                cost, referred = choice.move.cost, self._handed_on(choice)
            if step.action.kind == "stop":
                break
            follow = next((i for i, o in enumerate(step.outcomes) if o.then.kind != "stop"), None)
            marked = tuple(replace(o, followed=i == follow) for i, o in enumerate(step.outcomes))
            steps.append(replace(step, outcomes=marked))
            if follow is None:
                break
            points.append((states[follow], "main"))
        return self._whole(steps, cost, referred)

    def _next_step(self, state: State, how: str, pointless: set[str]) -> tuple[Choice, PlanStep, list[State]]:
        """Return the best move that is no pointless question, as a step."""
        choices = [c for c in self.moves(state, how) if c.outlook is None or c.move.what not in pointless]
        for choice in choices:
            step, states = self._step(state, choice)
            if step.action.kind != "test" or changes_something(step):
                break
        return choice, step, states

    def _handed_on(self, choice: Choice) -> float:
        """Return how often the plan ends with handing the vehicle on: what a minute more on that price adds."""
        search, seconds = self.search, self.short[:SECONDS]
        if choice.move.kind == "stop":
            return 0.0
        dearer = replace(search, prices=replace(search.prices, refer=self.prices.refer + 1.0))
        before, after = (s.price_of(self.root, choice.move, choice.outlook, seconds) for s in (search, dearer))
        return min(max(after - before, 0.0), 1.0)

    def _naive(self, u: np.ndarray, ends: np.ndarray, order: Sequence[int]) -> Naive:
        """Return a plan without questions, given up where handing the vehicle on is cheaper than going on."""
        costs = [cost_of(u, ends, self.search.prices, order[:n]) for n in range(len(order) + 1)]
        length = costs.index(min(costs))
        done = sum(1 << i for i in order[:length])
        return Naive(tuple(self.causes[i] for i in order[:length]), costs[length], float(u[done, 0]))

    def _followed(self, step: PlanStep, following: PlanStep) -> PlanStep:
        """Let the outcome that is followed name the step that follows, which was looked for more deeply."""
        return replace(
            step, outcomes=tuple(replace(o, then=following.action) if o.followed else o for o in step.outcomes)
        )

    def _whole(self, steps: Sequence[PlanStep], cost: float, referred: float) -> Plan:
        u, ends = self.search.tables(self.root.weights[:, :, None], self.root)
        prices, places = self.search.prices, range(len(self.causes))
        marginal = self.marginals(self.root)
        orders = [
            best_order(u, ends, prices),
            sorted(places, key=lambda i: (-marginal[i], i)),
            sorted(places, key=lambda i: (prices.repairs[i], i)),
        ]
        only, probable, cheap = (self._naive(u, ends, order) for order in orders)
        work = [s.remedy for s in self.r.work]
        planned = {self.k.causes[c].remedy for c in self.causes}
        after = [r for r in work if r not in planned and self.k.remedies[r].place in PLACES[1:]]
        return Plan(
            decision=self.r.gate.decision,
            steps=tuple(steps),
            cost=cost,
            handed_on=referred,
            repairs_only=only,
            by_probability=probable,
            by_price=cheap,
            trouble=self.search.left_now(self.root),
            seen=self.root.seen,
            repaired=repaired(self.r),
            rest=self.rest,
            put_right=tuple(r.says for r in self.r.gate.not_met) if self.r.gate.decision == "hold" else (),
            needed=needed_facts(self.k, self.r, steps),
            afterwards=tuple(after),
            assumptions=assumptions_of(self.k, self.prices, self.joint, self.rest, self.causes) if steps else (),
        )
