"""Properties of the filter's pressure: it rises with load, flow and temperature, and gives its load back."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from inference.physics import filter_pressure as fp
from inference.physics.gas import density, viscosity, volume_flow
from inference.physics.load import Body, Stream, filter_drop, soot_from_drop

SOOT, ASH = st.floats(0.0, 15.0), st.floats(0.0, 40.0)
MASS, KELVIN = st.floats(0.003, 0.15), st.floats(350.0, 900.0)


def body(**changes: float) -> Body:
    figures = {
        "volume": 2.5e-3, "pitch": float(fp.cell_pitch(200.0)), "wall": 0.3556e-3, "length": 0.1524,
        "permeability": 3e-13, "cake": 1.4e-12, "deep_bed": 0.3, "deep_bed_load": 0.5, "packing": 100.0,
        "ash_permeability": 2.2e-13,
    }  # fmt: skip
    return Body(**(figures | changes))  # type: ignore[arg-type]


def stream(mass: float, kelvin: float) -> Stream:
    rho = density(103e3, kelvin)
    return Stream(viscosity(kelvin), rho, volume_flow(mass, rho))


@given(SOOT, ASH, MASS, KELVIN, st.floats(0.01, 2.0))
def test_more_soot_more_pressure(soot: float, ash: float, mass: float, kelvin: float, more: float) -> None:
    gas = stream(mass, kelvin)
    assert filter_drop(body(), gas, soot + more, ash) > filter_drop(body(), gas, soot, ash)


@given(st.floats(0.0, 10.0), st.floats(0.0, 35.0), MASS, KELVIN, st.floats(0.1, 5.0))
def test_more_ash_more_pressure(soot: float, ash: float, mass: float, kelvin: float, more: float) -> None:
    gas = stream(mass, kelvin)
    assert filter_drop(body(), gas, soot, ash + more) > filter_drop(body(), gas, soot, ash)


@given(SOOT, ASH, MASS, KELVIN, st.floats(1.01, 2.0))
def test_more_flow_or_heat_more_pressure(soot: float, ash: float, mass: float, kelvin: float, more: float) -> None:
    here = filter_drop(body(), stream(mass, kelvin), soot, ash)
    assert filter_drop(body(), stream(mass * more, kelvin), soot, ash) > here
    assert filter_drop(body(), stream(mass, kelvin * more), soot, ash) > here


@given(SOOT, MASS, KELVIN)
def test_twice_the_flow_is_at_least_twice_the_pressure(soot: float, mass: float, kelvin: float) -> None:
    """All terms are linear in the flow but one, which is square: Darcy and laminar friction."""
    single = filter_drop(body(), stream(mass, kelvin), soot)
    double = filter_drop(body(), stream(2 * mass, kelvin), soot)
    assert 2 * single < double < 4 * single


@settings(max_examples=200)
@given(st.floats(0.0, 20.0), ASH, MASS, KELVIN)
def test_the_load_comes_back(soot: float, ash: float, mass: float, kelvin: float) -> None:
    gas = stream(mass, kelvin)
    if ash > 20 and soot > 12:
        soot = 12.0  # little room is left in a channel so full of ash
    drop = np.array([float(filter_drop(body(), gas, soot, ash))])
    assert soot_from_drop(body(), gas, drop, ash)[0] == pytest.approx(soot, abs=1e-4)


@given(MASS, KELVIN, st.floats(-5e3, 0.0))
def test_less_than_a_clean_filter_is_no_soot_and_never_less(mass: float, kelvin: float, under: float) -> None:
    gas = stream(mass, kelvin)
    drop = np.array([float(filter_drop(body(), gas)) + under])
    assert soot_from_drop(body(), gas, drop)[0] == pytest.approx(0.0, abs=1e-4)


def test_a_pressure_beyond_all_soot_stops_short_of_a_closed_channel() -> None:
    gas = stream(0.04, 500.0)
    most = body().opening ** 2 * 100.0 / (2 * body().pitch ** 2)
    found = soot_from_drop(body(), gas, np.array([1e9]))[0]
    assert found == pytest.approx(0.95 * most, rel=1e-3)


def test_layer_formula_and_its_inner_form_agree() -> None:
    """The terms of a loaded filter, worked out a second way from the published layer and friction formulas."""
    b, gas, soot = body(deep_bed=0.0), stream(0.05, 550.0), 7.0
    a = b.opening
    layer = fp.layer_thickness(soot, b.pitch, a, b.packing)
    common = (gas.viscosity, gas.flow, b.volume, b.pitch, a)
    summed = (
        fp.wall_drop(*common, b.wall, b.permeability)
        + fp.layer_drop(*common, layer, float(b.cake) / b.packing)
        + fp.friction_drop(*common, b.length, layer)
        + fp.entrance_exit_drop(gas.density, gas.flow, b.volume, b.pitch, a, b.length)
    )
    assert filter_drop(b, gas, soot) == pytest.approx(summed, rel=1e-9)


@pytest.mark.parametrize(("soot", "ash"), [(-1.0, 0.0), (0.0, -1.0), (60.0, 0.0)])
def test_impossible_loads_are_refused(soot: float, ash: float) -> None:
    with pytest.raises(ValueError, match="load"):
        filter_drop(body(), stream(0.04, 500.0), soot, ash)


def test_an_impossible_body_is_refused() -> None:
    with pytest.raises(ValueError, match="channel"):
        body(wall=2e-3)
    with pytest.raises(ValueError, match="volume"):
        body(volume=0.0)
    with pytest.raises(ValueError, match="negative"):
        Stream(2e-5, 0.7, -0.1)


def test_half_the_wall_permeability_is_twice_the_wall_pressure() -> None:
    """Darcy's law."""
    common = (2.7e-5, 0.05, 2.5e-3, 1.796e-3, 1.44e-3, 0.3556e-3)
    assert fp.wall_drop(*common, 1.5e-13) == pytest.approx(2 * fp.wall_drop(*common, 3e-13))
