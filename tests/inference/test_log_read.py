"""Recordings as loggers write them: whatever the delimiter, decimal sign, encoding or clock, the same drive is read."""

from __future__ import annotations

import random
from collections.abc import Callable
from contextlib import suppress
from datetime import date
from pathlib import Path

import numpy as np
import pytest

from bench.drive import Drive, Wish, as_csv, make
from inference.log.read import Log, read_log
from kb.faults import Faults

DRIVE = make(Wish(minutes=6.0))
PLAIN = as_csv(DRIVE)


def read(folder: Path, text: str | bytes, mapping: dict[str, str] | None = None, name: str = "drive.csv") -> Log:
    path = folder / name
    path.write_bytes(text if isinstance(text, bytes) else text.encode("utf-8"))
    return read_log(path, mapping)


def kinds(log: Log) -> set[str]:
    return {n.kind for n in log.notes}


def same(log: Log, drive: Drive = DRIVE, within: float = 0.06) -> None:
    """The pressure is the one that was written [kPa to mbar], and the time runs from nought."""
    wanted = drive.columns["DPF Differential Pressure (kPa)"] * 10
    assert log.rows == drive.time.size
    assert log.channels["filter_pressure"] == pytest.approx(wanted, abs=within)
    assert log.time == pytest.approx(drive.time - drive.time[0], abs=1e-6)


def clock(seconds: float, form: str) -> str:
    whole = 9 * 3600 + int(seconds)
    hour, minute, second = whole // 3600, whole // 60 % 60, whole % 60
    return form.format(h=hour, m=minute, s=second, h12=(hour - 1) % 12 + 1, half="PM" if hour >= 12 else "AM")


def with_time(write: Callable[[float], str], name: str = "Time", delimiter: str = ",") -> str:
    lines = as_csv(DRIVE, delimiter).splitlines()
    out = [delimiter.join([name, *lines[0].split(delimiter)[1:]])]
    for stamp, line in zip(DRIVE.time.tolist(), lines[1:], strict=True):
        out.append(write(stamp) + delimiter + line.split(delimiter, 1)[1])
    return "\n".join(out) + "\n"


@pytest.mark.parametrize("encoding", ["utf-8", "utf-8-sig", "utf-16", "utf-16-le", "utf-16-be", "cp1252"])
@pytest.mark.parametrize(("delimiter", "comma"), [(",", False), (";", False), (";", True), ("\t", True), ("|", False)])
def test_any_encoding_delimiter_and_decimal_sign(tmp_path: Path, encoding: str, delimiter: str, comma: bool) -> None:
    same(read(tmp_path, as_csv(DRIVE, delimiter, comma).encode(encoding)))


@pytest.mark.parametrize("newline", ["\n", "\r\n", "\r"])
def test_any_line_ending(tmp_path: Path, newline: str) -> None:
    same(read(tmp_path, PLAIN.replace("\n", newline)))


@pytest.mark.parametrize(
    ("name", "write"),
    [
        ("Time (ms)", lambda t: f"{t * 1000:.0f}"),
        ("Time", lambda t: f"{t * 1000:.0f}"),  # the unit is told by the step
        ("Time [min]", lambda t: f"{t / 60:.8f}"),
        ("Timestamp", lambda t: f"{1_767_600_000 + t:.3f}"),  # seconds since 1970
        ("Timestamp", lambda t: f"{1_767_600_000_000 + t * 1000:.0f}"),
        ("Time", lambda t: clock(t, "{h:02}:{m:02}:{s:02}")),
        ("Time", lambda t: clock(t, "{h:02}:{m:02}:{s:02}.000")),
        ("Time", lambda t: clock(t, "{h12}:{m:02}:{s:02} {half}")),
        ("Time", lambda t: clock(t, "2026-02-03T{h:02}:{m:02}:{s:02}Z")),
        ("Date Time", lambda t: clock(t, "2026-02-03 {h:02}:{m:02}:{s:02}+01:00")),
        ("Zeit", lambda t: clock(t, "03.02.2026 {h:02}:{m:02}:{s:02}")),
        ("Time", lambda t: clock(t, "02/03/2026 {h12}:{m:02}:{s:02} {half}")),
        ("Elapsed time", lambda t: f"{int(t) // 60}:{t % 60:04.1f}"),
    ],
)
def test_any_clock(tmp_path: Path, name: str, write: Callable[[float], str]) -> None:
    same(read(tmp_path, with_time(write, name)))


