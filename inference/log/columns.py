"""Which column is what: names of SAE J1979 and their kin, units in the name or in a row of their own, a mapping."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

from kb.faults import Fault, Faults, nearest
from kb.log_columns import Channel, LogColumns, log_columns
from kb.units import factor

_BRACKETED = re.compile(r"^(?P<name>.*?)\s*[\[({<]\s*(?P<unit>[^\])}>]*?)\s*[\])}>]\s*$")
_CAMEL = re.compile(r"(?<=[a-zäöüß])(?=[A-Z])")
_PARTS = re.compile(r"[^\w]+|_", re.UNICODE)
_NUMBERED = re.compile(r"\b(bank|sensor|filter|dpf|outlet|group)\s+(\d)\b")
_PID = re.compile(r"^(?:(?:mode|service)\s*)?(?:0?1[\s:x_-]*)?(?:pid\s*)?(?:0x)?(?P<pid>[0-9a-f]{2})$")
_RAW_WORD = re.compile(r"\b(?:hex|raw|bytes?|data|pid)\b", re.IGNORECASE)
TIME_FACTORS = {"s": 1.0, "ms": 1e-3, "us": 1e-6, "min": 60.0, "h": 3600.0}


@dataclass(frozen=True)
class Column:
    """A column that was recognised.

    Parameters
    ----------
    place : which column, from 0
    name : its name in the file
    channel : what it is (id in kb/log_columns.yaml); "raw" for raw bytes
    unit : unit it is in, as kb/units.py knows it; "" where it is not said
    said : whether the unit was said by the file or the user
    pid : parameter of raw bytes, "" otherwise
    mapped : whether the user named it
    """

    place: int
    name: str
    channel: str
    unit: str = ""
    said: bool = False
    pid: str = ""
    mapped: bool = False


def recognise(
    header: Sequence[str], units: Sequence[str] = (), mapping: Mapping[str, str] | None = None, where: str = "--map"
) -> tuple[list[Column], list[Column]]:
    """Return the columns that are used, one a channel, and those that were recognised but stand back for them.

    Parameters
    ----------
    header : names of the columns
    units : the row of units under them, or nothing
    mapping : channel -> name of a column, a unit in brackets behind it if wanted ("Ch 7 [mbar]")

    Raises
    ------
    Faults : a mapping that names no channel or no column
    """
    known = log_columns()
    mapped = _mapped(header, units, mapping or {}, where, known)
    taken = {c.place for c in mapped}
    found = []
    for place, name in enumerate(header):
        if place not in taken and (column := _column(place, name, units, known)) is not None:
            found.append(column)
    used: dict[str, Column] = {c.channel: c for c in mapped}
    spare = []
    for column in found:
        key = f"raw {column.pid}" if column.channel == "raw" else column.channel
        if key in used:
            spare.append(column)
        else:
            used[key] = column
    return sorted(used.values(), key=lambda c: c.place), spare


def count_known(header: Sequence[str]) -> int:
    """Return how many of these cells are names of channels: what tells a header from anything else."""
    known = log_columns()
    return len({c.channel + c.pid for i, n in enumerate(header) if (c := _column(i, n, (), known)) is not None})


def is_unit(cell: str) -> bool:
    """Say whether a cell is the spelling of a unit and nothing else."""
    inside = _BRACKETED.match(cell.strip())
    return unit_of(inside["unit"] if inside and not inside["name"] else cell) != ""


def unit_of(spelled: str) -> str:
    """Return the unit a spelling means, "" for none."""
    return _spellings().get(" ".join(spelled.strip().lower().split()), "")


@lru_cache(maxsize=1)
def _spellings() -> dict[str, str]:
    return {spelled: unit for unit, all_ in log_columns().units.items() for spelled in (*all_, unit.lower())}


def _mapped(
    header: Sequence[str], units: Sequence[str], mapping: Mapping[str, str], where: str, known: LogColumns
) -> list[Column]:
    out, faults = [], []
    plain = {_plain(n): i for i, n in reversed(list(enumerate(header)))}
    ids = [c.id for c in known.channels]
    for channel, wanted in mapping.items():
        entry = known.channel(channel)
        if entry is None:
            says = f"there is no channel '{channel}'{nearest(channel, ids) or '; known are ' + ', '.join(ids)}"
            faults.append(Fault(where, 0, "", says))
            continue
        unit, place = "", plain.get(_plain(wanted))
        if place is None and (inside := _BRACKETED.match(wanted)):
            place, unit = plain.get(_plain(inside["name"])), unit_of(inside["unit"])
            if place is None:  # the file's own name has a unit too, and another one was asked for
                place = next((i for i, n in enumerate(header) if _plain(_split(n)[0]) == _plain(inside["name"])), None)
            if place is not None and not _fits(unit, entry):
                says = f"'{inside['unit']}' is no unit of {entry.title}; {entry.unit or 'none'} would be one"
                faults.append(Fault(where, 0, channel, says))
                continue
        if place is None:
            near = nearest(wanted, header) or f"; its columns are {', '.join(h for h in header if h)}"
            faults.append(Fault(where, 0, channel, f"the recording has no column '{wanted}'{near}"))
            continue
        own = _own_unit(header[place], place, units, entry)
        out.append(Column(place, header[place].strip(), channel, unit or own, bool(unit or own), mapped=True))
    if faults:
        raise Faults(faults)
    return out


def _own_unit(name: str, place: int, units: Sequence[str], entry: Channel) -> str:
    in_row = unit_of(_inner(units[place])) if place < len(units) else ""
    for unit in (in_row, _split(name)[1], _last_word_unit(name)):
        if unit and _fits(unit, entry):
            return unit
    return ""


def _inner(cell: str) -> str:
    inside = _BRACKETED.match(cell.strip())
    return inside["unit"] if inside and not inside["name"] else cell


def _column(place: int, name: str, units: Sequence[str], known: LogColumns) -> Column | None:
    name = name.strip().strip("\ufeff\"'").strip()
    if not name:
        return None
    bare, _ = _split(name)
    for text in dict.fromkeys((bare, _without_last(bare))):
        entry = _entry(text)
        if entry is not None:
            unit = _own_unit(name, place, units, entry)
            if text != bare and not unit:
                continue  # the word taken off was no unit after all
            return Column(place, name, entry.id, unit, bool(unit))
    raw = _raw(name, known)
    return replace(raw, place=place) if raw else None


def _raw(name: str, known: LogColumns) -> Column | None:
    """A column of raw bytes: "PID 7A", "01 0C", "0105", "0x7A", "7A (hex)"."""
    bare = " ".join(_RAW_WORD.sub(" ", re.sub(r"[\[({<})\]>_]", " ", name.lower())).split())
    match = _PID.match(bare)
    if match is None or (bare == match["pid"] == name.strip().lower() and not re.search(r"[a-f]", bare)):
        return None  # a bare "10" may be anything; "PID 10" or "0110" is a parameter
    pid = match["pid"].upper()
    return Column(0, name, "raw", "", True, pid) if any(p.pid == pid for p in known.parameters) else None


@lru_cache(maxsize=4096)
def _entry(text: str) -> Channel | None:
    """The channel a name stands for: by its whole name, else by the phrase with the most words."""
    plain = _plain(text)
    tokens = plain.split()
    if not tokens:
        return None
    best: tuple[int, int, Channel] | None = None
    for order, entry in enumerate(log_columns().channels):
        if plain in (_plain(n) for n in entry.names):
            return entry
        if any(t.startswith(word) if len(word) > 3 else t == word for word in entry.never for t in tokens):
            continue
        for phrase in entry.words:
            words = _plain(phrase).split()
            if all(_begins(w, tokens) for w in words) and (best is None or len(words) > best[0]):
                best = (len(words), order, entry)
    return best[2] if best else None


def _begins(word: str, tokens: Sequence[str]) -> bool:
    """Say whether a word begins one of the name's words or stands in a compound noun; a short one must be it."""
    if len(word) <= 3 or word[-1].isdigit():
        return word in tokens
    return any(t.startswith(word) or (len(t) >= 10 and word in t) for t in tokens)


