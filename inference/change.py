"""A case with one fact changed or left out: the ground of "what if", tipping values and least proofs.

Facts are named by their slots (``gauge_pressure.idle``, ``typical_trip``, ``blue_smoke``, ``P0401``, ``codes``)
and read by the same code as a file, so a changed case is as sound as one written that way. A case is never
changed in place.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace
from typing import Any

from inference.carry import carry_forward
from inference.case import STATUSES, Case, CodeStatus, Round, SeenCode
from inference.case_order import check_figures, check_order
from inference.read_fields import Fields, shown
from inference.read_round import read_answers, read_codes, read_readings, read_usage
from kb.faults import Faults, nearest
from kb.model import Knowledge
from kb.yamlread import Document

# what may be said of a code, and the status it then has; None: not on the list
LISTED: Mapping[str, CodeStatus | None] = {"present": "stored", "not listed": None, **{s: s for s in STATUSES}}


def changed(
    case: Case,
    knowledge: Knowledge,
    new: Mapping[str, Any],
    index: int = -1,
    where: str = "what if",
    whole: bool = False,
) -> Case:
    """Return ``case`` with facts written new into one round.

    Parameters
    ----------
    new : slot -> what would stand in the file ("60 mbar", "yes"); a code takes "present", its status or "not listed"
    index : the round, -1 for the latest; usage belongs to the whole case
    where : what to call the place in faults
    whole : whether vehicle or filter of ``case`` were written new as well, so that all of it is to be checked

    Raises
    ------
    Faults : every slot that is not known, every figure or word that cannot be read there, what cannot be true together
    """
    fields = Fields(Document(where, None, {"": 0}))
    round_ = case.rounds[index]
    usage = case.usage
    readings, answers = dict(round_.readings), dict(round_.answers)
    codes = round_.codes
    for slot, value in new.items():
        name, _, condition = slot.partition(".")
        reading = knowledge.readings.get(name)
        if reading is not None and reading.group == "usage" and not condition:
            usage = {**usage, **read_usage(fields, where, {name: value}, knowledge)}
        elif reading is not None:
            readings |= read_readings(fields, where, {name: {condition: value} if condition else value}, knowledge)
        elif slot in knowledge.questions:
            answers |= read_answers(fields, where, {slot: value}, knowledge)
        elif slot == "codes":
            codes = read_codes(fields, f"{where}.codes", value)
        elif (read := read_codes(Fields(fields.doc), where, [slot])) and isinstance(value, str) and value in LISTED:
            others = tuple(c for c in codes or () if c.code != read[0].code)
            status = LISTED[value]
            codes = (*others, SeenCode(read[0].code, status, 0)) if status is not None else others
        elif read:
            says = f"{shown(value)} is no state of a code; write present ({', '.join(STATUSES)}) or 'not listed'"
            fields.fault(slot, says)
        else:
            near = nearest(slot, slots_that_change(knowledge))
            fields.fault(slot, f"{shown(slot)} is no reading, usage figure, question or code{near}")
    out = replace(round_, readings=readings, answers=answers, codes=codes)
    out_case = _with(case, usage, (out,), knowledge)
    if not fields.faults:
        (check_order if whole else check_figures)(fields, out_case)
    if fields.faults:
        raise Faults(replace(f, field=f.field.removeprefix(f"{where}.")) for f in fields.faults)
    return out_case


def without(case: Case, knowledge: Knowledge, slots: Iterable[str]) -> Case:
    """Return ``case`` with these facts left out of every round, as if they had never been taken.

    A code's name leaves that code out of the list; "codes" makes them not read at all. A slot that the case does
    not hold is no fault: leaving it out changes nothing.
    """
    gone = set(slots)
    rounds = tuple(
        replace(
            r,
            readings={s: q for s, q in r.readings.items() if s not in gone},
            answers={a: said for a, said in r.answers.items() if a not in gone},
            codes=None if r.codes is None or "codes" in gone else tuple(c for c in r.codes if c.code not in gone),
        )
        for r in case.rounds
    )
    return _with(case, {u: q for u, q in case.usage.items() if u not in gone}, rounds, knowledge)


def slots_that_change(knowledge: Knowledge) -> list[str]:
    """Return every slot that may be written new, codes aside."""
    readings = knowledge.readings.values()
    slots = [s for r in readings for s in ([f"{r.id}.{c}" for c in r.conditions] or [r.id])]
    return [*slots, *knowledge.questions, "codes"]


def _with(case: Case, usage: Mapping[str, Any], rounds: tuple[Round, ...], knowledge: Knowledge) -> Case:
    by_index = {r.index: r for r in rounds}
    written = (by_index.get(r.index, r) for r in case.rounds)
    new = tuple(r if r.usage is usage else replace(r, usage=usage) for r in written)
    return carry_forward(replace(case, usage=usage, rounds=new), knowledge)
