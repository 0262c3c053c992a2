"""What is believed, what it would be without each finding, and what each finding not known yet would make of it.

All from one sweep of the net. An unknown finding is asked after by its absence, which only multiplies weights: the
chance that it fails is the ratio of two evidence masses, and what is believed if it holds follows by subtraction.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from inference.belief.activation import Posterior, posteriors
from inference.belief.decibans import odds_in_decibans, parted
from inference.belief.evidence import Evidence, column_of
from inference.belief.net import Floats, Net
from kb.model import Knowledge


@dataclass(frozen=True)
class Ahead:
    """The belief now, and around it.

    Parameters
    ----------
    now : the posterior with all evidence (B = 1)
    decibans : [m, n] what each shared finding adds to each cause, all the rest being known; empty if not asked for
    findings : the k findings asked after
    fails : [k] chance that each of them does not hold
    if_fails, if_holds : [k, n] probability of each cause then, the finding being beyond doubt
    """

    now: Posterior
    decibans: Floats
    findings: tuple[str, ...]
    fails: Floats
    if_fails: Floats
    if_holds: Floats


def look_ahead(knowledge: Knowledge, evidence: Evidence, findings: Sequence[str], without_each: bool = False) -> Ahead:
    """Work out all that :class:`Ahead` holds.

    Parameters
    ----------
    findings : shared findings (those with a leak) that nobody knows yet
    without_each : whether the decibans of what is known are wanted too

    Raises as :func:`inference.belief.activation.posteriors`.
    """
    net, m, k = evidence.net, len(evidence.nodes), len(findings)
    columns = np.array([column_of(knowledge, f) for f in findings]).reshape(k, len(net.names)).T
    wider = Net(
        net.names,
        net.weights,
        # what was removed shows nothing now
        np.concatenate([net.links, np.stack([columns, 0.0 * columns], axis=1)[:, : net.links.shape[1]]], axis=2),
        np.concatenate([net.leaks, [knowledge.findings[f].leak or 0.0 for f in findings]]),
        np.concatenate([net.present, np.zeros(k, dtype=np.bool_)]),
    )
    left_out = m if without_each else 0
    include = np.zeros((1 + left_out + k, m + k), dtype=np.bool_)
    include[:, :m] = True
    include[1 + np.arange(left_out), np.arange(left_out)] = False
    include[1 + left_out + np.arange(k), m + np.arange(k)] = True
    found = posteriors(wider, include)
    asked = slice(1 + left_out, None)
    fails = np.exp(found.evidence[asked] - found.evidence[0])
    if_fails = found.causes[asked]
    if_holds = (found.causes[0] - if_fails * fails[:, None]) / np.maximum(1 - fails, 1e-12)[:, None]
    decibans = odds_in_decibans(found)[: 1 + left_out]
    return Ahead(
        found.variant(0), parted(decibans[0], decibans[1:]), tuple(findings), fails, if_fails,
        np.clip(if_holds, 0.0, 1.0),
    )  # fmt: skip