def test_day_is_told_by_a_dated_clock(tmp_path: Path) -> None:
    log = read(tmp_path, with_time(lambda t: clock(t, "2026-02-03 {h:02}:{m:02}:{s:02}")))
    assert log.day == date(2026, 2, 3)


def test_day_and_month_that_cannot_be_told_apart_give_no_day(tmp_path: Path) -> None:
    log = read(tmp_path, with_time(lambda t: clock(t, "02/03/2026 {h:02}:{m:02}:{s:02}")))
    assert log.day is None
    assert "day_and_month_unsure" in kinds(log)


def test_date_and_time_in_two_columns(tmp_path: Path) -> None:
    text = with_time(lambda t: clock(t, "2026-02-03,{h:02}:{m:02}:{s:02}"), "Date,Time")
    log = read(tmp_path, text)
    same(log)
    assert log.day == date(2026, 2, 3)


def test_a_drive_over_midnight_goes_on(tmp_path: Path) -> None:
    def late(stamp: float) -> str:
        whole = (23 * 3600 + 57 * 60 + int(stamp)) % 86400
        return f"{whole // 3600:02}:{whole // 60 % 60:02}:{whole % 60:02}"

    same(read(tmp_path, with_time(late)))


def test_header_after_a_preamble_with_a_row_of_units(tmp_path: Path) -> None:
    lines = PLAIN.splitlines()
    names = [n.split(" (")[0] for n in lines[0].split(",")]
    units = [n.split(" (")[1].rstrip(")") for n in lines[0].split(",")]
    top = ["Recorder export", "Vehicle: estate, test drive", "", ",".join(names), ",".join(units)]
    same(read(tmp_path, "\n".join([*top, *lines[1:]]) + "\n"))


def test_spreadsheet_line_that_names_the_delimiter(tmp_path: Path) -> None:
    same(read(tmp_path, "sep=;\n" + as_csv(DRIVE, ";")))


def test_pressure_in_another_unit(tmp_path: Path) -> None:
    header = PLAIN.splitlines()[0]
    name = "DPF Differential Pressure (kPa)"
    log = read(tmp_path, PLAIN.replace(header, header.replace(name, "DPF Differential Pressure [psi]")))
    wanted = DRIVE.columns[name] * 68.94757  # 1 psi is 68.94757 mbar (the international pound and inch)
    assert log.channels["filter_pressure"] == pytest.approx(wanted, rel=1e-5, abs=1e-3)


def test_pressure_without_a_unit_is_asked_for(tmp_path: Path) -> None:
    log = read(tmp_path, PLAIN.replace("DPF Differential Pressure (kPa)", "DPF Differential Pressure"))
    assert "filter_pressure" not in log.channels
    assert "unit_not_said" in kinds(log)
    said = read(
        tmp_path,
        PLAIN.replace("DPF Differential Pressure (kPa)", "DPF Differential Pressure"),
        {"filter_pressure": "DPF Differential Pressure [kPa]"},
    )
    same(said)


def test_a_column_of_any_name_is_mapped(tmp_path: Path) -> None:
    text = PLAIN.replace("DPF Differential Pressure (kPa)", "Ch 7 [kPa]")
    assert "filter_pressure" not in read(tmp_path, text).channels
    same(read(tmp_path, text, {"filter_pressure": "Ch 7 [kPa]"}))
    same(read(tmp_path, text, {"filter_pressure": "ch 7 [kPa]"}))


def test_a_thermometer_without_a_unit_that_can_only_be_fahrenheit(tmp_path: Path) -> None:
    hot = [("Time", "Coolant temperature"), *((str(t), str(190 + t % 3)) for t in range(60))]
    log = read(tmp_path, "\n".join(",".join(row) for row in hot))
    assert log.channels["coolant_temperature"][0] == pytest.approx((190 - 32) * 5 / 9, abs=0.01)


def test_text_in_cells_is_told_and_the_rest_is_read(tmp_path: Path) -> None:
    lines = PLAIN.splitlines()
    cells = lines[50].split(",")
    cells[3] = "ERROR"
    lines[50] = ",".join(cells)
    cells = lines[60].split(",")
    cells[3] = "19 °C"
    lines[60] = ",".join(cells)
    log = read(tmp_path, "\n".join(lines))
    told = [n.slots for n in log.notes if n.kind == "text_in_cells"]
    assert [(t["count"], t["example"]) for t in told] == [(1, "error")]
    assert np.isnan(log.channels["coolant_temperature"][49])
    assert log.channels["coolant_temperature"][59] == 19.0


