"""Which of the next tests are shown: what tells most for a minute, and what tells most of the most probable cause."""

from __future__ import annotations

from inference.result import NextTest, Result
from kb.model import Knowledge

TELLS = 0.2  # bit, from which the test of the most probable cause is shown among the first (from memory)


def tests_shown(knowledge: Knowledge, result: Result, most: int) -> list[NextTest]:
    """Return the first ``most`` of the next tests, the last of them given to the most probable cause.

    The quickest questions tell most for a minute, and mostly of something else; where a test would as good as settle
    the cause that is told first, it must not be left out for them. A cause settled already needs none.
    """
    tests = list(result.next_tests)
    shown = tests[:most]
    first = next((c for c in result.causes if c.state == "present" and c.weights), None)
    if first is None or first.settled_by or not shown:
        return shown
    own = [t for t in tests if t.test in knowledge.causes[first.id].tests and t.gain_bits >= TELLS]
    if own and not any(t in shown for t in own):
        shown[-1] = max(own, key=lambda t: (t.gain_bits, -t.minutes, t.test))
    return shown
