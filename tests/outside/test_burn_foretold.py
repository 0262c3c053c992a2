"""The foretold course of a burn against the first law, a stiff integrator, and five hundred random members.

The equations are written here a second time, from their sources and not from the program: first-order burning with an
activation energy (Bissett and Shadman 1985, from memory; 46.5 kJ/mol with nitrogen dioxide, Shrivastava 2010), heats of
formation 393.52 and 110.53 kJ/mol (S29), gas carried from cell to cell.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.integrate import solve_ivp
from scipy.stats import norm, qmc

from inference.burn import conditions as at
from inference.burn.foretell import Circumstances, Course, Filter, Gases, foretell, run
from inference.burn.regeneration import Chemistry, Core, State
from inference.values import Spread

CELLS, R = 16, 8.314462618
COATED = Chemistry(0.11, 135e3, 5e-4, 46.5e3, 0.7, 2.0, 0.05)
BODY = Core(0.88e6, 7.0)
HEAT = (0.95 * 393.52e3 + 0.05 * 110.53e3) / 0.012011  # J for each kg of soot, 5 % of it to monoxide


def warmth(kelvin: np.ndarray) -> np.ndarray:
    """Heat capacity of lean exhaust [J/(kg K)]: 1,055 at 150 °C, 1,165 at 600 °C."""
    return 1055.0 + (kelvin - 423.15) * 110.0 / 450.0


def content(kelvin: float) -> float:
    """Heat content of the gas over 0 K [J/kg], the integral of the line above."""
    return 1055.0 * kelvin + 110.0 / 450.0 * (kelvin**2 / 2.0 - 423.15 * kelvin)


def ramp(t: float) -> float:
    """A gas that gets hot, stays so, and falls away after ten minutes [K]."""
    hot = 520.0 + 370.0 * (1.0 - np.exp(-min(t, 600.0) / 70.0))
    return float(hot if t <= 600.0 else 560.0 + (hot - 560.0) * np.exp(-(t - 600.0) / 60.0))


def flow(t: float) -> float:
    """Gas through a volume of filter [kg/(s m^3)], swelling as on a road."""
    return float(18.0 + 7.0 * np.sin(t / 90.0))


def independent(soot: float, start: float, oxygen: float, upto: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Temperature after the filter [K] and share of soot left, by Radau, of the same filter written anew."""
    step = BODY.length / CELLS

    def change(t: float, y: np.ndarray) -> np.ndarray:
        m, k = np.maximum(y[:CELLS], 0.0), y[CELLS:]
        through = flow(t)
        # oxygen: no faster than the gas brings it; 5 % monoxide takes half the oxygen
        wish = 0.11 * oxygen * np.exp(-(135e3 / R) * (1.0 / k - 1.0 / 873.15)) * m
        most = through * oxygen * (31.998 / 28.8) * (12.011 / 31.998) / 0.975
        with_oxygen = most * (1.0 - np.exp(-wish / most))
        # nitrogen dioxide: 150 parts in a million of oxides, 70 % on the way to equilibrium, each serving twice
        rest = np.exp((57.1e3 - 73.2 * k) / (R * k)) * np.sqrt(oxygen)
        dioxide = 150e-6 * 0.7 * rest / (1.0 + rest)
        wish = 5e-4 * dioxide / 300e-6 * np.exp(-(46.5e3 / R) * (1.0 / k - 1.0 / 623.15)) * m
        most = through * dioxide * (46.006 / 28.8) * (12.011 / 92.012) * 2.0
        burnt = with_oxygen + most * (1.0 - np.exp(-wish / most))
        before = np.concatenate([[ramp(t)], k[:-1]])
        carried = through * warmth(k) * (before - k) * CELLS
        beside = np.concatenate([[k[0]], k, [k[-1]]])
        led = 7.0 * (beside[2:] - 2.0 * k + beside[:-2]) / step**2
        return np.concatenate([-burnt, (carried + led - 200.0 * (k - 293.15) + HEAT * burnt) / 0.88e6])

    y = np.concatenate([np.full(CELLS, soot), np.full(CELLS, start)])
    found = solve_ivp(change, (0.0, upto[-1]), y, "Radau", t_eval=upto, rtol=1e-6, atol=1e-6, max_step=20.0)
    assert found.success
    return found.y[-1], found.y[:CELLS].mean(axis=0) / soot


