"""A run of the rules: states, votes, conflicts, cautions, leanings, what fired and why, and one rule by itself."""

from __future__ import annotations

import logging
import random
import re
import subprocess
import sys

import pytest
from scipy.stats import norm

from inference.engine.look import explain_rule, fires
from inference.engine.program import SERVES, Program, RuleError, compile_rules
from inference.engine.run import run
from inference.values import Number, Spread, Value, Word
from tests.inference.rulebases import findings, random_base, random_facts, rule, unit_of

YES, NO = Word("yes"), Word("no")
COLD = [
    rule(
        "never-warm",
        {
            "all": [{"reading": "temperature.road", "below": "75 °C"}],
            "unless": [{"reading": "temperature.ambient", "below": "-10 °C"}],
        },
        {"finding": "runs_cold", "trust": "nearly always"},
    ),
    rule("gets-warm", {"all": [{"reading": "temperature.road", "at_least": "80 °C"}]},
         {"finding": "runs_cold", "state": "fails"}),
    rule("code-cold", {"all": [{"code": "P0128", "is": "present"}]}, {"finding": "runs_cold", "trust": "often"}),
    rule(
        "blocked",
        {
            "any": [{"reading": "d1", "above": "2"}, {"answer": "power_loss", "is": "yes"}],
            "none": [{"answer": "hoses_sound", "is": "no"}],
        },
        {"finding": "restricted", "trust": 0.8},
    ),
    rule("not-blocked", {"all": [{"reading": "d1", "below": "1.5"}]}, {"finding": "restricted", "state": "fails"}),
    rule("explained", {"all": [{"finding": "restricted", "is": "holds"}, {"finding": "runs_cold", "is": "holds"}]},
         {"finding": "soot_from_cold"}),
    rule("open", {"all": [{"finding": "restricted", "is": "holds"}, {"finding": "runs_cold", "is": "unknown"}]},
         {"finding": "look_at_heat"}),
    rule("burn-danger", {"all": [{"cause": "wrong_oil", "at_least": "likely"}],
                         "any": [{"finding": "restricted", "is": "holds"}, {"answer": "power_loss", "is": "yes"}]},
         {"caution": "ash-does-not-burn"}),
]  # fmt: skip
NAMES = ("runs_cold", "restricted", "soot_from_cold", "look_at_heat", "never_set")


@pytest.fixture(scope="module")
def program() -> Program:
    return compile_rules(COLD, findings(*NAMES), unit_of)


def states(program: Program, facts: dict[str, Value]) -> dict[str, str]:
    return {finding: result.state for finding, result in run(program, facts, "find").findings.items()}


def test_without_facts_all_is_unknown(program: Program) -> None:
    assert states(program, {}) == dict.fromkeys(sorted(NAMES), "unknown")
    assert run(program, {}, "find").fired == []


def test_a_finding_is_final_before_it_is_read(program: Program) -> None:
    cold: dict[str, Value] = {"temperature.road": Number(68), "power_loss": YES, "hoses_sound": YES}
    assert states(program, cold) == {
        "look_at_heat": "unknown",
        "never_set": "unknown",
        "restricted": "holds",
        "runs_cold": "holds",
        "soot_from_cold": "holds",
    }
    # without the road reading "unknown" is known, and only then does the rule that asks for it fire
    del cold["temperature.road"]
    assert states(program, cold)["look_at_heat"] == "holds"


def test_none_wants_known_and_unless_only_stops_on_known(program: Program) -> None:
    assert states(program, {"power_loss": YES})["restricted"] == "unknown"
    assert states(program, {"power_loss": YES, "hoses_sound": Word("unknown")})["restricted"] == "unknown"
    assert states(program, {"power_loss": YES, "hoses_sound": YES})["restricted"] == "holds"
    road: dict[str, Value] = {"temperature.road": Number(68)}
    assert states(program, road)["runs_cold"] == "holds"
    assert states(program, {**road, "temperature.ambient": Number(5)})["runs_cold"] == "holds"
    assert states(program, {**road, "temperature.ambient": Number(-18)})["runs_cold"] == "unknown"


