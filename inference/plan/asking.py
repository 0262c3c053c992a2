"""Which fact of a case to ask for next: the one that is expected to tell most for a minute, or that a burn waits for.

A finding is worth what it is expected to tell about the causes [bit]; a need of the gate that is not known is worth
its share of the one bit "may it be burnt". Both are divided by the minutes of the facts still lacking on the cheapest
open way to settle the finding (:mod:`inference.plan.reach`). What would tell next to nothing is not asked.
"""

from __future__ import annotations

from collections.abc import Collection, Iterator
from dataclasses import dataclass
from functools import lru_cache

from inference.belief.ahead import look_ahead
from inference.diagnose import evidence_of
from inference.nexttest import private_gains, shared_and_open, shared_gains
from inference.offered import may_be_done
from inference.plan.outlook import Held, links_of
from inference.plan.reach import Raw, Reach
from inference.result import Result
from kb.model import Knowledge

PAYS = 0.02  # bit: a finding that tells less is not asked for
WAYS = 3  # ways of a finding that are looked at
RECORDED = "a recorded drive"  # an instrument: what clogwise log makes of a recording, nobody is asked for
POINTS = 0.02  # a cause less likely than this is not named as what a question is about


@dataclass(frozen=True)
class Ask:
    """One fact to ask for, and what for.

    ``finding``: what it helps to settle; ``bits`` what that is expected to tell; ``causes``: those it bears on, most
    probable first; ``need``: what the decision on a burn would say is missing, "" if it does not wait for it.
    """

    slot: str
    finding: str
    bits: float
    causes: tuple[str, ...]
    need: str


def next_fact(knowledge: Knowledge, result: Result, skip: Collection[str] = ()) -> Ask | None:
    """Return the fact to ask for next in the latest round, None when nothing more pays.

    Parameters
    ----------
    skip : facts already asked for that the person does not know
    """
    latest = result.latest
    facts = {**latest.facts, **latest.verdicts.as_facts(), **result.decided.as_facts()}
    reach = Reach(knowledge, facts)
    barred = _barred(knowledge, result)
    best: tuple[float, str, Raw, float, str] | None = None
    for finding, bits, need in _wanted(knowledge, result):
        ways = [w for w in reach.ways(finding) if not w & barred and not w & set(skip) and _askable(knowledge, w)]
        for way in ways[:WAYS]:
            score = bits / reach.minutes(way)
            if best is None or score > best[0] + 1e-12:
                best = (score, finding, way, bits, need)
    if best is None:
        return None
    _, finding, way, bits, need = best
    shows, pairs = links_of(Held(knowledge), finding)
    causes = tuple(c.id for c in result.causes if c.id in {*shows, *pairs} and c.now >= POINTS)
    return Ask(min(way, key=_order(knowledge).__getitem__), finding, bits, causes[:3], need)


def _wanted(knowledge: Knowledge, result: Result) -> Iterator[tuple[str, float, str]]:
    """Yield every finding worth settling, what it is worth [bit] and the gate's word for it."""
    findings = result.latest.verdicts.findings
    unknown = sorted(f for f, r in findings.items() if r.state == "unknown")
    evidence = evidence_of(result.case, knowledge, result.rounds)
    now = {c.id: (c.now if c.state == "present" else 0.0) for c in result.causes}
    gain = shared_gains(look_ahead(knowledge, evidence, shared_and_open(knowledge, evidence, unknown)))
    for finding, bits in private_gains(knowledge, now, unknown).items():
        gain[finding] = max(gain.get(finding, 0.0), bits)
    gate = result.gate
    missing = {r.finding: r.says for r in gate.missing} if gate.decision == "hold" else {}
    places = knowledge.gate.set_up & set(missing)
    held_anyway = len(gate.because) > len(places)  # then the safety of the place changes nothing yet
    for finding in sorted({*gain, *missing}):
        bits, need = gain.get(finding, 0.0), missing.get(finding, "")
        if need and not (held_anyway and finding in places):
            yield finding, bits + 1 / len(missing), need
        elif bits >= PAYS:
            yield finding, bits, ""


def _barred(knowledge: Knowledge, result: Result) -> Raw:
    """Return the readings that only tests which may not be done now would give."""
    given: set[str] = set()
    barred: set[str] = set()
    for test in knowledge.tests.values():
        may = may_be_done(knowledge, test, result.gate, result.latest.verdicts.findings)
        (given if may else barred).update(test.gives)
    return frozenset(s for s in barred - given if s not in knowledge.questions)


def _askable(knowledge: Knowledge, way: Raw) -> bool:
    order = _order(knowledge)
    return all(slot in order for slot in way)


def _order(knowledge: Knowledge) -> dict[str, int]:
    """Return every fact that can be asked for, in the order of the knowledge files."""
    return _ordered(Held(knowledge))


@lru_cache(maxsize=4)
def _ordered(held: Held) -> dict[str, int]:
    k = held.knowledge
    slots = ["codes", *k.questions]
    told = [r for r in k.readings.values() if r.instrument != RECORDED]
    slots += [s for r in told for s in ([f"{r.id}.{c}" for c in r.conditions] or [r.id])]
    return {slot: i for i, slot in enumerate(slots)}
