"""Whether the knowledge is sound as a whole: nothing unreachable, unused, doubled or too finely drawn.

Each check yields faults. What is accepted although a check speaks against it stands in kb/accepted.yaml, each entry
with its reason and date, so that nobody has to guess whether it was seen.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from itertools import combinations
from pathlib import Path

from kb import model
from kb.faults import Fault
from kb.slots import ROLE_GROUPS, Slots, slot_of
from kb.units import number
from kb.yamlread import read_yaml

Check = Callable[[model.Knowledge], Iterator[tuple[str, str]]]  # (id of the entry, what is wrong)


def lint(knowledge: model.Knowledge, home: Path = Path(__file__).parent) -> list[Fault]:
    """Return everything that is wrong with the base as a whole and not accepted, and accepted entries of no use."""
    accepted = read_yaml(home / "accepted.yaml", "kb/accepted.yaml")
    reasons = {(a["check"], a["id"]): a["reason"] for a in accepted.data}
    out: list[Fault] = []
    used: set[tuple[str, str]] = set()
    for name, check in CHECKS.items():
        for identity, says in check(knowledge):
            if (name, identity) in reasons:
                used.add((name, identity))
            else:
                out.append(Fault(*_place(knowledge, identity), identity, f"{says} [{name}]"))
    for i, entry in enumerate(accepted.data):
        if (entry["check"], entry["id"]) not in used:
            out.append(accepted.fault(str(i), f"'{entry['id']}' no longer needs to be accepted; take it out"))
    return sorted(set(out))


def _place(knowledge: model.Knowledge, identity: str) -> tuple[str, int]:
    for table in ("rules", "findings", "causes", "questions", "readings", "derived", "codes", "tests", "remedies"):
        if place := knowledge.places.get(f"{table}:{identity.split(' ')[0]}"):
            file, _, line = place.rpartition(":")
            return file, int(line)
    return "kb", 0


def conditions(rule: model.Rule) -> list[model.Test]:
    """Return all conditions of a rule, whatever part they stand in."""
    return [*rule.when.all, *rule.when.any, *rule.when.none, *rule.when.unless]


def _read_slots(knowledge: model.Knowledge) -> set[str]:
    return {slot_of(t) for rule in knowledge.rules.values() for t in conditions(rule)}


def _set_findings(knowledge: model.Knowledge) -> set[str]:
    return {r.then.finding for r in knowledge.rules.values() if r.then.finding}


def cause_without_a_way(knowledge: model.Knowledge) -> Iterator[tuple[str, str]]:
    """A cause that no finding set by a rule can raise."""
    settable = _set_findings(knowledge)
    for cause in knowledge.causes.values():
        signs = {s.finding for s in cause.shows} & settable
        own = {w.finding for w in cause.weighs} | {p.finding for p in cause.proofs}
        if len(signs) < 3:
            yield cause.id, f"only {len(signs)} of the findings it shows are ever set; three are wanted"
        if not (signs - {"filter_reported_blocked", "filter_really_restricted"}) | (own & settable):
            yield cause.id, "nothing but the complaint itself speaks for it"


def finding_nobody_sets(knowledge: model.Knowledge) -> Iterator[tuple[str, str]]:
    settable = _set_findings(knowledge)
    yield from ((f, "no rule sets it") for f in knowledge.findings if f not in settable)


def finding_nobody_reads(knowledge: model.Knowledge) -> Iterator[tuple[str, str]]:
    k = knowledge
    read = _read_slots(k) | {k.gate.not_needed}
    entries: list[model.GateNeed | model.GateDanger | model.GateDoubt] = [
        *k.gate.needs,
        *k.gate.dangers,
        *k.gate.doubts,
    ]
    read |= {e.finding for e in entries}
    for cause in k.causes.values():
        read |= {s.finding for s in cause.shows} | {w.finding for w in cause.weighs}
        read |= {p.finding for p in cause.proofs}
    for remedy in k.remedies.values():
        read |= {p.finding for p in remedy.proof_findings}
    yield from ((f, "no rule, cause, remedy or gate reads it") for f in k.findings if f not in read)


def finding_one_sided(knowledge: model.Knowledge) -> Iterator[tuple[str, str]]:
    """A shared sign that can be seen but never cleared would leave a suspect hanging."""
    shown = {s.finding for c in knowledge.causes.values() for s in c.shows}
    fails = {r.then.finding for r in knowledge.rules.values() if r.then.state == "fails"}
    holds = {r.then.finding for r in knowledge.rules.values() if r.then.state == "holds"}
    for finding in sorted(shown):
        if finding not in fails:
            yield finding, "no rule can set it to fails"
        if finding not in holds:
            yield finding, "no rule can set it to holds"


def question_unused(knowledge: model.Knowledge) -> Iterator[tuple[str, str]]:
    read = _read_slots(knowledge)
    yield from ((q, "no rule reads its answer") for q in knowledge.questions if q not in read)


def reading_unused(knowledge: model.Knowledge) -> Iterator[tuple[str, str]]:
    """A reading at a condition that neither a rule nor a derived reading takes in."""
    read = {slot.split(".")[0] for slot in _read_slots(knowledge)}
    inputs = {name.split(".")[0] for d in knowledge.derived.values() for name in d.inputs}
    for reading in knowledge.readings:
        if reading not in read | inputs:
            yield reading, "no rule and no derived reading uses it"


def derived_unread(knowledge: model.Knowledge) -> Iterator[tuple[str, str]]:
    """What is worked out and shown, but no rule draws a conclusion from."""
    read = {slot.split(".")[0] for slot in _read_slots(knowledge)}
    yield from ((d, "no rule reads it") for d in knowledge.derived if d not in read)


def code_group_empty(knowledge: model.Knowledge) -> Iterator[tuple[str, str]]:
    filled = {c.group for c in knowledge.codes.values()}
    yield from ((g, "no code is in it") for g in knowledge.code_groups if g not in filled)


def code_group_idle(knowledge: model.Knowledge) -> Iterator[tuple[str, str]]:
    """A group that neither a rule reads nor a role of which the gate knows makes count."""
    read = _read_slots(knowledge)
    roles = set(ROLE_GROUPS.values())
    for group in knowledge.code_groups.values():
        if (
            group.id not in read
            and group.role not in roles
            and not any(c.code in read for c in knowledge.codes.values() if c.group == group.id)
        ):
            yield group.id, "no rule reads it and it has no role"


def limits_too_close(knowledge: model.Knowledge) -> Iterator[tuple[str, str]]:
    """Between the limit where a raw reading makes a finding hold and that where it fails: two instrument errors."""
    slots = Slots(knowledge)
    holds: dict[tuple[str, str, str], list[tuple[float, str]]] = {}
    for rule in knowledge.rules.values():
        if rule.then.finding is None or len(rule.when.all) + len(rule.when.any) != 1:
            continue
        for test in (*rule.when.all, *rule.when.any):
            if test.reading is None or test.reading in slots.derived or test.between is not None:
                continue
            limit = test.above or test.at_least or test.below or test.at_most
            assert limit is not None
            key = (rule.then.finding, test.reading, rule.then.state)
            holds.setdefault(key, []).append((number(limit, slots.unit(test.reading)), rule.id))
    for (finding, slot, state), limits in holds.items():
        if state != "holds" or knowledge.findings[finding].system == "gate":
            continue  # the gate's needs are met or not at one figure: a burn is held on either side of doubt
        reading = knowledge.readings[slot.split(".")[0]]
        for value, rule_id in limits:
            error = reading.error_at(value)
            for other, other_rule in holds.get((finding, slot, "fails"), []):
                if abs(value - other) < 2 * error:
                    yield rule_id, f"its limit lies within two instrument errors of that of {other_rule}"


def causes_alike(knowledge: model.Knowledge) -> Iterator[tuple[str, str]]:
    """Two causes that no finding tells apart: the same signs as often, and nothing private."""

    def column(cause: model.Cause) -> dict[str, float]:
        return {s.finding: s.how_often for s in cause.shows}

    for a, b in combinations(knowledge.causes.values(), 2):
        private = {w.finding for c in (a, b) for w in c.weighs} | {p.finding for c in (a, b) for p in c.proofs}
        one, two = column(a), column(b)
        apart = {f for f in {*one, *two} if abs(one.get(f, 0) - two.get(f, 0)) >= 0.2}
        if not apart and not private:
            yield f"{a.id} {b.id}", "no finding tells these two causes apart"


def voted_twice(knowledge: model.Knowledge) -> Iterator[tuple[str, str]]:
    """A finding both shown by a cause and weighed privately on it would count twice."""
    for cause in knowledge.causes.values():
        for finding in {s.finding for s in cause.shows} & {w.finding for w in cause.weighs}:
            yield cause.id, f"'{finding}' stands under shows and under weighs; it would count twice"


def alike_rules(knowledge: model.Knowledge) -> Iterator[tuple[str, str]]:
    """Two rules with the same conditions and the same conclusion."""
    seen: dict[str, str] = {}
    for rule in knowledge.rules.values():
        key = rule.when.model_dump_json() + rule.then.model_dump_json(exclude={"trust"})
        if key in seen:
            yield rule.id, f"says what {seen[key]} says already"
        seen[key] = rule.id


CHECKS: dict[str, Check] = {
    f.__name__.replace("_", "-"): f
    for f in (
        cause_without_a_way, finding_nobody_sets, finding_nobody_reads, finding_one_sided, question_unused,
        reading_unused, derived_unread, code_group_empty, code_group_idle, limits_too_close, causes_alike, voted_twice,
        alike_rules,
    )
}  # fmt: skip
