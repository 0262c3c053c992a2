"""The slots of a case that knowledge may speak of: which names exist, their unit and the words they can hold."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from kb import model

ROLE_GROUPS = {
    "role_reports_load": "reports load",
    "role_steers_the_burn": "steers the burn",
    "role_harm": "harm",
    "role_inhibits": "inhibits",
}
# told by the list of codes as a whole
OF_CODES = (*ROLE_GROUPS, "any_code", "codes_read", "codes_unnamed", "codes_known_before")
CODE_WORDS = ("present", "absent", "not_listed")
FINDING_WORDS = ("holds", "fails", "unknown")
# Facts of the case that are neither read nor asked: slot -> words (none listed: any word of the case format)
CASE_WORDS: dict[str, tuple[str, ...]] = {
    "filter.type": (),
    "filter.substrate": (),
    "layout.pressure": ("differential", "absolute_pair", "gauge_upstream"),
    "layout.temperatures": ("0", "1", "2", "3", "4"),
    "vehicle.gearbox": ("manual", "automatic"),
    "round.when": ("arrival", "after repair", "after burn", "follow-up"),
    "codes_read": ("yes", "no"),
    # a code is there that neither codes.yaml nor a rule names; "no" only once an absent code would have come back
    "codes_unnamed": ("yes", "no"),
    # the round before read them too, when they had not been cleared lately, so clearing them since hides nothing
    "codes_known_before": ("yes",),
}


@dataclass(frozen=True)
class Slots:
    """All slot names of a knowledge base."""

    knowledge: model.Knowledge

    @cached_property
    def unit_by_slot(self) -> dict[str, str]:
        """Unit of every reading and derived reading, by slot (``coolant_temperature.road``)."""
        out: dict[str, str] = {}
        entries: list[model.Reading | model.Derived] = [
            *self.knowledge.readings.values(),
            *self.knowledge.derived.values(),
        ]
        for entry in entries:
            for slot in [f"{entry.id}.{c}" for c in entry.conditions] or [entry.id]:
                out[slot] = entry.unit
        return out

    @cached_property
    def derived(self) -> set[str]:
        return {s for d in self.knowledge.derived.values() for s in ([f"{d.id}.{c}" for c in d.conditions] or [d.id])}

    def unit(self, slot: str) -> str:
        """Return the unit of a reading's or derived reading's slot; KeyError if there is none."""
        return self.unit_by_slot[slot]

    @cached_property
    def words_by_slot(self) -> dict[str, tuple[str, ...]]:
        """The words a slot that holds a word can take, by slot."""
        k = self.knowledge
        out: dict[str, tuple[str, ...]] = {q.id: tuple(q.options) for q in k.questions.values()}
        out |= dict.fromkeys((*k.codes, *k.code_groups, *ROLE_GROUPS, "any_code"), CODE_WORDS)
        out |= dict.fromkeys(k.findings, FINDING_WORDS)
        out |= dict.fromkeys(k.causes, ("ruled out", "unlikely", "possible", "likely", "proven"))
        out |= CASE_WORDS
        out["filter.type"] = tuple(k.filter_types)
        out["filter.substrate"] = tuple(k.substrates)
        return out

    @cached_property
    def names(self) -> set[str]:
        return set(self.unit_by_slot) | set(self.words_by_slot)


def slot_of(test: model.Test) -> str:
    """Return the slot a condition reads; ValueError unless it has exactly one subject."""
    subjects = {
        "reading": test.reading, "answer": test.answer, "code": test.code, "codes": test.codes,
        "finding": test.finding, "cause": test.cause,
        "filter": f"filter.{test.filter}" if test.filter else None,
        "layout": f"layout.{test.layout}" if test.layout else None,
    }  # fmt: skip
    named = [s for s in subjects.values() if s is not None]
    if len(named) != 1:
        raise ValueError(f"a condition speaks of exactly one of {', '.join(subjects)}; this one of {len(named)}")
    return named[0]
