"""Gaps in a recording: a trip goes on through one where the engine evidently ran on, and through no other."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bench.drive import Wish, make
from inference.log.drive import Drive, on_grid
from tests.inference.log_drives import gridded, recorded

GAP = ((30.0, 3.0),)


def trips(**wish: Any) -> list[float]:
    return [t.minutes for t in gridded(Wish(**wish)).trips()]


def without(channel: str, **wish: Any) -> Drive:
    log = recorded(Wish(**wish))
    return on_grid(replace(log, channels={k: v for k, v in log.channels.items() if k != channel}))


@pytest.mark.parametrize(
    "wish",
    [
        {"unrecorded": ((30.0, 0.3),)},
        {"unrecorded": GAP},  # the coolant as warm as before
        {"unrecorded": GAP, "run_time": True},
        {"unrecorded": ((30.0, 20.0),), "run_time": True},  # long, but the run time went on
        {"unrecorded": ((3.0, 3.0),), "run_time": True},  # before it was warm
        {"unrecorded": ((20.0, 2.0), (40.0, 4.0))},
    ],
)
def test_a_gap_through_which_the_engine_ran_on_parts_no_trip(wish: dict[str, Any]) -> None:
    (whole,) = trips()
    (minutes,) = trips(**wish)
    assert minutes == pytest.approx(whole, abs=0.1)


@pytest.mark.parametrize(
    "wish",
    [
        # stopped behind the gap's beginning and started before its end
        {"unrecorded": ((30.0, 90.0),), "off": ((30.5, 89.0),), "cooling": 60.0, "minutes": 150.0},
        {"unrecorded": ((30.0, 4.5),), "off": ((30.1, 4.2),), "cooling": 30.0},  # cooled, as in hard frost
        {"unrecorded": ((30.0, 3.0),), "off": ((30.2, 2.5),), "run_time": True},  # as warm, but counted anew
        {"unrecorded": ((30.0, 20.0),)},  # too long for the coolant alone to speak
        {"unrecorded": ((3.0, 3.0),)},  # not warm yet: nothing says that it ran on
    ],
)
def test_a_gap_in_which_it_stood_or_may_have_stood_parts_two(wish: dict[str, Any]) -> None:
    assert len(trips(**wish)) == 2


def test_with_neither_coolant_nor_run_time_a_gap_parts_as_before() -> None:
    assert len(without("coolant_temperature", unrecorded=GAP).trips()) == 2


def test_where_the_clock_began_anew_nothing_is_joined() -> None:
    log = recorded(Wish(unrecorded=GAP))
    anew = replace(log, restarted=frozenset({1}))
    assert len(on_grid(log).trips()) == 1
    assert len(on_grid(anew).trips()) == 2


def test_distance_in_the_gap_is_driven_at_the_speeds_beside_it() -> None:
    wish = Wish(unrecorded=GAP)
    (trip,) = gridded(wish).trips()
    speed = make(Wish()).columns["Vehicle Speed (km/h)"]
    assert trip.km == pytest.approx(float(speed.sum()) / 3600.0, rel=0.05)
    assert trip.gap_minutes == pytest.approx(3.0, abs=0.05)
    assert trip.gaps == 1
    assert trip.recorded == pytest.approx(trip.minutes - 3.0, abs=0.05)


def test_what_was_not_recorded_is_neither_idle_nor_hot() -> None:
    """The gap counts for the trip's length, never for a share of anything."""
    whole, gap = gridded(Wish(stops=((40.0, 5.0),))), gridded(Wish(stops=((40.0, 5.0),), unrecorded=GAP))
    assert gap.trips()[0].idle_minutes == pytest.approx(whole.trips()[0].idle_minutes, abs=0.05)
    assert float(gap.seconds.sum()) == pytest.approx(float(whole.seconds.sum()) - 180.0, abs=5.0)
    assert np.isfinite(gap.time).all()
