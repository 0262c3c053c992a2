"""Read all knowledge files at once, tell every fault in every file, and hand out one ``Knowledge``.

``load()`` is what programs call: it keeps the compiled knowledge in a cache keyed by the files' content, since
parsing and checking half a megabyte of YAML takes longer than a whole diagnosis. ``read_all`` does the work.
"""

from __future__ import annotations

import hashlib
import os
import pickle
import sys
import tempfile
from collections.abc import Iterable, Iterator
from contextlib import suppress
from functools import lru_cache
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from kb import model, units
from kb.codes import expand_families
from kb.faults import Fault, Faults, nearest
from kb.references import check_references
from kb.yamlread import Document, read_yaml

HOME = Path(__file__).parent
E = TypeVar("E", bound=model.Entry)

# file -> (key in the file, or "" where the file is one list; model; field that identifies an entry)
LISTS: dict[str, tuple[str, str, type[model.Entry], str]] = {
    "sources": ("sources.yaml", "", model.Source, "id"),
    "readings": ("readings.yaml", "", model.Reading, "id"),
    "derived": ("derived.yaml", "", model.Derived, "id"),
    "questions": ("questions.yaml", "", model.Question, "id"),
    "code_groups": ("codes.yaml", "code_groups", model.CodeGroup, "id"),
    "findings": ("findings.yaml", "", model.Finding, "id"),
    "causes": ("causes.yaml", "", model.Cause, "id"),
    "tests": ("tests.yaml", "", model.ServiceTest, "id"),
    "remedies": ("remedies.yaml", "", model.Remedy, "id"),
    "cautions": ("cautions.yaml", "", model.Caution, "id"),
    "filter_types": ("filters.yaml", "filter_types", model.FilterType, "id"),
    "substrates": ("filters.yaml", "substrates", model.Substrate, "id"),
    "layouts": ("layouts.yaml", "", model.Layout, "id"),
    "effects": ("effects.yaml", "", model.Effect, "id"),
}


def knowledge_files(home: Path = HOME) -> list[Path]:
    """Return every knowledge file below ``home``, in a fixed order."""
    return sorted(home.glob("*.yaml")) + sorted((home / "rules").glob("*.yaml"))


def content_hash(files: Iterable[Path]) -> str:
    """Return a hash of the files' names and bytes: the version of the knowledge a result was made with."""
    digest = hashlib.sha256()
    for path in files:
        digest.update(path.name.encode() + b"\0" + path.read_bytes() + b"\0")
    return digest.hexdigest()[:16]


@lru_cache(maxsize=4)
def load(home: Path = HOME) -> model.Knowledge:
    """Return the checked knowledge below ``home``, from the cache where its files have not changed.

    Raises
    ------
    Faults : every fault of every file
    """
    files = knowledge_files(home)
    key = content_hash([*files, *sorted(HOME.glob("*.py"))])
    cached = _cache_folder() / f"knowledge-{key}-{sys.version_info[0]}{sys.version_info[1]}.pickle"
    with suppress(Exception):  # an unreadable cache is no fault of anyone's: the files are read again
        factors, knowledge = pickle.loads(cached.read_bytes())
        if isinstance(knowledge, model.Knowledge):
            units.remember(factors)
            return knowledge
    knowledge = read_all(home)
    _keep(cached, (units.usual_factors(), knowledge))
    return knowledge


def _cache_folder() -> Path:
    base = os.environ.get("CLOGWISE_CACHE") or os.environ.get("XDG_CACHE_HOME") or os.environ.get("LOCALAPPDATA")
    return Path(base) / "clogwise" if base else Path.home() / ".cache" / "clogwise"


def _keep(path: Path, what: object) -> None:
    """Write the cache whole or not at all; a folder that cannot be written only costs time."""
    with suppress(OSError):
        path.parent.mkdir(parents=True, exist_ok=True, mode=0o700)
        handle, name = tempfile.mkstemp(dir=path.parent)
        with os.fdopen(handle, "wb") as out:
            pickle.dump(what, out, protocol=pickle.HIGHEST_PROTOCOL)
        os.replace(name, path)
        for old in path.parent.glob("knowledge-*.pickle"):
            if old != path and old.stat().st_mtime < path.stat().st_mtime - 7 * 86400:
                old.unlink()


