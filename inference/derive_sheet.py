"""The sheet on which the derived readings of one round are written, each with what it was made from."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import date
from typing import Any, Protocol

from inference.physics.sampling import N, normal_spread, spread
from inference.physics.valid import Array, Odd
from inference.steps import Board, Journal
from inference.values import Spread
from kb.model import Knowledge


class EventView(Protocol):
    """One event of the history, as the physics sees it."""

    @property
    def event(self) -> str: ...
    @property
    def date(self) -> date | None: ...
    @property
    def odometer_km(self) -> float | None: ...
    @property
    def completed(self) -> str | None: ...


class RoundView(Protocol):
    """One round, as the physics sees it; ``number`` gives a reading in its shop unit, None if not taken."""

    @property
    def index(self) -> int: ...
    @property
    def when(self) -> str: ...
    @property
    def date(self) -> date | None: ...
    @property
    def odometer_km(self) -> float | None: ...
    def number(self, slot: str) -> float | None: ...
    def answer(self, name: str) -> str | None: ...


class CaseView(Protocol):
    """A case, as the physics sees it; None is not known."""

    @property
    def engine_litres(self) -> float | None: ...
    @property
    def odometer_km(self) -> float | None: ...
    @property
    def filter_type(self) -> str | None: ...
    @property
    def substrate(self) -> str | None: ...
    @property
    def layout(self) -> str | None: ...
    @property
    def volume_l(self) -> float | None: ...
    @property
    def diameter_mm(self) -> float | None: ...
    @property
    def length_mm(self) -> float | None: ...
    @property
    def cells_per_square_inch(self) -> float | None: ...
    @property
    def wall_mm(self) -> float | None: ...
    @property
    def burn_limit_g_l(self) -> float | None: ...
    @property
    def fitted_at_km(self) -> float | None: ...
    @property
    def fitted(self) -> date | None: ...
    @property
    def history(self) -> Sequence[EventView]: ...
    @property
    def rounds(self) -> Sequence[RoundView]: ...


@dataclass(frozen=True)
class DerivedReading:
    """A computed number with its interval and where it comes from.

    Parameters
    ----------
    id : slot, such as "restriction_index.fast_idle"
    spread : 10, 50 and 90 % points, with the sample where there is one [unit]
    unit : the unit that kb/derived.yaml names
    formula : the formula in words, from kb/derived.yaml
    inputs : the slots it was made from
    source : source id of the formula
    in_range : whether every formula was used inside its range
    notes : what was taken for granted, and what lies out of range; plain sentences
    """

    id: str
    spread: Spread
    unit: str
    formula: str
    inputs: tuple[str, ...]
    source: str
    in_range: bool
    notes: tuple[str, ...]


class Sheet:
    """Derived readings of one round under construction.

    Parameters
    ----------
    case, round_ : what is known
    knowledge : readings.yaml gives the instrument errors, derived.yaml the formulas in words
    journal : keeps the steps for the changes of the case (:mod:`inference.steps`); None keeps none
    """

    def __init__(self, case: CaseView, round_: RoundView, knowledge: Knowledge, journal: Journal | None = None) -> None:
        self.case = case
        self.round = round_
        self.knowledge = knowledge
        self.journal = journal
        self.memo: dict[str, Any] = self._board()  # what steps hand each other, worked out once
        self.done: dict[str, DerivedReading] = self._board()
        self.samples: dict[str, Array] = self._board()  # by slot, in the sample's own order, for what builds on it

    def _board(self) -> dict[str, Any]:
        return {} if self.journal is None else Board(self.journal)

    def turn_to(self, case: CaseView, round_: RoundView) -> None:
        """Wipe the sheet for the same round of a changed case."""
        self.case, self.round = case, round_
        for board in (self.memo, self.done, self.samples):
            board.clear()

    def read(self, slot: str) -> float | None:
        """Return a reading [its shop unit], None if it was not taken."""
        value = self.round.number(slot)
        if self.journal is not None:
            self.journal.looked(self, "number", slot, value)
        return value

    def answer(self, name: str) -> str | None:
        """Return the answer to a question, None if it was not given."""
        said = self.round.answer(name)
        if self.journal is not None:
            self.journal.looked(self, "answer", name, said)
        return said

    def error(self, slot: str, value: float) -> float:
        """Return one standard error [unit of the reading] of the instrument behind ``slot``."""
        return self.knowledge.readings[slot.partition(".")[0]].error_at(value)

    def sampled(self, slot: str, z: Array) -> Array | None:
        """Return a reading as a sample [its shop unit], ``z`` standard errors about it; None if not taken."""
        value = self.read(slot)
        return None if value is None else value + z * self.error(slot, value)

    def wants(self, *slots: str) -> bool:
        """Whether any of these derived readings is asked for: all are, but for a journal that asks for some alone."""
        return self.journal is None or self.journal.wanted is None or not self.journal.wanted.isdisjoint(slots)

    def put(
        self,
        slot: str,
        value: Array | Spread,
        inputs: Iterable[str],
        notes: Iterable[str] = (),
        warnings: Iterable[Odd] = (),
    ) -> None:
        """Write one derived reading down; ``warnings`` mark it as out of range.

        Of a sample that nobody asks for as a reading nothing more is made; it is kept for what builds on it.
        """
        entry = self.knowledge.derived[slot.partition(".")[0]]
        if not isinstance(value, Spread):
            if value.shape != (N,):
                raise ValueError(f"{slot}: a sample of shape {value.shape}; {(N,)} is wanted")
            self.samples[slot] = value
            if not self.wants(slot):
                return
            value = spread(value)
        odd, notes = tuple(dict.fromkeys(str(w) for w in warnings)), tuple(dict.fromkeys(notes))
        self.done[slot] = DerivedReading(
            id=slot,
            spread=value,
            unit=entry.unit,
            formula=f"{entry.formula}. {' '.join(notes)}" if entry.tells and notes else entry.formula,
            inputs=tuple(dict.fromkeys(inputs)),
            source=entry.source,
            in_range=not odd,
            notes=notes + odd,
        )

    def put_share(
        self,
        slot: str,
        share: Array,
        inputs: Iterable[str],
        notes: Iterable[str] = (),
        warnings: Iterable[Odd] = (),
    ) -> None:
        """Write a share [-] down in per cent, as it is told."""
        self.put(slot, 100.0 * share, inputs, notes, warnings)

    def difference(self, slot: str, plus: str, minus: str, notes: Iterable[str] = ()) -> None:
        """Write the difference of two readings, if both were taken, with both instruments' errors."""
        a, b = self.read(plus), self.read(minus)
        if a is not None and b is not None:
            error = (self.error(plus, a) ** 2 + self.error(minus, b) ** 2) ** 0.5
            self.put(slot, normal_spread(a - b, error), (plus, minus), notes)
