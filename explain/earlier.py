"""What stands for the latest round though it was read or told in an earlier one: which round that was."""

from __future__ import annotations

from inference.result import Result


def taken_in(result: Result, slot: str) -> int | None:
    """Return the index of the earlier round in which a fact of the latest one was taken.

    A derived reading is as old as the newest thing it is made of. None: taken in the latest round, not known, or told
    of the whole case (usage, filter), which belongs to no round.
    """
    last = len(result.rounds) - 1
    at = result.latest.origin.get(slot, last)
    written = any(slot in r.readings or slot in r.answers for r in result.case.rounds[:last])
    told = written or slot in result.latest.derived
    return at if at < last and told else None


def rests_on_earlier(result: Result, finding: str) -> int | None:
    """Return the newest round behind a finding of the latest one, where all that shows it is from earlier rounds.

    None where something read in the latest round shows it too, or where it rests on nothing that was read.
    """
    last = len(result.rounds) - 1
    newest = _newest(result, finding) if last else None
    return newest if newest is not None and newest < last else None


def _newest(result: Result, finding: str) -> int | None:
    """The newest round among all signs of all rules that speak for the finding's state; None without any sign."""
    for verdicts in (result.latest.verdicts, result.decided):
        found = verdicts.findings.get(finding)
        if found is None:
            continue
        rounds: list[int | None] = []
        for fired in verdicts.fired:
            if fired.concludes != finding or fired.verdict != found.state:
                continue
            for met in fired.conditions:
                if met.part not in ("all", "any") or met.outcome is not True:
                    continue
                is_finding = met.slot in result.latest.verdicts.findings
                rounds.append(_newest(result, met.slot) if is_finding else _read_in(result, met.slot))
        known = [r for r in rounds if r is not None]
        return max(known) if known else None
    return None


def _read_in(result: Result, slot: str) -> int | None:
    """The round in which a fact was taken; None for what was told of the whole case."""
    at = taken_in(result, slot)
    if at is not None:
        return at
    last = len(result.rounds) - 1
    return None if result.latest.origin.get(slot, last) < last else last
