"""A fault in something a person wrote: where it stands, what was read and what would be right."""

from __future__ import annotations

import difflib
from collections.abc import Iterable
from dataclasses import dataclass


@dataclass(frozen=True, order=True)
class Fault:
    """One thing that is wrong in one place of one file.

    Parameters
    ----------
    file : name of the file as the user gave it
    line : line in the file, 0 where there is none
    field : dotted path of the field, "" where there is none
    says : one sentence: what was read and what would be right
    """

    file: str
    line: int
    field: str
    says: str

    def __str__(self) -> str:
        place = f"{self.file}:{self.line}" if self.line else self.file
        return f"{place}: {self.field}: {self.says}" if self.field else f"{place}: {self.says}"


class Faults(Exception):  # noqa: N818  a plural, since all faults of a file are told at once
    """All faults found in what the user supplied, sorted by file and line."""

    def __init__(self, faults: Iterable[Fault]) -> None:
        self.faults = sorted(set(faults))
        super().__init__("\n".join(str(f) for f in self.faults))


def nearest(name: str, known: Iterable[str]) -> str:
    """Return " (did you mean 'x'?)" for the known name most like ``name``, or "" where none is near."""
    close = difflib.get_close_matches(str(name), sorted(known), n=1, cutoff=0.6)
    return f" (did you mean '{close[0]}'?)" if close else ""
