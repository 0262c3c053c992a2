"""What is known in each round, slot by slot: the facts that rules read, and the round each was taken in.

An absent slot is unknown. A carried fact (:mod:`inference.carry`) keeps the index of the round it was taken in,
so that it is counted as evidence once.
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from typing import NamedTuple, Protocol, get_args

from inference.carry import carry_forward
from inference.case import Case, Round
from inference.values import CodeState, Number, Spread, Value, Word
from kb.model import Knowledge
from kb.slots import ROLE_GROUPS

_CODE_WORDS: dict[CodeState, Word] = {
    s: Word(s) for s in get_args(CodeState)
}  # one object a state: there are many codes
# A monitor that has not run says nothing. Without the flag itself, this much driving is taken to be enough
# for all of them, and a list of codes says nothing after less driving or so few warm-ups, since a code may want two
# drives with its fault before it is stored (all from memory).
ENOUGH_KM, ENOUGH_WARM_UPS = 500.0, 20.0
FRESH_WARM_UPS = 3.0
UNDRIVEN_KM, UNDRIVEN_WARM_UPS = 5.0, 1.0  # with less no monitor can have run, whatever its flag says (from memory)
CODES_KEPT = 32
CLEARED_LATELY = "codes_cleared_lately"  # the one answer that says how the list of codes is to be taken


class HasSpread(Protocol):
    """A derived reading, as far as facts are concerned."""

    @property
    def spread(self) -> Spread:
        """The 10, 50 and 90 % points in the unit of derived.yaml."""
        ...


class RoundFacts(NamedTuple):
    """``slots[i]`` holds what is known in round i, ``origin[i]`` the round each of these was taken in, if asked for."""

    slots: list[dict[str, Value]]
    origin: list[dict[str, int]]


def round_facts(
    case: Case,
    knowledge: Knowledge,
    derived_per_round: Sequence[Mapping[str, HasSpread]] = (),
    origins: bool = True,
) -> RoundFacts:
    """Return the known slots of every round, oldest first.

    Parameters
    ----------
    case : the case as read
    knowledge : readings, questions, codes and code groups with their lives and roles
    derived_per_round : derived readings by slot, one mapping a round; empty: none
    origins : whether to work out the round each fact was taken in; without, ``origin`` is empty

    Raises
    ------
    ValueError : ``derived_per_round`` has another length than the case has rounds
    """
    if derived_per_round and len(derived_per_round) != len(case.rounds):
        raise ValueError(f"{len(derived_per_round)} rounds of derived readings for {len(case.rounds)} rounds")
    facts = RoundFacts([], [])
    known_before = False
    for round_ in carry_forward(case, knowledge).rounds:
        standing, seen, history = _standing(case, knowledge), _seen(round_, knowledge), _history(case, round_)
        if known_before:
            seen["codes_known_before"] = Word("yes")
        known_before = round_.codes is not None and (known_before or seen.get(CLEARED_LATELY) == Word("no"))
        here: dict[str, Value] = dict(standing)
        here |= {slot: Number(quantity.value) for slot, quantity in round_.carried_readings.items()}
        here |= {name: Word(said) for name, said in round_.carried_answers.items()}
        codes = _code_facts(round_, knowledge)
        here |= seen
        here |= codes
        here |= history
        derived = derived_per_round[round_.index] if derived_per_round else {}
        here |= {slot: d.spread for slot, d in derived.items()}
        if origins:
            origin = dict.fromkeys(standing, 0)
            origin |= {name: round_.taken[name] for name in (*round_.carried_readings, *round_.carried_answers)}
            origin |= dict.fromkeys((*seen, *codes), round_.index)
            for slot, value in history.items():
                told = bool(facts.slots) and facts.slots[-1].get(slot) == value
                origin[slot] = facts.origin[-1][slot] if told else round_.index
            origin |= dict.fromkeys(derived, round_.index)
            for slot in derived if round_.index else ():  # nothing is older than the first round
                origin[slot] = _newest_input(slot, knowledge, origin, round_.index, frozenset())
            facts.origin.append(origin)
        facts.slots.append(here)
    return facts


def told_now(case: Case, round_: Round, names: Iterable[str]) -> dict[str, Value | None]:
    """Return what :func:`round_facts` says of some readings, usage figures and answers; None: not known.

    ``round_`` is one of ``case`` and holds what is carried into it.
    """
    out: dict[str, Value | None] = {}
    for name in names:
        quantity = round_.readings.get(name) or round_.carried_readings.get(name) or case.usage.get(name)
        said = round_.answer(name)
        out[name] = Number(quantity.value) if quantity else Word(said) if said else None
    if "filter_replaced" in out:
        out |= _history(case, round_)
    return out


def _standing(case: Case, knowledge: Knowledge) -> dict[str, Value]:
    """Return what holds for the whole case: usage, filter, sensors, gearbox."""
    out: dict[str, Value] = {slot: Number(q.value) for slot, q in case.usage.items()}
    words: dict[str, str | None] = {
        "filter.type": case.filter_type,
        "filter.substrate": case.substrate,
        "vehicle.gearbox": case.gearbox,
    }
    if case.layout is not None:
        layout = knowledge.layouts[case.layout]
        words |= {"layout.pressure": layout.pressure, "layout.temperatures": str(layout.temperatures)}
    return out | {slot: Word(text) for slot, text in words.items() if text is not None}


def _seen(round_: Round, knowledge: Knowledge) -> dict[str, Value]:
    """Return what this round itself tells, the single codes aside."""
    out: dict[str, Value] = {slot: Number(q.value) for slot, q in round_.readings.items()}
    out |= {name: Word(said) for name, said in round_.answers.items() if said != "unknown"}
    out["round.when"] = Word(round_.when)
    out["codes_read"] = Word("no" if round_.codes is None else "yes")
    if (fresh := codes_fresh(round_)) is not None and round_.answer(CLEARED_LATELY) != "yes":
        # a count goes before a "no"; it does not undo a "yes": they may have been cleared after it was read
        out[CLEARED_LATELY] = Word("yes" if fresh else "no")
    if round_.codes is not None:
        if unnamed_codes({c.code for c in round_.codes if not c.harmless}, knowledge):
            out["codes_unnamed"] = Word("yes")
        elif absence_counts(round_):
            out["codes_unnamed"] = Word("no")
    return out


_codes_kept: list[tuple[Knowledge, dict[tuple[object, ...], dict[str, Word]]]] = []  # of the knowledge used last


def _code_facts(round_: Round, knowledge: Knowledge) -> dict[str, Word]:
    """Return :func:`code_states` as facts; the few last are kept, since changes of a case mostly leave the codes."""
    if not _codes_kept or _codes_kept[0][0] is not knowledge or len(_codes_kept[0][1]) >= CODES_KEPT:
        _codes_kept[:] = [(knowledge, {})]
    table = _codes_kept[0][1]
    key = (round_.codes, round_.codes_cleared, round_.monitors_complete, round_.answer(CLEARED_LATELY))
    if key not in table:
        table[key] = {slot: _CODE_WORDS[state] for slot, state in code_states(round_, knowledge).items()}
    return table[key]


def _history(case: Case, round_: Round) -> dict[str, Value]:
    """Return whether the filter was cleaned or replaced; only an empty history says that it was not."""
    out: dict[str, Value] = {}
    for slot, event in (
        ("history.cleaned", "filter cleaned"),
        ("history.filter_replaced", "filter replaced"),
    ):
        when = [case.before(e, round_) for e in case.history if e.event == event]
        if any(when):
            out[slot] = Word("yes")
        elif case.history_given and not case.history:
            out[slot] = Word("no")
        elif case.fitted_at_km == 0 and event == "filter replaced" and not when:
            out[slot] = Word("no")  # the filter is as old as the vehicle
    if out.get("history.filter_replaced") == Word("yes") and "filter_replaced" not in round_.answers:
        out["filter_replaced"] = Word("yes")  # the history answers the question
    return out


def codes_fresh(round_: Round) -> bool | None:
    """Say whether the codes were cleared so lately that not all their checks need have run: None if not known.

    Monitors that have run decide it, and else the driving since: a list after 180 km says nothing while nobody has read
    whether they have. Monitors known not to have run leave only much driving to show that the one still open is that of
    the filter itself, which a blocked filter keeps from running.
    """
    km, warm_ups = round_.codes_cleared.distance_km, round_.codes_cleared.warm_ups
    if (km is not None and km < UNDRIVEN_KM) or (warm_ups is not None and warm_ups < UNDRIVEN_WARM_UPS):
        return True  # if the monitors are told complete, that was read before they were cleared
    if round_.monitors_complete == "yes":
        return False  # what was cleared has been judged anew since
    if (km is not None and km < ENOUGH_KM) or (warm_ups is not None and warm_ups < FRESH_WARM_UPS):
        return True
    if km is not None and warm_ups is not None:
        return False
    return True if round_.monitors_complete == "no" else None


def absence_counts(round_: Round) -> bool:
    """Say whether a code that is not listed may be taken for absent: its monitor is known to have run."""
    km, warm_ups = round_.codes_cleared.distance_km, round_.codes_cleared.warm_ups
    if round_.monitors_complete == "no" or codes_fresh(round_) or round_.answer(CLEARED_LATELY) == "yes":
        return False
    if round_.monitors_complete == "yes":
        return True
    return km is not None and warm_ups is not None and km >= ENOUGH_KM and warm_ups >= ENOUGH_WARM_UPS


def code_states(round_: Round, knowledge: Knowledge) -> dict[str, CodeState]:
    """Return the state of every known code, group, role and ``any_code``; nothing if codes were not read.

    A code the knowledge does not name could have any role, so with one there no role counts as absent, unless it was
    looked up and is harmless.
    """
    if round_.codes is None:
        return {}
    missing: CodeState = "absent" if absence_counts(round_) else "not listed"
    seen = {c.code for c in round_.codes}
    foreign = {c.code for c in round_.codes if not c.harmless} - set(knowledge.codes)
    out: dict[str, CodeState] = dict.fromkeys(knowledge.codes, missing)
    out |= dict.fromkeys(knowledge.code_groups, missing)
    out |= dict.fromkeys(ROLE_GROUPS, "not listed" if foreign else missing)
    role_slot = {role: slot for slot, role in ROLE_GROUPS.items()}
    for code in sorted(seen):
        out[code] = "present"
        if (known := knowledge.codes.get(code)) is None:
            continue
        out[known.group] = "present"
        if (role := knowledge.role_of(code)) in role_slot:
            out[role_slot[role]] = "present"
    out["any_code"] = "present" if seen else missing
    return out


def unused_codes(case: Case, knowledge: Knowledge) -> list[str]:
    """Return the codes read that neither codes.yaml nor a rule names; they are kept and shown as not used."""
    return sorted(unnamed_codes({c.code for r in case.rounds for c in r.codes or ()}, knowledge))


def unnamed_codes(codes: set[str], knowledge: Knowledge) -> set[str]:
    """Return those of ``codes`` that neither codes.yaml nor a rule in use names."""
    foreign = codes - set(knowledge.codes)
    if not foreign:
        return foreign
    rules = [rule.when for rule in knowledge.rules.values() if rule.status != "retired"]
    return foreign - {t.code for when in rules for t in (*when.all, *when.any, *when.none, *when.unless)}


def _newest_input(slot: str, knowledge: Knowledge, origin: Mapping[str, int], index: int, above: frozenset[str]) -> int:
    """Return the newest round among the facts a derived reading is made of; its own where unclear."""
    entry = knowledge.derived.get(slot.partition(".")[0])
    if entry is None or entry.id in above:
        return index
    newest = -1
    for name in entry.inputs:
        bare = name.partition(".")[0]
        if bare in knowledge.derived:
            newest = max(newest, _newest_input(name, knowledge, origin, index, above | {entry.id}))
        elif bare in knowledge.readings or bare in knowledge.questions:
            reading = knowledge.readings.get(bare)
            slots = [f"{name}.{c}" for c in reading.conditions] if reading and name == bare else []
            newest = max([newest, *(origin[s] for s in (name, *slots) if s in origin)])
        else:
            return index  # a date, an odometer, an event: things of the round itself
    return newest if newest >= 0 else index
