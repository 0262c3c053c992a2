"""Whether the knowledge files fit together: every name that one entry uses is defined by another."""

from __future__ import annotations

from collections.abc import Iterable, Iterator
from typing import Any

from kb import model
from kb.faults import Fault, nearest
from kb.slots import Slots, slot_of
from kb.units import UnitError, number

COMPARISONS = ("above", "below", "at_least", "at_most", "between", "is_", "one_of")


class _Checker:
    """Collects faults; knows where every entry stands."""

    def __init__(self, knowledge: model.Knowledge) -> None:
        self.k = knowledge
        self.slots = Slots(knowledge)
        self.faults: list[Fault] = []

    def fault(self, table: str, identity: str, field: str, says: str) -> None:
        file, _, line = self.k.places.get(f"{table}:{identity}", f"kb/{table}:0").rpartition(":")
        self.faults.append(Fault(file, int(line or 0), f"{identity}.{field}".strip("."), says))

    def known(
        self, table: str, identity: str, field: str, names: Iterable[str | None], known: Iterable[str], kind: str
    ) -> None:
        known = set(known)
        for name in names:
            if name is not None and name not in known:
                self.fault(table, identity, field, f"there is no {kind} '{name}'{nearest(name, known)}")


def check_references(knowledge: model.Knowledge) -> Iterator[Fault]:
    """Yield every name that is used and not defined, defined twice, or used in a way that cannot be right."""
    c = _Checker(knowledge)
    _check_unique(c)
    _check_sources(c)
    _check_quantities(c)
    _check_entries(c)
    for rule in knowledge.rules.values():
        _check_rule(c, rule)
    _check_gate(c)
    _check_lasting(c)
    plan = knowledge.plan
    c.known("plan", "plan", "needs_a_burn", plan.needs_a_burn, knowledge.tests, "test")
    c.known("plan", "plan", "seen_later", plan.seen_later, knowledge.remedies, "remedy")
    c.known("plan", "plan", "hard_driving", plan.hard_driving, knowledge.tests, "test")
    c.known("plan", "plan", "driving", [plan.driving], knowledge.cautions, "caution")
    c.known("plan", "plan", "source", [plan.source], knowledge.sources, "source")
    yield from sorted(set(c.faults))


def _check_unique(c: _Checker) -> None:
    seen: dict[str, str] = {}
    for table in ("readings", "derived", "questions", "findings", "causes", "code_groups"):
        for identity in getattr(c.k, table):
            if identity in seen:
                c.fault(table, identity, "id", f"'{identity}' is also the name of an entry in {seen[identity]}")
            seen[identity] = table


def _check_sources(c: _Checker) -> None:
    for table in type(c.k).model_fields:
        entries = getattr(c.k, table)
        if not isinstance(entries, dict) or table in ("places", "sources"):
            continue
        for identity, entry in entries.items():
            for field, name in _sources_in(entry, ""):
                c.known(table, identity, field, [name], c.k.sources, "source")


def _sources_in(value: Any, path: str) -> Iterator[tuple[str, str | None]]:
    if isinstance(value, model.Entry):
        for field in type(value).model_fields:
            inner = getattr(value, field)
            where = f"{path}.{field}".strip(".")
            if field in ("source", "leak_source"):
                yield where, inner
            else:
                yield from _sources_in(inner, where)
    elif isinstance(value, list):
        for i, item in enumerate(value):
            yield from _sources_in(item, f"{path}.{i}")


def _check_quantities(c: _Checker) -> None:
    for reading in c.k.readings.values():
        spans = [("possible", reading.possible), *((f"usual.{n}", r) for n, r in reading.usual.items())]
        for field, span in spans:
            low = _quantity(c, "readings", reading.id, field, span.low, reading.unit)
            high = _quantity(c, "readings", reading.id, field, span.high, reading.unit)
            if low is not None and high is not None and low >= high:
                c.fault("readings", reading.id, field, f"{span.low} is not below {span.high}")
        try:
            reading.error_at(0.0)
        except ValueError as error:
            c.fault("readings", reading.id, "error", str(error))
        c.known("readings", reading.id, "usual", reading.usual, [*reading.conditions, "any"], "condition")
        c.known("readings", reading.id, "hazard", [reading.hazard], c.k.cautions, "caution")
    for question in c.k.questions.values():
        c.known("questions", question.id, "hazard", [question.hazard], c.k.cautions, "caution")
    for body in c.k.substrates.values():
        for text in (body.safe_soot.low, body.safe_soot.high):
            _quantity(c, "substrates", body.id, "safe_soot", text, "g/l")
        for field, text, unit in _solid(body.solid):
            _quantity(c, "substrates", body.id, f"solid.{field}", text, unit)
        c.known("substrates", body.id, "solid.source", [body.solid.source], c.k.sources, "source")


