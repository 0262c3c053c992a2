"""The order of work: root cause before the burn, burn before the reset, reset before the proof."""

from __future__ import annotations

from collections.abc import Sequence

from inference.result import CauseResult, GateResult, RoundResult, WorkStep
from kb.model import Knowledge, Remedy

PLACES = ("before the burn", "the burn", "instead of a burn", "after the burn", "reset", "proof")
BURN, CLEAN, PROOF = "burn-standing", "filter-clean-or-replace", "proof-drive"
DUE = 0.5  # a cause at least this likely now is worked on; below it is tested first


def order_of_work(
    knowledge: Knowledge, causes: Sequence[CauseResult], gate: GateResult, latest: RoundResult
) -> tuple[WorkStep, ...]:
    """Return the work due, in order.

    Due are the jobs without which a danger forbids any burn; the remedies of the causes likely now with all they
    bring along; a burn where the filter is restricted and a burn may come to be allowed, and before it the jobs of
    needs known not to be met (codes to clear and read again), or the filter off the vehicle where a burn is forbidden
    for good; and the proof drive after any work. A cause that another one brought about stands after it. Jobs that
    are the same work (an oil change for two reasons) are named once, as the one that covers the others, behind
    whatever both must wait for.
    """
    due: dict[str, list[str]] = {}

    def add(remedy: str, why: str) -> None:
        if why not in due.setdefault(remedy, []):
            due[remedy].append(why)
        for other in knowledge.remedies[remedy].also:
            if other not in due or why not in due[other]:
                add(other, why)

    against = {d.finding for d in gate.dangers}
    for danger in knowledge.gate.dangers:
        if danger.work is not None and danger.finding in against:
            add(danger.work, danger.finding)
    likely = [c for c in causes if c.state == "present" and c.now >= DUE]
    for cause in likely:
        add(knowledge.causes[cause.id].remedy, cause.id)
    restricted = latest.verdicts.findings.get("filter_really_restricted")
    if restricted is not None and restricted.state == "holds":
        off_vehicle = {d.finding for d in knowledge.gate.dangers if d.futile} | {
            "danger_soot_above_limit",
            "danger_filter_damaged",
        }
        forbidden = [d.finding for d in gate.dangers if d.finding in off_vehicle]
        wrong = {r.finding for r in gate.not_met}
        for need in knowledge.gate.needs if not forbidden else ():
            if need.work is not None and need.finding in wrong:
                add(need.work, need.finding)
        add(CLEAN if forbidden else BURN, forbidden[0] if forbidden else "filter_really_restricted")
    serves = _once(knowledge, due)
    if due:
        add(PROOF, "filter_really_restricted" if not likely else likely[0].id)
    jobs = _sorted(knowledge, due)
    return tuple(
        WorkStep(
            job, tuple(due[job]), tuple(serves.get(job, ())),
            tuple(first for first in jobs[:i] if first in knowledge.remedies[job].spared_by),
        )
        for i, job in enumerate(jobs)
    )  # fmt: skip


def _once(knowledge: Knowledge, due: dict[str, list[str]]) -> dict[str, list[str]]:
    """Take out of ``due`` what another job due covers, and give that its reasons; return what each job serves as."""
    serves: dict[str, list[str]] = {}
    for job in list(due):
        for other in knowledge.remedies[job].covers if job in due else ():
            if other in due:
                due[job] += [why for why in due.pop(other) if why not in due[job]]
                serves.setdefault(job, []).extend((other, *serves.pop(other, ())))
    return serves


def _sorted(knowledge: Knowledge, due: dict[str, list[str]]) -> list[str]:
    """Sort by place, then so that what must come first does, then in the order the work was found due."""
    position = {remedy: i for i, remedy in enumerate(due)}
    waiting = sorted(due, key=lambda r: (PLACES.index(knowledge.remedies[r].place), position[r]))
    out: list[str] = []
    while waiting:
        ready = next((r for r in waiting if not _blocked(knowledge.remedies[r], waiting)), waiting[0])
        out.append(ready)
        waiting.remove(ready)
    return out


def _blocked(remedy: Remedy, waiting: list[str]) -> bool:
    return any(first in waiting for first in remedy.after)
