"""What no rule reads need not be derived: decision, belief and findings are those of the plain path all the same."""

from __future__ import annotations

import random
from collections.abc import Mapping

import pytest

from inference.belief.net import ImpossibleEvidence
from inference.case import Case
from inference.change import without
from inference.derive import BUILT_ON, derive
from inference.diagnose import judge_case, levels_now, program_of
from inference.questions import again as module
from inference.questions.again import Again, Standing, standing_of
from inference.questions.least import facts_of
from inference.questions.redo import Moved, Redone, Stand, redo
from inference.questions.tipping import tipping
from inference.read_case import read_case
from inference.steps import Journal
from inference.values import LEVEL_WORDS
from kb.model import Knowledge
from tests.conftest import CASES
from tests.inference.random_changes import at_random


def read_by_rules(knowledge: Knowledge) -> frozenset[str]:
    program = program_of(knowledge)
    return frozenset(program.find.by_slot) | frozenset(program.decide.by_slot)


def plainly(case: Case, knowledge: Knowledge) -> Standing | None:
    try:
        return standing_of(case, judge_case(case, knowledge))
    except ImpossibleEvidence:
        return None


def assert_stands(quick: Standing | None, plain: Standing | None, read: frozenset[str]) -> None:
    """All that is concluded is the same, and of the facts and derived readings all that a rule reads."""
    if quick is None or plain is None:
        assert quick is plain
        return
    assert quick.findings == plain.findings  # votes and leanings with their chances, of every round
    assert quick.decided == plain.decided
    assert quick.gate == plain.gate
    there_too = [c for c in plain.causes if c.id in quick.chance]
    assert there_too[0] == plain.causes[0]
    told = [[(c.id, c.level, c.state, c.because_of, c.settled_by) for c in cs] for cs in (quick.causes, there_too)]
    assert told[0] == told[1]
    for part in ("probability", "now"):  # several nets are summed in one sweep, in another order
        assert [getattr(c, part) for c in quick.causes] == pytest.approx([getattr(c, part) for c in there_too])
    left_out = {(c.level, c.state, c.because_of, c.settled_by) for c in plain.causes if c.id not in quick.chance}
    assert left_out <= {("unlikely", "present", (), None)}
    assert quick.none_listed == pytest.approx(plain.none_listed)
    there, here = quick.evidence, plain.evidence
    for part in ("nodes", "private", "settled", "clashes", "repaired", "not_applicable"):
        assert getattr(there, part) == getattr(here, part), part

    def seen(of: Mapping[str, object]) -> dict[str, object]:
        return {slot: value for slot, value in of.items() if slot in read}

    assert [*map(seen, quick.facts)] == [*map(seen, plain.facts)]
    assert [*map(seen, quick.derived)] == [*map(seen, plain.derived)]


def test_changes_at_random_stand_as_on_the_plain_path(case: Case, knowledge: Knowledge) -> None:
    again, rng, read = Again(case, knowledge, sparing=True), random.Random(case.name), read_by_rules(knowledge)
    changes = [at_random(again, rng) for _ in range(5)]
    plain = [plainly(change, knowledge) for change in changes]
    for part in (slice(0, 3), slice(3, 5)):  # several at once, and nothing is left of them for the next
        for quick, wanted in zip(again.of_all(changes[part]), plain[part], strict=True):
            assert_stands(quick, wanted, read)
    assert_stands(again.of(changes[0]), plain[0], read)  # from memory


@pytest.mark.parametrize("name", ["chaff-pickup", "chapel-warden", "night-hearse", "pottery-mpv"])
def test_rules_of_the_decision_hear_of_each_cause_what_the_plain_path_tells(
    name: str, knowledge: Knowledge, monkeypatch: pytest.MonkeyPatch
) -> None:
    """Of a cause that is left out as unlikely too, whatever it was before."""
    last: list[Moved] = [{}]

    def tapped(stand: Stand, now: Moved) -> Redone:
        last[0] = {**stand.known, **now}
        return redo(stand, now)

    monkeypatch.setattr(module, "redo", tapped)
    case = read_case(next(p for p in CASES if p.stem == name), knowledge)
    again = Again(case, knowledge, sparing=True)
    told_of = {c.id for c in again.base.causes if c.level != "unlikely"}
    fell = 0
    for fact in facts_of(case):
        change = without(case, knowledge, [fact])
        quick = again.of(change)
        plain = plainly(change, knowledge)
        assert quick is not None
        assert plain is not None
        levels = {cause: LEVEL_WORDS[level] for cause, level in levels_now(plain.causes).items()}
        assert {cause: last[0][cause] for cause in levels} == levels
        fell += not told_of <= quick.chance.keys()
    assert fell


def test_what_is_derived_sparingly_is_less(knowledge: Knowledge) -> None:
    case = read_case(next(p for p in CASES if p.stem == "tram-stop"), knowledge)
    again = Again(case, knowledge, sparing=True)
    assert again.base.derived == standing_of(case, judge_case(case, knowledge)).derived  # as it stands all is there
    sparing, all_ = again.of(case), Again(case, knowledge).of(case)
    assert sparing is not None
    assert all_ is not None
    left_out = all_.derived[-1].keys() - sparing.derived[-1].keys()
    assert len(left_out) > 5
    assert left_out.isdisjoint(read_by_rules(knowledge))


@pytest.mark.parametrize("path", CASES[5::20], ids=lambda p: p.stem)
def test_tipping_finds_the_same_turns_sparingly(path: object, knowledge: Knowledge) -> None:
    case = read_case(path, knowledge)  # type: ignore[arg-type]
    sparing = tipping(case, knowledge, Again(case, knowledge, sparing=True))
    assert sparing == tipping(case, knowledge, Again(case, knowledge))
    assert sparing == tipping(case, knowledge)


@pytest.mark.parametrize("path", CASES[3::14], ids=lambda p: p.stem)
def test_each_derived_reading_may_be_asked_for_alone(path: object, knowledge: Knowledge) -> None:
    """No step looks for what is written down only where somebody asks for it, whatever the rules come to ask for."""
    case = read_case(path, knowledge)  # type: ignore[arg-type]
    whole = derive(case, knowledge)
    for slot in sorted({slot for round_ in whole for slot in round_}):
        alone = derive(case, knowledge, Journal({slot, *BUILT_ON}))
        assert [d.get(slot) for d in alone] == [d.get(slot) for d in whole], slot
