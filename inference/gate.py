"""The decision on a forced regeneration, from the findings of the latest round and the causes likely now.

do not burn > not needed > hold > clear. ``clear`` wants every need known and good; a probability can only add a
hold, so what is unknown or explained away never opens the gate. What counts as danger, need or doubt is data:
kb/gate.yaml, and the rules that set those findings.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

from inference.engine.verdicts import FindingResult
from inference.result import CauseResult, Decision, GateReason, GateResult
from kb.model import Gate, GateNeed, Knowledge


def decide(
    knowledge: Knowledge,
    findings: Mapping[str, FindingResult],
    causes: Sequence[CauseResult],
    since: Mapping[str, int] | None = None,
) -> GateResult:
    """Return the decision and all that speaks to it.

    Parameters
    ----------
    findings : the findings that stand in the latest round, both stages
    causes : the beliefs; only ``now`` and ``state`` are looked at
    since : of findings that stand from an earlier round, or rest on one that does, the index of that round
    """
    gate = knowledge.gate
    since = since or {}

    def state(finding: str) -> str:
        result = findings.get(finding)
        return result.state if result else "unknown"

    dangers = tuple(
        GateReason(d.finding, d.say, d.instead, since=since.get(d.finding))
        for d in gate.dangers
        if state(d.finding) == "holds"
    )
    in_doubt = ("holds", "conflict")  # rules that disagree about a doubt have not taken it away
    doubts = tuple(
        GateReason(d.finding, d.say, "", d.minutes, since=since.get(d.finding))
        for d in gate.doubts
        if state(d.finding) in in_doubt
    )
    met: list[str] = []
    not_met: list[GateReason] = []
    missing: list[GateReason] = []
    for need in gate.needs:
        found = state(need.finding)
        if found == need.state:
            met.append(need.finding)
        elif found in ("holds", "fails"):
            not_met.append(GateReason(need.finding, need.say_not_met, "", need.minutes, since=since.get(need.finding)))
        else:
            missing.append(_missing(need, found))
    for danger in gate.dangers:  # rules that disagree about a danger: look again, the danger is not ruled out
        if state(danger.finding) == "conflict":
            missing.append(GateReason(danger.finding, f"Signs contradict each other. If true: {danger.say}", "", 10))
    likely = tuple(
        GateReason(cause.settled_by or "", knowledge.causes[cause.id].holds_burn.why, "", 0, cause.id)  # type: ignore[union-attr]
        for cause in holding(knowledge, causes)
    )
    decision: Decision
    if dangers:
        decision = "do not burn"
    elif state(gate.not_needed) == "holds" and not doubts:
        decision = "not needed"
    elif not_met or missing or doubts or likely:
        decision = "hold"
    else:
        decision = "clear"
    driving = next(d.say for d in gate.driving if d.finding is None or state(d.finding) == "holds")

    def quickest(reason: GateReason) -> float:
        return reason.minutes

    return GateResult(
        decision,
        dangers,
        tuple(sorted(doubts, key=quickest)),
        tuple(sorted(not_met, key=quickest)),
        tuple(sorted(missing, key=quickest)),
        likely,
        tuple(met),
        driving,
    )


def holding(knowledge: Knowledge, causes: Sequence[CauseResult]) -> list[CauseResult]:
    """Return the causes, likely there now, that speak against a burn by themselves."""
    return [c for c in causes if c.now >= 0.5 and c.state == "present" and knowledge.causes[c.id].holds_burn]


def looked_at(gate: Gate) -> frozenset[str]:
    """Return every finding that a decision looks at."""
    found = {d.finding for d in gate.dangers} | {d.finding for d in gate.doubts} | {n.finding for n in gate.needs}
    return frozenset(found | {d.finding for d in gate.driving if d.finding is not None} | {gate.not_needed})


def _missing(need: GateNeed, found: str) -> GateReason:
    says = f"Signs contradict each other: {need.say_missing}" if found == "conflict" else need.say_missing
    return GateReason(need.finding, says, "", need.minutes)
