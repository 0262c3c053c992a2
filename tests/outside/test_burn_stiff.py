"""The burn's stepping against scipy's stiff integrator on the same equations, and against its own refinement."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.integrate import solve_ivp

from inference.burn.regeneration import Chemistry, Core, Gas, State, burning, course, heating, loaded
from inference.physics.heat import carbon_heat

SILICON_CARBIDE, CORDIERITE = Core(0.88e6, 7.0), Core(0.525e6, 0.7)
COATED = Chemistry(0.11, 135e3, 5e-4, 46.5e3, 0.7, 2.0, 0.05)
ADDITIVE = Chemistry(1.7, 140e3, 5e-4, 46.5e3, 0.5, 1.0, 0.15)
BURN, IDLE = Gas(18.0, 0.075, 1.5e-4), Gas(4.4, 0.17, 1.5e-4)


def stiff(start: State, inlet: float, core: Core, chemistry: Chemistry, through: Gas, time: float) -> State:
    cells = start.soot.size

    def change(_: float, y: np.ndarray) -> np.ndarray:
        soot, temperature = np.maximum(y[:cells], 0.0), y[cells:]
        burnt = burning(soot, temperature, chemistry, through)
        warmed = heating(temperature, inlet, core, through) + float(carbon_heat(chemistry.monoxide)) * burnt
        return np.concatenate([-burnt, warmed / core.heat])

    found = solve_ivp(change, (0.0, time), np.concatenate([start.soot, start.temperature]), "BDF", rtol=1e-7, atol=1e-8)
    assert found.success
    return State(found.y[:cells, -1], found.y[cells:, -1])


@pytest.mark.parametrize(("core", "chemistry", "through", "inlet", "time"), [
    (SILICON_CARBIDE, COATED, BURN, 873.0, 600.0), (CORDIERITE, COATED, BURN, 893.0, 300.0),
    (SILICON_CARBIDE, ADDITIVE, BURN, 773.0, 400.0), (CORDIERITE, ADDITIVE, IDLE, 600.0, 60.0),
])  # fmt: skip
def test_the_same_course(core: Core, chemistry: Chemistry, through: Gas, inlet: float, time: float) -> None:
    hot = 850.0 if through is IDLE else 473.0
    start = loaded(6.0, hot)
    *_, (_, ours) = course(start, lambda t: inlet, core, chemistry, through, time)
    theirs = stiff(start, inlet, core, chemistry, through, time)
    assert ours.temperature == pytest.approx(theirs.temperature, abs=8.0)
    assert ours.mean_soot == pytest.approx(theirs.mean_soot.mean(), abs=0.03)


def test_finer_cells_change_the_peak_little() -> None:
    peaks = []
    for cells in (16, 48):
        state = loaded(8.0, 873.0, cells=cells)
        hottest = 0.0
        for _, after in course(state, lambda t: 600.0, CORDIERITE, COATED, IDLE, 180.0, 0.25):
            hottest = max(hottest, float(after.temperature.max()))
        peaks.append(hottest)
    assert peaks[0] == pytest.approx(peaks[1], rel=0.04)


def test_with_one_cell_and_no_loss_all_at_once_it_is_the_adiabatic_rise() -> None:
    """Energy balance by hand (S29): 6 g/l in cordierite is 374 K, no heat carried off."""
    core = Core(0.525e6, 0.0, loss=0.0)
    fast = Chemistry(1e6, 137e3, 0.0, 46.5e3, 0.0, 1.0, 0.0)
    start = loaded(6.0, 900.0, cells=1)
    *_, (_, after) = course(start, lambda t: 900.0, core, fast, Gas(1e3, 0.2, 0.0), 0.001, 0.001)
    assert after.soot[0] < 6.0
    freed = (6.0 - after.soot[0]) * 32.76e6 / 0.525e6
    assert after.temperature[0] - 900.0 == pytest.approx(freed, rel=1e-3)
