"""Burns in recordings: found where they were put, judged by how they went."""

from __future__ import annotations

import numpy as np
import pytest

from bench.drive import Wish, make
from inference.log.episodes import Burn, find_burns
from inference.log.fit import gas_flow
from tests.inference.log_drives import gridded


def burns(**wish: object) -> list[Burn]:
    drive = gridded(Wish(**wish))  # type: ignore[arg-type]
    return find_burns(drive, gas_flow(drive)[0])


def test_no_burn_in_a_drive_without_one() -> None:
    assert burns() == []
    assert burns(coolant=70.0, soot=9.0, stops=((10.0, 4.0),), fast_idle=((20.0, 3.0),)) == []


@pytest.mark.parametrize(("start", "length"), [(15.0, 8.0), (30.0, 15.0), (22.0, 25.0)])
def test_a_burn_is_found_where_it_was_put(start: float, length: float) -> None:
    (burn,) = burns(burns=((start, length),))
    assert burn.begin / 60.0 == pytest.approx(start, abs=0.5)
    assert burn.minutes == pytest.approx(length, abs=0.6)
    assert burn.before_filter == pytest.approx(600.0, abs=3.0)
    assert burn.ended == "by itself"
    assert not burn.cut_at_start


def test_the_share_of_resistance_left_is_the_true_one() -> None:
    wish = Wish(burns=((30.0, 15.0),), soot=6.0, soot_left=0.3)
    (burn,) = burns(burns=wish.burns, soot=6.0, soot_left=0.3)
    drive = make(wish)
    from bench.drive import pressure

    air, hot = drive.columns["Mass Air Flow (g/s)"], drive.columns["Exhaust Temperature Before Particulate Filter (°C)"]
    rows = drive.columns["Engine RPM (rpm)"] > 1500
    before, after = (pressure(air[rows], hot[rows], s) for s in (6.0, 6.0 * 0.3))
    assert burn.left is not None
    assert burn.left[1] == pytest.approx(float(np.median(after) / np.median(before)), rel=0.05)
    assert burn.left[0] < burn.left[1] < burn.left[2]


@pytest.mark.parametrize(
    ("wish", "ended"),
    [
        ({"burns": ((30.0, 15.0),), "burn_temperature": 440.0}, "by itself"),
        ({"burns": ((30.0, 15.0),), "off": ((36.0, 30.0),)}, "engine switched off"),
        ({"burns": ((30.0, 5.0),), "stops": ((32.0, 20.0),)}, "standing at idle"),
        ({"burns": ((52.0, 15.0),)}, "recording ended"),
    ],
)
def test_how_it_ended_is_named(wish: dict[str, object], ended: str) -> None:
    (burn,) = burns(**wish)
    assert burn.ended == ended


def test_two_burns_are_two() -> None:
    first, second = burns(burns=((15.0, 12.0), (40.0, 12.0)))
    assert first.begin < second.begin
    assert (first.ended, second.ended) == ("by itself", "by itself")


def test_a_recording_that_begins_in_a_burn_says_so() -> None:
    from dataclasses import replace

    from inference.log.drive import on_grid
    from tests.inference.log_drives import recorded

    log = recorded(Wish(burns=((10.0, 15.0),)))
    late = log.time >= 15 * 60.0
    cut = replace(log, time=log.time[late], segment=log.segment[late],
                  channels={k: v[late] for k, v in log.channels.items()})  # fmt: skip
    drive = on_grid(cut)
    (burn,) = find_burns(drive, gas_flow(drive)[0])
    assert burn.cut_at_start


def test_hard_driving_is_no_burn() -> None:
    """Hot before the catalyst as well: the engine made the heat."""
    from dataclasses import replace

    from inference.log.drive import on_grid
    from tests.inference.log_drives import recorded

    log = recorded(Wish())
    hot = {k: v.copy() for k, v in log.channels.items()}
    for place in ("before_catalyst", "before_filter", "after_filter"):
        hot[f"exhaust_temperature_{place}"][1800:2400] = 530.0
    drive = on_grid(replace(log, channels=hot))
    assert find_burns(drive, gas_flow(drive)[0]) == []


def test_what_the_control_unit_tells_goes_before_temperatures() -> None:
    from dataclasses import replace

    from inference.log.drive import on_grid
    from tests.inference.log_drives import recorded

    log = recorded(Wish(burns=((30.0, 15.0),)))
    told = np.zeros(log.rows, dtype=np.float32)
    told[1800:2700] = 1.0
    drive = on_grid(replace(log, channels={**log.channels, "burn_active": told}))
    (burn,) = find_burns(drive, gas_flow(drive)[0])
    assert (burn.first, burn.last) == (1800, 2700)
