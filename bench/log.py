"""A recorded drive of a million rows: how long reading and summing it up take, and the most memory they need.

``python -m bench.log`` makes the recording in a folder of its own, runs the whole command's work in a fresh process and
prints seconds, rows a second and the peak of the resident memory; it fails above ten seconds or 500 MB.
"""

from __future__ import annotations

import json
import resource
import subprocess
import sys
import tempfile
import time
from pathlib import Path

ROWS = 1_000_000
STEP = 0.1  # s; 28 hours at ten rows a second
MOST_SECONDS, MOST_MB = 10.0, 500.0


def write(path: Path, rows: int = ROWS) -> None:
    """Write a drive of ``rows`` rows: fourteen columns, burns every two hours, stops every half hour."""
    import numpy as np
    import polars as pl

    from bench.drive import Wish, make

    minutes = rows * STEP / 60.0
    burns = tuple((float(at), 12.0) for at in range(60, int(minutes) - 60, 120))
    stops = tuple((float(at), 1.0) for at in range(25, int(minutes), 30))
    drive = make(Wish(minutes=minutes, step=STEP, burns=burns, stops=stops, soot_left=0.5))
    columns = {"Time (s)": np.round(drive.time, 2), **drive.columns}
    pl.DataFrame(columns).head(rows).write_csv(path)


def work(path: Path, case: Path) -> dict[str, float]:
    """Read and sum up the recording in this process; return seconds and the peak of its memory [MB]."""
    from inference.log.read import read_log
    from inference.log.summary import summarise
    from inference.read_case import read_case
    from kb.load import load

    knowledge = load()
    read = read_case(case, knowledge)
    began = time.perf_counter()
    log = read_log(path)
    reading = time.perf_counter() - began
    summary = summarise(log, read, knowledge)
    whole = time.perf_counter() - began
    peak = resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024.0
    return {"rows": log.rows, "burns": len(summary.burns), "read": reading, "whole": whole, "peak": peak}


def main(rows: int = ROWS) -> bool:
    """Make the recording, measure in a fresh process, print; return whether it kept within time and memory."""
    case = Path(__file__).parent.parent / "clogwise" / "demo.yaml"
    with tempfile.TemporaryDirectory() as folder:
        path = Path(folder) / "drive.csv"
        write(path, rows)
        size = path.stat().st_size / 1e6
        call = "import json, sys, pathlib, bench.log as b; print(json.dumps(b.work(*map(pathlib.Path, sys.argv[1:]))))"
        words = [sys.executable, "-c", call, str(path), str(case)]
        said = subprocess.run(words, stdout=subprocess.PIPE, text=True, check=True).stdout
    found: dict[str, float] = json.loads(said)
    print(f"{found['rows']:,.0f} rows, {size:.0f} MB of text, {found['burns']:.0f} burns found")
    print(f"read {found['read']:.1f} s, read and summed up {found['whole']:.1f} s, peak memory {found['peak']:.0f} MB")
    return found["whole"] < MOST_SECONDS and found["peak"] < MOST_MB


if __name__ == "__main__":
    sys.exit(0 if main() else 1)