def test_codes_for_no_data_are_left_out(tmp_path: Path) -> None:
    lines = PLAIN.splitlines()
    for i in (30, 31):
        cells = lines[i].split(",")
        cells[10] = "6513.5"
        lines[i] = ",".join(cells)
    log = read(tmp_path, "\n".join(lines))
    assert next(n.slots["count"] for n in log.notes if n.kind == "impossible") == 2
    assert np.isnan(log.channels["exhaust_temperature_before_catalyst"][29:31]).all()


def test_rows_out_of_order_are_put_in_their_place(tmp_path: Path) -> None:
    lines = PLAIN.splitlines()
    lines[100:104] = [lines[103], lines[101], lines[100], lines[102]]
    lines[200], lines[201] = lines[201], lines[200]
    log = read(tmp_path, "\n".join(lines))
    same(log)
    assert "rows_out_of_order" in kinds(log)
    assert "restarts" not in kinds(log)


def test_rows_with_the_newest_first_are_turned_round(tmp_path: Path) -> None:
    head, *body = PLAIN.splitlines()
    log = read(tmp_path, "\n".join([head, *body[::-1]]))
    same(log)
    assert "rows_newest_first" in kinds(log)
    assert "restarts" not in kinds(log)


def test_a_logger_started_again_parts_two_drives(tmp_path: Path) -> None:
    body = PLAIN.splitlines()
    log = read(tmp_path, "\n".join([*body, *body]))  # the header stands again in the middle
    assert log.rows == 2 * DRIVE.time.size
    assert next(n.slots["count"] for n in log.notes if n.kind == "restarts") == 1
    assert log.segment[0] == 0
    assert log.segment[-1] == 1
    assert (np.diff(log.time) >= 0).all()


def test_doubled_stamps_and_gaps_are_told(tmp_path: Path) -> None:
    lines = PLAIN.splitlines()
    text = "\n".join([*lines[:50], lines[49], *lines[50:120], *lines[240:]])
    log = read(tmp_path, text)
    assert log.rows == DRIVE.time.size - 120
    assert next(n.slots["count"] for n in log.notes if n.kind == "stamps_doubled") == 1
    gap = next(n.slots for n in log.notes if n.kind == "gaps")
    assert gap["longest"] == 121
    assert log.segment[-1] == 1  # two minutes part two drives


def test_several_rows_in_each_second_are_spread(tmp_path: Path) -> None:
    fine = make(Wish(minutes=2.0, step=0.25))
    text = as_csv(fine).splitlines()
    rows = [f"{int(float(line.split(',', 1)[0]))},{line.split(',', 1)[1]}" for line in text[1:]]
    log = read(tmp_path, "\n".join([text[0], *rows]))
    assert log.rows == fine.time.size
    assert "stamps_coarse" in kinds(log)
    assert log.time == pytest.approx(fine.time, abs=1e-6)


def test_channels_asked_for_in_turn_stand_until_the_next(tmp_path: Path) -> None:
    from inference.log.drive import on_grid

    lines = PLAIN.splitlines()
    width = len(lines[0].split(","))
    sparse = [lines[0]]
    for i, line in enumerate(lines[1:]):
        cells = line.split(",")
        sparse.append(",".join(c if j == 0 or j == 1 + i % (width - 1) else "" for j, c in enumerate(cells)))
    drive = on_grid(read(tmp_path, "\n".join(sparse)))
    assert np.isfinite(drive.channels["engine_speed"][width:]).mean() > 0.9


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("", "empty"),
        ("\n \n", "empty"),
        ("hello\nworld\n", "no table"),
        ("1,2\n3,4\n5,6\n", "columns have no names"),
        ("Engine RPM,Coolant Temperature\n800,80\n", "no column looks like a time"),
        ("Time,Mood\n1,2\n2,3\n", "no column but the time"),
        ("Time,Engine RPM\n", "no rows of figures"),
        ("Time,Engine RPM\n1,800\n2,810\n", "at least ten"),
        ("Time,Engine RPM\n" + "soon,800\n" * 20, "is no time"),
        ("Time,Engine RPM,Coolant Temperature (°C)\n" + "1,0,800,5,80,1\n" * 30, "decimals"),
        (b"PK\x03\x04xxxx", "spreadsheet"),
        (b"\x00\x01\x02\x03" * 20, "no text"),
    ],
)
def test_what_is_no_recording_is_told_in_one_sentence(tmp_path: Path, text: str | bytes, says: str) -> None:
    with pytest.raises(Faults) as found:
        read(tmp_path, text)
    assert says in str(found.value)
    assert len(found.value.faults) == 1


