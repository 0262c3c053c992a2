"""Exact probabilities of the causes, by switching the present findings on one cause after another.

Activation sweep: the state is the set of present findings already set off. The sweep starts with none, weight
1; each cause multiplies the weight by that of its state and sets off each open finding independently with its
link. A finding joins the state before its first cause (already on with its leak) and leaves it after its
last, when only "on" is kept. One sweep back with the transposed operator gives every marginal. Every number
is positive, so nothing cancels; the inclusion-exclusion sum (Heckerman 1989, Quickscore) loses all digits
when the evidence is improbable.

Absent findings factorise over the causes and only multiply weights, and so do present ones that a single cause
can set off. A cause without a link to any other present finding has the closed form.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from inference.belief.net import Bools, Floats, ImpossibleEvidence, Net, variants
from inference.belief.order import sequence
from inference.belief.sweep import Turn, backward, enter, forward, leave_back, turns

__all__ = [
    "ImpossibleEvidence",
    "Net",
    "Posterior",
    "TooInterwoven",
    "posteriors",
    "posteriors_traced",
]

CELLS = 1 << 15  # cells of one state array: variants are taken in portions so that it stays in the cache
WIDEST = 23  # open findings beyond which one variant alone would need gigabytes


class TooInterwoven(RuntimeError):  # noqa: N818  named for what it is
    """More present findings hang together than can be computed exactly in memory."""


@dataclass(frozen=True)
class Posterior:
    """What is believed, for each of B variants of the evidence.

    ``states`` [B, n, K]: probability of each present state. ``absent`` [B, n]: probability that the cause is
    not there, computed in its own right, so that odds stay good when it is nearly certain. ``none`` [B]:
    probability that no listed cause is there. ``evidence`` [B]: natural log of P(findings), the weights
    normalised per cause being the prior.
    """

    states: Floats
    absent: Floats
    none: Floats
    evidence: Floats

    @property
    def causes(self) -> Floats:
        """[B, n] probability that the cause is there in any present state."""
        return np.asarray(self.states.sum(axis=2))

    def variant(self, place: int) -> Posterior:
        """Return one variant by itself (B = 1)."""
        one = slice(place, place + 1)
        return Posterior(self.states[one], self.absent[one], self.none[one], self.evidence[one])


@dataclass(frozen=True)
class Prepared:
    """Evidence that factorises worked into the weights, and the sweep over the rest planned.

    ``weights`` [n, 1 + K, B], each cause's summing to 1. ``start`` [m, 2, B]: weight with which a finding
    begins off and on (a finding left out begins on). ``log_mass`` [B]: log of what normalising took out;
    ``log_none`` [B]: log of the weight of no cause with all evidence.
    """

    weights: Floats
    start: Floats
    log_mass: Floats
    log_none: Floats
    turns: list[Turn]

    @property
    def width(self) -> int:
        """How many findings are open at once at most."""
        return max((turn.step.width for turn in self.turns), default=0)


def prepare(net: Net, include: Bools) -> Prepared:
    """Work what factorises into the weights of each variant (``include``: [B, m]); plan the sweep of the rest."""
    counted = include & net.present
    counted_absent = include & ~net.present
    linked = linked_in(net) & counted.any(axis=0)
    owners = linked.sum(axis=0)
    with np.errstate(divide="ignore", invalid="ignore"):
        logs = np.log(np.broadcast_to(net.weights, (len(include), *net.weights.shape)))
        log_prior = np.log(net.weights.sum(axis=1))
        log_leaks = np.log(net.leaks)
        log_mass = np.where(counted_absent, np.log1p(-net.leaks), 0.0).sum(axis=1)
        log_none = (logs[0, :, 0] - log_prior).sum() + log_mass + np.where(counted, log_leaks, 0.0).sum(axis=1)
    log_mass += np.where(counted & (owners == 0), log_leaks, 0.0).sum(axis=1)  # only the leak set these off
    if not np.isfinite(log_mass).all():
        raise ImpossibleEvidence(
            "a finding contradicts its leak: it was seen though nothing left in the net can set it off, "
            "or not seen though it always goes off"
        )
    logs[:, :, 1:] += np.tensordot(counted_absent.astype(float), np.log1p(-net.links), axes=(1, 2))
    for finding in np.flatnonzero(owners == 1).tolist():  # so this one's weight may carry it
        cause = int(linked[:, finding].argmax())
        leak, link = net.leaks[finding], net.links[cause, :, finding]
        with np.errstate(divide="ignore"):
            on = np.log(np.concatenate([[leak], 1.0 - (1.0 - leak) * (1.0 - link)]))
        logs[:, cause] += np.where(counted[:, finding, None], on, 0.0)
        linked[cause, finding] = False
    top = logs.max(axis=2)
    if not np.isfinite(top).all():
        name = net.names[int(np.argwhere(~np.isfinite(top))[0][1])]
        raise ImpossibleEvidence(
            f"'{name}' can be neither there nor absent: a proof, a veto or a finding that only it explains "
            "contradict each other; one of them must be wrong, look again"
        )
    weights = np.exp(logs - top[:, :, None])
    sums = weights.sum(axis=2)
    weights /= sums[:, :, None]
    log_mass += (top + np.log(sums) - log_prior).sum(axis=1)

    start = np.empty((len(net.present), 2, len(include)))
    start[:, 0] = np.where(counted, 1.0 - net.leaks, 0.0).T
    start[:, 1] = np.where(counted, net.leaks, 1.0).T
    masks = [0] * len(net.names)
    for cause, finding in np.argwhere(linked).tolist():
        masks[cause] |= 1 << finding
    steps = sequence(tuple(masks))
    return Prepared(weights.transpose(1, 2, 0).copy(), start, log_mass, log_none, turns(net.links, steps))


def linked_in(net: Net) -> Bools:
    """Return [n, m] which cause may have set off which of the present findings."""
    able = (net.links > 0) & (net.weights[:, 1:, None] > 0)
    return np.asarray(able.any(axis=1) & net.present & (net.leaks < 1))


@dataclass
class Trace:
    """What the sweep of one variant leaves behind for those who go on from it, per step in order.

    ``futures``: [2^open] weighing the state after the step to the probability of all that may follow (1 in
    sum); ``scales``: what the state was divided by.
    """

    futures: list[Floats]
    scales: list[float]


def _sweep(made: Prepared, part: slice, out: Floats, trace: Trace | None = None) -> Floats:
    """Sweep forward and back over one portion of the variants; fill ``out`` and return the log mass [B]."""
    weights, start = made.weights[:, :, part], made.start[:, :, part]
    variants = weights.shape[2]
    state = np.ones((1, variants))
    log_mass = np.zeros(variants)
    tape: list[tuple[Floats, Floats | None]] = []
    for turn in made.turns:
        entered = enter(turn.step, start, state)
        state = forward(turn, weights[turn.step.cause], entered).reshape(-1, variants)
        scale = None
        if turn.step.closes:  # only here is mass lost, so only here can numbers become small
            scale = state.sum(axis=0)
            if not scale.all():
                raise ImpossibleEvidence(
                    "the findings cannot all be true at once: what could have set them off is ruled out"
                )
            state = state / scale
            log_mass += np.log(scale)
        tape.append((entered, scale))

    future = np.ones((1, variants))
    for turn in reversed(made.turns):
        entered, scale = tape.pop()
        if trace is not None:
            trace.futures.insert(0, future[:, 0])
            trace.scales.insert(0, 1.0 if scale is None else float(scale[0]))
        if scale is not None:
            future = future / scale
        own = weights[turn.step.cause]
        kept = len(entered) >> turn.step.closes
        mass, future = backward(turn, own, entered, future.reshape(kept, -1, variants))
        out[turn.step.cause, :, part] = mass
        future = leave_back(turn.step, start, future)
    return log_mass


def posteriors(net: Net, include: Bools | None = None) -> Posterior:
    """Return the exact probability of every state of every cause, for each variant of the evidence.

    Parameters
    ----------
    net : causes and evidence
    include : [B, m] which evidence counts in each variant; None is one variant with all of it

    Raises
    ------
    ImpossibleEvidence
        if in any variant the total weight is 0.
    TooInterwoven
        if more than 23 present findings would be open at once in the best order found.
    """
    which = variants(net, include)
    made = prepare(net, which)
    return swept(made)


def posteriors_traced(net: Net) -> tuple[Prepared, Trace, Posterior]:
    """Return the prepared net, its sweep and the posterior with all evidence; raises as posteriors does."""
    which = variants(net, None)
    made = prepare(net, which)
    trace = Trace([], [])
    return made, trace, swept(made, trace)


def swept(made: Prepared, trace: Trace | None = None) -> Posterior:
    """Sweep over what was prepared; raises as :func:`posteriors` does."""
    width, variants = made.width, len(made.log_mass)
    if width > WIDEST:
        raise TooInterwoven(
            f"{width} present findings hang together by shared causes; exact belief goes up to {WIDEST}"
        )
    out = made.weights.copy()
    log_mass = made.log_mass.copy()
    portion = max(1, CELLS >> width)
    for begin in range(0, variants, portion):
        part = slice(begin, begin + portion)
        log_mass[part] += _sweep(made, part, out, trace)
    out /= out.sum(axis=1, keepdims=True)
    return Posterior(
        states=np.ascontiguousarray(out[:, 1:].transpose(2, 0, 1)),
        absent=np.ascontiguousarray(out[:, 0].T),
        none=np.exp(made.log_none - log_mass),
        evidence=log_mass,
    )
