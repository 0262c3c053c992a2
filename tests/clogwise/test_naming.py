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
