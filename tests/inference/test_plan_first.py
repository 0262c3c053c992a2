"""What a plan begins with: a proven cause's repair before looks that cannot change it, and the trouble that is left."""

from __future__ import annotations

from pathlib import Path

import pytest

from inference.case import Case
from inference.diagnose import diagnose
from inference.plan.build import Planner, plan_of
from inference.plan.first import CERTAIN, bears_on, renews_the_filter, sure_causes
from inference.plan.trouble import blocking, repaired, trouble_seen
from inference.read_case import read_case
from inference.work import DUE
from kb.model import Knowledge

CASES = Path(__file__).parents[2] / "cases"


def planner_of(name: str, knowledge: Knowledge) -> Planner:
    return Planner(knowledge, diagnose(read_case(CASES / f"{name}.yaml", knowledge), knowledge))


def test_no_look_goes_before_a_certain_repair_that_it_cannot_change(case: Case, knowledge: Knowledge) -> None:
    result = diagnose(case, knowledge)
    planner = Planner(knowledge, result)
    chances = dict(zip(planner.causes, planner.marginals(planner.root).tolist(), strict=True))
    sure = sure_causes(knowledge, result.work, chances)
    plan = planner.plan()
    if not sure:
        return
    step = plan.steps[0]
    if step.action.kind == "repair":
        assert step.action.what == sure[0]
        return
    lows = {c: low for c, low, _ in step.parts}
    spoils = {c for c in planner.causes if any(b.cause == sure[0] for b in knowledge.causes[c].brings)}
    assert lows.get(sure[0], 1.0) < CERTAIN or (renews_the_filter(knowledge, sure[0]) and spoils & lows.keys())


@pytest.mark.parametrize(
    "name", ["bell-founder", "fairground-truck", "toll-keeper", "snow-midwife", "eider-boatman", "drum-van"]
)
def test_these_began_with_a_look_or_a_lesser_repair(name: str, knowledge: Knowledge) -> None:
    planner = planner_of(name, knowledge)
    first = planner.plan().steps[0]
    assert first.action.kind == "repair"
    assert first.parts[0][1] >= CERTAIN


def test_a_look_at_what_may_have_spoilt_the_filter_keeps_its_turn(knowledge: Knowledge) -> None:
    planner = planner_of("film-van", knowledge)
    i, hose = planner.causes.index("filter_damaged"), planner.causes.index("pressure_hose_fault")
    low, high = planner.marginals(planner.root).copy(), planner.marginals(planner.root).copy()
    assert low[i] >= CERTAIN
    assert not bears_on(knowledge, planner.causes, [low, high], "filter_damaged", CERTAIN)
    low[hose], high[hose] = 0.01, 0.8
    assert bears_on(knowledge, planner.causes, [low, high], "filter_damaged", CERTAIN)
    for step in planner.plan().steps:
        if step.action.kind == "test":
            assert step.before == knowledge.causes["filter_damaged"].remedy


def test_what_the_order_of_work_names_is_done_before_the_vehicle_is_handed_on(case: Case, knowledge: Knowledge) -> None:
    """The order of work of `why` holds what is likelier than not; `next` does not hand that on unrepaired."""
    result = diagnose(case, knowledge)
    planner = Planner(knowledge, result)
    chances = planner.marginals(planner.root)
    plan = planner.plan()
    if plan.steps and plan.steps[0].action.kind == "refer":
        assert chances.max() < DUE
    for step, following in zip(plan.steps, plan.steps[1:], strict=False):
        if following.action.kind == "refer":
            followed = next(o for o in step.outcomes if o.followed)
            assert all(p < DUE for _, p in followed.top)


def test_a_habit_that_is_hardly_likely_is_not_tried_before_what_is_likely(case: Case, knowledge: Knowledge) -> None:
    """A habit shows in weeks only: as a trial it costs a comeback, however few minutes the talk takes."""
    result = diagnose(case, knowledge)
    for step in plan_of(knowledge, result).steps:
        if step.action.kind == "repair" and step.action.remedy in knowledge.plan.seen_later:
            left = next(o for o in step.outcomes if not o.cured)
            rival = max((p for c, p in left.top if not renews_the_filter(knowledge, c)), default=0.0)
            assert not (step.parts[0][1] < 0.3 and rival > 0.7)


def test_whether_the_trouble_was_seen(knowledge: Knowledge) -> None:
    """Nothing repaired: seen. Repaired and proven: not seen again. Cleaned, burnt clean and blocked again: seen."""
    told = {
        name: diagnose(read_case(CASES / f"{name}.yaml", knowledge), knowledge)
        for name in ("school-run", "lamp-lighter", "bee-keeper", "advice-estate", "parcel-truck")
    }
    assert {n: trouble_seen(r) for n, r in told.items()} == {
        "school-run": True,
        "lamp-lighter": False,
        "bee-keeper": True,
        "advice-estate": False,
        "parcel-truck": True,  # a burn alone removes no cause
    }
    assert repaired(told["lamp-lighter"]) == ("egr_flow_low",)
    assert repaired(told["school-run"]) == ()


@pytest.mark.parametrize(
    "name", ["brass-band", "drumkit-wagon", "lamp-lighter", "moor-estate", "organ-tuner", "vineyard-ute"]
)
def test_a_vehicle_whose_cause_is_repaired_is_probably_cured(name: str, knowledge: Knowledge) -> None:
    plan = planner_of(name, knowledge).plan()
    assert plan.repaired
    assert not plan.seen
    assert plan.trouble < 0.5
    assert not any(s.action.kind == "refer" for s in plan.steps[:1])


def test_a_cause_blocks_as_often_as_it_shows_what_is_complained_of(case: Case, knowledge: Knowledge) -> None:
    result = diagnose(case, knowledge)
    held = [
        f
        for f in ("filter_reported_blocked", "filter_really_restricted")
        if any(f in r.verdicts.findings and r.verdicts.findings[f].state == "holds" for r in result.rounds)
    ]
    blocks = blocking(knowledge, result)
    for cause in knowledge.causes.values():
        shown = [s.how_often for s in cause.shows if s.finding in (held or ["filter_reported_blocked"])]
        if shown and held:
            assert blocks[cause.id] >= max(shown) - 1e-12
        assert 0 < blocks[cause.id] <= 1


def test_what_the_decision_names_as_wrong_is_in_the_plan(knowledge: Knowledge) -> None:
    """A gauge that does not read zero: no cause is to be looked for, but there is something to put right."""
    plan = planner_of("needle-drift", knowledge).plan()
    assert not plan.steps
    assert any("zero" in says for says in plan.put_right)
    assert plan.needed
