"""Readings of a recording as YAML a technician can keep, and put into a case's text without losing a letter of it.

The text of the case is added to, never written anew: comments, order and spacing stay. What comes out is read back and
compared with what should stand there before anyone is given it.
"""

from __future__ import annotations

import copy
from collections.abc import Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any

import yaml

from inference.case import When
from inference.log.summary import Summary
from inference.log.taken import Taken
from kb.faults import Fault, Faults
from kb.yamlread import parse_yaml

Tree = dict[str, Any]
STEP = "  "


@dataclass(frozen=True)
class Merged:
    """A case's new text, and the readings that stood there already and were left as they were."""

    text: bytes
    kept: tuple[str, ...]


def nested(readings: Sequence[Taken]) -> Tree:
    """Return readings as they stand in a case: by name, and by condition where they have one."""
    out: Tree = {}
    for taken in readings:
        name, _, condition = taken.slot.partition(".")
        value: Any = taken.plain
        if condition:
            out.setdefault(name, {})[condition] = value
        else:
            out[name] = value
    return out


def readings_block(readings: Sequence[Taken], indent: str = "") -> str:
    """Return the readings as YAML lines, ``readings:`` first."""
    lines = [f"{indent}readings:"]
    for name, value in nested(readings).items():
        lines.append(f"{indent}{STEP}{name}: {_flow(value)}")
    return "\n".join(lines) + "\n"


def _flow(value: Any) -> str:
    if isinstance(value, dict):
        return "{" + ", ".join(f"{k}: {_flow(v)}" for k, v in value.items()) + "}"
    return str(value)


def burn_completed(summary: Summary) -> str | None:
    """Return "no" where the recording shows the engine switched off in its last burn; else None, it cannot tell."""
    last = summary.burns[-1] if summary.burns else None
    return "no" if last is not None and last.ended == "engine switched off" else None


def with_round(
    raw: bytes, name: str, readings: Sequence[Taken], source: str, when: When, day: date | None,
    completed: str | None = None,
) -> Merged:  # fmt: skip
    """Return the case with one more round that holds the readings.

    Parameters
    ----------
    raw, name : the case's file
    source : sentence that names the recording
    when : what the round is for
    day : its date, None if not known
    completed : what the recording says of the burn before the round, None if nothing

    Raises
    ------
    Faults : the file is no case that a round can be added to
    """
    case = _Text(raw, name)
    rounds = case.find("rounds")
    new: Tree = {"when": when}
    if day is not None:
        new["date"] = day.isoformat()
    if completed is not None:
        new["burn_completed"] = completed
    new |= {"notes": source, "readings": nested(readings)}
    if not isinstance(rounds, yaml.SequenceNode) or not rounds.value:
        raise Faults([Fault(name, 0, "rounds", "the case has no list of rounds to add to")])
    if rounds.flow_style:
        parts = ", ".join(f"{k}: {_quoted(v) if k == 'notes' else _flow(v)}" for k, v in new.items())
        case.into_flow(rounds, "{" + parts + "}")
    else:
        dash = " " * rounds.start_mark.column
        lines = [f"{dash}- when: {when}"]
        if day is not None:
            lines.append(f"{dash}{STEP}date: {day.isoformat()}")
        if completed is not None:
            lines.append(f"{dash}{STEP}burn_completed: {completed}")
        lines.append(f"{dash}{STEP}notes: {_quoted(source)}")
        case.after(rounds, "\n".join(lines) + "\n" + readings_block(readings, dash + STEP))
    wanted = copy.deepcopy(case.data)
    wanted["rounds"] = [*wanted["rounds"], new]
    return Merged(case.finish(wanted), ())


def into_latest(
    raw: bytes, name: str, readings: Sequence[Taken], source: str, completed: str | None = None
) -> Merged:  # fmt: skip
    """Return the case with the readings in its latest round; what stands there already is left as it is.

    Raises
    ------
    Faults : the file is no case whose latest round can be added to
    """
    case = _Text(raw, name)
    rounds = case.find("rounds")
    if not isinstance(rounds, yaml.SequenceNode) or not rounds.value:
        raise Faults([Fault(name, 0, "rounds", "the case has no list of rounds to add to")])
    latest = rounds.value[-1]
    wanted = copy.deepcopy(case.data)
    held = wanted["rounds"][-1]
    if not isinstance(latest, yaml.MappingNode) or not isinstance(held, dict):
        raise Faults([Fault(name, 0, "rounds", "the latest round is not a set of keys")])
    fresh, kept = _fresh(held.get("readings") or {}, readings)
    if fresh and not held.get("notes") and "notes" not in held:
        held["notes"] = source
        case.into_mapping(latest, "notes", _quoted(source))
    if fresh and completed is not None and "burn_completed" not in held:
        held["burn_completed"] = completed
        case.into_mapping(latest, "burn_completed", completed)
    there = _value(latest, "readings")
    if fresh and there is None:
        case.into_mapping(latest, "readings", _flow(nested(fresh)), readings_block(fresh, "{indent}"))
        held["readings"] = nested(fresh)
    elif fresh and not (isinstance(there, yaml.MappingNode) and there.value):
        line = there.start_mark.line + 1 if there else 0
        raise Faults([Fault(name, line, "readings", "nothing stands here; take the line out")])
    elif fresh and isinstance(there, yaml.MappingNode):
        for reading, value in nested(fresh).items():
            stands = _value(there, reading)
            if stands is None:
                case.into_mapping(there, reading, _flow(value))
                held["readings"][reading] = value
            elif isinstance(stands, yaml.MappingNode):
                for condition, figure in value.items():
                    case.into_mapping(stands, condition, figure)
                    held["readings"][reading][condition] = figure
    return Merged(case.finish(wanted), kept)


