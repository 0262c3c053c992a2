"""YAML the way :mod:`kb.yamlread` reads it: ``yes`` and a date are written as the words they are, without quotes."""

from __future__ import annotations

from typing import Any

import yaml

from kb.yamlread import _Reader

_Base: Any = getattr(yaml, "CSafeDumper", yaml.SafeDumper)


class _Writer(_Base):  # type: ignore[misc]
    """Quotes only what the reader would take for something else than text."""


_Writer.yaml_implicit_resolvers = dict(_Reader.yaml_implicit_resolvers)


def write_yaml(data: Any) -> bytes:
    """Return plain dicts, lists and scalars as YAML text in UTF-8; keys keep their order, leaves stand on one line."""
    text = yaml.dump(
        data, Dumper=_Writer, sort_keys=False, allow_unicode=True, default_flow_style=None, width=110
    )  # fmt: skip
    return text.encode("utf-8")