def read_all(home: Path = HOME) -> model.Knowledge:
    """Read and check every file; raise ``Faults`` with all that is wrong, sorted by file and line."""
    faults: list[Fault] = []
    places: dict[str, str] = {}
    documents: dict[str, Document] = {}

    def document(name: str) -> Document | None:
        if name not in documents:
            try:
                documents[name] = read_yaml(home / name, f"kb/{name}")
            except Faults as found:
                faults.extend(found.faults)
                documents[name] = Document(f"kb/{name}", None)
        return documents[name] if documents[name].data is not None else None

    tables: dict[str, dict[str, Any]] = {}
    for table, (name, key, kind, id_field) in LISTS.items():
        tables[table] = {}
        if (doc := document(name)) is not None:
            _fill(tables[table], table, doc, key, kind, id_field, faults, places)
    tables["codes"] = {}
    if (doc := document("codes.yaml")) is not None:
        _fill(tables["codes"], "codes", doc, "codes", model.Code, "code", faults, places)
        families: dict[str, model.CodeFamily] = {}
        _fill(families, "families", doc, "families", model.CodeFamily, "from_code", faults, places)
        for code in expand_families(families.values()):
            if code.code in tables["codes"]:
                faults.append(Fault("kb/codes.yaml", 0, code.code, "stands in a family and by itself; keep one"))
            tables["codes"][code.code] = code
    tables["rules"] = {}
    for path in sorted((home / "rules").glob("*.yaml")):
        if (doc := document(f"rules/{path.name}")) is not None:
            _fill(tables["rules"], "rules", doc, "", model.Rule, "id", faults, places)
    gate: model.Gate | None = None
    if (doc := document("gate.yaml")) is not None and isinstance(doc.data, dict):
        gate = _entry(doc, "gate", doc.data.get("gate"), model.Gate, faults)
        _fill(tables["findings"], "findings", doc, "findings", model.Finding, "id", faults, places)
    plan: model.Plan | None = None
    if (doc := document("plan.yaml")) is not None and isinstance(doc.data, dict):
        plan = _entry(doc, "plan", doc.data.get("plan"), model.Plan, faults)
    if faults or gate is None or plan is None:
        raise Faults(faults)
    knowledge = model.Knowledge(**tables, gate=gate, plan=plan, places=places, hash=content_hash(knowledge_files(home)))
    faults = list(check_references(knowledge))
    if faults:
        raise Faults(faults)
    return knowledge


def _fill(
    table: dict[str, Any], name: str, doc: Document, key: str, kind: type[E], id_field: str,
    faults: list[Fault], places: dict[str, str],
) -> None:  # fmt: skip
    items = doc.data if not key else doc.data.get(key, []) if isinstance(doc.data, dict) else None
    if not isinstance(items, list):
        faults.append(doc.fault(key, "a list of entries is wanted here"))
        return
    for i, item in enumerate(items):
        path = f"{key}.{i}" if key else str(i)
        entry = _entry(doc, path, item, kind, faults)
        if entry is None:
            continue
        identity = getattr(entry, id_field)
        if identity in table:
            says = f"'{identity}' stands here a second time (first at {places[f'{name}:{identity}']})"
            faults.append(doc.fault(path, says))
            continue
        table[identity] = entry
        places[f"{name}:{identity}"] = f"{doc.file}:{doc.line(path)}"


def _entry(doc: Document, path: str, item: Any, kind: type[E], faults: list[Fault]) -> E | None:
    try:
        return kind.model_validate(item)
    except ValidationError as error:
        faults.extend(_in_words(doc, path, kind, error))
        return None


def _in_words(doc: Document, path: str, kind: type[E], error: ValidationError) -> Iterator[Fault]:
    """Turn pydantic's complaints into sentences that say what was read and what would be right."""
    for one in error.errors(include_url=False):
        where = ".".join(str(part) for part in one["loc"])
        full = f"{path}.{where}".strip(".") if where else path
        read, sort = one.get("input"), one["type"]
        if sort == "extra_forbidden":
            known = _keys_at(kind, one["loc"][:-1])
            says = f"the key '{one['loc'][-1]}' is not known here{nearest(str(one['loc'][-1]), known)}"
        elif sort == "missing":
            says = f"'{one['loc'][-1]}' is missing"
        elif sort in ("literal_error", "enum"):
            expected = one.get("ctx", {}).get("expected", "")
            says = f"'{read}' is not one of {expected}{nearest(str(read), expected.replace(chr(39), '').split(', '))}"
        else:
            says = f"{one['msg'].removeprefix('Value error, ')} (read: {str(read)[:60]!r})"
        yield doc.fault(full, says)


def _keys_at(kind: type[model.Entry], loc: tuple[int | str, ...]) -> list[str]:
    """Return the keys known at a place inside an entry, by walking its model along ``loc``."""
    here: Any = kind
    for part in loc:
        if isinstance(part, int):
            continue
        fields = getattr(here, "model_fields", {})
        found = next((f for n, f in fields.items() if part in (n, f.alias)), None)
        here = _inner(found.annotation) if found else None
    return [f.alias or n for n, f in getattr(here, "model_fields", {}).items()]


def _inner(annotation: Any) -> Any:
    """Return the model class inside ``list[X]``, ``X | None`` and the like."""
    if isinstance(annotation, type) and issubclass(annotation, model.Entry):
        return annotation
    for argument in getattr(annotation, "__args__", ()):
        if (found := _inner(argument)) is not None:
            return found
    return None