def _fresh(held: Tree, readings: Sequence[Taken]) -> tuple[list[Taken], tuple[str, ...]]:
    """Part the readings into those that may be added and the slots that hold something already."""
    fresh, kept = [], []
    for taken in readings:
        name, _, condition = taken.slot.partition(".")
        stands = held.get(name)
        more = bool(condition) and isinstance(stands, dict) and bool(stands) and condition not in stands
        if name not in held or more:
            fresh.append(taken)
        else:
            kept.append(taken.slot)
    return fresh, tuple(kept)


def _quoted(text: str) -> str:
    return '"' + text.replace("\\", "\\\\").replace('"', '\\"') + '"'


def _value(mapping: yaml.MappingNode, key: str) -> yaml.Node | None:
    return next((v for k, v in mapping.value if k.value == key), None)


class _Text:
    """A YAML text with places to add to, by the marks of its nodes."""

    def __init__(self, raw: bytes, name: str) -> None:
        self.name = name
        self.data: Tree = parse_yaml(raw, name).data
        self.bom = b"\xef\xbb\xbf" if raw.startswith(b"\xef\xbb\xbf") else b""
        text = raw.decode("utf-8-sig")
        self.newline = "\r\n" if "\r\n" in text else "\n"
        self.text = text if text.endswith(("\n", "\r")) else text + self.newline
        self.root = yaml.compose(self.text, Loader=yaml.SafeLoader)
        self.lines = [0]
        for line in self.text.splitlines(keepends=True):
            self.lines.append(self.lines[-1] + len(line))
        self.opened: list[yaml.Node] = []  # flow lists and mappings that got an entry
        self.added: list[tuple[int, int, int, str]] = []  # place, rank there, order, text

    def find(self, key: str) -> yaml.Node | None:
        return _value(self.root, key) if isinstance(self.root, yaml.MappingNode) else None

    def _end(self, node: yaml.Node) -> int:
        """Where the line after the last line of ``node`` begins."""
        last = node
        while isinstance(last, (yaml.MappingNode, yaml.SequenceNode)) and not last.flow_style and last.value:
            last = last.value[-1][1] if isinstance(last, yaml.MappingNode) else last.value[-1]
        mark = last.end_mark
        line = mark.line if mark.column == 0 and mark.line > last.start_mark.line else mark.line + 1
        while line > 0 and not self.text[self.lines[line - 1] : self.lines[line]].strip():
            line -= 1  # empty lines stay behind what is added
        return self.lines[min(line, len(self.lines) - 1)]

    def after(self, node: yaml.Node, text: str) -> None:
        # of what goes to one place, the deepest goes first: it closes the innermost mapping
        self.added.append((self._end(node), -node.start_mark.column, len(self.added), text.replace("\n", self.newline)))

    def into_flow(self, node: yaml.CollectionNode, text: str) -> None:
        """Add an entry before the closing bracket of a flow list or mapping."""
        close = node.end_mark.index - 1
        inside = self.text[node.start_mark.index + 1 : close].rstrip()
        closed = inside.endswith(",") and node not in self.opened  # a comma stands there already
        comma = "" if (not inside.strip() and node not in self.opened) or closed else ", "
        self.opened.append(node)
        place = node.start_mark.index + 1 + len(inside)
        if "#" in inside.rpartition("\n")[2]:
            place = close  # a comment may stand on the last line: never behind it
        self.added.append((place, 0, len(self.added), comma + (" " if closed else "") + text))

    def into_mapping(self, node: yaml.MappingNode, key: str, value: str, block: str = "") -> None:
        """Add ``key: value`` to a mapping; ``block`` replaces it where the mapping is written line by line."""
        if node.flow_style:
            self.into_flow(node, f"{key}: {value}")
            return
        indent = " " * node.start_mark.column
        self.after(node, block.replace("{indent}", indent) if block else f"{indent}{key}: {value}\n")

    def finish(self, wanted: Tree) -> bytes:
        """Return the new text, once it has been read back and says what it should.

        Raises
        ------
        Faults : it would not; the case is written in a way that cannot be added to
        """
        text = self.text
        for place, _, _, added in sorted(self.added, reverse=True):
            text = text[:place] + added + text[place:]
        raw = self.bom + text.encode("utf-8")
        says = "is written in a way that readings cannot be added to; copy the printed readings into it by hand"
        try:
            same = parse_yaml(raw, self.name).data == wanted
        except Faults:
            same = False
        if not same:
            raise Faults([Fault(self.name, 0, "", says)])
        return raw
