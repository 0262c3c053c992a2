"""A gap within a burn: one burn where the engine ran on, and nothing made up for what was not recorded."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from bench.drive import Wish
from inference.burn.judge import BurnSeen, judge
from inference.log.drive import on_grid
from inference.log.episodes import Burn, find_burns
from inference.log.fit import gas_flow
from inference.log.summary import Summary, summarise
from inference.read_case import parse_case
from inference.values import Spread
from kb.model import Knowledge
from tests.inference.log_drives import gridded, recorded

CASE = b"""case: made-up
vehicle: {engine_litres: 2.0}
filter: {type: coated, substrate: silicon carbide}
layout: differential_pressure_three_temperatures
rounds: [{when: arrival}]
"""
BURN = ((30.0, 14.0),)


def burns(**wish: Any) -> list[Burn]:
    drive = gridded(Wish(**wish))
    return find_burns(drive, gas_flow(drive)[0])


def summed(knowledge: Knowledge, **wish: Any) -> Summary:
    return summarise(recorded(Wish(soot=5.0, **wish)), parse_case(CASE, "case", knowledge), knowledge)


@pytest.mark.parametrize(
    "gaps",
    [
        ((35.0, 3.0),),
        ((30.5, 3.0),),  # just lit
        ((40.0, 3.8),),  # seconds before its end
        ((32.0, 11.0),),  # the greater part of it
        ((33.0, 2.0), (38.0, 3.0)),
    ],
)
def test_a_gap_through_which_the_engine_ran_parts_no_burn(gaps: tuple[tuple[float, float], ...]) -> None:
    (burn,) = burns(burns=BURN, unrecorded=gaps, run_time=True)
    (whole,) = burns(burns=BURN)
    assert len(burn.gaps) == len(gaps)
    assert burn.gap_minutes == pytest.approx(sum(g[1] for g in gaps), abs=0.05)
    assert burn.elapsed == pytest.approx(whole.minutes, abs=0.6)
    assert burn.begin == pytest.approx(whole.begin, abs=30.0)
    assert (burn.ended, burn.whole) == ("by itself", True)


def test_the_coolant_alone_may_tell_that_it_ran_on_and_a_weak_burn_is_one_too() -> None:
    (burn,) = burns(burns=BURN, unrecorded=((35.0, 3.0),))
    assert burn.gap_minutes == pytest.approx(3.0, abs=0.05)
    weak = {"burns": ((30.0, 20.0),), "burn_lift": 90.0, "minutes": 80.0}
    (whole,) = burns(**weak)
    (parted,) = burns(**weak, unrecorded=((38.0, 3.0),), run_time=True)
    assert parted.gap_minutes == pytest.approx(3.0, abs=0.05)
    assert parted.elapsed == pytest.approx(whole.elapsed, abs=1.0)


def test_what_the_control_unit_tells_is_one_burn_over_a_gap() -> None:
    log = recorded(Wish(burns=BURN, unrecorded=((35.0, 3.0),), run_time=True))
    told = ((log.time >= 1800.0) & (log.time < 2640.0)).astype(np.float32)
    drive = on_grid(replace(log, channels={**log.channels, "burn_active": told}))
    (burn,) = find_burns(drive, gas_flow(drive)[0])
    assert burn.elapsed == pytest.approx(14.0, abs=0.1)


@pytest.mark.parametrize(
    "wish",
    [
        {"unrecorded": ((35.0, 3.0),), "off": ((35.5, 2.0),), "run_time": True},  # stopped and started in it
        {"unrecorded": ((35.0, 6.0),)},  # too long for the coolant alone to speak
        {"burns": ((30.0, 30.0),), "unrecorded": ((34.0, 20.0),), "run_time": True, "minutes": 80.0},  # too long
    ],
)
def test_where_it_stood_or_may_have_stood_or_the_gap_is_long_two_are_told(wish: dict[str, Any]) -> None:
    first, second = burns(**{"burns": BURN, **wish})
    assert (first.ended, second.cut_at_start) == ("recording ended", True)
    assert not first.gaps
    assert not second.gaps


def test_a_clock_that_began_anew_joins_nothing() -> None:
    log = recorded(Wish(burns=BURN, unrecorded=((35.0, 3.0),), run_time=True))
    drive = on_grid(replace(log, restarted=frozenset({1})))
    assert len(find_burns(drive, gas_flow(drive)[0])) == 2


def test_two_burns_that_were_over_before_the_gap_stay_two() -> None:
    first, second = burns(burns=((15.0, 12.0), (40.0, 12.0)), unrecorded=((32.0, 5.0),), run_time=True)
    assert not first.gaps
    assert not second.gaps


def test_nothing_is_reckoned_as_burnt_in_the_gap(knowledge: Knowledge) -> None:
    gap = summed(knowledge, burns=BURN, unrecorded=((33.0, 8.0),), run_time=True)
    whole = summed(knowledge, burns=BURN)
    (held,), (burn,) = gap.held, gap.burns
    assert held.came is not None
    before, after = (float(gap.drive.time[r]) - burn.begin for r in (burn.gaps[0], burn.gaps[0] + 1))
    at = [held.came.burnt(s).mid for s in (before - 6.0, before, after, after + 6.0)]
    steady = at[1] - at[0] + at[3] - at[2]
    assert at[2] - at[1] <= 2.0 * steady, "from the one side of the gap to the other no more than some seconds' worth"
    assert held.burnt is not None
    assert whole.held[0].burnt is not None
    assert held.burnt.mid < whole.held[0].burnt.mid
    assert held.came.burnt(burn.elapsed * 60.0) == held.burnt


def test_a_burn_with_little_of_it_recorded_is_neither_blamed_nor_praised_for_the_rest(knowledge: Knowledge) -> None:
    wish: dict[str, Any] = {"burns": ((30.0, 12.0),), "unrecorded": ((31.0, 10.4),), "run_time": True}
    (held,) = summed(knowledge, **wish, soot_left=0.9).held
    assert held.verdict.mode == "cannot tell"
    reason = held.verdict.reasons[0]
    assert reason.kind == "unseen_between"
    assert dict(reason.values)["unseen"] == pytest.approx(10.4, abs=0.1)
    (good,) = summed(knowledge, **wish, soot_left=0.1).held  # the pressure tells that the soot went
    assert good.verdict.mode == "as it should"
    assert [r.kind for r in good.verdict.reasons] == ["soot_gone", "heat_unseen"]


def test_cool_in_what_was_seen_says_nothing_of_a_longer_gap() -> None:
    seen = BurnSeen(needed=Spread(512.0, 550.0, 587.0), before=420.0, minutes=9.0, should=Spread(0.0, 0.05, 0.1),
                    could=Spread(0.8, 0.9, 0.95), unseen=3.0)  # fmt: skip
    assert judge(seen).mode == "never hot enough"
    assert judge(replace(seen, unseen=12.0)).mode == "cannot tell"


def test_what_the_gap_may_have_hidden_is_no_reading(knowledge: Knowledge) -> None:
    def slots(**wish: Any) -> set[str]:
        return {t.slot for t in summed(knowledge, burns=BURN, **wish).readings}

    hidden = {"burn_duration", "exhaust_temperature_after_filter.burn"}
    gap: dict[str, Any] = {"unrecorded": ((35.0, 3.0),), "run_time": True}
    assert hidden <= slots()
    assert not hidden & slots(**gap)
    assert "exhaust_temperature_before_filter.burn" in slots(**gap)
    assert "exhaust_temperature_after_filter.burn" in slots(**gap, burn_temperature=760.0), "too hot is known for sure"
    (short,) = burns(burns=BURN, unrecorded=((35.0, 0.7),))
    assert short.elapsed == pytest.approx(14.0, abs=0.6)
    assert hidden <= slots(unrecorded=((35.0, 0.7),)), "some seconds change nothing"
    kinds = {n.kind for n in summed(knowledge, burns=BURN, **gap).notes}
    assert "burn_has_gap" in kinds
