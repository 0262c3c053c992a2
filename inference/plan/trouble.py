"""What is wrong with the vehicle where a plan begins: whether the trouble was seen, and what may be bringing it on."""

from __future__ import annotations

import numpy as np

from inference.belief.evidence import COMPLAINT, column_of
from inference.belief.net import Floats
from inference.diagnose import repairs
from inference.plan.cure import SURELY, Cure
from inference.plan.joint import Joint
from inference.result import Result
from kb.model import Knowledge


def trouble_seen(result: Result) -> bool:
    """Whether the filter was reported or found blocked and nothing has been repaired since.

    A burn or a cleaning removes no cause, so a free filter after one unsays nothing. After a repair the soot of before
    may still be in the filter: there it must have been found free or burnt clean, and blocked again.
    """
    named, unnamed = repairs(result.case)
    last = max([*named.values(), *([] if unnamed is None else [unnamed])], default=None)
    free = set(COMPLAINT if last is None else ())
    for told, round_ in list(zip(result.case.rounds, result.rounds, strict=True))[last or 0 :]:
        for finding in COMPLAINT:
            found = round_.verdicts.findings.get(finding)
            if found is not None and found.state == "holds" and finding in free:
                return True
            if found is not None and found.state == "fails":
                free.add(finding)
        if told.burn_completed == "yes":
            free.update(COMPLAINT)
    return False


def repaired(result: Result) -> tuple[str, ...]:
    """Return the causes that the case names as repaired since it was opened, in the order of their repair."""
    named, _ = repairs(result.case)
    return tuple(sorted(named, key=lambda cause: (named[cause], cause)))


def blocking(knowledge: Knowledge, result: Result) -> dict[str, float]:
    """Return, by cause, how often it alone brings on what is complained of: the filter reported or found blocked.

    Both count where neither was ever found. A cause that does not show it is left with how often it is found anyhow.
    """
    held = {
        f for round_ in result.rounds for f in COMPLAINT
        if (r := round_.verdicts.findings.get(f)) is not None and r.state == "holds"
    }  # fmt: skip
    findings = sorted(held) or COMPLAINT
    often = np.max([column_of(knowledge, f) for f in findings], axis=0)
    least = max(knowledge.findings[f].leak or 0.0 for f in findings)
    return {cause: max(float(q), least) for cause, q in zip(knowledge.causes, often.tolist(), strict=True)}


def at_root(found: Joint, cure: Cure, rest: float, seen: bool) -> Floats:
    """Return [2, 2^K] the weights a plan begins with: each subset with nothing, and with something else at work.

    Parameters
    ----------
    rest : how often one of the causes that are not planned for is at work when it is there
    seen : whether the trouble was seen; if so, where no cause is there something unlisted is, and a cause beside
        others is held to account by how well they could have brought it on without it
    """
    alone, beside = found.alone.copy(), found.beside.copy()
    idle = cure.gone(0) if seen else np.zeros_like(alone)
    works = np.full_like(beside, rest)
    if seen:
        works = rest / np.maximum(1 - idle * (1 - rest), 1e-12)
    moved = beside * (1 - works)
    alone += moved
    beside -= moved
    if seen:
        none = idle >= SURELY
        beside[none] += alone[none]
        alone[none] = 0.0
    return np.stack([alone, beside])
