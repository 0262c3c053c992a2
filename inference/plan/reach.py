"""What would have to be read or asked before a finding can be settled: the cheapest way through the rules.

Raw facts are readings at their condition, answers, usage figures, ``codes`` and facts of the vehicle. A rule's way is
open as long as nothing known speaks against it; what it still lacks is the union of what its conditions lack.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

from inference.diagnose import program_of
from inference.engine.program import SERVES, Stage
from inference.values import Spread, Value, Word
from kb.model import Knowledge
from kb.slots import OF_CODES

Raw = frozenset[str]
NONE: Raw = frozenset()
ASK_MINUTES = 1.0  # a fact of the vehicle, or a usage figure: asked in passing
CODES_MINUTES = 8.0  # connecting the reader and reading all codes
# inputs that the formulas do without, at the price of a wider interval; asked for only where nothing else is lacking
SPARED = {
    "gauge_pressure_after", "gauge_pressure_after.idle", "gauge_pressure_after.fast_idle", "gauge_pressure.key_on",
    "barometric_pressure", "manifold_pressure", "manifold_pressure.idle", "air_mass_flow", "engine_speed",
    "exhaust_temperature_before_filter", "oil_consumption", "oil_sulphated_ash", "oil_meets_low_ash_grade", "filter",
    "soot_load_sensor", "soot_load_measured",
}  # fmt: skip
MOST = 12  # a way that lacks more facts than this is no way to go about it


class Reach:
    """The cheapest missing facts of findings, as one case stands.

    Parameters
    ----------
    facts : known slots of the latest round, findings of both stages with them (as words)
    """

    def __init__(self, knowledge: Knowledge, facts: Mapping[str, Value]) -> None:
        self.k, self.facts = knowledge, facts
        program = program_of(knowledge)
        self._ways: dict[str, list[tuple[Stage, int]]] = {}
        for stage in (program.find, program.decide):
            for w, way in enumerate(stage.ways):
                finding = stage.rules[way.rule].then.finding
                if finding is not None:
                    self._ways.setdefault(finding, []).append((stage, w))
        self._memo: dict[str, Raw | None] = {}

    def minutes(self, raw: Iterable[str]) -> float:
        """Return how long it takes to find out these facts [min]; one reading at several conditions counts once."""
        taken: dict[str, float] = {}
        for slot in raw:
            name = slot.partition(".")[0]
            if name in self.k.readings:
                taken[name] = max(self.k.readings[name].minutes, 0.5)
            elif slot in self.k.questions:
                taken[name] = max(self.k.questions[slot].minutes, 0.5)
            else:
                taken[slot] = CODES_MINUTES if slot == "codes" else ASK_MINUTES
        return sum(taken.values())

    def ways(self, finding: str) -> list[Raw]:
        """Return the facts that each open way to settle a finding still lacks, the quickest first, none twice."""
        out: dict[Raw, float] = {}
        for stage, w in self._ways.get(finding, ()):
            lacks = self._way(stage, w)
            if lacks and len(lacks) <= MOST:
                out[lacks] = self.minutes(lacks)
        return sorted(out, key=lambda raw: (out[raw], sorted(raw)))

    def _way(self, stage: Stage, w: int) -> Raw | None:
        """Return what a way lacks; None where something known speaks against it or a fact cannot be had."""
        lacks: set[str] = set()
        for need in stage.ways[w].needs:
            slot = stage.literals[need.literal].slot
            value = self.facts.get(slot)
            unknown = value is None or value == Word("unknown")
            if not unknown:
                doubted = isinstance(value, Spread) and stage.outcome(need.literal, value) is None
                if not doubted and stage.outcome(need.literal, value) not in SERVES[need.part]:
                    return None
                continue
            if need.part == "unless":
                continue
            more = self.missing(slot)
            if more is None:
                return None
            lacks |= more
        return frozenset(lacks)

    def missing(self, slot: str) -> Raw | None:
        """Return the cheapest facts still to be found out before a slot is known; None if there is no way."""
        if slot not in self._memo:
            self._memo[slot] = None  # a slot that would need itself has no way
            self._memo[slot] = self._missing(slot)
        return self._memo[slot]

    def _missing(self, slot: str) -> Raw | None:
        k, name = self.k, slot.partition(".")[0]
        value = self.facts.get(slot)
        if value is not None and value != Word("unknown"):
            return NONE
        if slot in k.findings:
            best = self.ways(slot)
            return best[0] if best else None
        if name in k.derived:
            return self._derived(name, slot.partition(".")[2])
        if name in k.readings or slot in k.questions:
            return frozenset({slot})
        if slot in k.code_groups or slot in k.codes or slot in OF_CODES:
            return None if self.facts.get("codes_read") == Word("yes") else frozenset({"codes"})
        return frozenset({slot}) if slot.partition(".")[0] in ("filter", "vehicle", "layout") else None

    def _derived(self, name: str, condition: str) -> Raw | None:
        inputs = self.k.derived[name].inputs
        return self._inputs([i for i in inputs if i not in SPARED], condition) or self._inputs(inputs, condition)

    def _inputs(self, inputs: Iterable[str], condition: str) -> Raw | None:
        out: set[str] = set()
        for given in inputs:
            entry = self.k.readings.get(given) or self.k.derived.get(given)
            slot = given
            if entry is not None and entry.conditions and "." not in given:
                slot = f"{given}.{condition if condition in entry.conditions else entry.conditions[0]}"
            more = self.missing(slot)
            if more is None and entry is None:
                continue  # a fact of the case file that no question asks for, such as its history
            if more is None:
                return None
            out |= more
        return frozenset(out) if out else None
