"""What an earlier round told that is still true in a later one, by the life each reading and question has.

``lasting`` carries forward always, ``until work on it`` until a repair may lie between, ``round`` never. Only
what was written down is carried; everything computed is computed again in each round.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import replace

from inference.case import Case, Quantity, Round
from inference.engine.verdicts import FindingResult
from kb.model import Knowledge

# Events after which an answer about a part may no longer be true.
WORK = ("filter cleaned", "filter replaced", "repair")


def carry_forward(case: Case, knowledge: Knowledge) -> Case:
    """Return ``case`` with every round's carried readings and answers worked out afresh from what was written.

    Call it again after changing any round: what was carried before is thrown away first.
    """
    rounds: list[Round] = []
    for written in case.rounds:
        rounds.append(_carried_into(case, knowledge, rounds[-1], written) if rounds else _bare(written))
    return replace(case, rounds=tuple(rounds))


def _bare(round_: Round) -> Round:
    return replace(round_, carried_readings={}, carried_answers={}, taken={})


def _carried_into(case: Case, knowledge: Knowledge, earlier: Round, later: Round) -> Round:
    worked = worked_between(case, earlier, later)
    new_filter = any(e.event == "filter replaced" for e in case.between(earlier, later))
    readings: dict[str, Quantity] = {}
    answers: dict[str, str] = {}
    for slot, quantity in {**earlier.carried_readings, **earlier.readings}.items():
        entry = knowledge.readings[slot.partition(".")[0]]
        if slot not in later.readings and _lives(entry.life, worked):
            readings[slot] = quantity
    for name, said in {**earlier.carried_answers, **earlier.answers}.items():
        question = knowledge.questions[name]
        if said == "unknown" or name in later.answers:
            continue  # answered anew; an "unknown" written there withdraws the earlier answer
        if new_filter and question.group == "history":
            continue  # it spoke of the filter that has gone
        if _lives(question.life, worked):
            answers[name] = said
    taken = {name: earlier.taken.get(name, earlier.index) for name in (*readings, *answers)}
    # what the earlier round wrote itself is its own, whatever it had carried before
    taken |= {n: earlier.index for n in taken if n in earlier.readings or n in earlier.answers}
    return replace(later, carried_readings=readings, carried_answers=answers, taken=taken)


def worked_between(case: Case, earlier: Round, later: Round) -> bool:
    """Say whether work may have been done on the vehicle between two rounds that follow each other."""
    events = case.between(earlier, later)
    return bool(later.repaired) or later.when == "after repair" or any(e.event in WORK for e in events)


def standing(
    case: Case, knowledge: Knowledge, findings: Sequence[Mapping[str, FindingResult]]
) -> Mapping[str, FindingResult]:
    """Return what stands in the latest round: its findings, and what an earlier round found of a part for good.

    A lasting finding that held and that nobody has looked at again stands until work on the vehicle; what was found
    of a sensor yesterday is not good today because it was not tried today.

    Parameters
    ----------
    findings : of each round, in time (stage "find")
    """
    if len(findings) == 1:
        return findings[0]
    lasting = [name for name, entry in knowledge.findings.items() if entry.lasting]
    held: dict[str, FindingResult] = {}
    for i, round_ in enumerate(case.rounds):
        if i and worked_between(case, case.rounds[i - 1], round_):
            held.clear()
        for name in lasting:
            if (found := findings[i].get(name)) is not None and found.state != "unknown":
                held[name] = found
    latest = findings[-1]
    kept = {
        name: found
        for name, found in held.items()
        if found.state in ("holds", "conflict") and name in latest and latest[name].state == "unknown"
    }
    return {**latest, **kept} if kept else latest


def _lives(life: str, worked: bool) -> bool:
    return life == "lasting" or (life == "until work on it" and not worked)
