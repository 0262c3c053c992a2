"""Is the uncertainty of the soot load realistic? Published errors of soot estimates as bounds."""

from __future__ import annotations

from tests.inference.physics_fakes import derived

READ = {
    "gauge_pressure.key_on": 0.0, "gauge_pressure.idle": 10.0, "gauge_pressure.fast_idle": 60.0,
    "gauge_pressure_after.fast_idle": 12.0, "air_mass_flow.fast_idle": 39.0, "air_mass_flow.idle": 10.0,
    "exhaust_temperature_before_filter.fast_idle": 230.0,
}  # fmt: skip


def half_width(**more: object) -> tuple[float, float]:
    spread = derived(READ, **more)["soot_load_gauge"].spread  # type: ignore[arg-type]
    return (spread.high - spread.low) / 2.0, spread.mid


def test_no_better_than_a_calibrated_bench() -> None:
    """S6: at best 0.2 g/l off with one filter calibrated on a bench; a workshop cannot claim that."""
    half, _ = half_width(volume_l=2.5, cells_per_square_inch=200.0, wall_mm=0.356)
    assert half > 0.2


def test_about_as_good_as_a_mapped_model_when_all_is_read() -> None:
    """S31: 1 g/l after mapping the engine; here, with size, flow and the pipe read, within three times that."""
    half, _ = half_width(volume_l=2.5, cells_per_square_inch=200.0, wall_mm=0.356)
    assert half < 3.0


def test_no_better_than_a_full_diagnosis_with_a_soot_sensor() -> None:
    """S7: 28 % in all over a driving cycle with a soot sensor; a pressure reading claims no less."""
    half, mid = half_width()
    assert half / mid > 0.28 / 1.5
