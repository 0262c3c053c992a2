"""Every example of every rule: it fires where it must, and stays quiet where it must and on its boundary."""

import pytest

from clogwise.rulescheck import examples, wrong
from inference.diagnose import program_of
from kb.load import load
from kb.model import Rule

KNOWLEDGE = load()


@pytest.mark.parametrize("rule", KNOWLEDGE.rules.values(), ids=lambda r: r.id)
def test_examples(rule: Rule) -> None:
    told = [wrong(KNOWLEDGE, program_of(KNOWLEDGE), rule, example, fire) for fire, example in examples(rule)]
    assert not [t for t in told if t]
