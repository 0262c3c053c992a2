"""Raw bytes of SAE J1979 mode 01 against two open libraries.

Parameters 04 to 5C: decoded by the python-OBD library itself (package ``obd``), byte pattern by byte pattern.
Parameters 66 to 7C: against the scalings that the scapy library documents (contrib/automotive/obd/pid, source
open-parameter-table), written out here by hand. 9E's scaling is from memory and is not checked.
"""

from __future__ import annotations

import random
from typing import Any

import numpy as np
import polars as pl
import pytest

from inference.log import decode
from kb.log_columns import RawField, log_columns
from kb.units import registry

BY_LIBRARY = ("04", "05", "0B", "0C", "0D", "0F", "10", "1F", "2C", "2D", "2F", "33", "42", "46", "5C")


def ours(pid: str, field: RawField, cells: list[str]) -> list[float]:
    raw = decode.raw_numbers(pl.Series(cells), pid, field)
    return [float(x) for x in decode.scaled(raw, field)]


def library(pid: str, data: bytes) -> tuple[float, str]:
    """What the library makes of an answer to ``01 pid`` with these data bytes."""
    import obd
    from obd.protocols.protocol import Frame, Message

    command = next(c for c in obd.commands[1] if c is not None and c.pid == int(pid, 16))
    message = Message([Frame("")])
    message.data = bytearray([0x41, int(pid, 16), *data])
    value: Any = command.decode([message])
    return float(value.magnitude), str(value.units)


def in_unit(value: float, unit: str, wanted: str) -> float:
    if unit == wanted or (unit, wanted) in (("percent", "%"), ("revolutions_per_minute", "1/min"), ("volt", "V")):
        return value
    known = {"degree_Celsius": "°C", "kilopascal": "kPa", "kilometer / hour": "km/h", "kph": "km/h", "gps": "g/s",
             "second": "s", "grams_per_second": "g/s", "millivolt": "mV"}  # fmt: skip
    meant = known.get(unit, unit)
    if meant == wanted:
        return value
    return float(registry().Quantity(value, meant).to(wanted).magnitude)


@pytest.mark.parametrize("pid", BY_LIBRARY)
def test_as_the_obd_library_decodes(pid: str) -> None:
    (field,) = decode.parameter(pid).fields
    rng = random.Random(pid)
    edges = [bytes([b] * field.bytes) for b in (0x00, 0x01, 0x7F, 0x80, 0xFF)]
    patterns = edges + [bytes(rng.randrange(256) for _ in range(field.bytes)) for _ in range(200)]
    cells = [p.hex().upper() for p in patterns]
    for pattern, got in zip(patterns, ours(pid, field, cells), strict=True):
        value, unit = library(pid, pattern)
        assert got == pytest.approx(in_unit(value, unit, field.unit), rel=1e-12, abs=1e-9), pattern.hex()


# scapy: pids_60_7F.py. (parameter, data bytes, channel, value in the unit of the field)
BY_TABLE = [
    ("66", "03 0C 80 00 00", "air_mass_flow", 3200 * 0.03125),
    ("67", "03 7B 00", "coolant_temperature", 0x7B - 40),
    ("68", "03 3C 00 00 00 00 00", "intake_air_temperature", 0x3C - 40),
    ("69", "07 33 4D 80 00 00 00", "egr_wanted", 0x33 * 100 / 255),
    ("69", "07 33 4D 80 00 00 00", "egr_actual", 0x4D * 100 / 255),
    ("69", "07 33 4D 80 00 00 00", "egr_error", (0x80 - 128) * 100 / 128),
    ("70", "03 12 C0 11 94 00 00 00 00", "boost_wanted", 4800 * 0.03125),
    ("70", "03 12 C0 11 94 00 00 00 00", "manifold_pressure", 4500 * 0.03125),
    ("78", "07 0E A6 12 34 1F 40 00 00", "exhaust_temperature_1", 0x0EA6 / 10 - 40),
    ("78", "07 0E A6 12 34 1F 40 00 00", "exhaust_temperature_2", 0x1234 / 10 - 40),
    ("78", "07 0E A6 12 34 1F 40 00 00", "exhaust_temperature_3", 0x1F40 / 10 - 40),
    ("7A", "07 01 F4 2A F8 29 04", "filter_pressure_before", 11000 * 0.01),
    ("7A", "07 01 F4 2A F8 29 04", "filter_pressure_after", 10500 * 0.01),
    ("7C", "03 19 00 18 00 00 00 00 00", "exhaust_temperature_before_filter", 0x1900 / 10 - 40),
    ("7C", "03 19 00 18 00 00 00 00 00", "exhaust_temperature_after_filter", 0x1800 / 10 - 40),
]


