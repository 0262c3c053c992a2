"""A fault in something a person wrote: where it stands, what was read and what would be right."""

from __future__ import annotations

import difflib
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass

_WORD = re.compile(r"[^\W_]+")
_SMALL = frozenset(("and", "the", "with", "for", "off", "from", "before", "after"))


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


def by_words(name: str, titles: Mapping[str, str], most: int = 3) -> list[str]:
    """Return the ids whose own words or title hold most words of ``name``, the best first; none where none does.

    A word counts from three letters on, and where it begins like one of the other side ("temp", "temperature").
    """
    said = [w for w in _WORD.findall(name.lower().replace("_", " ")) if len(w) > 2 and w not in _SMALL]
    if not said:
        return []

    def share(id_: str) -> float:
        there = _WORD.findall(f"{id_} {titles[id_]}".lower().replace("_", " "))
        hit = [w for w in said if any(t.startswith(w) or (len(t) > 3 and w.startswith(t)) for t in there)]
        return len(hit) / len(said) + (0.1 if any(w in id_ for w in hit) else 0.0)

    shares = {id_: share(id_) for id_ in titles}
    best = max(shares.values(), default=0.0)
    return [id_ for id_ in sorted(titles, key=lambda i: (-shares[i], i)) if shares[id_] >= max(best, 0.3)][:most]


def nearest(name: str, known: Iterable[str]) -> str:
    """Return " (did you mean 'x'?)" for the known name most like ``name``, or "" where none is near."""
    close = difflib.get_close_matches(str(name), sorted(known), n=1, cutoff=0.6)
    return f" (did you mean '{close[0]}'?)" if close else ""
