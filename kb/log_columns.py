"""What a recorded drive may hold (kb/log_columns.yaml), typed: channels, unit spellings, raw parameters."""

from __future__ import annotations

from functools import lru_cache
from pathlib import Path

from pydantic import Field, ValidationError

from kb.faults import Fault, Faults
from kb.model import Entry, Name, Slug, Text
from kb.yamlread import read_yaml

FILE = Path(__file__).with_name("log_columns.yaml")


class Span(Entry):
    """The least and most a cell may be, in the channel's unit; beyond them it is no measurement."""

    low: float
    high: float


class Channel(Entry):
    """One thing a logger can record.

    ``j1979`` is the unit the standard gives it in, taken where a column names none; "ask" means that the unit
    must be said. ``names`` are whole names, ``words`` phrases whose every word must begin a word of the name.
    """

    id: Name
    title: Text
    unit: str
    j1979: str = ""
    possible: Span | None = None
    names: list[str]
    words: list[str]
    never: list[str] = Field(default_factory=list)


class RawField(Entry):
    """One value inside the data bytes of a parameter: (number of ``bytes`` bytes) * scale + offset [unit]."""

    channel: Name
    first: int = Field(ge=1)
    bytes: int = Field(ge=1, le=2)
    scale: float = 1.0
    offset: float = 0.0
    unit: str
    delta: bool = False  # signed, and the sources differ in how: see inference/log/decode.py


class Parameter(Entry):
    """One parameter of mode 01 of SAE J1979 with the values used of it."""

    pid: str = Field(pattern=r"^[0-9A-F]{2}$")
    source: Slug
    fields: list[RawField]


class LogColumns(Entry):
    """The whole file."""

    channels: list[Channel]
    units: dict[str, list[str]]
    missing: list[str]
    on_words: list[str]
    off_words: list[str]
    parameters: list[Parameter]

    def channel(self, name: str) -> Channel | None:
        """Return the channel called ``name``, None if there is none."""
        return next((c for c in self.channels if c.id == name), None)


@lru_cache(maxsize=1)
def log_columns() -> LogColumns:
    """Return the checked file.

    Raises
    ------
    Faults : a key that is not known or missing, a raw field of no channel, a channel told twice
    """
    document = read_yaml(FILE, "kb/log_columns.yaml")
    try:
        out = LogColumns.model_validate(document.data)
    except ValidationError as error:
        places = [(".".join(str(p) for p in e["loc"]), str(e["msg"])) for e in error.errors()]
        raise Faults([Fault("kb/log_columns.yaml", document.line(p), p, says) for p, says in places]) from None
    ids = [c.id for c in out.channels]
    faults = [f"the channel '{i}' stands here twice" for i in sorted({i for i in ids if ids.count(i) > 1})]
    fields = [(p.pid, f.channel) for p in out.parameters for f in p.fields]
    faults += [f"parameter {pid} speaks of no known channel: '{c}'" for pid, c in fields if c not in ids]
    if faults:
        raise Faults([Fault("kb/log_columns.yaml", 0, "", says) for says in faults])
    return out
