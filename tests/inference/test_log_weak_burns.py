"""Late-injection burns that never get hot are found; a motorway, a hill, a stop or a cold engine is taken for none."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bench.drive import Wish
from inference.log.drive import on_grid
from inference.log.episodes import Burn, find_burns
from inference.log.fit import gas_flow
from inference.log.summary import summarise
from inference.read_case import parse_case
from kb.model import Knowledge
from tests.inference.log_drives import recorded

CATALYST = "exhaust_temperature_before_catalyst"
BURN = {"burns": ((30.0, 15.0),)}


def burns(without: str = "", add: float = 0.0, **wish: Any) -> list[Burn]:
    """The burns found; ``without`` a channel, ``add`` kelvins put on the sensor before the filter."""
    log = recorded(Wish(**wish))
    channels = {k: v for k, v in log.channels.items() if k != without}
    channels["exhaust_temperature_before_filter"] = channels["exhaust_temperature_before_filter"] + np.float32(add)
    drive = on_grid(replace(log, channels=channels))
    return find_burns(drive, gas_flow(drive)[0])


@pytest.mark.parametrize(
    ("lift", "without"),
    [(60.0, ""), (80.0, ""), (110.0, ""), (80.0, CATALYST), (110.0, CATALYST)],
)
def test_a_burn_that_stays_cool_is_found(lift: float, without: str) -> None:
    (burn,) = burns(without, burn_lift=lift, **BURN)
    assert burn.before_filter < 480.0
    assert burn.begin / 60.0 == pytest.approx(30.0, abs=1.5)
    assert burn.minutes == pytest.approx(15.0, abs=2.0)
    assert burn.ended == "by itself"
    assert burn.hot_minutes == 0.0


@pytest.mark.parametrize("without", ["", CATALYST])
def test_it_is_found_on_the_motorway_too(without: str) -> None:
    (burn,) = burns(without, burn_lift=80.0, burns=((50.0, 15.0),), minutes=90.0, motorway=((25.0, 60.0),))
    assert burn.begin / 60.0 == pytest.approx(51.0, abs=1.5)


@pytest.mark.parametrize("without", ["", CATALYST])
@pytest.mark.parametrize("seed", [1, 2, 3])
@pytest.mark.parametrize(
    "wish",
    [
        {},
        {"motorway": ((20.0, 30.0),)},
        {"motorway": ((1.0, 59.0),)},
        {"motorway": ((15.0, 6.0), (35.0, 7.0))},
        {"climbs": ((25.0, 8.0),)},
        {"motorway": ((30.0, 30.0),), "climbs": ((40.0, 6.0),)},
        {"minutes": 200.0, "motorway": ((20.0, 30.0), (100.0, 60.0)), "climbs": ((70.0, 5.0), (110.0, 10.0))},
        {"stops": ((20.0, 6.0), (40.0, 8.0))},
        {"fast_idle": ((30.0, 5.0),)},
        {"coolant": 66.0},
        {"step": 3.0, "motorway": ((20.0, 30.0),)},
        {"off": ((25.0, 4.0), (45.0, 3.0))},
        {"ambient": -15.0, "motorway": ((30.0, 25.0),)},
        {"unrecorded": ((30.0, 3.0),), "motorway": ((28.0, 20.0),)},
    ],
)
def test_none_is_invented(without: str, seed: int, wish: dict[str, Any]) -> None:
    assert burns(without, seed=seed, **wish) == []


@pytest.mark.parametrize("add", [-60.0, 60.0, 100.0])
def test_a_sensor_that_reads_off_all_through_is_no_burn(add: float) -> None:
    """It reads so outside as well, so it is no heat of the moment."""
    assert burns(add=add) == []
    assert burns(CATALYST, add=add) == []


def test_the_hot_one_beside_it_is_found_once() -> None:
    found = burns(burns=((15.0, 12.0), (40.0, 12.0)))
    assert len(found) == 2
    assert all(b.before_filter == pytest.approx(600.0, abs=4.0) for b in found)


def test_where_nothing_outside_compares_nothing_is_said() -> None:
    """The same speed and load come in the burn alone: without a sensor before the catalyst that proves nothing."""
    wish = {"burns": ((30.0, 20.0),), "burn_lift": 70.0, "motorway": ((30.0, 20.0),)}
    assert burns(CATALYST, **wish) == []
    assert len(burns(**wish)) == 1


def test_it_is_told_as_never_hot_enough(knowledge: Knowledge) -> None:
    case = b"case: a\nvehicle: {engine_litres: 2.0}\nfilter: {type: coated, substrate: silicon carbide}\n" \
        b"layout: differential_pressure_three_temperatures\nrounds: [{when: arrival}]\n"  # fmt: skip
    summary = summarise(recorded(Wish(burn_lift=80.0, **BURN)), parse_case(case, "a", knowledge), knowledge)
    assert [h.verdict.mode for h in summary.held] == ["never hot enough"]
    found = {t.slot: t.value for t in summary.readings}
    assert found["exhaust_temperature_before_filter.burn"] < 480
    assert found["burn_duration"] == pytest.approx(15.0, abs=2.0)