def test_votes_both_ways_are_a_conflict_with_both_votes_kept(program: Program) -> None:
    facts: dict[str, Value] = {
        "temperature.road": Number(88),
        "P0128": Word("present"),
        "power_loss": YES,
        "hoses_sound": YES,
    }
    verdicts = run(program, facts, "find")
    result = verdicts.findings["runs_cold"]
    assert result.state == "conflict"
    assert [(v.rule, v.state, v.trust) for v in result.votes] == [
        ("code-cold", "holds", 0.7),
        ("gets-warm", "fails", None),
    ]
    assert verdicts.findings["soot_from_cold"].state == "unknown"
    assert verdicts.findings["look_at_heat"].state == "holds", "a conflict is read as unknown"


def test_every_way_that_fires_is_kept(program: Program) -> None:
    facts: dict[str, Value] = {"d1": Spread(2.5, 3, 4), "power_loss": YES, "hoses_sound": YES}
    verdicts = run(program, facts, "find")
    votes = verdicts.findings["restricted"].votes
    assert [(v.rule, v.way) for v in votes] == [("blocked", 0), ("blocked", 1)]
    above = float(norm.sf(2, 3, (3 - 2.5) / norm.ppf(0.9)))  # outside: scipy; the lower half of the spread
    assert votes[0].chance == pytest.approx(above, abs=1e-9)
    assert votes[1].chance == 1.0
    first = next(f for f in verdicts.fired if f.rule == "blocked")
    assert first.facts == (("d1", Spread(2.5, 3, 4)), ("hoses_sound", YES))
    assert [(m.part, m.text, m.limit, m.outcome) for m in first.conditions] == [
        ("any", "d1 above 2", "2", True),
        ("none", "hoses_sound is no", "no", False),
    ]
    assert (first.concludes, first.verdict, first.level) == ("restricted", "holds", 0)


@pytest.mark.parametrize("seed", range(6))
def test_what_fired_can_be_replayed_from_the_facts_it_cites(seed: int) -> None:
    """Each activation cites what its conditions read, and the cited facts alone make the rule fire again."""
    rng = random.Random(seed)
    base = random_base(rng, 100)
    program = base.compile()
    facts = random_facts(rng, base)
    verdicts = run(program, facts, "find")
    assert verdicts.fired
    for fired in verdicts.fired:
        for met in fired.conditions:
            assert met.outcome in SERVES[met.part]
            if met.part in ("all", "any"):
                assert met.value is not None
            if met.slot in verdicts.findings:
                assert met.value == Word(verdicts.findings[met.slot].state)
            else:
                assert met.value == facts.get(met.slot)
        cited = {slot: value for slot, value in fired.facts if value is not None}
        assert fires(program, fired.rule, cited)
    spoke = {fired.rule for fired in verdicts.fired}
    everything = {**facts, **verdicts.as_facts()}
    for result in verdicts.findings.values():
        for leaning in result.leanings:
            view = explain_rule(program, leaning.rule, everything)
            assert leaning.rule not in spoke
            assert not view.fires
            assert view.chance == leaning.chance
    for r in program.find.rules:
        assert fires(program, r, everything) == (r in spoke)


def test_a_spread_astride_the_limit_leans_and_does_not_settle(program: Program) -> None:
    facts: dict[str, Value] = {"d1": Spread(1.7, 2.2, 3.0), "hoses_sound": YES}
    verdicts = run(program, facts, "find")
    result = verdicts.findings["restricted"]
    assert (result.state, result.votes) == ("unknown", ())
    (leaning,) = result.leanings
    assert (leaning.rule, leaning.state, leaning.trust) == ("blocked", "holds", 0.8)
    assert leaning.chance == pytest.approx(float(norm.sf(2, 2.2, 0.5 / norm.ppf(0.9))), abs=1e-9)
    assert run(program, {"d1": facts["d1"]}, "find").findings["restricted"].leanings == (), "hoses not known"
    both = run(program, {**facts, "power_loss": YES}, "find").findings["restricted"]
    assert both.state == "holds"
    assert both.leanings == (), "a rule that fired does not lean as well"


