"""A drive made to order and read back, for the tests of recorded drives."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path
from tempfile import TemporaryDirectory

from bench.drive import Wish, as_csv, make
from inference.log.drive import Drive, on_grid
from inference.log.read import Log, read_log


@lru_cache(maxsize=64)
def recorded(wish: Wish) -> Log:
    """Write the drive as CSV and read it, as a user would."""
    with TemporaryDirectory() as folder:
        path = Path(folder) / "drive.csv"
        path.write_text(as_csv(make(wish)), encoding="utf-8")
        return read_log(path)


def gridded(wish: Wish) -> Drive:
    """The same, on its grid of a second."""
    return on_grid(recorded(wish))
