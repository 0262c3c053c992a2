"""The forecast: mass is kept, better is never worse, the past weighs, and what is not known widens."""

from __future__ import annotations

import math
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inference.case import Case
from inference.change import changed, without
from inference.diagnose import diagnose
from inference.forecast.outlook import Forecast, forecast
from inference.forecast.sample import PRIMES, UNKNOWNS, normal, places, present, quantiles
from inference.forecast.simulate import Week, dice, log_left, shares, simulate
from inference.physics.sampling import N
from inference.read_case import read_case
from kb.load import load
from tests.conftest import CASES

KNOWLEDGE = load()
SCHOOL = read_case(Path("cases/school-run.yaml"), KNOWLEDGE)


def told(case: Case) -> Forecast:
    found = forecast(KNOWLEDGE, diagnose(case, KNOWLEDGE))
    assert found is not None
    return found


def a_week(**changes: float) -> Week:
    usual = {
        "distance": 200e3, "gained": 1.2, "passive": -0.1, "active": -1.0, "asks": 4.5, "enough": 1.4, "refuses": 10.0,
        "ash_distance": 1e9,
    }  # fmt: skip
    return Week(**{k: np.full(N, v) for k, v in (usual | changes).items()})


@settings(max_examples=25, deadline=None)
@given(st.floats(0.05, 6.0), st.floats(-2.0, 0.0), st.floats(-20.0, 0.0), st.floats(20e3, 900e3))
def test_carbon_is_kept(gained: float, passive: float, active: float, distance: float) -> None:
    path = simulate(a_week(gained=gained, passive=passive, active=active, distance=distance), np.full(N, 1.0), 12.0)
    assert path.start + path.gained == pytest.approx(path.burnt + path.held, rel=1e-9)
    assert (path.held >= 0).all()
    assert (path.burnt >= -1e-9).all()


def often(**changes: float) -> float:
    """How often such vehicles block [1/m], on the mean over what chance does to each."""
    return float(np.mean(1.0 / simulate(a_week(**changes), np.full(N, 1.0), 60.0).blocked_after))


@settings(max_examples=25, deadline=None)
@given(st.floats(0.3, 4.0), st.floats(1.2, 3.0), st.floats(-1.5, 0.0))
def test_more_soot_blocks_sooner_and_more_burning_later(gained: float, more: float, active: float) -> None:
    """One vehicle may have luck; of all of them, more soot or less room never blocks fewer (to a fiftieth)."""
    here = often(gained=gained, active=active)
    assert often(gained=gained * more, active=active) >= 0.98 * here
    assert often(gained=gained, active=active * more) <= 1.02 * here + 1e-9
    assert often(gained=gained, active=active, refuses=10.0 / more) >= 0.98 * here


def test_with_no_burning_it_is_the_room_over_the_rate() -> None:
    week = a_week(passive=0.0, active=0.0, gained=0.9)
    path = simulate(week, np.full(N, 1.0), 60.0)
    by_hand = (10.0 - 1.0) / 0.9 * 200e3
    assert path.blocked_after[0] == pytest.approx(by_hand, rel=0.02)


def test_a_trip_too_short_burns_nothing() -> None:
    burnt = shares(np.array([300.0, 1800.0]), np.array(600.0), np.array(120.0), np.array(900.0))
    assert burnt[0] == 0.0
    assert burnt[1] > 0.8
    assert float(log_left(np.array(0.0), np.array(20.0))) == 0.0


def test_the_sample_is_even_and_unrelated() -> None:
    columns = np.array([places(i) - 0.5 for i in range(len(PRIMES))])
    for power, most in ((1, 0.165), (2, 0.245)):
        together = np.corrcoef(columns**power)
        np.fill_diagonal(together, 0.0)
        assert np.abs(together).max() < most
    assert len(PRIMES) == len(UNKNOWNS) + 36 + 60  # unknowns, causes, what causes do
    assert normal("soot").mean() == pytest.approx(0.0, abs=1e-9)
    assert sorted(places(3)) == pytest.approx((np.arange(N) + 0.5) / N)
    assert present(0.3, 5).mean() == pytest.approx(0.3, abs=0.005)


