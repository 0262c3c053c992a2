"""Words of the workshop that stand in no title, such as "intercooler", turned into the words that do.

Used only to find what a person means; see ``other_words.yaml``.
"""

from __future__ import annotations

import re
from functools import lru_cache
from pathlib import Path

from kb.yamlread import read_yaml


@lru_cache(maxsize=1)
def other_words() -> dict[str, str]:
    """Return what may be written, to the words that titles have for it; longer ones first."""
    data = read_yaml(Path(__file__).parent / "other_words.yaml").data
    return {k: str(data[k]) for k in sorted(data, key=lambda k: (-len(k), k))}


def in_words_of_titles(said: str) -> str:
    """Return ``said`` with each word of the workshop replaced by the words that titles have for it."""
    plain = " ".join(re.findall(r"[^\W_]+", said.lower().replace("_", " ")))
    for other, words in other_words().items():
        plain = re.sub(rf"\b{re.escape(other)}\b", words, plain)
    return plain
