"""Raw bytes of mode 01 (SAE J1979) to figures: one column of hex a parameter, several values in some of them.

Scalings stand in kb/log_columns.yaml with their sources. The pressure across the filter (parameter 7A) is signed,
and the sources differ in how: one takes 8000 hex as nought, memory of the standard says two's complement. With the
key on and the engine still it must read about nought, so whichever does is right.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
import polars as pl

from inference.log.notes import Note, note
from inference.physics.valid import Array
from kb.log_columns import Parameter, RawField, log_columns

KEY_ON_NOUGHT = 10.0  # mbar; a sound sensor reads within it with the engine still
HEADED = 0.9  # share of a column's cells that begin with an answer's head, if its cells have one
OFFSET_FORM = -327.68  # kPa, what raw nought means if 8000 hex is nought


@dataclass(frozen=True)
class Signed:
    """A value whose sign is not settled: read with 8000 hex as nought, and as two's complement [mbar]."""

    by_offset: Array
    by_complement: Array


def parameter(pid: str) -> Parameter:
    """Return the parameter ``pid``; StopIteration if it is not one of those used."""
    return next(p for p in log_columns().parameters if p.pid == pid)


def raw_numbers(cells: pl.Series, pid: str, field: RawField) -> Array:
    """Return the whole numbers behind one field of a column of raw bytes, NaN where a cell does not hold it.

    Parameters
    ----------
    cells : text such as "41 7A 07 80 12", "0x7B", "1AF8"; an answer's head (41 and the parameter) may stand before
    pid : the parameter
    field : which bytes
    """
    data = cells.str.to_uppercase().str.replace_all(r"0X|[\s:,.-]", "")
    rest = data.str.replace(rf"^.*?41{pid}", "")
    headed = data.str.contains(f"41{pid}", literal=True) & (rest.str.len_chars() >= 2 * (field.first + field.bytes - 1))
    if (
        float(np.asarray(headed.fill_null(False)).mean()) >= HEADED
    ):  # else the two bytes are data that look like an answer's head
        data = rest
    at, long = 2 * (field.first - 1), 2 * field.bytes
    piece = data.str.slice(at, long)
    whole = pl.select(
        pl.when((piece.str.len_chars() == long) & (data.str.len_chars() % 2 == 0)).then(piece).otherwise(None)
    ).to_series()
    return whole.str.to_integer(base=16, strict=False).cast(pl.Float64).to_numpy()


def scaled(raw: Array, field: RawField) -> Array:
    """Return the values [the field's unit]: raw * scale + offset."""
    return raw * field.scale + field.offset


def signed(raw: Array, field: RawField) -> Signed:
    """Return a signed two-byte value both ways [the field's unit]; see the module."""
    complement = np.where(raw >= 32768.0, raw - 65536.0, raw) * field.scale
    return Signed(raw * field.scale + OFFSET_FORM, complement)


def settle_sign(either: Signed, engine_speed: Array | None) -> tuple[Array, Note]:
    """Choose the form that reads nought with the key on; without such rows the one that is possible at all.

    Parameters
    ----------
    either : both readings [mbar]
    engine_speed : engine speed beside them [1/min], None if it was not recorded

    Returns
    -------
    pressure [mbar] and the sentence that says how it was settled
    """
    forms = {"offset": either.by_offset, "complement": either.by_complement}
    if engine_speed is not None:
        still = (engine_speed < 50) & np.isfinite(either.by_offset)
        if still.sum() >= 3:
            zeros = {name: float(np.median(values[still])) for name, values in forms.items()}
            best = min(zeros, key=lambda name: abs(zeros[name]))
            kind = "delta_by_key_on" if abs(zeros[best]) <= KEY_ON_NOUGHT else "delta_off_at_key_on"
            return forms[best], note(kind, form=best, zero=round(zeros[best], 2))
    typical = {name: float(np.nanmedian(np.abs(v))) if np.isfinite(v).any() else 0.0 for name, v in forms.items()}
    best = min(typical, key=lambda name: typical[name])
    return forms[best], note("delta_by_size", form=best)
