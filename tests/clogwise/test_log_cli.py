"""``clogwise log`` as a person uses it."""

from __future__ import annotations

import io
import json
import subprocess
import sys
from contextlib import redirect_stderr, redirect_stdout
from pathlib import Path
from typing import NamedTuple

import numpy as np
import pytest

from bench.drive import Wish, as_csv, make
from bench.drive import main as drive_main
from clogwise.cli import main
from inference.read_case import read_case
from kb.model import Knowledge

CASE = """# the case of the test
case: made-up   # a name
vehicle: {engine_litres: 2.0}
filter: {type: coated, substrate: silicon carbide}
layout: differential_pressure_three_temperatures
rounds:
  - when: arrival
    date: 2026-03-02
    readings:
      gauge_pressure: {key_on: 0 mbar, idle: 9 mbar, fast_idle: 58 mbar}
"""
WISH = Wish(soot=5.0, burns=((30.0, 12.0),), fast_idle=((55.0, 1.0),), stops=((51.0, 2.0),), coolant=70.0)


@pytest.mark.parametrize(
    ("option", "value"), [("--soot", "-3"), ("--left", "3"), ("--minutes", "-5"), ("--lag", "nan")]
)
def test_a_drive_that_cannot_be_is_refused_in_one_sentence(
    option: str, value: str, monkeypatch: pytest.MonkeyPatch, capsys: pytest.CaptureFixture[str]
) -> None:
    monkeypatch.setattr("sys.argv", ["bench.drive", option, value])
    with pytest.raises(SystemExit):
        drive_main()
    assert f"error: {option}: {value} was given;" in capsys.readouterr().err


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    out = tmp_path_factory.mktemp("log")
    (out / "case.yaml").write_text(CASE, encoding="utf-8")
    (out / "drive.csv").write_text(as_csv(make(WISH)), encoding="utf-8")
    return out


class Said(NamedTuple):
    stdout: str
    stderr: str


def run(*words: object, code: int = 0) -> Said:
    """Run the program in this process, as its command line would."""
    out, err = io.StringIO(), io.StringIO()
    argv, status = sys.argv, 0
    sys.argv = ["clogwise", "log", *map(str, words)]
    try:
        with redirect_stdout(out), redirect_stderr(err):
            main()
    except SystemExit as left:
        status = int(left.code or 0)
    finally:
        sys.argv = argv
    assert status == code, out.getvalue() + err.getvalue()
    assert "Traceback" not in err.getvalue()
    return Said(out.getvalue(), err.getvalue())


def test_what_is_printed(folder: Path) -> None:
    said = " ".join(run(folder / "case.yaml", folder / "drive.csv").stdout.split())
    assert "3,600 rows over 60 minutes" in said
    assert "It went as it should: at most" in said
    assert "passes 450 °C after the filter within" in said
    assert "coolant_temperature: {road: 70 °C}" in said
    assert "the coolant never reached 80 °C; the most was 70 °C" in said
    assert "one trip of 59.7 minutes" in said


def test_the_printed_readings_can_be_copied_into_a_case(folder: Path, knowledge: Knowledge) -> None:
    lines = run(folder / "case.yaml", folder / "drive.csv").stdout.splitlines()
    block = lines[lines.index("readings:") :]
    block = [block[0], *[line for line in block[1:] if line.startswith("  ")]]
    path = folder / "copied.yaml"
    path.write_text("case: a\nrounds:\n  - when: arrival\n" + "\n".join("    " + b for b in block), encoding="utf-8")
    assert read_case(path, knowledge).rounds[0].number("coolant_temperature.road") == 70.0


def test_json_says_the_same(folder: Path) -> None:
    answer = json.loads(run(folder / "case.yaml", folder / "drive.csv", "--json").stdout)
    assert answer["readings"]["coolant_temperature"] == {"road": "70 °C"}
    assert [b["verdict"] for b in answer["burns"]] == ["as it should"]
    low, mid, high = answer["burns"][0]["foretold"]["until_450_c_min"]
    assert 0 < low < mid < high < 10
    assert answer["recording"]["rows"] == 3600
    assert all(n["says"] and "{" not in n["says"] for n in answer["notes"])


def test_a_new_case_with_a_round_more(folder: Path, knowledge: Knowledge) -> None:
    new = folder / "new.yaml"
    run(folder / "case.yaml", folder / "drive.csv", "-o", new, "--when", "after repair", "--date", "2026-03-09")
    assert new.read_text(encoding="utf-8").startswith(CASE)
    case = read_case(new, knowledge)
    assert [r.when for r in case.rounds] == ["arrival", "after repair"]
    assert "drive.csv" in case.rounds[1].notes
    assert case.rounds[1].number("exhaust_temperature_before_filter.burn") == pytest.approx(600, abs=3)
    assert (folder / "case.yaml").read_text(encoding="utf-8") == CASE


