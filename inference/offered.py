"""Which tests may be offered as things stand: none that needs a burn or a drive which is not allowed, none done."""

from __future__ import annotations

from collections.abc import Mapping

from inference.engine.verdicts import FindingResult
from inference.result import GateResult
from inference.values import Value, Word
from kb.model import Knowledge, ServiceTest


def may_be_done(
    knowledge: Knowledge, test: ServiceTest, gate: GateResult, findings: Mapping[str, FindingResult]
) -> bool:
    """Whether a test is allowed now: what only a burn shows waits until one is clear, and driving for the dangers.

    ``findings`` are those of the latest round.
    """
    plan = knowledge.plan
    if test.id in plan.needs_a_burn and gate.decision != "clear":
        return False
    if plan.driving in test.hazards and gate.dangers:
        return False
    restricted = findings.get("filter_really_restricted")
    return not (test.id in plan.hard_driving and restricted is not None and restricted.state == "holds")


def still_open(test: ServiceTest, facts: Mapping[str, Value]) -> list[str]:
    """Return what a test gives that is not known yet in ``facts`` (those of one round)."""
    codes_read = facts.get("codes_read") == Word("yes")
    return [slot for slot in test.gives if not (codes_read if slot == "codes" else slot in facts)]
