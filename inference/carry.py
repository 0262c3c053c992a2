"""What an earlier round told that is still true in a later one, by the life each reading and question has.

``lasting`` carries forward always, ``until work on it`` until a repair may lie between, ``round`` never. Only
what was written down is carried; everything computed is computed again in each round.
"""

from __future__ import annotations

from dataclasses import replace

from inference.case import Case, Quantity, Round
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
    same = all(new is old for new, old in zip(rounds, case.rounds, strict=True))
    return case if same else replace(case, rounds=tuple(rounds))


def _bare(round_: Round) -> Round:
    if not (round_.carried_readings or round_.carried_answers or round_.taken):
        return round_
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


def _lives(life: str, worked: bool) -> bool:
    return life == "lasting" or (life == "until work on it" and not worked)