def test_into_the_latest_round(folder: Path, knowledge: Knowledge) -> None:
    new = folder / "latest.yaml"
    run(folder / "case.yaml", folder / "drive.csv", "-o", new, "--latest")
    case = read_case(new, knowledge)
    assert len(case.rounds) == 1
    assert case.rounds[0].number("gauge_pressure.idle") == 9
    assert case.rounds[0].number("coolant_temperature.road") == 70


def test_the_case_with_the_recording_can_be_judged(folder: Path) -> None:
    """The whole way: a cold engine seen on the road is found by the rules."""
    new = folder / "judged.yaml"
    run(folder / "case.yaml", folder / "drive.csv", "-o", new, "--latest")
    done = subprocess.run(
        [sys.executable, "-m", "clogwise", "why", str(new), "--json"], capture_output=True, text=True, check=True
    )
    states = {f["id"]: f["state"] for f in json.loads(done.stdout)["findings"]}
    assert states["engine_runs_cold"] == "holds"


@pytest.mark.parametrize(
    ("wish", "finding"),
    [
        (Wish(sensor_lag=8.0), "sensor_follows_late"),
        (Wish(sensor_sign=-1.0), "sensor_backwards"),
        (Wish(sensor_share=0.0), "sensor_flat"),
        (Wish(soot=9.0, sensor_ceiling=60.0), "sensor_stops_short"),
    ],
)
def test_a_sensor_that_lies_in_the_recording_is_found_by_the_rules(folder: Path, wish: Wish, finding: str) -> None:
    """No standing at 2,500 1/min and no gauge: only the line through the drive shows it."""
    (folder / "lies.csv").write_text(as_csv(make(wish)), encoding="utf-8")
    new = folder / f"{finding}.yaml"
    run(folder / "case.yaml", folder / "lies.csv", "-o", new)
    done = subprocess.run(
        [sys.executable, "-m", "clogwise", "why", str(new), "--json"], capture_output=True, text=True, check=True
    )
    states = {(f["id"], f["round"]): f["state"] for f in json.loads(done.stdout)["findings"]}
    assert states[finding, "follow-up"] == "holds"


def test_a_burn_broken_off_is_told_in_the_case_and_by_the_gate(folder: Path, knowledge: Knowledge) -> None:
    wish = Wish(soot=5.0, burns=((30.0, 15.0),), off=((36.0, 30.0),))
    (folder / "off.csv").write_text(as_csv(make(wish)), encoding="utf-8")
    new = folder / "off.yaml"
    run(folder / "case.yaml", folder / "off.csv", "-o", new)
    assert read_case(new, knowledge).rounds[-1].burn_completed == "no"
    done = subprocess.run([sys.executable, "-m", "clogwise", "gate", str(new)], capture_output=True, text=True)
    assert "ended early – it was broken off before the control unit ended it" in " ".join(done.stdout.split())


@pytest.mark.parametrize("ending", ["svg", "png"])
def test_the_picture_is_one_and_the_same_every_time(folder: Path, ending: str) -> None:
    first, second = folder / f"a.{ending}", folder / f"b.{ending}"
    for path in (first, second):
        run(folder / "case.yaml", folder / "drive.csv", "--picture", path)
    assert first.read_bytes() == second.read_bytes()
    assert first.read_bytes().startswith(b"\x89PNG" if ending == "png" else b"<?xml")
    assert first.stat().st_size > 20_000


def test_faults_are_sentences_and_nothing_is_written(folder: Path) -> None:
    case, drive = folder / "case.yaml", folder / "drive.csv"
    new = folder / "never.yaml"
    for words, says in (
        ((case, folder / "none.csv"), "no such file"),
        ((folder / "none.yaml", drive), "no such file"),
        ((case, drive, "--map", "pressure"), "names no column"),
        ((case, drive, "--map", "filter_presure=x"), "did you mean 'filter_pressure'"),
        ((case, drive, "--map", "filter_pressure=Ch 9", "-o", new), "no column 'Ch 9'"),
        ((case, drive, "-o", case), "name a new file"),
        ((case, drive, "-o", new, "--when", "later"), "is not one of"),
        ((case, drive, "-o", new, "--date", "9.3.2026"), "no date"),
        ((case, drive, "-o", new, "--date", "2025-01-01"), "date"),
        ((case, drive, "-o", folder / "no" / "such.yaml"), "no folder"),
        ((case, drive, "--picture", folder / "x.pdf"), "no picture format"),
        ((case, case), "no"),
    ):
        done = run(*words, code=2)
        assert says in done.stderr, (words, done.stderr)
    assert not new.exists()


