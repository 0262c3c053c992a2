"""Findings that are only to be believed so far, folded into hard ones before the exact belief is computed.

A verdict of trust t is right with probability t whichever way the truth lies, so the likelihood ratio of the
other side is r = (1 - t) / t. A chance p that a derived reading lies above its limit is such
a verdict too: present with trust p above one half, absent with trust 1 - p below; at one half it says nothing
and is left out.
"""

from __future__ import annotations

from inference.belief.net import Floats


def ratio(trust: float) -> float:
    """Return r = (1 - t) / t [-], how likely the verdict is when it is wrong against when it is right.

    Raises ValueError unless 0.5 < trust <= 1; below one half a verdict would mean its opposite.
    """
    if not 0.5 < trust <= 1:
        raise ValueError(f"trust is {trust}; a verdict is believed between 0.5 (says nothing, leave it out) and 1")
    return (1 - trust) / trust


def fold_present(leak: float, trust: float) -> float:
    """Return the leak [-] with which "present, trust t" may be taken as hard; the links stay.

    With Q = (1 - leak) x product of (1 - q) the soft factor is 1 - Q + r Q = 1 - (1 - r) Q, so
    1 - leak' = (1 - leak)(1 - r). Exact for any number of causes.
    """
    return 1 - (1 - leak) * (1 - ratio(trust))


def fold_absent(links: Floats, leak: float, trust: float) -> tuple[Floats, float]:
    """Return the links and leak [-] with which "absent, trust t" may be taken as hard.

    Parameters
    ----------
    links : q of any shape, all of this one evidence node [-]
    leak : of the node [-]
    trust : how far the verdict is believed, 0.5 < t <= 1 [-]

    Notes
    -----
    q' = q (1 - r), leak' = leak (1 - r): each cause's sign is overlooked in r of the cases, by itself. For
    one cause and no leak this is exactly the soft factor r + (1 - r) Q, Q = (1 - leak) x product of (1 - q).
    With two at work (the leak counts as one) both signs would have to be overlooked, so the factor is smaller
    by r (1 - r) q1 q2: two causes that should both show the node are believed together less than under one
    common slip of the observer (0.04 against 0.12 at q = t = 0.9), never more. The exact factor would need an
    open finding in the sweep for every absent one.
    """
    share = 1 - ratio(trust)
    return links * share, leak * share
