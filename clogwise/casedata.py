"""A case as the plain data of its file, while it is being asked: one fact written or taken out at a time.

Whatever was said is judged by the code that reads case files, so what is kept can always be read again.
"""

from __future__ import annotations

import re
from copy import deepcopy
from dataclasses import dataclass, field
from typing import Any

from inference.case import Case
from inference.read_case import CASE_KEYS, parse_case
from kb.faults import Faults
from kb.model import Knowledge
from kb.yamlwrite import write_yaml

_NUMBER = re.compile(r"[-+]?\d+(\.\d+)?")
_CODE = re.compile(r"([A-Za-z][0-9A-Za-z]{4})(?:\s+(stored|pending|permanent))?")
TEXTS = ("complaint", "layout", "filter.type", "filter.substrate")  # written as they are said
_BETWEEN_CODES = re.compile(r"\s*[,;]\s*|\s+and\s+|\s+(?=[PBCUpbcu]\d)")
NONE_WORDS = ("none", "no", "[]")


class Unreadable(Exception):  # noqa: N818  named for what it is
    """What was said cannot be taken; ``says`` holds a sentence for each reason."""

    def __init__(self, says: list[str]) -> None:
        self.says = says
        super().__init__("\n".join(says))


@dataclass
class CaseData:
    """The data of one case file; the latest round is the one being asked."""

    data: dict[str, Any]
    knowledge: Knowledge
    file: str
    case: Case = field(init=False)

    def __post_init__(self) -> None:
        self.case = self._read(self.data)

    def known(self, slot: str) -> bool:
        """Whether the file says something of a fact, "unknown" included."""
        place, key = self._place(self.data, slot)
        value = place.get(key)
        name, _, condition = slot.partition(".")
        if name in self.knowledge.readings and isinstance(value, dict):
            return value.get(condition) is not None
        return key in place and (value is not None)

    def put(self, slot: str, text: str) -> None:
        """Write what was said of a fact.

        Raises
        ------
        Unreadable : it cannot be read; nothing is changed
        """
        new = deepcopy(self.data)
        place, key = self._place(new, slot)
        name, _, condition = slot.partition(".")
        value = self._value(slot, text)
        if name in self.knowledge.readings and condition:
            before = place.get(key)
            place[key] = {**(before if isinstance(before, dict) else {}), condition: value}
        else:
            place[key] = value
        try:
            self.case = self._read(new)
        except Faults as found:
            raise Unreadable([f.says for f in found.faults]) from None
        self.data = new

    def take_out(self, slot: str) -> None:
        """Take a fact out again; one that is not there is no fault."""
        new = deepcopy(self.data)
        place, key = self._place(new, slot)
        condition = slot.partition(".")[2]
        if slot.partition(".")[0] in self.knowledge.readings and isinstance(place.get(key), dict):
            place[key].pop(condition, None)
            if place[key]:
                key = ""
        place.pop(key, None)
        self.case = self._read(new)
        self.data = new

    def as_bytes(self) -> bytes:
        """Return the file's text; parts in which nothing stands are left out."""
        ordered = {key: self.data[key] for key in CASE_KEYS if key in self.data}
        return write_yaml(_without_empty(ordered))

    def _read(self, data: dict[str, Any]) -> Case:
        return parse_case(write_yaml(_without_empty(data)), self.file, self.knowledge)

    def _place(self, data: dict[str, Any], slot: str) -> tuple[dict[str, Any], str]:
        """Return the mapping a fact stands in, made if it is not there yet, and its key."""
        name, _, rest = slot.partition(".")
        if name in ("vehicle", "filter"):
            return _part(data, name), rest
        reading = self.knowledge.readings.get(name)
        if reading is not None and reading.group == "usage":
            return _part(data, "usage"), name
        if slot in ("complaint", "layout"):
            return data, slot
        round_: dict[str, Any] = data["rounds"][-1]
        if slot == "codes":
            return round_, slot
        if reading is not None:
            return _part(round_, "readings"), name
        return _part(round_, "answers"), slot

    def _value(self, slot: str, text: str) -> Any:
        if slot == "codes":
            parts = [] if text.lower() in NONE_WORDS else _BETWEEN_CODES.split(text)
            return [_code(part) for part in parts if part.strip()]
        if slot in TEXTS or slot in self.knowledge.questions:
            return {"y": "yes", "n": "no"}.get(text.lower(), text) if slot in self.knowledge.questions else text
        if _NUMBER.fullmatch(text):
            return float(text) if "." in text else int(text[:15])
        return text


def _code(part: str) -> Any:
    match = _CODE.fullmatch(part.strip())
    if match and match[2]:
        return {"code": match[1], "status": match[2]}
    return part.strip()


def _part(data: dict[str, Any], key: str) -> dict[str, Any]:
    if not isinstance(data.get(key), dict):
        data[key] = {}
    part: dict[str, Any] = data[key]
    return part


def _without_empty(data: Any) -> Any:
    """Leave out mappings in which nothing stands; an empty list stays, since codes: [] means read, none found."""
    if isinstance(data, dict):
        out = {k: _without_empty(v) for k, v in data.items()}
        return {k: v for k, v in out.items() if v != {} and v is not None}
    return [_without_empty(v) for v in data] if isinstance(data, list) else data