@pytest.mark.parametrize(("pid", "data", "channel", "value"), BY_TABLE)
def test_as_the_open_table_of_newer_parameters_has_it(pid: str, data: str, channel: str, value: float) -> None:
    field = next(f for f in decode.parameter(pid).fields if f.channel == channel)
    assert ours(pid, field, [data])[0] == pytest.approx(value, abs=1e-9)


def test_the_two_tables_agree_where_they_tell_the_same_thing() -> None:
    """10 and 66, 05 and 67, 0F and 68, 2C and 69, 0B and 70 speak of the same quantity in different steps."""
    for old, new in (("10", "66"), ("05", "67"), ("0F", "68"), ("2C", "69"), ("0B", "70")):
        first = decode.parameter(old).fields[0]
        second = next(f for f in decode.parameter(new).fields if f.channel == first.channel)
        assert second.unit == first.unit
        assert second.offset == first.offset


@pytest.mark.parametrize(
    "cell", ["0x7B", "7b", " 7B ", "41 05 7B", "41057B", "0x41 0x05 0x7B", "7E8 03 41 05 7B", "7E803 41057B"]
)
def test_however_the_bytes_are_written(cell: str) -> None:
    (field,) = decode.parameter("05").fields
    assert ours("05", field, [cell]) == [0x7B - 40]


def test_data_that_look_like_a_head_are_data() -> None:
    (field,) = decode.parameter("0C").fields
    assert ours("0C", field, ["410C"]) == [0x410C / 4]  # 4,163 1/min, no head: nothing would stand behind it
    cells = ["0741 7A 2AF82904"] + ["07 01 F4 2A F8 29 04"] * 20
    assert decode.raw_numbers(pl.Series(cells), "7A", DELTA)[0] == 0x417A


@pytest.mark.parametrize("cell", ["", "NO DATA", "7", "XY", "SEARCHING..."])
def test_what_are_no_bytes_is_not_known(cell: str) -> None:
    (field,) = decode.parameter("0C").fields
    assert np.isnan(ours("0C", field, [cell])[0])


# ---- the pressure across the filter: two readings of its sign ------------------------------------------------

DELTA = next(f for f in decode.parameter("7A").fields if f.delta)


def delta(raws: list[int]) -> decode.Signed:
    numbers = np.array(raws, dtype=float)
    either = decode.signed(numbers, DELTA)
    return decode.Signed(either.by_offset * 10.0, either.by_complement * 10.0)


def test_offset_form_as_the_open_table_has_it() -> None:
    """scapy: offset -327.68 kPa, so raw 33268 is 5.00 kPa (worked by hand: 33268 / 100 - 327.68)."""
    assert delta([33268]).by_offset[0] == pytest.approx(50.0, abs=1e-9)


def test_complement_form_is_two_s_complement() -> None:
    for raw in (0, 1, 500, 32767, 32768, 65535, 65036):
        wanted = int.from_bytes(raw.to_bytes(2, "big"), "big", signed=True) * 0.01 * 10.0
        assert delta([raw]).by_complement[0] == pytest.approx(wanted, abs=1e-9)


@pytest.mark.parametrize(("nought", "form"), [(0x8000, "offset"), (0x0000, "complement"), (0xFFFE, "complement")])
def test_key_on_and_engine_still_settles_the_sign(nought: int, form: str) -> None:
    raws = [nought] * 10 + [(nought + 500) % 65536] * 50
    speed = np.array([0.0] * 10 + [800.0] * 50)
    pressure, told = decode.settle_sign(delta(raws), speed)
    assert told.kind == "delta_by_key_on"
    assert told.slots["form"] == form
    assert pressure[-1] - pressure[0] == pytest.approx(50.0)
    assert abs(pressure[0]) < 1.0


def test_without_key_on_only_one_form_is_possible_and_it_is_said_that_nothing_proves_it() -> None:
    for nought, form in ((0x8000, "offset"), (0x0000, "complement")):
        pressure, told = decode.settle_sign(delta([nought + 300] * 20), None)
        assert told.kind == "delta_by_size"
        assert told.slots["form"] == form
        assert pressure[0] == pytest.approx(30.0)


def test_a_sensor_off_at_nought_is_said_to_be_off() -> None:
    raws = [0x8000 + 250] * 10 + [0x8000 + 700] * 50
    _, told = decode.settle_sign(delta(raws), np.array([0.0] * 10 + [800.0] * 50))
    assert told.kind == "delta_off_at_key_on"
    assert told.slots["zero"] == 25.0


def test_every_parameter_used_is_checked_here_or_marked_as_remembered() -> None:
    checked = {*BY_LIBRARY, *(row[0] for row in BY_TABLE)}
    assert {p.pid for p in log_columns().parameters if p.source != "from-memory"} == checked
