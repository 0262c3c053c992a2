"""The oxygen an exhaust holds on overrun, against published compositions of dry and of wet air.

Dry air: 20.946 % oxygen by volume (IUPAC, iupac-pure-air, read in excerpt). Air saturated with water at 100 °F: 19.60 %
oxygen with 6.46 % water, 20.95 % dry (AIChE, ccps-air-table, read in excerpt).
"""

from __future__ import annotations

import pytest

from kb.model import Knowledge
from kb.units import number

DRY = 20.946  # %, IUPAC
WET, WATER = 19.60, 6.46  # %, at 100 °F saturated, AIChE


def limits(knowledge: Knowledge, rule: str) -> list[tuple[float, float]]:
    """Return where the rule speaks [%], one span for each of its conditions on the reading."""
    when = knowledge.rules[rule].when
    out = []
    for test in (*when.all, *when.any):
        assert test.reading == "oxygen_on_overrun"
        low, high = test.between or (test.above or "0 %", test.below or "100 %")
        out.append((number(low, "%"), number(high, "%")))
    return out


def test_the_two_tables_agree_by_dilution() -> None:
    """Water vapour takes the place of a share of the dry air and of its oxygen alike."""
    diluted = DRY * (1 - WATER / 100)
    assert diluted == pytest.approx(WET, abs=0.01)


@pytest.mark.parametrize("oxygen", [DRY, WET])
def test_a_sensor_that_tells_the_truth_in_any_air_is_called_right(knowledge: Knowledge, oxygen: float) -> None:
    error = knowledge.readings["oxygen_on_overrun"].error_at(oxygen)
    (span,) = limits(knowledge, "oxygen-on-overrun-is-that-of-air")
    assert span[0] < oxygen - error
    assert oxygen + error < span[1]


@pytest.mark.parametrize("oxygen", [DRY, WET])
def test_a_sensor_a_twentieth_off_in_any_air_is_not_called_wrong(knowledge: Knowledge, oxygen: float) -> None:
    error = 2 * knowledge.readings["oxygen_on_overrun"].error_at(oxygen)
    for told in (0.95 * oxygen - error, 1.05 * oxygen + error):
        assert not any(a < told < b for a, b in limits(knowledge, "oxygen-on-overrun-is-not-that-of-air"))
