"""The balance of soot against measured driving: burns in 1,300 km (S4), certified soot (S24), trips (S25, S26)."""

from __future__ import annotations

import numpy as np
import pytest

from inference.forecast import balance, setting, usage
from inference.forecast.sample import drawn, quantiles
from inference.forecast.simulate import Week, simulate
from inference.physics.sampling import N


def intervals() -> np.ndarray:
    """Distances between burns [km] of sound vehicles whose every burn completes, 2.5 l of silicon carbide."""
    limit, volume = 9.0, 2.5e-3
    between = (np.clip(drawn(balance.ASKS, "asks"), 0.3, 0.8) - balance.ENOUGH) * limit * volume
    rate = drawn(balance.ENGINE_SOOT, "soot") * (1.0 + 0.5 * drawn(balance.COLD_SOOT, "cold").clip(0.0))
    passive = np.clip(0.2 + 0.15 * np.linspace(-1, 1, N), 0.0, 0.9)
    return np.asarray(balance.interval(between, rate, passive)) / 1e3


def test_six_burns_in_1300_km_are_not_strange() -> None:
    """S4: one vehicle, mean 200 km between burns. Usual is 300 to 900 km (150 to 1,200 met); all from memory."""
    low, mid, high = quantiles(intervals(), np.ones(N))
    assert np.quantile(intervals(), 0.01) < 200.0
    assert 150.0 < low < 400.0
    assert 300.0 < mid < 900.0
    assert high < 2000.0


def test_the_simulation_comes_to_the_same_interval() -> None:
    """Two ways to one figure: the closed form and the weeks gone through step by step."""
    asks, enough, rate, volume = 4.5, 1.35, 24e-9, 2.5e-3
    week = Week(*(np.full(N, x) for x in (300e3, rate * 300e3 / volume, 0.0, -32.0, asks, enough, 11.0, 1e12)))
    path = simulate(week, np.full(N, enough), 52.0)
    by_form = float(balance.interval((asks - enough) * volume, rate, 0.0))
    assert np.median(path.distance / path.burns) == pytest.approx(by_form, rel=0.1)
    assert not np.isfinite(path.blocked_after).any()


def test_engine_soot_keeps_to_what_cars_were_certified_for() -> None:
    """S24: without a filter not more than 25 mg/km over a cold start; a sound median engine stays below it."""
    trip = balance.soot_made(11.0e3, 1180.0, 0.0, 600.0, balance.COLD_SOOT.mid, balance.ENGINE_SOOT.mid, 0.0)
    assert float(trip) / 11.0e3 * 1e9 < 25.0
    assert 5.0 <= balance.ENGINE_SOOT.low * 1e9 < balance.ENGINE_SOOT.high * 1e9 <= 50.0


def test_trips_where_none_are_told() -> None:
    """S25: the mean trip of a car driver lasts 21 min; S26: 59.5 % of trips are 5 miles or less (secondary)."""
    times = drawn(usage.TRIP, "trip")
    assert float(times.mean()) / 60.0 == pytest.approx(21.0, abs=2.5)
    distance = times * drawn(balance.TRIP_SPEED, "speed")
    trips = distance[None, :] * setting.NINE[:, None]  # of one vehicle they scatter about the usual one
    assert float(trips.mean()) / 1609.344 == pytest.approx(9.7, rel=0.2)  # S26: mean vehicle trip 9.7 miles (2009)
    assert 0.2 < float(np.mean(distance < 8047.0)) < 0.75


def test_worked_interval() -> None:
    """15 g at 5, 10, 20, 30, 50 mg/km: 3000, 1500, 750, 500, 300 km by hand."""
    for rate, km in ((5, 3000), (10, 1500), (20, 750), (30, 500), (50, 300)):
        assert balance.interval(15e-3, rate * 1e-9, 0.0) / 1e3 == pytest.approx(km)
