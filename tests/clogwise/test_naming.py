"""Names as a technician writes them: by id, by title, by a word or two; never guessed where several fit."""

from __future__ import annotations

import pytest

from clogwise import naming
from kb.faults import Faults
from kb.model import Knowledge


def cause(knowledge: Knowledge, said: str) -> str:
    kinds = [naming.causes(knowledge), naming.findings(knowledge)]
    return naming.meant(said, kinds, "cause or finding", "how", ["gate"])


@pytest.mark.parametrize(
    ("said", "id_"),
    [
        ("thermostat_stuck_open", "thermostat_stuck_open"),
        ("thermostat", "thermostat_stuck_open"),
        ("The thermostat does not shut", "thermostat_stuck_open"),
        ("thermostat does not shut", "thermostat_stuck_open"),
        ("Thermostat stuck-open", "thermostat_stuck_open"),
        ("short trips", "short_trips"),
        ("full of ash", "ash_full"),
        ("gate", "gate"),
        ("engine_runs_cold", "engine_runs_cold"),
    ],
)
def test_plain_words_name_what_they_tell(said: str, id_: str, knowledge: Knowledge) -> None:
    assert cause(knowledge, said) == id_


def test_every_title_names_its_own_cause(knowledge: Knowledge) -> None:
    """What ``why`` prints can be typed back: it shows titles, not ids."""
    for id_, entry in knowledge.causes.items():
        assert cause(knowledge, entry.title) == id_
        assert cause(knowledge, id_.replace("_", " ")) == id_


@pytest.mark.parametrize("said", ["egr", "turbo", "oil"])
def test_words_that_fit_several_are_asked_back(said: str, knowledge: Knowledge) -> None:
    with pytest.raises(Faults, match="may be one of several, name one") as caught:
        cause(knowledge, said)
    offered = [id_ for id_ in knowledge.causes if f"{id_} (" in str(caught.value)]
    assert len(offered) > 1


@pytest.mark.parametrize(
    ("said", "offers"),
    [
        ("thermostat_stuck", "thermostat_stuck_open"),
        ("thermstat", "thermostat_stuck_open"),
        ("oil_burned", "engine_oil_burning"),
    ],
)
def test_a_misspelt_name_is_answered_with_the_nearest(said: str, offers: str, knowledge: Knowledge) -> None:
    with pytest.raises(Faults, match="did you mean") as caught:
        cause(knowledge, said)
    assert offers in str(caught.value)


@pytest.mark.parametrize("said", ["", "  ", "the", "___", "zzz", "\u00e9\u4e2d"])
def test_what_names_nothing_is_a_fault(said: str, knowledge: Knowledge) -> None:
    with pytest.raises(Faults, match="is no cause or finding"):
        cause(knowledge, said)


def test_every_reading_can_be_changed_by_its_title(knowledge: Knowledge) -> None:
    facts = naming.facts(knowledge)
    for slot in ("coolant_temperature.road", "gauge_pressure.fast_idle", "blue_smoke", "oil_level"):
        assert naming.meant(facts[slot], [facts], "reading or question", "what if") == slot


@pytest.mark.parametrize(
    ("said", "id_"),
    [
        ("intercooler", "charge_cooler_fault"),
        ("PCV", "breather_fault"),
        ("alternator", "low_supply_voltage"),
    ],
)
def test_words_of_the_workshop_that_stand_in_no_title_are_understood(said: str, id_: str, knowledge: Knowledge) -> None:
    kinds = [naming.causes(knowledge)]
    assert said not in kinds[0][id_]
    assert naming.meant(said, kinds, "cause", "how") == id_


def test_every_other_word_leads_to_words_of_some_title(knowledge: Knowledge) -> None:
    from explain.namesview import names
    from kb.other_words import other_words

    texts = [f"{n.name} {n.title}" for n in names(knowledge)]
    texts += [f"{id_} {title}" for id_, title in naming.findings(knowledge).items()]
    for other, words in other_words().items():
        assert any(naming.fitting(words, text) for text in texts), other


@pytest.mark.parametrize(
    ("said", "is_"),
    [("Clear to burn", "clear"), ("don't burn", "do not burn"), ("do-not-burn", "do not burn"), ("HOLD", "hold")],
)
def test_a_decision_is_named_as_it_is_printed(said: str, is_: str) -> None:
    assert naming.decision_of(said) == is_
    assert naming.is_decision(said)


def test_a_code_or_a_reading_is_told_from_a_cause(knowledge: Knowledge) -> None:
    code = naming.elsewhere("p0299", knowledge)
    assert "a code (Too little boost)" in code
    assert "'boost_low_code'" in code
    reading = naming.elsewhere("charge temperature", knowledge)
    assert "charge air temperature behind the cooler" in reading
    assert "'charge_hot'" in reading
    assert naming.elsewhere("pressure", knowledge) == ""  # several: what is not told apart is not guessed