def test_rows_shuffled_altogether_are_no_recording(tmp_path: Path) -> None:
    drive = make(Wish(minutes=400.0))
    lines = as_csv(drive).splitlines()
    body = lines[1:]
    random.Random(1).shuffle(body)
    with pytest.raises(Faults, match="runs backwards"):
        read(tmp_path, "\n".join([lines[0], *body]))


def test_no_file_and_a_folder(tmp_path: Path) -> None:
    with pytest.raises(Faults, match="no such file"):
        read_log(tmp_path / "none.csv")
    with pytest.raises(Faults, match="folder"):
        read_log(tmp_path)


@pytest.mark.parametrize(("mapping", "says"), [({"mood": "Ch 7"}, "no channel 'mood'"),
                                               ({"filter_pressure": "Ch 8"}, "no column 'Ch 8'"),
                                               ({"filter_pressure": "Ch 7 [g/s]"}, "no unit")])  # fmt: skip
def test_a_mapping_that_fits_nothing(tmp_path: Path, mapping: dict[str, str], says: str) -> None:
    text = PLAIN.replace("DPF Differential Pressure (kPa)", "Ch 7")
    with pytest.raises(Faults, match=says.replace("[", r"\[")):
        read(tmp_path, text, mapping)


def test_anything_at_all_ends_in_a_sentence_or_a_recording(tmp_path: Path) -> None:
    rng = random.Random(7)
    raw = PLAIN.encode()
    for turn in range(60):
        piece = bytearray(raw[: rng.randrange(200, 8000)])
        for _ in range(rng.randrange(1, 60)):
            at = rng.randrange(len(piece))
            kind = rng.randrange(3)
            if kind == 0:
                piece[at] = rng.randrange(1, 256)
            elif kind == 1:
                del piece[at : at + rng.randrange(1, 30)]
            else:
                piece[at:at] = rng.choice([b'"', b",", b"\n", b";", b"\t", b"nan", b"\xff", b"1e400", b"-"])
            if len(piece) < 10:
                break
        with suppress(Faults):
            log = read(tmp_path, bytes(piece), name=f"{turn}.csv")
            assert (np.diff(log.time) >= 0).all()


def test_a_stray_quote_swallows_no_rows(tmp_path: Path) -> None:
    lines = PLAIN.splitlines()
    lines[40] = lines[40] + '"'
    lines[90] = '"' + lines[90]
    log = read(tmp_path, "\n".join(lines) + "\n")
    assert log.rows == DRIVE.time.size


def test_quoted_cells(tmp_path: Path) -> None:
    lines = [",".join(f'"{c}"' for c in line.split(",")) for line in as_csv(DRIVE).splitlines()]
    same(read(tmp_path, "\n".join(lines)))
    commas = [",".join(f'"{c}"' for c in line.split(";")) for line in as_csv(DRIVE, ";", True).splitlines()]
    same(read(tmp_path, "\n".join(commas)))


@pytest.mark.parametrize("with_unit", [False, True])
def test_one_figure_a_row(tmp_path: Path, with_unit: bool) -> None:
    rows = ["Time (s),Name,Value" + (",Unit" if with_unit else "")]
    for i, stamp in enumerate(DRIVE.time.tolist()):
        for j, (name, values) in enumerate(DRIVE.columns.items()):
            bare, unit = name.split(" (")
            if i % (1 + j % 3) == 0:  # some are asked for less often
                figure = f"{stamp:g},{bare if with_unit else name},{values[i]:.6g}"
                rows.append(figure + ("," + unit.rstrip(")") if with_unit else ""))
    log = read(tmp_path, "\n".join(rows))
    same(log, within=0.06)
    assert log.channels["air_mass_flow"][300] == pytest.approx(
        DRIVE.columns["Mass Air Flow (g/s)"][300 - 300 % 3], 1e-4
    )


def test_one_figure_a_row_of_nothing_known(tmp_path: Path) -> None:
    with pytest.raises(Faults, match="none of the names"):
        read(tmp_path, "Time,Name,Value\n" + "".join(f"{i},Mood,{i}\n" for i in range(30)))
