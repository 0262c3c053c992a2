"""In what order to take the causes, so that few present findings are open at a time.

A finding is open from the first cause linked to it until the last; the work of the sweep doubles with every
open finding. This is variable elimination along a path; the best order is NP-hard to find, so it is chosen
greedily, from several starts where that pays. Sets are bit masks.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import lru_cache

# Cells touched by one variant, from which on looking for a better order costs less than it saves.
WORTH_A_SEARCH = 20_000


@dataclass(frozen=True)
class Step:
    """One cause in its turn.

    ``enters``: findings opened before it; they come first among the open ones. ``turn``: the axes of a state
    array (one axis of 2 per open finding, then variants) in the order that puts the cause's own findings
    first, ``back`` its inverse; empty where nothing moves. ``bits``: the cause's findings in that order,
    first the ``closes`` of them that are closed after it. ``width``: how many are open meanwhile.
    """

    cause: int
    enters: tuple[int, ...]
    turn: tuple[int, ...]
    back: tuple[int, ...]
    bits: tuple[int, ...]
    closes: int
    width: int


def members(mask: int) -> list[int]:
    """Return the places of the set bits, lowest first."""
    found = []
    while mask:
        low = mask & -mask
        found.append(low.bit_length() - 1)
        mask ^= low
    return found


def components(masks: Sequence[int]) -> list[list[int]]:
    """Group the causes that have links (``masks[c]``: findings linked to c) into connected components."""
    groups: list[tuple[int, list[int]]] = []
    for cause, mask in enumerate(masks):
        if not mask:
            continue
        causes = [cause]
        apart = []
        for reach, others in groups:
            if reach & mask:
                mask |= reach
                causes += others
            else:
                apart.append((reach, others))
        groups = [*apart, (mask, causes)]
    return sorted(sorted(causes) for _, causes in groups)


def _greedy(causes: Iterable[int], masks: Sequence[int], start: int | None) -> list[int]:
    """Close one finding after another, the one that leaves the fewest open first; begin with ``start``."""
    left = dict.fromkeys(causes)
    linked: dict[int, list[int]] = {}
    for cause in left:
        for finding in members(masks[cause]):
            linked.setdefault(finding, []).append(cause)
    order: list[int] = []
    active = 0

    def take(cause: int) -> None:
        nonlocal active
        del left[cause]
        order.append(cause)
        active |= masks[cause]
        for finding in members(masks[cause]):
            linked[finding].remove(cause)
            if not linked[finding]:
                del linked[finding]
                active ^= 1 << finding

    while left:
        best, least = start, (1 << 30, 1 << 30, 0)
        if best is None:
            for finding, owners in linked.items():
                reach = active
                for cause in owners:
                    reach |= masks[cause]
                key = (reach.bit_count() - (active >> finding & 1), len(owners), finding)
                if key < least:
                    best, least = finding, key
        start = None
        while best in linked:
            take(min(linked[best], key=lambda c: ((masks[c] & ~active).bit_count(), c)))
        for cause in [c for c in left if not masks[c] & ~active]:
            take(cause)  # it opens nothing new; _slide chooses its place
    return order


def _slide(order: list[int], masks: Sequence[int]) -> tuple[int, list[int]]:
    """Take each cause where fewest findings are open among the places at which all of its own are.

    Return (cells touched, order).
    """
    first: dict[int, int] = {}
    last: dict[int, int] = {}
    linked = [members(masks[cause]) for cause in order]
    for place, findings in enumerate(linked):
        for finding in findings:
            first.setdefault(finding, place)
            last[finding] = place
    open_at = [0] * (len(order) + 1)
    for finding, place in first.items():
        open_at[place] += 1
        open_at[last[finding] + 1] -= 1
    for place in range(1, len(order)):
        open_at[place] += open_at[place - 1]
    moved = []
    for place, findings in enumerate(linked):
        begin = max(first[f] for f in findings)
        end = min(last[f] for f in findings) + 1
        best = min(range(begin, end), key=open_at.__getitem__)
        moved.append((best, place))
    cells = sum(1 << open_at[best] for best, _ in moved)
    return cells, [order[place] for _, place in sorted(moved)]


@lru_cache(maxsize=256)
def sequence(masks: tuple[int, ...]) -> tuple[Step, ...]:
    """Plan the sweep over all causes with links; ``masks[c]``: the present findings linked to cause c."""
    steps: list[Step] = []
    for causes in components(masks):
        cells, order = _slide(_greedy(causes, masks, None), masks)
        if cells > WORTH_A_SEARCH:
            findings = 0
            for cause in causes:
                findings |= masks[cause]
            for start in members(findings):
                cells, order = min((cells, order), _slide(_greedy(causes, masks, start), masks))
        steps += _steps(order, masks)
    return tuple(steps)


def _steps(order: list[int], masks: Sequence[int]) -> list[Step]:
    last: dict[int, int] = {}
    for cause in order:
        for finding in members(masks[cause]):
            last[finding] = cause
    steps = []
    opened: list[int] = []
    for cause in order:
        linked = members(masks[cause])
        enters = [f for f in linked if f not in opened]
        opened = enters + opened
        closing = [f for f in opened if last[f] == cause]
        bits = closing + [f for f in opened if f in linked and last[f] != cause]
        turned = bits + [f for f in opened if f not in bits]
        turn: tuple[int, ...] = ()
        back: tuple[int, ...] = ()
        if turned != opened:
            turn = (*(opened.index(f) for f in turned), len(opened))
            back = (*(turned.index(f) for f in opened), len(opened))
        steps.append(Step(cause, tuple(enters), turn, back, tuple(bits), len(closing), len(opened)))
        opened = turned[len(closing) :]
    return steps
