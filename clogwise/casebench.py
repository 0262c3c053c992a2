"""``clogwise bench cases``: how well the program does on cases whose outcome is known.

Beside NAME.yaml stands NAME.expected.yaml with ``causes`` (the true ones, [] where none of the list is there),
``gate`` (the right decision) and optional ``why`` and ``tags``.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from pydantic import BaseModel, ConfigDict, ValidationError

from inference.diagnose import judge_case
from inference.read_case import read_case
from inference.result import Decision
from kb.faults import Fault, Faults, nearest
from kb.model import Knowledge
from kb.yamlread import read_yaml

ACCUSED = 0.5  # a cause given more than this is an accusation


class Expected(BaseModel):
    """What an expected file says."""

    model_config = ConfigDict(extra="forbid")

    case: str
    causes: list[str]
    gate: Decision
    why: str = ""
    tags: list[str] = []


@dataclass(frozen=True)
class Outcome:
    """How one case came out: ``ranks`` of the true causes (1 first), ``chances`` of all causes."""

    name: str
    expected: Expected
    gate: Decision
    ranks: tuple[int, ...]
    chances: dict[str, float]

    @property
    def accused(self) -> list[str]:
        return [c for c, p in self.chances.items() if p > ACCUSED]

    @property
    def wrongly_accused(self) -> list[str]:
        return [c for c in self.accused if c not in self.expected.causes]

    @property
    def first_right(self) -> bool:
        """A true cause stands first; where there is none, none is accused."""
        return min(self.ranks) == 1 if self.ranks else not self.accused

    @property
    def in_three(self) -> bool:
        """All true causes stand among the first three; where there is none, none is accused."""
        return max(self.ranks) <= 3 if self.ranks else not self.accused


class Score(BaseModel):
    """The figures over all cases; shares from 0 to 1."""

    cases: int
    top_1: float
    top_3: float
    mean_reciprocal_rank: float
    brier: float
    gate_right: float
    needless_holds: int
    opened_wrongly: int
    accusations: int
    false_accusation_rate: float
    misses: list[str]

    def lines(self) -> Iterator[str]:
        yield from self.misses
        yield f"cases                     {self.cases}"
        yield f"true cause first          {self.top_1:.3f}"
        yield f"all true ones in three    {self.top_3:.3f}"
        yield f"mean reciprocal rank      {self.mean_reciprocal_rank:.3f}"
        yield f"Brier score               {self.brier:.4f} (mean square error of a cause's probability)"
        yield f"gate decisions right      {self.gate_right:.3f}"
        yield f"needless holds            {self.needless_holds}"
        yield f"opened wrongly            {self.opened_wrongly}"
        yield f"accusations               {self.accusations}, of them false {self.false_accusation_rate:.3f}"


def case_files(folder: Path) -> list[Path]:
    """Return the cases of a folder that have an expected file; Faults if there is none."""
    files = [p for p in sorted(folder.glob("*.yaml")) if p.with_suffix(".expected.yaml").exists()]
    if not files:
        raise Faults([Fault(str(folder), 0, "", "holds no NAME.yaml with a NAME.expected.yaml beside it")])
    return files


def read_expected(path: Path, knowledge: Knowledge) -> Expected:
    """Read an expected file.

    Raises
    ------
    Faults : a key or a word that is not known, each in a sentence
    """
    document = read_yaml(path)
    try:
        expected = Expected.model_validate(document.data)
    except ValidationError as error:
        raise Faults(
            document.fault(".".join(map(str, e["loc"])), f"{e['msg']} (read: {e['input']!r})") for e in error.errors()
        ) from None
    unknown = [c for c in expected.causes if c not in knowledge.causes]
    if unknown:
        raise Faults(
            document.fault("causes", f"there is no cause '{c}'{nearest(c, knowledge.causes)}") for c in unknown
        )
    return expected


def outcome(path: Path, knowledge: Knowledge) -> Outcome:
    """Diagnose one case and hold it against what was expected."""
    expected = read_expected(path.with_suffix(".expected.yaml"), knowledge)
    judged = judge_case(read_case(path, knowledge), knowledge)
    order = [c.id for c in judged.causes]
    ranks = tuple(order.index(c) + 1 for c in expected.causes)
    chances = {c.id: c.probability for c in judged.causes}
    return Outcome(path.stem, expected, judged.gate.decision, ranks, chances)


def score(outcomes: Sequence[Outcome]) -> Score:
    """Return the figures over all outcomes."""
    n = len(outcomes)
    accusations = sum(len(o.accused) for o in outcomes)
    false = sum(len(o.wrongly_accused) for o in outcomes)
    squares = [(p - (c in o.expected.causes)) ** 2 for o in outcomes for c, p in o.chances.items()]
    with_cause = [o for o in outcomes if o.ranks]
    return Score(
        cases=n,
        top_1=sum(o.first_right for o in outcomes) / n,
        top_3=sum(o.in_three for o in outcomes) / n,
        mean_reciprocal_rank=sum(1 / min(o.ranks) for o in with_cause) / max(len(with_cause), 1),
        brier=sum(squares) / len(squares),
        gate_right=sum(o.gate == o.expected.gate for o in outcomes) / n,
        needless_holds=sum(o.gate == "hold" and o.expected.gate in ("clear", "not needed") for o in outcomes),
        opened_wrongly=sum(o.gate == "clear" and o.expected.gate != "clear" for o in outcomes),
        accusations=accusations,
        false_accusation_rate=false / max(accusations, 1),
        misses=[m for o in outcomes for m in _misses(o)],
    )


def _misses(o: Outcome) -> Iterator[str]:
    if not o.first_right or not o.in_three:
        top = ", ".join(f"{c} {p:.2f}" for c, p in list(o.chances.items())[:3])
        true = ", ".join(f"{c} {o.chances[c]:.2f} (place {r})" for c, r in zip(o.expected.causes, o.ranks, strict=True))
        yield f"{o.name}: {true or 'nothing listed'} is true; said {top}"
    for cause in o.wrongly_accused:
        yield f"{o.name}: {cause} is accused with {o.chances[cause]:.2f} and is not there"
    if o.gate != o.expected.gate:
        yield f"{o.name}: the gate says '{o.gate}', right is '{o.expected.gate}'"