def test_a_mapped_column(folder: Path) -> None:
    text = as_csv(make(WISH)).replace("DPF Differential Pressure (kPa)", "Channel 7")
    (folder / "odd.csv").write_text(text, encoding="utf-8")
    plain = json.loads(run(folder / "case.yaml", folder / "odd.csv", "--json").stdout)
    assert plain["fit"] is None
    assert "Channel 7" in plain["recording"]["unused"]
    words = ("--map", "filter_pressure=Channel 7 [kPa]", "--json")
    mapped = json.loads(run(folder / "case.yaml", folder / "odd.csv", *words).stdout)
    assert mapped["fit"]["rows"] > 500


def test_raw_bytes(folder: Path) -> None:
    """The same drive as raw answers of mode 01 gives the same pressure and temperatures, to the bytes' steps."""
    drive = make(WISH)
    c = drive.columns

    def word(values: np.ndarray) -> list[int]:
        return [int(x) % 65536 for x in np.round(values)]

    rpm, air = word(c["Engine RPM (rpm)"] * 4), word(c["Mass Air Flow (g/s)"] * 100)
    delta = word(c["DPF Differential Pressure (kPa)"] * 100)
    before = word((c["Exhaust Temperature Before Particulate Filter (°C)"] + 40) * 10)
    after = word((c["Exhaust Temperature After Particulate Filter (°C)"] + 40) * 10)
    lines = ["Time (s),PID 0C,PID 0D,0105,PID 10,7A (hex),PID 7C"]
    for i, t in enumerate(drive.time):
        speed, coolant = int(c["Vehicle Speed (km/h)"][i]), int(c["Engine Coolant Temperature (°C)"][i]) + 40
        lines.append(
            f"{t:g},{rpm[i]:04X},{speed:02X},41 05 {coolant:02X},{air[i]:04X},01{delta[i]:04X}00000000,"
            f"03{before[i]:04X}{after[i]:04X}00000000"
        )
    (folder / "raw.csv").write_text("\n".join(lines), encoding="utf-8")
    raw = json.loads(run(folder / "case.yaml", folder / "raw.csv", "--json").stdout)
    plain = json.loads(run(folder / "case.yaml", folder / "drive.csv", "--json").stdout)
    assert "delta_by_key_on" in {n["kind"] for n in raw["notes"]}
    for slot in ("coolant_temperature", "burn_duration"):
        assert raw["readings"][slot] == plain["readings"][slot]
    assert raw["readings"]["sensor_pressure"] == plain["readings"]["sensor_pressure"]
    assert raw["fit"]["slope_mbar_per_100_m3_h"][0] == pytest.approx(
        plain["fit"]["slope_mbar_per_100_m3_h"][0], rel=0.02
    )


def test_mdf_4(folder: Path) -> None:
    asammdf = pytest.importorskip("asammdf")
    drive = make(WISH)
    file = asammdf.MDF(version="4.10")
    signals = []
    for name, values in drive.columns.items():
        bare, unit = name.split(" (")
        # each signal with a raster of its own, as recorders do
        every = 1 if "Pressure" in bare else 2
        signals.append(
            asammdf.Signal(values[::every], timestamps=drive.time[::every] + 0.01 * every, name=bare, unit=unit[:-1])
        )
    for signal in signals:
        file.append([signal])
    path = folder / "drive.mf4"
    file.save(path, overwrite=True)
    file.close()
    mdf = json.loads(run(folder / "case.yaml", path, "--json").stdout)
    plain = json.loads(run(folder / "case.yaml", folder / "drive.csv", "--json").stdout)
    assert mdf["readings"]["coolant_temperature"] == plain["readings"]["coolant_temperature"]
    assert mdf["fit"]["slope_mbar_per_100_m3_h"][0] == pytest.approx(
        plain["fit"]["slope_mbar_per_100_m3_h"][0], rel=0.03
    )
    assert [b["verdict"] for b in mdf["burns"]] == ["as it should"]


def test_what_is_no_mdf(folder: Path) -> None:
    (folder / "bad.mf4").write_bytes(b"MDF     4.10    " + b"\0" * 200)
    assert "cannot be read as MDF 4" in run(folder / "case.yaml", folder / "bad.mf4", code=2).stderr
