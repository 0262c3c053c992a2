"""Reading one field of a YAML file at a time, keeping every fault instead of stopping at the first.

Each method takes the dotted path of the field and what stood there, and returns the value or None: with a
fault recorded where it could not be read, without one where nothing stood there.
"""

from __future__ import annotations

import difflib
import re
import unicodedata
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field
from datetime import date
from functools import lru_cache
from typing import Any, TypeVar

from inference.case import Quantity, YesNo
from kb.faults import Fault, by_words, nearest
from kb.model import Reading
from kb.other_words import in_words_of_titles
from kb.units import UnitError, number
from kb.yamlread import Document

W = TypeVar("W", bound=str)
MAX_TEXT = 2000  # characters of a complaint or note; more is a document, not a note
SEE_NAMES = " (clogwise names lists all)"
MAX_ITEMS = 500  # entries of one list; more is a recording, not a case
_ISO = re.compile(r"\d{4}-\d{2}-\d{2}")
_AFTER_A_COMMA = re.compile(r"^\d+\s*[^\d\s].*$|^\d+$")
# marks that turn the direction of writing or break lines unseen: they can make a text say what it does not
_UNSEEN = set("\u202a\u202b\u202c\u202d\u202e\u2066\u2067\u2068\u2069\u2028\u2029")


def shown(value: object) -> str:
    """Return what was read, short and without control characters, for a sentence about it."""
    kinds = {dict: "a set of keys", list: "a list", bool: str(value).lower(), type(None): "nothing"}
    text = kinds.get(type(value)) or str(value)
    clean = "".join(c if c.isprintable() else "?" for c in text[:61])
    quoted = clean if type(value) in kinds else f"'{clean[:60]}{'…' if len(text) > 60 else ''}'"
    return quoted


@lru_cache(maxsize=4096)
def limit(text: str, unit: str) -> float:
    """Return a limit written in readings.yaml as a number in ``unit``."""
    return number(text, unit)


