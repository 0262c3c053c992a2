"""Cross-checks and soot apart from ash: what each reads out of sound and unsound figures, worked by hand."""

from __future__ import annotations

import pytest

from inference.burn import kinetics
from inference.diagnose import diagnose
from inference.forecast import balance
from inference.physics import ash, cross, two_flows
from inference.physics.valid import raw
from kb.load import load
from kb.units import registry
from tests.inference.physics_fakes import derived
from tests.inference.question_cases import case_of

Q = registry().Quantity


def test_shutting_the_valve_shows_what_was_fed_back() -> None:
    found = derived({"air_mass_flow.idle": 6.0, "air_mass_flow_valve_shut.idle": 10.0})["egr_share_by_valve.idle"]
    assert found.spread.mid == pytest.approx(40.0, abs=1.0)
    assert found.spread.low > 30.0
    stuck = derived({"air_mass_flow.idle": 6.0, "air_mass_flow_valve_shut.idle": 6.1})["egr_share_by_valve.idle"]
    assert stuck.spread.low < 0.0 < stuck.spread.high


def test_less_oxygen_is_more_exhaust_fed_back() -> None:
    low, high = (derived({"oxygen_content.idle": o}) for o in (8.0, 17.0))
    assert low["excess_air.idle"].spread.mid < 2.0 < high["excess_air.idle"].spread.mid
    assert low["egr_share_by_oxygen.idle"].spread.mid > high["egr_share_by_oxygen.idle"].spread.mid
    assert not derived({"oxygen_content.idle": 20.6})["excess_air.idle"].in_range


BURN = {
    "exhaust_temperature_before_catalyst.burn": 300.0, "exhaust_temperature_before_filter.burn": 600.0,
    "air_mass_flow.burn": 40.0,
}  # fmt: skip


def test_heat_of_the_catalyst_against_the_fuel() -> None:
    """40 g/s warmed by 300 K with 1.13 kJ/(kg K) is 13.6 kW; of 0.4 g/s of fuel (17.1 kW) that is 80 %."""
    sound = derived({**BURN, "late_fuel_flow.burn": 0.4})["catalyst_heat_share.burn"]
    assert sound.spread.mid == pytest.approx(80.0, abs=5.0)
    weak = derived({**BURN, "exhaust_temperature_before_filter.burn": 400.0, "late_fuel_flow.burn": 0.4})
    assert weak["catalyst_heat_share.burn"].spread.high < 40.0
    assert not derived({**BURN, "late_fuel_flow.burn": 0.1})["catalyst_heat_share.burn"].in_range


@pytest.mark.parametrize(("dosed", "state"), [(0.12, "holds"), (0.4, "fails"), (0.9, "unknown")])
def test_more_heat_than_the_fuel_holds_is_said(dosed: float, state: str) -> None:
    """Conservation of energy: 13.6 kW cannot come of 0.12 g/s of fuel, which holds 5.1 kW."""
    text = f"""
case: more-heat-than-fuel
opened: 2026-03-02
rounds:
  - when: arrival
    readings:
      exhaust_temperature_before_catalyst: {{burn: 300 °C}}
      exhaust_temperature_before_filter: {{burn: 600 °C}}
      air_mass_flow: {{burn: 40 g/s}}
      late_fuel_flow: {{burn: {dosed} g/s}}
      burn_duration: 15 min
"""
    loaded = load()
    found = diagnose(case_of(text, loaded), loaded).latest.verdicts.findings["catalyst_heat_beyond_fuel"]
    assert found.state == state


def test_burns_thin_the_oil() -> None:
    few, many = (derived({"burns_started": n, "burns_counted_over": 10_000.0}) for n in (10.0, 60.0))
    assert few["oil_dilution_by_burns"].spread.high < 4.0
    assert many["oil_dilution_by_burns"].spread.mid > 5.0
    long = derived({"burns_started": 60.0, "burns_counted_over": 60_000.0})["oil_dilution_by_burns"]
    assert long.spread.mid < many["oil_dilution_by_burns"].spread.mid
    assert any("15,000 km" in note for note in long.notes)