def _plain(name: str) -> str:
    name = _CAMEL.sub(" ", name.strip().strip("\ufeff\"'"))
    spaced = " ".join(_PARTS.sub(" ", name).lower().split())
    return _NUMBERED.sub(r"\1\2", spaced)


def _split(name: str) -> tuple[str, str]:
    """Return the name without the unit in brackets, and the unit as we know it ("" for none)."""
    inside = _BRACKETED.match(name.strip())
    if inside and inside["name"]:
        unit = unit_of(inside["unit"])
        return (inside["name"], unit) if unit or not inside["unit"] else (name, "")
    return name.strip(), ""


def _without_last(name: str) -> str:
    """The name without its last word, which may be a unit ("ECT_degC", "Speed km/h", "Druck in mbar")."""
    cut = re.sub(r"(?:\s+in)?[\s_,;/]+[^\s_,;]+$", "", name.strip())
    return cut


def _last_word_unit(name: str) -> str:
    bare, _ = _split(name)
    cut = _without_last(bare)
    rest = bare[len(cut) :].strip(" _,;")
    return unit_of(re.sub(r"^in\s+", "", rest)) if rest and cut else ""


def _fits(unit: str, entry: Channel) -> bool:
    if entry.id in ("time", "date"):
        return unit in TIME_FACTORS
    return bool(unit) and entry.unit != "flag" and factor(unit, entry.unit) is not None
