"""The filter body of a case, and the gas that flows through it in one condition of one round, as samples."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inference.derive_sheet import CaseView, Sheet
from inference.physics import ash, calibration, flow, gas
from inference.physics import filter_pressure as fp
from inference.physics.load import Body, Stream
from inference.physics.sampling import ROUNDS, middle, of_round
from inference.physics.valid import Array, NotMade, Odd, Outside, outside
from inference.steps import kept, step

MBAR = 100.0  # Pa
LITRE = 1e-3  # m^3
COOLER_THAN_OUTSIDE = 8.0  # K; a charge that reads this much below the air outside was misread
NOT_CERAMIC = ("sintered metal",)  # pleats or tubes, no plugged square channels
TYPICAL_HALF_DROP = {"idle": 2.0 * MBAR, "fast_idle": 15.0 * MBAR}  # Pa over outside, where no gauge was read


@dataclass(frozen=True, eq=False)
class Housing:
    """The filter body with what was taken for granted about it."""

    body: Body
    inputs: tuple[str, ...]
    notes: tuple[str, ...]
    warnings: tuple[Odd, ...]


def housing(case: CaseView) -> Housing | None:
    """Return the filter body as known or as typical of the engine's size; None if neither size is known."""
    inputs, notes = ["filter"], []
    length = (case.length_mm or calibration.LENGTH * 1e3) * 1e-3
    volume: Array
    if case.volume_l is not None:
        volume = case.volume_l * LITRE * calibration.VOLUME_GIVEN.of_vehicle("volume")
    elif case.diameter_mm is not None and case.length_mm is not None:
        by_size = np.pi / 4.0 * (case.diameter_mm * 1e-3) ** 2 * length
        volume = by_size * calibration.VOLUME_GIVEN.of_vehicle("volume")
    elif case.engine_litres is not None:
        volume = case.engine_litres * LITRE * calibration.VOLUME_OVER_DISPLACEMENT.of_vehicle("volume")
        inputs.append("engine_litres")
        notes.append("The size of the filter is not known; one usual for this engine was taken.")
    else:
        return None
    pitch = float(fp.cell_pitch(case.cells_per_square_inch or calibration.CELLS))
    wall: Array | float = calibration.WALL.of_vehicle("wall")
    if case.wall_mm is not None:
        wall = case.wall_mm * 1e-3
    if float(np.max(wall)) >= pitch:
        raise ValueError(f"a wall of {case.wall_mm} mm leaves no channel at this cell density")
    kind = case.filter_type if case.filter_type in calibration.PERMEABILITY else None
    if kind is None:
        notes.append("The kind of filter is not known; all kinds were allowed for.")
    warnings: tuple[Odd, ...] = ()
    if case.substrate in NOT_CERAMIC:
        warnings += (NotMade(f"The pressure formulas are made for ceramic channels, not for {case.substrate}."),)
    if case.cells_per_square_inch is not None:
        warnings += outside(fp.cell_pitch, cells_per_square_inch=case.cells_per_square_inch)
    body = Body(
        volume=volume,
        pitch=pitch,
        wall=wall,
        length=length,
        permeability=calibration.PERMEABILITY[kind].of_vehicle("permeability"),
        cake=calibration.CAKE.of_vehicle("cake"),
        deep_bed=calibration.DEEP_BED.of_vehicle("deep_bed"),
        deep_bed_load=calibration.DEEP_BED_LOAD,
        packing=calibration.SOOT_PACKING,
        ash_permeability=ash.PERMEABILITY.of_vehicle("ash_bed"),
    )
    return Housing(body, tuple(inputs), tuple(notes), warnings)


@kept
def body_of_case(sheet: Sheet) -> Housing | None:
    """Return the filter body of the sheet's case, see :func:`housing`."""
    return housing(sheet.case)


@dataclass(frozen=True, eq=False)
class Running:
    """The gas in one condition: mass flow [kg/s], stream, pressure behind the filter [Pa], each a sample."""

    condition: str
    mass_flow: Array
    stream: Stream
    temperature: Array
    inputs: tuple[str, ...]
    notes: tuple[str, ...]
    warnings: tuple[Outside, ...]
    measured: bool  # whether the air mass was read

    @property
    def label(self) -> str:
        """What tells it from the other flows of the round."""
        return f"{self.condition} by {'air meter' if self.measured else 'speed'}"


