"""What both papers share: text made fit to print, with a note of the letters that no font here has; and the logo."""

from __future__ import annotations

import unicodedata
from collections.abc import Mapping
from typing import Any

from explain.letters import clean, printable
from explain.words import say

NAMED = 8  # letters named in the note; the rest are counted


class Printer:
    """Makes text fit for paper and remembers the letters that could not be printed."""

    def __init__(self) -> None:
        self.lost: dict[str, None] = {}

    def fit(self, value: Any) -> Any:
        """Return data with every text in it cleaned, and with a sign for each letter that no font here has.

        Pictures (keys ``svg`` and ``sign``) stay as they are; their letters were measured when they were drawn.
        """
        if isinstance(value, str):
            told, lost = printable(clean(value))
            self.lost |= dict.fromkeys(lost)
            return told
        if isinstance(value, Mapping):
            return {k: v if k in ("svg", "sign", "logo") else self.fit(v) for k, v in value.items()}
        if isinstance(value, (list, tuple)):
            return [self.fit(v) for v in value]
        return value

    @property
    def note(self) -> str:
        """Say which letters are missing on the page; empty where none is."""
        if not self.lost:
            return ""
        names = [f"U+{ord(c):04X} {unicodedata.name(c, '').lower()}".strip() for c in list(self.lost)[:NAMED]]
        more = len(self.lost) - NAMED
        return say("paper.lost", letters=", ".join(names) + (say("paper.lost_more", count=more) if more > 0 else ""))


def cut(text: str, most: int) -> str:
    """Return what a person wrote, cut where it would push the rest off the page; it says that it was cut."""
    whole = clean(text)
    if len(whole) <= most:
        return whole
    kept = clean(whole, most)
    return say("paper.cut", kept=kept, count=len(whole) - len(kept) + 1)