def stepped(
    soot: float, start: float, oxygen: float, inlet: Callable[[float], float], through: Callable[[float], float],
    time: float, step: float = 0.5, kept: float = 10.0, core: Core = BODY,
) -> list[tuple[float, State]]:  # fmt: skip
    moments = np.arange(0.0, time + step / 2.0, step)
    three = (np.array([[[f(t) for t in moments]]]) for f in (inlet, through, lambda _: oxygen))
    state = State(np.full((1, 1, CELLS), soot), np.full((1, 1, CELLS), start))
    return list(run(state, Gases(*three), core, COATED, step, kept))


@pytest.mark.parametrize(("soot", "start", "oxygen"), [(5.0, 520.0, 0.075), (8.0, 560.0, 0.05), (3.0, 480.0, 0.11)])
def test_the_course_is_that_of_a_stiff_integrator(soot: float, start: float, oxygen: float) -> None:
    ours = stepped(soot, start, oxygen, ramp, flow, 900.0)
    after, left = independent(soot, start, oxygen, np.array([t for t, _ in ours]))
    assert np.array([s.after[0, 0] for _, s in ours]) == pytest.approx(after, abs=8.0)
    assert np.array([s.mean_soot[0, 0] / soot for _, s in ours]) == pytest.approx(left, abs=0.015)


@settings(max_examples=25, deadline=None)
@given(
    st.floats(1.0, 10.0), st.floats(420.0, 700.0), st.floats(0.02, 0.17), st.floats(500.0, 930.0),
    st.floats(4.0, 30.0), st.floats(30.0, 300.0), st.floats(0.4e6, 1.0e6),
)  # fmt: skip
def test_heat_in_and_of_burning_is_heat_out_and_stored(
    soot: float, start: float, oxygen: float, hot: float, through: float, constant: float, heat: float
) -> None:
    """The first law over the whole burn, with the gas's heat content integrated instead of stepped."""
    core = Core(heat, 2.0)
    step, time = 0.25, 400.0

    def inlet(t: float) -> float:
        return start + (hot - start) * (1.0 - float(np.exp(-t / constant)))

    states = stepped(soot, start, oxygen, inlet, lambda _: through, time, step, step, core)
    first, last = states[0][1], states[-1][1]
    came = sum(through * content(inlet(t)) * step for t, _ in states[:-1])
    left = sum(through * content(float(s.after[0, 0])) * step for _, s in states[:-1])
    lost = sum(200.0 * float(s.temperature.mean() - 293.15) * step for _, s in states[:-1])
    burning = HEAT * float((first.soot - last.soot).mean())
    stored = heat * float((last.temperature - first.temperature).mean())
    size = through * time * 1100.0 * max(abs(hot - start), 50.0) + burning  # what passed through, at the least
    assert came + burning == pytest.approx(left + lost + stored, abs=0.012 * size)


def test_five_hundred_random_members_give_the_same_band(monkeypatch: pytest.MonkeyPatch) -> None:
    seconds = np.arange(0.0, 1200.0, 5.0)
    gas = Course(seconds, np.array([ramp(t) - 273.15 for t in seconds]))
    flowing = Course(seconds, np.array([flow(t) * 2.5e-3 for t in seconds]))
    volume = Spread(2.24e-3, 2.5e-3, 2.84e-3)
    burns = [Circumstances(1200.0, (250.0, 250.0), None, inlet, flowing) for inlet in (None, gas)]
    few = foretell(burns, Filter("coated", None, volume))
    count = 509
    drawn = norm.ppf(qmc.LatinHypercube(len(at.COLUMNS), rng=7).random(count))
    columns = dict(zip(at.COLUMNS, drawn.T, strict=True))
    monkeypatch.setattr(at, "N", count)
    monkeypatch.setattr(at, "lattice", columns.__getitem__)
    many = foretell(burns, Filter("coated", None, volume))
    for a, b in zip(few, many, strict=True):
        wide = float((b.after[2] - b.after[0]).max())
        assert np.abs(a.after - b.after).max() < 0.25 * wide
        assert np.abs(a.after - b.after).mean() < 8.0
        assert np.abs(a.left - b.left).mean() < 0.03
        assert a.until_hot.high == pytest.approx(b.until_hot.high, abs=0.5)
        assert a.until_done.mid == pytest.approx(b.until_done.mid, abs=1.0)