def test_decide_reads_findings_and_levels(program: Program) -> None:
    facts: dict[str, Value] = {"power_loss": YES, "hoses_sound": YES}
    facts |= run(program, facts, "find").as_facts()
    verdicts = run(program, facts, "decide", {"wrong_oil": "likely"})
    assert verdicts.cautions == {"ash-does-not-burn": ["burn-danger"]}
    assert [(f.way, f.verdict) for f in verdicts.fired] == [(0, "show"), (1, "show")]
    assert run(program, facts, "decide", {"wrong_oil": "possible"}).cautions == {}
    assert run(program, facts, "decide").cautions == {}


def test_a_finding_given_as_a_fact_counts_as_one_more_vote(program: Program) -> None:
    given = run(program, {"runs_cold": Word("holds"), "restricted": Word("holds")}, "find")
    assert given.findings["soot_from_cold"].state == "holds"
    assert given.findings["runs_cold"].given == "holds"
    against: dict[str, Value] = {"runs_cold": Word("holds"), "temperature.road": Number(90)}
    assert run(program, against, "find").findings["runs_cold"].state == "conflict"
    with pytest.raises(RuleError, match="holds, fails, unknown or conflict"):
        run(program, {"runs_cold": Word("maybe")}, "find")


@pytest.mark.parametrize("matcher", ["counting", "rete"])
def test_an_unreadable_value_names_rule_condition_fact_and_value(program: Program, matcher: str) -> None:
    with pytest.raises(RuleError) as told:
        run(program, {"d1": Word("high")}, "find", matcher=matcher)  # type: ignore[arg-type]
    assert re.fullmatch(
        r"rule (blocked: the condition 'd1 above 2'|not-blocked: the condition 'd1 below 1.5') cannot be tested "
        r"on the fact d1 = Word\(text='high'\): a number is wanted here, not the word 'high'",
        str(told.value),
    )


def test_one_rule_by_itself(program: Program) -> None:
    assert fires(program, "explained", {"restricted": Word("holds"), "runs_cold": Word("holds")})
    assert not fires(program, "explained", {"restricted": Word("holds"), "runs_cold": Word("conflict")})
    assert fires(program, "never-warm", {"temperature.road": Number(74.9)})
    assert not fires(program, "never-warm", {"temperature.road": Number(75)})
    assert fires(program, "burn-danger", {"wrong_oil": Word("proven"), "power_loss": YES})
    with pytest.raises(KeyError, match="did you mean 'blocked'"):
        fires(program, "blokced", {})


def test_explain_rule_says_what_is_met_and_by_how_much(program: Program) -> None:
    view = explain_rule(program, "never-warm", {"temperature.road": Number(78)})
    assert not view.fires
    first, second = view.conditions
    assert (first.state, first.serves, first.limit, first.unit) == ("not met", False, "75 °C", "°C")
    assert first.margin == pytest.approx(-3.0)
    assert (second.part, second.state, second.serves, second.margin) == ("unless", "unknown", True, None)
    assert view.chance is None
    doubt = explain_rule(program, "blocked", {"d1": Spread(1.7, 2.2, 3.0), "hoses_sound": YES})
    assert [c.state for c in doubt.conditions] == ["unknown", "unknown", "not met"]
    assert doubt.chance == pytest.approx(float(norm.sf(2, 2.2, 0.5 / norm.ppf(0.9))), abs=1e-9)


def test_importing_experta_leaves_no_trace() -> None:
    """experta calls logging.basicConfig() and needs collections.Mapping; neither may stay behind."""
    script = (
        "import collections, logging, sys\n"
        "import inference.engine.run\n"
        "assert 'experta' not in sys.modules, 'imported before it is needed'\n"
        "from inference.engine import adapter\n"
        "assert logging.getLogger().handlers == [] and not hasattr(collections, 'Mapping')\n"
        "assert issubclass(adapter._CountingEngine, adapter.experta.KnowledgeEngine)\n"
    )
    subprocess.run([sys.executable, "-c", script], check=True)
    assert logging.getLogger("experta").handlers == []