def _solid(solid: model.Solid) -> list[tuple[str, str, str]]:
    """The quantities that say whether a body cracks: field, what is written, unit."""
    out = [("stiffness", solid.stiffness, "Pa"), ("expansion", solid.expansion, "1/K"), ("width", solid.width, "m")]
    if solid.strength is not None:
        out.append(("strength", solid.strength, "Pa"))
    if solid.stretch is not None:
        out.append(("stretch", solid.stretch, "1"))
    if solid.joint is not None:
        out += [("joint.thickness", solid.joint.thickness, "m"), ("joint.shear", solid.joint.shear, "1")]
    return out


def _quantity(c: _Checker, table: str, identity: str, field: str, text: str, unit: str) -> float | None:
    try:
        return number(text, unit)
    except UnitError as error:
        c.fault(table, identity, field, str(error))
        return None


def _check_entries(c: _Checker) -> None:
    k = c.k
    for effect in k.effects.values():
        c.known("effects", effect.id, "id", [effect.id], k.causes, "cause")
    for derived in k.derived.values():
        own = set(c.slots.unit_by_slot) | {"engine_litres", "odometer", "filter", "history", "layout"}
        stems = {s.split(".")[0] for s in own} | own | set(k.questions)
        c.known("derived", derived.id, "inputs", derived.inputs, stems, "reading")
    for code in k.codes.values():
        c.known("codes", code.code, "group", [code.group], k.code_groups, "code group")
    for group in k.code_groups.values():
        c.known("code_groups", group.id, "points_at", group.points_at, {*k.causes, *_jobs(k)}, "cause or job")
    for cause in k.causes.values():
        uses = [s.finding for s in cause.shows] + [w.finding for w in cause.weighs] + [p.finding for p in cause.proofs]
        c.known("causes", cause.id, "shows/weighs/proofs", uses, k.findings, "finding")
        c.known("causes", cause.id, "remedy", [cause.remedy], k.remedies, "remedy")
        c.known("causes", cause.id, "tests", cause.tests, k.tests, "test")
        c.known("causes", cause.id, "brings", [b.cause for b in cause.brings], k.causes, "cause")
        c.known("causes", cause.id, "only_types", cause.only_types, k.filter_types, "filter type")
        for shown in cause.shows:
            finding = k.findings.get(shown.finding)
            if finding is None:
                continue
            if finding.leak is None:
                c.fault("causes", cause.id, "shows", f"'{finding.id}' has no leak in findings.yaml; give it one")
            elif shown.how_often <= finding.leak:
                says = (
                    f"'{finding.id}' is shown {shown.how_often:g} of the time, not more than its leak {finding.leak:g}"
                )
                c.fault("causes", cause.id, "shows", says)
    outputs = set(k.questions) | set(c.slots.unit_by_slot) | {"codes", "confirmed"}
    for test in k.tests.values():
        c.known("tests", test.id, "settles", test.settles, k.findings, "finding")
        c.known("tests", test.id, "outcomes", [o.finding for o in test.outcomes], k.findings, "finding")
        c.known("tests", test.id, "gives", test.gives, outputs, "reading or question")
        c.known("tests", test.id, "hazards", test.hazards, k.cautions, "caution")
    for remedy in k.remedies.values():
        named = [*remedy.after, *remedy.also, *remedy.covers, *remedy.spared_by]
        c.known("remedies", remedy.id, "after/also/covers/spared_by", named, k.remedies, "remedy")
        for other in (k.remedies[name] for name in remedy.covers if name in k.remedies):
            if remedy.id in (other.id, *other.covers):
                says = f"'{remedy.id}' and '{other.id}' cover each other; one of them must be the one that stays"
                c.fault("remedies", remedy.id, "covers", says)
        c.known("remedies", remedy.id, "hazards", remedy.hazards, k.cautions, "caution")
        c.known(
            "remedies", remedy.id, "proof_findings", [p.finding for p in remedy.proof_findings], k.findings, "finding"
        )


