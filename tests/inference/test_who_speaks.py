"""Which verdict speaks for a group of findings that come from one instrument or one underlying state."""

from __future__ import annotations

import pytest

from inference.belief.evidence import gather
from inference.belief.verdict import FIRM, Memory, Speakers, Verdict
from inference.engine.verdicts import FindingResult, Leaning, Side, Vote
from kb.model import Knowledge

GROUP = ("coolant_disagrees_cold", "coolant_sensor_code")  # the first tells more, so it has the higher rank


def _speaks(knowledge: Knowledge, **findings: FindingResult) -> Verdict:
    verdict = Speakers(knowledge, [findings], Memory()).of_group(0, GROUP)
    assert verdict is not None
    return verdict


def _seen(trust: float, state: Side = "holds") -> FindingResult:
    return FindingResult(state, (Vote("a-rule", 0, state, trust, 1.0, 0.0),))


def _leant_to(trust: float, chance: float) -> FindingResult:
    return FindingResult("unknown", (), (Leaning("another-rule", 0, "holds", trust, chance),))


def test_the_group_is_one_of_the_knowledge(knowledge: Knowledge) -> None:
    high, low = (knowledge.findings[name] for name in GROUP)
    assert high.group == low.group == "coolant_sensor"
    assert high.rank > low.rank


def test_the_more_telling_of_two_plainly_seen_speaks(knowledge: Knowledge) -> None:
    assert _speaks(knowledge, coolant_disagrees_cold=_seen(0.95), coolant_sensor_code=_seen(0.95)).finding == GROUP[0]


def test_what_is_plainly_seen_is_not_silenced_by_what_is_leant_to(knowledge: Knowledge) -> None:
    leant = _leant_to(0.95, 0.9)
    alone = _speaks(knowledge, coolant_disagrees_cold=leant)
    assert alone.holds
    assert alone.trust >= FIRM
    assert _speaks(knowledge, coolant_disagrees_cold=leant, coolant_sensor_code=_seen(0.95)).finding == GROUP[1]


def test_a_weak_sign_that_was_seen_does_not_silence_a_firm_leaning(knowledge: Knowledge) -> None:
    weak, firm = _seen(0.25), _leant_to(0.95, 0.9)
    assert _speaks(knowledge, coolant_sensor_code=weak).trust < FIRM
    assert _speaks(knowledge, coolant_disagrees_cold=firm, coolant_sensor_code=weak).finding == GROUP[0]


@pytest.mark.parametrize(
    ("first", "second", "counts"),
    [
        (_seen(0.7), _seen(0.95, "fails"), 1),  # told, then recorded otherwise
        (_seen(0.95), _seen(0.6, "fails"), 0),
        (_seen(0.7), _seen(0.95), 1),  # the same, seen more surely
        (_seen(0.95), _seen(0.95), 0),  # the same again is no second witness
    ],
)
def test_of_two_looks_at_what_speaks_of_one_cause_the_surer_counts(
    knowledge: Knowledge, first: FindingResult, second: FindingResult, counts: int
) -> None:
    rounds = [{"update_outstanding": first}, {"update_outstanding": second}]
    (private,) = gather(knowledge, rounds, {}, None, None).private
    assert (private.cause, private.verdict.round) == ("calibration_outdated", counts)


def test_after_the_repair_the_same_look_counts_anew(knowledge: Knowledge) -> None:
    rounds = [{"update_outstanding": _seen(0.95)}, {"update_outstanding": _seen(0.7, "fails")}]
    private = gather(knowledge, rounds, {"calibration_outdated": 1}, None, None).private
    assert [(p.verdict.round, p.state_only) for p in private] == [(0, False), (1, True)]