@dataclass
class Fields:
    """The fields of one document, with the faults and warnings found so far."""

    doc: Document
    faults: list[Fault] = field(default_factory=list)
    warnings: list[Fault] = field(default_factory=list)

    def fault(self, path: str, says: str) -> None:
        self.faults.append(self.doc.fault(path, says))

    def warn(self, path: str, says: str) -> None:
        self.warnings.append(self.doc.fault(path, says))

    def mapping(
        self,
        path: str,
        value: Any,
        known: Collection[str],
        *,
        hints: Callable[[], Mapping[str, str]] = dict,
        titles: Callable[[], Mapping[str, str]] = dict,
    ) -> dict[str, Any]:
        """Return the known keys of a mapping; every other key is a fault that names the nearest known one.

        ``hints`` gives a better sentence for names that belong somewhere else; ``titles`` says what the known keys
        are, where a person may have written words of that. Both are asked for at an unknown key alone.
        """
        if value is None:
            return {}
        if not isinstance(value, dict):
            self.fault(path, f"{shown(value)} stands here; keys are wanted: {_some(list(known))}")
            return {}
        out: dict[str, Any] = {}
        previous = ""
        for key, inside in value.items():
            if key in known:
                out[key] = inside
                previous = key
                continue
            where = f"{path}.{key}" if path else key
            before = value.get(previous)
            if inside is None and _AFTER_A_COMMA.match(key) and isinstance(before, (int, str)) and previous:
                whole = f"{before}.{key}".replace("\n", " ")
                self.fault(where, f"a decimal comma splits a figure here; write '{previous}: {whole[:40]}'")
                out.pop(previous, None)
            elif key in (elsewhere := hints()):
                self.fault(where, elsewhere[key])
            else:
                called, keys = titles(), list(known)
                says = _by_title(str(key), called) or nearest(key, keys)
                says = says or f"; what may stand here: {_some(keys)}{SEE_NAMES if called else ''}"
                self.fault(where, f"the key {shown(key)} is not known here{says}")
        return out

    def listing(self, path: str, value: Any, what: str) -> list[Any]:
        """Return a list of at most :data:`MAX_ITEMS` entries."""
        if value is None:
            return []
        if not isinstance(value, list):
            self.fault(path, f"{shown(value)} stands here; a list of {what} is wanted")
            return []
        if len(value) > MAX_ITEMS:
            self.fault(path, f"{len(value)} entries stand here; at most {MAX_ITEMS} {what} are read")
            return []
        return value

    def text(self, path: str, value: Any, longest: int = MAX_TEXT, lines: bool = True) -> str:
        """Return a text without unseen characters; "" where nothing stood."""
        if value is None:
            return ""
        if isinstance(value, bool) or not isinstance(value, (str, int, float)):
            self.fault(path, f"{shown(value)} stands here; a text is wanted")
            return ""
        out = str(value).strip()
        if len(out) > longest:
            self.fault(path, f"the text has {len(out)} characters; at most {longest} are read")
            return ""
        allowed = "\n\t" if lines else ""
        for c in out:
            if c not in allowed and (unicodedata.category(c) in ("Cc", "Cs") or c in _UNSEEN):
                what = "a line break" if c == "\n" else f"the unseen character U+{ord(c):04X}"
                self.fault(path, f"{what} stands in the text; take it out")
                return ""
        return out

    def choice(self, path: str, value: Any, options: Sequence[W], *, unknown: bool = False) -> W | None:
        """Return one of ``options``, whatever the letter case; None for "unknown" where that is allowed."""
        if value is None:
            return None
        if isinstance(value, bool) or not isinstance(value, str):
            self.fault(path, f"{shown(value)} stands here; one of these is wanted: {', '.join(options)}")
            return None
        plain = _plain(value)
        if unknown and plain == "unknown":
            return None
        for option in options:
            if _plain(option) == plain:
                return option
        near = nearest(value.strip().lower(), options)
        self.fault(path, f"{shown(value)} is not one of {', '.join(options)}{near}")
        return None

    def yes_no(self, path: str, value: Any) -> YesNo:
        """Return yes, no or unknown; true and false are taken for yes and no."""
        if isinstance(value, bool):
            return "yes" if value else "no"
        options: tuple[YesNo, ...] = ("yes", "no", "unknown")
        return self.choice(path, value, options) or "unknown"

    def date(self, path: str, value: Any) -> date | None:
        """Return a day written year-month-day, between 1980 and 2100."""
        if value is None:
            return None
        text = str(value).strip()
        if isinstance(value, str) and _ISO.fullmatch(text):
            try:
                day = date.fromisoformat(text)
            except ValueError:
                self.fault(path, f"{shown(value)} is no day of the calendar")
                return None
            if 1980 <= day.year <= 2100:
                return day
            self.fault(path, f"{shown(value)} lies outside the years 1980 to 2100")
            return None
        self.fault(path, f"{shown(value)} is no date; write year-month-day, such as 2026-03-02")
        return None

    def quantity(self, path: str, value: Any, unit: str, low: float, high: float) -> Quantity | None:
        """Return a quantity in ``unit`` that lies from ``low`` to ``high``; beyond them is a fault."""
        if value is None:
            return None
        if isinstance(value, (dict, list)) or len(str(value)) > 80:
            wanted = "a bare number" if unit == "1" else f"a number with its unit, such as '12 {unit}',"
            self.fault(path, f"{shown(value)} stands here; {wanted} is wanted")
            return None
        try:
            found = number(value, unit)
        except UnitError as error:
            self.fault(path, "".join(c if c.isprintable() else "?" for c in str(error)))
            return None
        if not low <= found <= high:
            worth = "" if unit == "1" or str(value).endswith(unit) else f" ({found:g} {unit})"
            span = _span(low, high, unit)
            self.fault(path, f"{shown(value)}{worth} cannot be true: possible is {span}; check figure and unit")
            return None
        return Quantity(found, unit, str(value).strip(), self.doc.line(path))

    def reading(self, path: str, value: Any, what: Reading, condition: str) -> Quantity | None:
        """Return one reading: outside ``possible`` is a fault, outside ``usual`` a warning."""
        low, high = limit(what.possible.low, what.unit), limit(what.possible.high, what.unit)
        found = self.quantity(path, value, what.unit, low, high)
        usual = what.usual.get(condition) or what.usual.get("any")
        if found is not None and usual is not None:
            least, most = limit(usual.low, what.unit), limit(usual.high, what.unit)
            if not least <= found.value <= most:
                says = f"{shown(found.given)} is unusual: mostly it is {_span(least, most, what.unit)}; check it"
                self.warn(path, says)
        return found


def _plain(word: str) -> str:
    return " ".join(word.replace("_", " ").replace("-", " ").lower().split())


def _span(low: float, high: float, unit: str) -> str:
    return f"{low:g} to {high:g}{'' if unit == '1' else ' ' + unit}"


def _by_title(key: str, titles: Mapping[str, str]) -> str:
    """Return " (did you mean ...?)" for the keys whose words ``key`` uses, each with what it is."""
    if key in titles or not titles or difflib.get_close_matches(key, titles, n=1, cutoff=0.8):
        return ""
    found = "; ".join(f"'{id_}' ({titles[id_]})" for id_ in by_words(in_words_of_titles(key), titles))
    return f"; did you mean {found}?{SEE_NAMES}" if found else ""


def _some(keys: Sequence[str]) -> str:
    return ", ".join(keys[:12]) + (f" and {len(keys) - 12} more" if len(keys) > 12 else "")