def _check_rule(c: _Checker, rule: model.Rule) -> None:
    conditions = [*rule.when.all, *rule.when.any, *rule.when.none, *rule.when.unless]
    if not (rule.when.all or rule.when.any or rule.when.none):
        c.fault("rules", rule.id, "when", "says no condition under 'all', 'any' or 'none'")
    for test in conditions:
        _check_condition(c, rule, test)
    target = rule.then
    if (target.finding is None) == (target.caution is None):
        c.fault("rules", rule.id, "then", "a rule concludes one thing: a finding or a caution")
    c.known("rules", rule.id, "then.finding", [target.finding], c.k.findings, "finding")
    c.known("rules", rule.id, "then.caution", [target.caution], c.k.cautions, "caution")
    if target.finding and target.trust is None:
        c.fault("rules", rule.id, "then.trust", "how far is this verdict to be believed? give one of the seven words")
    if target.trust is not None and target.trust <= 0.5:
        c.fault("rules", rule.id, "then.trust", "a verdict believed half the time or less says nothing")
    stage = c.k.findings[target.finding].stage if target.finding in c.k.findings else "decide"
    if stage == "find" and any(t.cause for t in conditions):
        c.fault("rules", rule.id, "when", "reads a cause's level, which only a finding of stage 'decide' may do")
    for group in ("fires", "quiet", "boundary"):
        for example in getattr(rule.examples, group):
            c.known("rules", rule.id, f"examples.{group}", example, c.slots.names, "reading, answer, code or finding")


def _check_condition(c: _Checker, rule: model.Rule, test: model.Test) -> None:
    try:
        slot = slot_of(test)
    except ValueError as error:
        c.fault("rules", rule.id, "when", str(error))
        return
    used = [n for n in COMPARISONS if getattr(test, n) is not None]
    if len(used) != 1:
        c.fault("rules", rule.id, f"when.{slot}", f"one comparison is wanted, {len(used)} are there")
        return
    if test.reading is not None:
        if slot not in c.slots.unit_by_slot:
            c.known("rules", rule.id, "when", [slot], c.slots.unit_by_slot, "reading")
            return
        if used[0] in ("is_", "one_of"):
            c.fault(
                "rules", rule.id, f"when.{slot}", "a reading is compared with above, below, at_least, at_most, between"
            )
            return
        unit = c.slots.unit(slot)
        limits = test.between or [getattr(test, used[0])]
        values = [_quantity(c, "rules", rule.id, f"when.{slot}", text, unit) for text in limits]
        if test.between is not None and (len(values) != 2 or None in values or values[0] >= values[1]):  # type: ignore[operator]
            c.fault("rules", rule.id, f"when.{slot}", "between takes two limits, the lower first")
        return
    words = c.slots.words_by_slot.get(slot)
    if words is None:
        kind = next(n for n in ("answer", "code", "codes", "finding", "cause", "filter", "layout") if getattr(test, n))
        c.known("rules", rule.id, "when", [slot], c.slots.words_by_slot, kind)
        return
    given = [test.is_] if test.is_ is not None else list(test.one_of or ([test.at_least] if test.at_least else []))
    if not given:
        c.fault("rules", rule.id, f"when.{slot}", "is compared with 'is', 'one_of' or, for a cause, 'at_least'")
    c.known("rules", rule.id, f"when.{slot}", given, words, "word")


def _check_lasting(c: _Checker) -> None:
    """What ends a lasting finding must be something a case can name: a cause, a job of no cause, an event."""
    k = c.k
    known = {*k.causes, *_jobs(k), "filter cleaned", "filter replaced"}
    for finding in k.findings.values():
        if finding.lasting is None:
            continue
        c.known("findings", finding.id, "lasting.ends", finding.lasting.ends, known, "cause, job or event")
        c.known("findings", finding.id, "lasting.looked_at", finding.lasting.looked_at, k.findings, "finding")
        if finding.stage != "find":
            says = "is made in stage 'decide', of the latest round alone; let the findings it reads last"
            c.fault("findings", finding.id, "lasting", says)


def _jobs(k: model.Knowledge) -> set[str]:
    """Jobs that belong to no cause, so that a case names them themselves."""
    return set(k.remedies) - {cause.remedy for cause in k.causes.values()}


def _check_gate(c: _Checker) -> None:
    gate = c.k.gate
    entries: list[Any] = [*gate.dangers, *gate.doubts, *gate.needs, *gate.driving]
    uses = [entry.finding for entry in entries]
    for name in (*uses, gate.not_needed):
        if name is not None and name not in c.k.findings:
            says = f"there is no finding '{name}'{nearest(name, c.k.findings)}"
            c.faults.append(Fault("kb/gate.yaml", 0, "gate", says))
    for danger in gate.dangers:
        if danger.work is not None and danger.work not in c.k.remedies:
            says = f"there is no remedy '{danger.work}'{nearest(danger.work, c.k.remedies)}"
            c.faults.append(Fault("kb/gate.yaml", 0, f"gate.dangers.{danger.finding}.work", says))
    for need in c.k.gate.needs:
        if need.work is not None and need.work not in c.k.remedies:
            says = f"there is no remedy '{need.work}'{nearest(need.work, c.k.remedies)}"
            c.faults.append(Fault("kb/gate.yaml", 0, f"gate.needs.{need.finding}.work", says))
