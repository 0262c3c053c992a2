"""YAML as people write it: only true and false are booleans, doubled keys are faults, lines are kept.

``yes``, ``no``, ``on`` and ``off`` stay words and a date stays a date's text, as in YAML 1.2. Anchors and
aliases are refused: none of our files needs them, and nested ones can blow a small file up to gigabytes.
"""

from __future__ import annotations

import math
import re
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import yaml

from kb.faults import Fault, Faults

MAX_BYTES = 2_000_000  # the largest honest file is a tenth of this; a recorded drive is not YAML
MAX_DEPTH = 40
MAX_FIGURES = 60  # Python refuses to read integers of some thousand figures with an error of its own

_Base: Any = getattr(yaml, "CSafeLoader", yaml.SafeLoader)  # the C reader is seven times faster


class _Reader(_Base):  # type: ignore[misc]
    pass


_Reader.yaml_implicit_resolvers = {}
for _tag, _pattern, _first in (
    ("tag:yaml.org,2002:bool", r"^(?:true|false|True|False)$", "tTfF"),
    ("tag:yaml.org,2002:null", r"^(?:~|null|Null|)$", ["~", "n", "N", ""]),
    ("tag:yaml.org,2002:int", r"^[-+]?(?:0|[1-9][0-9]*)$", "-+0123456789"),
    ("tag:yaml.org,2002:float", r"^[-+]?(?:[0-9]+\.[0-9]*|\.[0-9]+|[0-9]+)(?:[eE][-+]?[0-9]+)?$",
     "-+.0123456789"),
    ("tag:yaml.org,2002:float", r"^[-+]?\.(?:inf|Inf|nan|NaN)$", "-+."),
):  # fmt: skip
    _Reader.add_implicit_resolver(_tag, re.compile(_pattern), list(_first))


@dataclass
class Document:
    """What one YAML file says, with the line of every key and list item.

    Parameters
    ----------
    file : the file's name as the user gave it
    data : plain dicts, lists, strings, numbers, booleans and None
    lines : dotted path (``rules.3.when``) to line number, starting at 1
    """

    file: str
    data: Any
    lines: dict[str, int] = field(default_factory=dict)

    def line(self, path: str) -> int:
        """Return the line of ``path``, or of its nearest ancestor that has one."""
        while path and path not in self.lines:
            path = path.rpartition(".")[0]
        return self.lines.get(path, 1)

    def fault(self, path: str, says: str) -> Fault:
        return Fault(self.file, self.line(path), path, says)


def read_yaml(path: Path, shown: str | None = None) -> Document:
    """Read one YAML file.

    Raises
    ------
    Faults : the file is missing, no text, no YAML, has a doubled key, an alias, NaN, or is too large
    """
    name = shown or str(path)
    try:
        raw = path.read_bytes()
    except FileNotFoundError:
        raise Faults([Fault(name, 0, "", "there is no such file; check the path")]) from None
    except IsADirectoryError:
        raise Faults([Fault(name, 0, "", "this is a folder; a YAML file is wanted")]) from None
    except OSError as error:
        raise Faults([Fault(name, 0, "", f"cannot be read ({error.strerror})")]) from None
    return parse_yaml(raw, name)


def _plainly(problem: str) -> str:
    """Return what the reader found, in plain words where it is a usual slip."""
    if "cannot start any token" in problem:
        return "a character stands here that cannot begin a value; a tab where spaces belong, or a %, @ or ` bare"
    if "expected ',' or" in problem:
        return f"a bracket or brace is not closed, or a comma is missing before this ({problem})"
    return problem


def parse_yaml(raw: bytes, name: str) -> Document:
    """Turn the bytes of a YAML file into a :class:`Document`; see :func:`read_yaml` for the faults."""
    if len(raw) > MAX_BYTES:
        raise Faults([Fault(name, 0, "", f"is {len(raw)} bytes; at most {MAX_BYTES} are read")])
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError as error:
        says = f"byte {error.start} is not UTF-8 text; save the file as UTF-8 plain text"
        raise Faults([Fault(name, raw[: error.start].count(b"\n") + 1, "", says)]) from None
    if not text.strip():
        raise Faults([Fault(name, 0, "", "the file is empty")])
    reader = _Reader(text)
    try:
        node = reader.get_single_node()
        if node is None:
            raise Faults([Fault(name, 0, "", "the file says nothing (only comments)")])
        document = Document(name, None)
        faults: list[Fault] = []
        document.data = _plain(node, "", document, reader, faults, set())
    except yaml.MarkedYAMLError as error:
        mark = error.problem_mark
        says = f"is not YAML: {_plainly(str(error.problem))}"
        raise Faults([Fault(name, mark.line + 1 if mark else 0, "", says)]) from None
    except yaml.YAMLError as error:
        says = f"is not YAML text: {str(error).splitlines()[0]}"
        raise Faults([Fault(name, 0, "", says)]) from None
    except RecursionError:
        raise Faults([Fault(name, 0, "", f"is nested deeper than {MAX_DEPTH} levels")]) from None
    finally:
        reader.dispose()
    if faults:
        raise Faults(faults)
    return document


def _plain(node: Any, path: str, document: Document, reader: Any, faults: list[Fault], seen: set[int]) -> Any:
    line = node.start_mark.line + 1
    document.lines.setdefault(path, line)
    if id(node) in seen:  # the same node reached twice
        faults.append(Fault(document.file, line, path, "an alias (*name) stands here; write the value out"))
        return None
    seen.add(id(node))
    if path.count(".") > MAX_DEPTH:
        faults.append(Fault(document.file, line, path, f"is nested deeper than {MAX_DEPTH} levels"))
        return None
    if isinstance(node, yaml.MappingNode):
        out: dict[str, Any] = {}
        for key_node, value_node in node.value:
            if not isinstance(key_node, yaml.ScalarNode):
                says = "a key must be a plain word"
                faults.append(Fault(document.file, key_node.start_mark.line + 1, path, says))
                continue
            key = str(key_node.value)
            below = f"{path}.{key}" if path else key
            if key in out:
                says = f"the key '{key}' stands here twice; keep one"
                faults.append(Fault(document.file, key_node.start_mark.line + 1, below, says))
                continue
            document.lines[below] = key_node.start_mark.line + 1
            out[key] = _plain(value_node, below, document, reader, faults, seen)
        return out
    if isinstance(node, yaml.SequenceNode):
        return [
            _plain(item, f"{path}.{i}" if path else str(i), document, reader, faults, seen)
            for i, item in enumerate(node.value)
        ]
    if node.tag not in _SCALARS:
        faults.append(Fault(document.file, line, path, f"the tag {node.tag} is not taken; write a plain value"))
        return None
    if len(node.value) > MAX_FIGURES and node.tag.rpartition(":")[2] in ("int", "float"):
        says = f"'{node.value[:20]}…' has {len(node.value)} figures; no honest number has more than {MAX_FIGURES}"
        faults.append(Fault(document.file, line, path, says))
        return None
    value = reader.construct_object(node)
    if isinstance(value, float) and not math.isfinite(value):
        faults.append(Fault(document.file, line, path, f"'{node.value}' is no number; write a finite one"))
        return None
    return value


_SCALARS = {f"tag:yaml.org,2002:{kind}" for kind in ("str", "int", "float", "bool", "null")}
