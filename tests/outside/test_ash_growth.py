"""Ash against what was published: s8 (review, heavy-duty engines), read in its public preview."""

from __future__ import annotations

import pytest

from inference.physics import ash

SOOT = 6.0  # g/l, S8
EQUAL_AT, MOST_AT = 53_000e3, 241_000e3  # m, S8
VOLUME = 1.0e-3


def test_ash_grows_in_a_straight_line_as_published() -> None:
    """S8: as much ash as 6 g/l of soot at 53,000 km, and over 80 % of all that is caught at 241,000 km."""
    rate = SOOT * VOLUME / EQUAL_AT  # the one figure fixes the rate, the other is the check
    assert float(ash.ash_load(rate, EQUAL_AT, 1.0, VOLUME)) == pytest.approx(SOOT)
    later = float(ash.ash_load(rate, MOST_AT, 1.0, VOLUME))
    assert later / (later + SOOT) > 0.80
    assert later == pytest.approx(27.3, abs=0.1)


def test_the_heavy_rate_lies_within_what_oil_and_capture_allow() -> None:
    """0.113 g/l on 1,000 km by S8; from oil, its ash and capture in the 17 l filter of a heavy engine."""
    published = SOOT / (EQUAL_AT / 1e6)  # g/l on 1,000 km
    low = float(ash.ash_load(ash.ash_rate(0.2e-9, 0.009), 1e6, ash.CAPTURE.low, 17e-3))
    high = float(ash.ash_load(ash.ash_rate(0.5e-9, 0.014), 1e6, ash.CAPTURE.high, 17e-3))
    assert low < published < high


def test_a_car_with_the_right_oil_lasts_about_as_long_as_filters_are_said_to() -> None:
    """Maintenance by rule not before 150,000 miles (S8) or 80,000 miles (s10): the median lies beyond the latter."""
    rate = float(ash.ash_rate(ash.OIL_USE.mid, ash.SULPHATED_ASH["yes"].mid)) * ash.CAPTURE.mid / 2.5e-3
    km = float(ash.distance_left(0.0, ash.CAPACITY.mid, rate)) / 1e3
    assert km > 80_000 * 1.609
    assert km < 600_000
