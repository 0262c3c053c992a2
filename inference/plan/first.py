"""Which repair goes before every look that cannot change it: that of a cause which is as good as certain.

Such a repair is due whatever else there is, and the check after it tells whether anything else has to be looked for
at all. With the cause certain this is never dearer than asking first (tests/outside/test_cure.py: against every way to
go on). A filter is renewed last, and a look at what has brought about that it is spoilt keeps its turn: the new one
would go the same way.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence

import numpy as np

from inference.result import WorkStep
from inference.work import DUE
from kb.model import Knowledge

CERTAIN = 0.95  # a cause as likely as this is as good as certain
PARTED = 0.05  # a test parts causes that its outcomes move by at least this


def renews_the_filter(knowledge: Knowledge, cause: str) -> bool:
    """Whether the remedy of a cause cleans or renews the filter itself, in place of a burn."""
    return knowledge.remedies[knowledge.causes[cause].remedy].place == "instead of a burn"


def sure_causes(knowledge: Knowledge, work: Sequence[WorkStep], chances: Mapping[str, float]) -> list[str]:
    """Return the causes as good as certain, in the order of work; the filter's own only when no other is due."""
    order = {step.remedy: i for i, step in enumerate(work)}
    due = [c for c, p in chances.items() if p >= DUE and not renews_the_filter(knowledge, c)]
    found = [c for c, p in chances.items() if p >= CERTAIN and (c in due or not due)]
    return sorted(found, key=lambda c: (order.get(knowledge.causes[c].remedy, len(order)), -chances[c], c))


def bears_on(
    knowledge: Knowledge, causes: Sequence[str], outcomes: Sequence[np.ndarray], cause: str, likely: float
) -> bool:
    """Whether a test can change that a repair goes first.

    It does where some outcome leaves its cause less than so likely; for a filter that is certainly spoilt also where
    the outcomes part what may have spoilt it.

    Parameters
    ----------
    outcomes : [K] the chance of each of ``causes`` after each outcome
    """
    there = causes.index(cause)
    if any(chances[there] < likely for chances in outcomes):
        return True
    if likely < CERTAIN or not renews_the_filter(knowledge, cause):
        return False
    spoils = [i for i, c in enumerate(causes) if any(b.cause == cause for b in knowledge.causes[c].brings)]
    return any(np.ptp([chances[i] for chances in outcomes]) >= PARTED for i in spoils)