def test_weighted_quantiles() -> None:
    values = np.array([1.0, 2.0, 3.0, math.inf])
    assert quantiles(values, np.array([1.0, 1.0, 1.0, 0.0]))[1] == pytest.approx(2.0)
    assert quantiles(values, np.array([0.1, 0.1, 0.1, 5.0]))[1] == math.inf


@pytest.mark.parametrize("path", CASES[::9], ids=lambda p: p.stem)
def test_every_case_has_a_forecast_in_order(path: Path) -> None:
    found = forecast(KNOWLEDGE, diagnose(read_case(path, KNOWLEDGE), KNOWLEDGE))
    if found is None:
        return
    assert found.outlooks[0].id == "as things stand"
    for outlook in found.outlooks:
        for band in (outlook.distance, outlook.weeks, outlook.gained, outlook.burnt, outlook.hot, outlook.completes):
            assert 0.0 <= band.low <= band.mid <= band.high
        assert 0.0 <= outlook.holds <= 1.0
        assert outlook.completes.high <= 1.0


def test_putting_the_thermostat_right_is_worth_it() -> None:
    found = told(SCHOOL)
    now, mended, all_ = found.of("as things stand"), found.of("thermostat_stuck_open"), found.of("all")
    assert now is not None
    assert mended is not None
    assert all_ is not None
    assert math.isfinite(now.distance.mid)
    assert mended.distance.low > now.distance.low
    assert mended.distance.mid > 2.0 * now.distance.mid
    assert all_.distance.low >= 0.9 * mended.distance.low
    assert mended.completes.mid >= now.completes.mid


def test_the_past_weighs() -> None:
    """It blocked after 1,700 km: as things stand the band holds that and is narrower than without the history."""
    with_past = told(SCHOOL).outlooks[0].distance
    alone = told(replace(SCHOOL, history=(), history_given=False)).outlooks[0].distance
    assert with_past.low < 1700.0 < with_past.high
    assert math.isinf(alone.high) or with_past.high / with_past.low < alone.high / alone.low


def test_longer_trips_burn_better() -> None:
    usage = {"typical_trip": "40 min", "typical_distance": "35 km"}
    far = told(replace(changed(SCHOOL, KNOWLEDGE, usage), history=(), history_given=False)).outlooks[0]
    near = told(replace(SCHOOL, history=(), history_given=False)).outlooks[0]
    assert far.hot.mid > 10.0 * max(near.hot.mid, 1.0)
    assert far.distance.mid > 5.0 * near.distance.mid
    # over two years the far one goes so much further that ash may fill it; soot does so less
    assert 1.0 - far.holds - far.ash < 1.0 - near.holds - near.ash