def outside_pressure(sheet: Sheet) -> tuple[float, tuple[str, ...], tuple[str, ...]]:
    """Return the pressure of the air outside [Pa], the inputs and the notes."""
    read = sheet.read("barometric_pressure")
    if read is not None:
        return read * MBAR, ("barometric_pressure",), ()
    return gas.STANDARD_PRESSURE, (), ("The barometer was not read; 1013 mbar was taken.",)


def engine_speed(sheet: Sheet, condition: str) -> tuple[Array, tuple[str, ...], tuple[str, ...]]:
    """Return the engine speed [1/s] as a sample, read or usual for the condition."""
    slot = f"engine_speed.{condition}"
    read = sheet.sampled(slot, of_round("engine_speed", sheet.round.index))
    if read is not None:
        return read / 60.0, (slot,), ()
    usual = calibration.SPEED[condition]
    note = f"The engine speed was not read; {usual.low:,.0f} to {usual.high:,.0f} 1/min was taken."
    return usual.of_round("engine_speed", sheet.round.index) / 60.0, (), (note,)


@dataclass(frozen=True, eq=False)
class Charge:
    """What the cylinders draw [kg/s], as a sample, no exhaust taken off."""

    mass_flow: Array
    inputs: tuple[str, ...]
    notes: tuple[str, ...]
    warnings: tuple[Outside, ...]


@kept
def charge(sheet: Sheet, condition: str) -> Charge | None:
    """Return the speed-density flow; None if the engine's size, or at full load the pressure, is not known."""
    litres = sheet.case.engine_litres
    slot = f"manifold_pressure.{condition}"
    read = sheet.read(slot)
    if litres is None or (read is None and condition == "full_load"):
        return None
    speed, inputs, notes = engine_speed(sheet, condition)
    pressure: Array | float
    if read is not None:
        pressure = read * MBAR
        inputs += (slot,)
    else:
        ambient, ambient_inputs, ambient_notes = outside_pressure(sheet)
        pressure = ambient * calibration.MANIFOLD_OVER_OUTSIDE[condition].of_vehicle("breathing")
        inputs, notes = inputs + ambient_inputs, notes + ambient_notes
    loaded = condition == "full_load"
    usual = calibration.CHARGE_TEMPERATURE_LOADED if loaded else calibration.CHARGE_TEMPERATURE
    warmth: Array = usual.of_vehicle("breathing", -1.0)
    known = sheet.sampled(f"charge_temperature.{condition}", of_round("gas_temperature", sheet.round.index))
    around = sheet.read("ambient_temperature")
    if known is not None and around is not None and middle(known) < around - COOLER_THAN_OUTSIDE:
        known = None  # nothing cools the charge below the air outside: one of the two was misread
    if known is not None:  # hot charge is thin: what is missing then is not the air meter's
        warmth = known + gas.ZERO_CELSIUS
        inputs += (f"charge_temperature.{condition}",)
    values: dict[str, Array | float] = {
        "speed": speed,
        "displacement": litres * LITRE,
        "manifold_pressure": pressure,
        "manifold_temperature": warmth,
        "filling": calibration.FILLING.of_vehicle("breathing"),
    }
    mass = np.asarray(flow.speed_density(**values))
    return Charge(mass, ("engine_litres", *inputs), notes, outside(flow.speed_density, **values))


def gas_temperature(sheet: Sheet, condition: str) -> tuple[Array, tuple[str, ...], tuple[str, ...]]:
    """Return the gas temperature before the filter [K] as a sample, read or usual for the condition."""
    slot = f"exhaust_temperature_before_filter.{condition}"
    read = sheet.sampled(slot, of_round("gas_temperature", sheet.round.index))
    if read is not None:
        return read + gas.ZERO_CELSIUS, (slot,), ()
    usual = calibration.GAS_TEMPERATURE[condition]
    low, high = usual.low - gas.ZERO_CELSIUS, usual.high - gas.ZERO_CELSIUS
    return (
        usual.of_round("gas_temperature", sheet.round.index),
        (),
        (f"The exhaust temperature was not read; {low:.0f} to {high:.0f} °C was taken.",),
    )