def test_two_flows_part_filter_from_pipe() -> None:
    """A and B laid down by hand come back: 30 mbar of friction and 12 mbar of turbulence at the faster flow."""
    by_filter, by_pipe = two_flows.part(3000.0 / 4 + 1200.0 / 14, 4200.0, 1.0, 1.0, 4.0, 14.0)
    assert (by_filter, by_pipe) == (pytest.approx(3000.0), pytest.approx(1200.0))


def test_a_choked_pipe_is_not_taken_for_soot_by_two_flows() -> None:
    """Steep rise: most of it is turbulence, so the friction part speaks of less soot than the single reading."""
    read = {
        "gauge_pressure.key_on": 0.0, "gauge_pressure.idle": 5.0, "gauge_pressure.fast_idle": 75.0,
        "air_mass_flow.idle": 10.0, "air_mass_flow.fast_idle": 40.0,
    }  # fmt: skip
    found = derived(read)
    assert found["soot_load_two_flows"].spread.mid < 0.5 * found["soot_load_gauge"].spread.mid
    assert found["turbulent_over_expected"].spread.mid > 2.0


def test_flows_too_near_are_not_parted() -> None:
    read = {"gauge_pressure.idle": 20.0, "gauge_pressure.fast_idle": 30.0, "air_mass_flow.idle": 30.0,
            "air_mass_flow.fast_idle": 40.0}  # fmt: skip
    assert "friction_part" not in derived(read)


def test_the_room_for_ash_shrinks_with_distance() -> None:
    read = {"gauge_pressure.fast_idle": 60.0}
    young, old = (derived(read, odometer=km, fitted_at_km=0.0) for km in (30_000.0, 180_000.0))
    assert old["ash_room_used"].spread.mid > young["ash_room_used"].spread.mid
    assert old["ash_life_left"].spread.mid < young["ash_life_left"].spread.mid
    assert "ash_life_left" not in derived(read)


def test_dimensions() -> None:
    """Fed with quantities that carry units the formulas give the unit they promise (pint)."""
    assert raw(ash.distance_left)(Q(24.0, "g/l"), Q(35.0, "g/l"), Q(0.16e-6, "kg/m**3/m")).check("[length]")
    assert raw(cross.air_by_fuel)(4.0, Q(0.13, "g/s")).check("[mass]/[time]")
    share = Q(13.5, "kW") / (Q(0.4, "g/s") * Q(cross.FUEL_HEAT, "J/kg"))
    assert share.to("dimensionless").magnitude == pytest.approx(cross.heat_share(13.5e3, 0.4e-3))
    gap = raw(balance.interval)(Q(15.0, "g"), Q(30.0, "mg/km"), 0.0)
    assert gap.to("km").magnitude == pytest.approx(500.0)
    supply = Q(18.0, "kg/s/m**3") * 0.1 * kinetics.OXYGEN_MASS * kinetics.CARBON_PER_OXYGEN
    assert supply.check("[mass]/[time]/[length]**3")
    ratio = (Q(150.0, "kJ/mol") / Q(8.314, "J/mol/K")) * (1 / Q(850.0, "K"))
    assert ratio.check("")


def test_with_the_valve_shut_the_meter_is_held_against_what_the_engine_draws() -> None:
    """2.0 l at 800 1/min, 1000 mbar and 40 to 60 °C in the manifold: ideal gas law and filling give 11 to 13 g/s."""
    engine = {"engine_speed.idle": 800.0, "manifold_pressure.idle": 1000.0}
    drawn = 0.9 * 0.5 * 800 / 60 * 2e-3 * 1e5 / (287.05 * 323.15) * 1e3
    sound = derived({**engine, "air_mass_flow_valve_shut.idle": drawn})["air_mass_ratio_valve_shut.idle"]
    assert sound.spread.mid == pytest.approx(1.0, abs=0.1)
    high = derived({**engine, "air_mass_flow_valve_shut.idle": 1.4 * drawn})["air_mass_ratio_valve_shut.idle"]
    assert high.spread.mid == pytest.approx(1.4 * sound.spread.mid)
    assert high.spread.low > 1.1
    assert "air_mass_ratio_valve_shut.idle" not in derived({"air_mass_flow_valve_shut.idle": 12.0}, engine_litres=None)