@pytest.mark.parametrize("share", [0.4, 0.495, 0.5, 0.505])
def test_where_the_distance_is_open_the_weeks_are(share: float) -> None:
    """Just at a point the two orders of the same vehicles may part; no sentence can be made of half of it."""
    from inference.forecast.outlook import Band, _open_together

    km = np.where(np.arange(N) < share * N, np.arange(N) * 100.0, math.inf)
    a_week = 50.0 + np.arange(N)[::-1]
    weights = np.full(N, 1.0 / N)
    weights[: N // 2] *= 1.02
    distance, weeks = (Band(*quantiles(x, weights)) for x in (km, km / a_week))
    for one, other in zip(vars(_open_together(distance, weeks)[0]).values(),
                          vars(_open_together(distance, weeks)[1]).values(), strict=True):  # fmt: skip
        assert math.isfinite(one) == math.isfinite(other)
    inf = math.inf
    assert _open_together(Band(1.0, 2.0, inf), Band(1.0, inf, inf)) == (Band(1.0, inf, inf), Band(1.0, inf, inf))


def test_the_horizon_is_two_years_however_far_it_goes() -> None:
    """A vehicle that is driven far is followed as long as one that is not."""
    week = a_week(distance=2000e3, gained=0.0, ash_distance=2000e3 * 103.0)
    path = simulate(week, np.full(N, 1.0), 104.0)
    assert path.blocked_after[0] / 2000e3 == pytest.approx(103.0, rel=0.01)
    assert path.by_ash.all()
    assert not np.isfinite(simulate(a_week(distance=2000e3, gained=0.0), np.full(N, 1.0), 104.0).blocked_after).any()


def test_the_track_ends_at_what_blocks_it() -> None:
    path = simulate(a_week(passive=0.0, active=0.0, gained=0.9), np.full(N, 1.0), 60.0)
    assert path.track.max() <= 1.0
    assert path.track[-1].min() == pytest.approx(1.0, abs=0.02)
    assert path.track[0] == pytest.approx(0.1)
    assert not path.by_ash.any()


@pytest.mark.parametrize("name", ["tram-stop", "school-run"])
def test_the_track_reaches_what_blocks_it_where_the_bar_says(name: str) -> None:
    """One picture, two panels: half of the vehicles are blocked in the lower one where the upper one says so."""
    for outlook in told(read_case(Path(f"cases/{name}.yaml"), KNOWLEDGE)).outlooks:
        at = np.array(outlook.at)
        # the far end is left out: few vehicles lie there, and each panel draws its line somewhere between two of them
        for line, share, distance in ((2, 0.1, outlook.distance.low), (1, 0.5, outlook.distance.mid)):
            full = at[np.array([point[line] for point in outlook.track]) >= 0.97]
            if share < 0.95 - outlook.holds and distance < at[-1]:  # well short of those that never block
                stretch = np.diff(at).max()  # a point of the track is the mean of one, longer for who drives more
                assert full.size, (outlook.id, line)
                assert full[0] == pytest.approx(distance, rel=0.05, abs=3 * stretch), (outlook.id, line)


def test_a_filter_cleaned_of_its_ash_has_its_room_again() -> None:
    found = told(read_case(Path("cases/eel-estate.yaml"), KNOWLEDGE))
    now, cleaned = found.of("as things stand"), found.of("ash_full")
    assert now is not None
    assert cleaned is not None
    assert cleaned.distance.low > 10.0 * now.distance.low
    assert cleaned.holds > now.holds


def test_the_dice_are_even_and_fall_alike_everywhere() -> None:
    thrown = np.array([dice(step, N) for step in range(200)])
    assert thrown.mean() == pytest.approx(0.5, abs=0.01)
    assert np.quantile(thrown, [0.1, 0.9]) == pytest.approx([0.1, 0.9], abs=0.01)
    assert abs(np.corrcoef(thrown[:-1].ravel(), thrown[1:].ravel())[0, 1]) < 0.02
    assert abs(np.corrcoef(thrown[:, :-1].ravel(), thrown[:, 1:].ravel())[0, 1]) < 0.02
    assert dice(0, 1)[0] == pytest.approx(
        0.8833108082136426, abs=1e-15
    )  # splitmix64 from the state nought, first number


def test_usage_not_told_is_said_and_widens() -> None:
    slots = ["trips_per_week", "typical_trip", "typical_distance", "long_run_per_month"]
    vague = told(without(SCHOOL, KNOWLEDGE, slots))
    assert {n.slots["slot"] for n in vague.notes if n.kind == "not_told"} >= set(slots)
    sharp = told(SCHOOL)
    assert vague.weekly.high / vague.weekly.low > sharp.weekly.high / sharp.weekly.low


def test_without_any_size_there_is_none() -> None:
    assert forecast(KNOWLEDGE, diagnose(replace(SCHOOL, engine_litres=None), KNOWLEDGE)) is None


def test_the_same_case_gives_the_same_forecast() -> None:
    assert told(SCHOOL) == told(SCHOOL)
