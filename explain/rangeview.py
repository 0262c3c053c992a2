"""Where a formula was used outside its range: said once for each reason, with what rests on it."""

from __future__ import annotations

from explain.words import Speaker, say
from inference.physics.valid import beyond
from inference.result import Result
from kb.model import Knowledge

FEW = 3  # derived readings that are named
FIRST = ("restriction_index.fast_idle", "soot_load", "soot_over_limit", "ash_load")  # what decides most, named first


def beyond_range(knowledge: Knowledge, result: Result) -> list[str]:
    """Return a sentence for each reason in the latest round why some derived readings are to be read with care."""
    speaker = Speaker(knowledge, result)
    resting: dict[str, list[str]] = {}
    for slot, derived in sorted(result.latest.derived.items(), key=_weight):
        for says in beyond(derived.notes):
            resting.setdefault(says, []).append(speaker.slot_title(slot))
    out = []
    for says, titles in resting.items():
        told = "; ".join(titles[:FEW])
        if len(titles) > FEW:
            told = say("why.beyond_more", list=told, count=len(titles) - FEW)
        out.append(say("why.beyond", says=says, list=told))
    return out


def _weight(item: tuple[str, object]) -> tuple[int, str]:
    return (FIRST.index(item[0]) if item[0] in FIRST else len(FIRST), item[0])