def air_read(sheet: Sheet, condition: str) -> Array | None:
    """Return the air mass [g/s] as a sample, None if it was not read; two readings of one meter err each for itself."""
    column = "egr_fast_idle" if condition == "fast_idle" else "egr_idle"
    return sheet.sampled(f"air_mass_flow.{condition}", of_round(column, sheet.round.index))


def running(sheet: Sheet, condition: str, use_air_meter: bool = True) -> Running | None:
    """Return the gas through the filter in a condition; None if neither air meter nor engine size tells.

    Parameters
    ----------
    use_air_meter : False takes the flow from engine size and speed even where an air mass was read
    """
    if use_air_meter and not sheet.read(f"air_mass_flow.{condition}"):
        use_air_meter = False  # not read, or a dead meter's nought
    return _running(sheet, condition, use_air_meter)


@kept
def _running(sheet: Sheet, condition: str, use_air_meter: bool) -> Running | None:
    slot = f"air_mass_flow.{condition}"
    air = air_read(sheet, condition) if use_air_meter else None
    warnings: tuple[Outside, ...] = ()
    inputs: tuple[str, ...]
    notes: tuple[str, ...]
    if air is not None:
        air, inputs, notes, measured = np.maximum(air, 1e-3) * 1e-3, (slot,), (), True
    else:
        drawn = charge(sheet, condition)
        if drawn is None:
            return None
        share = calibration.egr_share(condition, sheet.round.index % ROUNDS)
        air = np.asarray(flow.fresh_air(drawn.mass_flow, share))
        inputs, warnings, measured = drawn.inputs, drawn.warnings, False
        usual = calibration.EGR_SHARE[condition]
        notes = (
            *drawn.notes,
            f"The flow was worked out from the engine's size with {usual.low:.0%} to {usual.high:.0%} of exhaust"
            " fed back; a valve stuck open makes it less.",
        )
    mass = np.asarray(flow.exhaust_flow(air, calibration.EXCESS_AIR[condition]))
    temperature, more_inputs, more_notes = gas_temperature(sheet, condition)
    ambient, ambient_inputs, ambient_notes = outside_pressure(sheet)
    gauge = sheet.read(f"gauge_pressure.{condition}")
    half = max(gauge, 0.0) * MBAR / 2.0 if gauge is not None else TYPICAL_HALF_DROP[condition]
    pressure = ambient + half
    rho = np.asarray(gas.density(pressure, temperature))
    stream = Stream(gas.viscosity(temperature), rho, np.asarray(gas.volume_flow(mass, rho)))
    warnings += outside(gas.density, pressure=pressure, temperature=temperature)
    warnings += outside(gas.viscosity, temperature=temperature)
    warnings += outside(gas.volume_flow, mass_flow=mass)
    return Running(
        condition, mass, stream, temperature,
        inputs + more_inputs + ambient_inputs, notes + more_notes + ambient_notes, warnings, measured,
    )  # fmt: skip


@step
def expected_downstream(sheet: Sheet, gas_flow: Running) -> Array | None:
    """Return the pressure [Pa] a sound pipe and silencer make behind the filter; None without engine size."""
    litres = sheet.case.engine_litres
    if litres is None:
        return None
    coefficient = calibration.DOWNSTREAM.of_vehicle("downstream")
    reference = calibration.DOWNSTREAM_REFERENCE * litres * LITRE
    return np.asarray(flow.downstream_drop(gas_flow.mass_flow, gas_flow.temperature, coefficient, reference))


def downstream(sheet: Sheet, gas_flow: Running) -> tuple[Array, tuple[str, ...]] | None:
    """Return the pressure [Pa] behind the filter with its inputs: read where it was, else expected."""
    slot = f"gauge_pressure_after.{gas_flow.condition}"
    read = sheet.sampled(slot, of_round("gauge", sheet.round.index))
    if read is not None:
        return read * MBAR, (slot,)
    expected = expected_downstream(sheet, gas_flow)
    return None if expected is None else (expected, ("engine_litres",))
