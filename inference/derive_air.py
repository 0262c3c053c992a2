"""What the air readings say: air against speed-density, recirculation error, boost, the manifold sensor's zero."""

from __future__ import annotations

import numpy as np

from inference.derive_gas import MBAR, air_read, charge, outside_pressure
from inference.derive_sheet import Sheet
from inference.physics import air
from inference.physics.sampling import exact, of_round
from inference.physics.valid import outside
from inference.steps import step


@step
def derive_air(sheet: Sheet) -> None:
    """Write the air readings down."""
    pressure, inputs, notes = outside_pressure(sheet)
    sheet.put("air_pressure", exact(pressure / MBAR), inputs, notes)
    for condition in ("idle", "fast_idle", "full_load"):
        _air_mass(sheet, condition)
    sheet.difference("egr_error.idle", "egr_actual.idle", "egr_wanted.idle")
    wanted, made = sheet.read("boost_wanted.full_load"), sheet.read("manifold_pressure.full_load")
    sheet.difference("boost_shortfall.full_load", "boost_wanted.full_load", "manifold_pressure.full_load")
    if wanted and made:
        # the two columns belong to the round and are free of each other
        above = np.maximum(made + of_round("sensor", sheet.round.index) * sheet.error("manifold_pressure", made), 1)
        below = np.maximum(wanted + of_round("gauge", sheet.round.index) * sheet.error("boost_wanted", wanted), 1)
        ratio = np.asarray(air.boost_ratio(above, below))
        sheet.put("boost_ratio.full_load", ratio, ("manifold_pressure.full_load", "boost_wanted.full_load"))
    sheet.difference("manifold_zero_error", "manifold_pressure.key_on", "barometric_pressure")


@step
def _air_mass(sheet: Sheet, condition: str) -> None:
    slot = f"air_mass_flow.{condition}"
    read = air_read(sheet, condition)
    drawn = charge(sheet, condition)
    if read is None or drawn is None:
        return
    ratio = np.asarray(air.air_mass_ratio(np.maximum(read, 0.0) * 1e-3, drawn.mass_flow))
    odd = (*drawn.warnings, *outside(air.air_mass_ratio, result=ratio))
    sheet.put(f"air_mass_ratio.{condition}", ratio, (slot, *drawn.inputs), drawn.notes, odd)
    if condition == "idle":
        sheet.put_share("egr_share.idle", np.asarray(air.egr_share(ratio)), (slot, *drawn.inputs), drawn.notes, odd)
