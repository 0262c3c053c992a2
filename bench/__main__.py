"""``make bench``: every speed benchmark, one after another."""

from __future__ import annotations

import subprocess
import sys

BENCHES = ("why", "engine", "belief", "questions", "plan", "log")

for name in BENCHES:
    print(f"--- bench.{name}", flush=True)
    if subprocess.run([sys.executable, "-m", f"bench.{name}"], check=False).returncode:
        print(f"bench.{name} missed its aim or failed")
