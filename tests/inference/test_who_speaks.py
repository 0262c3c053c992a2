"""Which verdict speaks for a group of findings that come from one instrument or one underlying state."""

from __future__ import annotations

from inference.belief.verdict import FIRM, Memory, Speakers, Verdict
from inference.engine.verdicts import FindingResult, Leaning, Vote
from kb.model import Knowledge

GROUP = ("coolant_disagrees_cold", "coolant_sensor_code")  # the first tells more, so it has the higher rank


def _speaks(knowledge: Knowledge, **findings: FindingResult) -> Verdict:
    speakers = Speakers(knowledge, [findings], Memory())
    (verdict,) = speakers.of_round(0, [GROUP])
    return verdict


def _seen(trust: float) -> FindingResult:
    return FindingResult("holds", (Vote("a-rule", 0, "holds", trust, 1.0, 0.0),))


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
