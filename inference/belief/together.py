"""The beliefs of many nets at once, such as those of the changes of one case.

What factorises is worked into the weights of all nets together. The findings left, those that several causes may have
set off, go through the sweep of :mod:`inference.belief.activation`, one for all nets with the same such findings. A net
that lacks some shares it too: a finding that was on from the start, whatever sets it off, changes nothing.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from inference.belief.activation import Posterior, Prepared, posteriors, swept
from inference.belief.net import Bools, Floats, ImpossibleEvidence, Net
from inference.belief.order import sequence
from inference.belief.sweep import turns

ROOM = 10  # findings that nets may have together in one sweep, unless one has more by itself

Links = bytes  # of one finding, [n, K]: what tells it from others, since its leak begins the sweep of each net anew


def posteriors_of(nets: Sequence[Net]) -> list[Posterior | None]:
    """Return the posterior of each net with all its evidence (B = 1); None where it contradicts itself.

    Raises
    ------
    TooInterwoven : as :func:`inference.belief.activation.posteriors`
    """
    out: list[Posterior | None] = [None] * len(nets)
    for places in _by((net.names, net.weights.shape[1]) for net in nets).values():
        for place, found in zip(places, _of_like([nets[p] for p in places]), strict=True):
            out[place] = found
    return out


def _by(keys: Iterable[object]) -> dict[object, list[int]]:
    out: dict[object, list[int]] = {}
    for place, key in enumerate(keys):
        out.setdefault(key, []).append(place)
    return out


def _of_like(nets: Sequence[Net]) -> list[Posterior | None]:
    """Return the posteriors of nets with the same causes and states."""
    if len(nets) == 1:
        return [_alone(nets[0])]
    folded = _folded(nets)
    out: list[Posterior | None] = [None] * len(nets)
    for findings, places in _groups(folded):
        try:
            found = swept(_prepared(folded, findings, places))
            told: list[Posterior | None] = [found.variant(b) for b in range(len(places))]
        except ImpossibleEvidence:  # one of them
            told = [_alone(nets[place]) for place in places]
        for place, one in zip(places, told, strict=True):
            out[place] = one
    return out


def _alone(net: Net) -> Posterior | None:
    try:
        return posteriors(net)
    except ImpossibleEvidence:
        return None


@dataclass(frozen=True)
class _Folded:
    """V nets with what factorises worked into the weights [V, n, 1 + K]; V as given, of those that can be.

    ``leaks`` [V, M] with M the findings of the largest net; ``open``: by net, the findings left for the sweep;
    ``owners`` [n]: by finding of any net, which causes may have set it off.
    """

    weights: Floats
    log_mass: Floats
    log_none: Floats
    leaks: Floats
    open: dict[int, list[tuple[Links, int]]]
    owners: dict[Links, Bools]


def _folded(nets: Sequence[Net]) -> _Folded:
    """As :func:`inference.belief.activation.prepare` does for one net; nets that contradict themselves have no
    entry in ``open``.
    """
    count, most = len(nets), max(len(net.leaks) for net in nets)
    n, states = nets[0].weights.shape
    weights = np.stack([net.weights for net in nets])
    links, leaks = np.zeros((count, n, states - 1, most)), np.zeros((count, most))  # a finding never seen nor linked
    present = np.zeros((count, most), dtype=np.bool_)
    for place, net in enumerate(nets):
        m = len(net.leaks)
        links[place, :, :, :m], leaks[place, :m], present[place, :m] = net.links, net.leaks, net.present
    able = ((links > 0) & (weights[:, :, 1:, None] > 0)).any(axis=2)
    linked = able & (present & (leaks < 1))[:, None]
    owners = linked.sum(axis=1)
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(weights)
        log_prior = np.log(weights.sum(axis=2))
        log_leaks = np.log(leaks)
        log_mass = np.where(present, 0.0, np.log1p(-leaks)).sum(axis=1)
        log_none = (logs[:, :, 0] - log_prior).sum(axis=1) + log_mass + np.where(present, log_leaks, 0.0).sum(axis=1)
        log_mass += np.where(present & (owners == 0), log_leaks, 0.0).sum(axis=1)
        logs[:, :, 1:] += np.einsum("vm,vnkm->vnk", (~present).astype(float), np.log1p(-links))
        v, j = np.nonzero(owners == 1)  # so this cause's weight may carry it
        cause = linked[v, :, j].argmax(axis=1)
        leak, link = leaks[v, j, None], links[v, cause, :, j]
        np.add.at(logs, (v, cause), np.log(np.concatenate([leak, 1.0 - (1.0 - leak) * (1.0 - link)], axis=1)))
        top = logs.max(axis=2)
        new = np.exp(logs - top[:, :, None])
        sums = new.sum(axis=2)
        new /= sums[:, :, None]
        log_mass += (top + np.log(sums) - log_prior).sum(axis=1)
    can_be = np.isfinite(log_mass) & np.isfinite(top).all(axis=1)
    left: dict[int, list[tuple[Links, int]]] = {place: [] for place in np.flatnonzero(can_be).tolist()}
    owned: dict[Links, Bools] = {}
    for place, finding in np.argwhere((owners > 1) & can_be[:, None]).tolist():
        own = links[place, :, :, finding].tobytes()
        left[place].append((own, finding))
        owned[own] = owned.get(own, False) | linked[place, :, finding]
    return _Folded(new, log_mass, log_none, leaks, left, owned)


def _groups(folded: _Folded) -> list[tuple[Counter[Links], list[int]]]:
    """Return the findings of each sweep and the nets that share it.

    A net goes where it brings the fewest new findings, those with most findings first.
    """
    kinds: dict[tuple[Links, ...], list[int]] = {}
    for place, findings in folded.open.items():
        kinds.setdefault(tuple(sorted(own for own, _ in findings)), []).append(place)
    groups: list[tuple[Counter[Links], list[int]]] = []
    for kind, places in sorted(kinds.items(), key=lambda item: (-len(item[0]), item[0])):
        room = max(ROOM, len(kind))
        fitting = []
        for i, (theirs, _) in enumerate(groups):
            both = theirs | Counter(kind)
            if both.total() <= room:
                fitting.append((both.total() - theirs.total(), i, both))
        if fitting:
            _, i, both = min(fitting, key=lambda fit: fit[:2])
            groups[i] = both, [*groups[i][1], *places]
        else:
            groups.append((Counter(kind), places))
    return groups


def _prepared(folded: _Folded, findings: Counter[Links], places: Sequence[int]) -> Prepared:
    """Line up the findings of some nets for one sweep."""
    n, states = folded.weights.shape[1:]
    order = sorted(findings.elements())
    start = np.zeros((len(order), 2, len(places)))
    start[:, 1] = 1.0
    first = {own: slot for slot, own in reversed(list(enumerate(order)))}
    there: list[tuple[int, int, int, int]] = []  # finding of the sweep, net of the sweep, net as folded, its finding
    for b, place in enumerate(places):
        before: Counter[Links] = Counter()
        for own, finding in folded.open[place]:
            there.append((first[own] + before[own], b, place, finding))
            before[own] += 1
    if there:
        slot, b_, v, j = np.array(there).T
        start[slot, 0, b_], start[slot, 1, b_] = 1.0 - folded.leaks[v, j], folded.leaks[v, j]
    masks = [0] * n
    links = np.empty((n, states - 1, len(order)))
    for place, own in enumerate(order):
        links[:, :, place] = np.frombuffer(own).reshape(n, states - 1)
        for cause in np.flatnonzero(folded.owners[own]).tolist():
            masks[cause] |= 1 << place
    weights = folded.weights[places].transpose(1, 2, 0).copy()
    steps = sequence(tuple(masks))
    return Prepared(weights, start, folded.log_mass[places], folded.log_none[places], turns(links, steps))
