"""A recorded burn held against what was foretold of it: each way to fail is named, and a good burn names none."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from bench.drive import Wish
from inference.log.held import Held
from inference.log.read import Log
from inference.log.summary import Summary, summarise
from inference.read_case import parse_case
from kb.model import Knowledge
from tests.inference.log_drives import recorded

CASE = b"""case: made-up
vehicle: {engine_litres: 2.0}
filter: {type: coated, substrate: silicon carbide}
layout: differential_pressure_three_temperatures
rounds: [{when: arrival}]
"""


def summed(knowledge: Knowledge, log: Log, case: bytes = CASE) -> Summary:
    return summarise(log, parse_case(case, "case", knowledge), knowledge)


def held(knowledge: Knowledge, **wish: object) -> Held:
    (found,) = summed(knowledge, recorded(Wish(soot=5.0, **wish))).held  # type: ignore[arg-type]
    return found


def kinds(found: Held) -> list[str]:
    return [r.kind for r in found.verdict.reasons]


@pytest.mark.parametrize(
    ("wish", "mode", "reason"),
    [
        ({"burns": ((30.0, 14.0),)}, "as it should", "soot_gone"),
        ({"burns": ((30.0, 14.0),), "burn_temperature": 640.0}, "as it should", "soot_gone"),
        ({"burns": ((30.0, 15.0),), "burn_temperature": 440.0}, "never hot enough", "too_cool"),
        ({"burns": ((30.0, 15.0),), "burn_temperature": 500.0}, "never hot enough", "too_cool_for_share"),
        ({"burns": ((30.0, 15.0),), "soot_left": 1.0}, "hot but soot did not fall", "soot_left"),
        ({"burns": ((20.0, 3.5),), "soot_left": 0.85}, "ended early", "little_burnt"),
        ({"burns": ((30.0, 15.0),), "off": ((36.0, 30.0),)}, "ended early", "broken_off"),
        ({"burns": ((30.0, 5.0),), "stops": ((32.0, 20.0),)}, "ended early", "broken_off"),
        ({"burns": ((30.0, 14.0),), "burn_temperature": 760.0}, "too hot", "too_hot_after"),
        ({"burns": ((52.0, 15.0),)}, "cannot tell", "seen_in_part"),
    ],
)
def test_how_it_went_is_named(knowledge: Knowledge, wish: dict[str, object], mode: str, reason: str) -> None:
    found = held(knowledge, **wish)
    assert found.verdict.mode == mode
    assert kinds(found)[0] == reason


def test_a_filter_that_stays_cold_behind_is_told_against_the_mark(knowledge: Knowledge) -> None:
    """The control unit says it burns; the gas comes at 400 °C, and 450 °C after the filter was due long before."""
    log = recorded(Wish(soot=5.0, burns=((30.0, 15.0),), burn_temperature=400.0))
    told = np.zeros(log.rows, dtype=np.float32)
    told[1800:2700] = 1.0
    (found,) = summed(knowledge, replace(log, channels={**log.channels, "burn_active": told})).held
    assert found.verdict.mode == "never hot enough"
    first = found.verdict.reasons[0]
    assert first.kind == "not_past_mark"
    values = dict(first.values)
    assert values["after"] < 430.0
    assert values["within"] < 15.0


def test_the_recorded_temperature_decides_what_the_gas_can_have_burnt(knowledge: Knowledge) -> None:
    shares = [held(knowledge, burns=((30.0, 14.0),), burn_temperature=t).burnt for t in (440.0, 500.0, 560.0, 620.0)]
    middles = [s.mid for s in shares if s is not None]
    assert len(middles) == 4
    assert middles == sorted(middles)
    assert middles[0] < 0.4 < 0.9 < middles[-1]


def test_what_is_recorded_goes_before_what_is_usual(knowledge: Knowledge) -> None:
    log = recorded(Wish(soot=5.0, burns=((30.0, 14.0),)))
    plain = summed(knowledge, log).held[0]
    assert plain.recorded == ("flow",)
    poor = {**log.channels, "oxygen_content": np.full(log.rows, 1.0, dtype=np.float32)}
    starved = summed(knowledge, replace(log, channels=poor)).held[0]
    assert starved.recorded == ("flow", "oxygen")
    assert plain.burnt is not None
    assert starved.burnt is not None
    assert starved.burnt.mid < plain.burnt.mid
    bare = b"case: made-up\nrounds: [{when: arrival}]\n"  # nothing is known of filter or engine
    unknown = summed(knowledge, log, bare).held[0]
    assert unknown.recorded == ()
    assert unknown.verdict.mode == "as it should"


def test_a_lying_pressure_sensor_has_no_say(knowledge: Knowledge) -> None:
    for wish in ({"sensor_share": 0.0}, {"sensor_sign": -1.0}, {"sensor_lag": 10.0}):
        found = held(knowledge, burns=((30.0, 14.0),), **wish)
        assert found.left is None
        assert found.soot is None
        assert kinds(found) == ["share_burnt"]


def test_a_long_recording_of_many_burns_is_judged_whole(knowledge: Knowledge) -> None:
    burns = tuple((float(at), 12.0) for at in range(20, 320, 30))
    summary = summed(knowledge, recorded(Wish(minutes=330.0, burns=burns, step=2.0)))
    assert len(summary.burns) == len(summary.held) == 10
    assert [h.should is None for h in summary.held] == [True] * 4 + [False] * 6
