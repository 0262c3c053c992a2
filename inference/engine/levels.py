"""Levels of the findings: a finding is final before any rule reads it, so unknown can be read safely.

A finding stands one level above the highest finding that any rule concluding it reads. Reading "unknown" is a
negation, and a negation is only sound once all that could still set the finding has run (stratified negation:
Apt, Blair & Walker 1988, in Minker (ed.), Foundations of Deductive Databases, ch. 2; from memory).
"""

from __future__ import annotations

from collections.abc import Iterable, Mapping

Edge = tuple[str, frozenset[str]]  # a rule's id and the findings it reads


def levels(concluded: Mapping[str, Iterable[Edge]]) -> tuple[dict[str, int], list[tuple[str, ...]]]:
    """Return the level of each concluded finding, and the circles among the rules.

    Parameters
    ----------
    concluded : finding to the rules that set it, each with the findings it reads

    Returns
    -------
    level by finding, from 0; findings on a circle, or behind one, are left out
    circles, each a tuple of rule ids in which every rule reads what the next one sets, smallest id first
    """
    rules = {finding: sorted(edges) for finding, edges in sorted(concluded.items())}
    out: dict[str, int] = {}
    left = set(rules)
    while True:
        ready = [f for f in sorted(left) if all(not (reads & left) for _, reads in rules[f])]
        if not ready:
            break
        for finding in ready:
            below = [out[g] for _, reads in rules[finding] for g in reads if g in out]
            out[finding] = max(below, default=-1) + 1
        left.difference_update(ready)
    return out, _circles(rules, left)


def _circles(rules: Mapping[str, list[Edge]], left: set[str]) -> list[tuple[str, ...]]:
    found: set[tuple[str, ...]] = set()
    left = set(left)
    while left:
        path: list[str] = []
        via: list[str] = []
        at: str | None = min(left)
        while at is not None and at not in path:
            path.append(at)
            step = min(((rule, g) for rule, reads in rules[at] for g in reads & left), default=None)
            if step is None:  # it only stands behind a circle already told
                break
            via.append(step[0])
            at = step[1]
        else:
            assert at is not None
            circle = via[path.index(at) :]
            turn = circle.index(min(circle))
            found.add(tuple(circle[turn:] + circle[:turn]))
        left.difference_update(path)
    return sorted(found)
