"""What is told of each cause is what the net, the proofs and the repairs say, however improbable it is."""

from __future__ import annotations

import pytest

from inference.belief.activation import posteriors
from inference.belief.judge import LIKELY, POSSIBLE, judge, level_of
from inference.diagnose import judge_case
from inference.read_case import read_case
from kb.model import Knowledge
from tests.conftest import CASES


def test_each_cause_of_every_case_stands_as_its_evidence_says(knowledge: Knowledge) -> None:
    seen: set[tuple[str, str]] = set()
    for path in CASES:
        evidence = judge_case(read_case(path, knowledge), knowledge).evidence
        posterior = posteriors(evidence.net)
        causes, none_listed = judge(knowledge, evidence, posterior)
        assert none_listed == posterior.none[0]
        chance = dict(zip(evidence.net.names, posterior.causes[0].tolist(), strict=True))
        still = dict(zip(evidence.net.names, posterior.states[0, :, 0].tolist(), strict=True))
        assert [c.id for c in causes] == sorted(chance, key=lambda cause: (-round(chance[cause], 12), cause))
        for c in causes:
            side, verdict = evidence.settled.get(c.id, (None, None))
            state = "present"
            if c.id in evidence.not_applicable:
                state = "does not apply"
            elif c.id in evidence.repaired:
                state = "repaired"
            bringing = sorted(p.id for p in knowledge.causes.values() if c.id in {b.cause for b in p.brings})
            because_of = tuple(p for p in bringing if chance[p] >= LIKELY) if chance[c.id] >= POSSIBLE else ()
            assert c.probability == chance[c.id]
            assert c.now == pytest.approx(0.0 if state == "repaired" else still[c.id])
            assert (c.level, c.state) == (level_of(chance[c.id], side), state), (path.stem, c.id)
            assert (c.because_of, c.settled_by) == (because_of, verdict.finding if verdict else None)
            seen.add((c.level, c.state))
    assert seen >= {
        ("ruled out", "present"), ("unlikely", "present"), ("possible", "present"), ("likely", "present"),
        ("proven", "present"), ("unlikely", "does not apply"), ("proven", "repaired"),
    }  # fmt: skip
