"""Steps of the physics that are not taken again while nothing they looked at has changed.

A step is a function of a :class:`inference.derive_sheet.Sheet`. Without a journal it is simply called. With one, each
step taken is kept with everything it read, in order (readings, answers, what other steps wrote, the steps it took
itself), with what it wrote and what it returned. When a changed case is derived with the same journal, a step whose
reads all have the same values is answered from its record, so a change costs only what it reaches. Self-adjusting
computation (Acar 2005; from memory). In a search that keeps nothing of its changes (``wanted``) only what the case as
it stands reads and writes is noted.

A step may look at the case through its sheet alone, and at nothing that differs between the cases of one journal
except readings, answers and usage figures. The outermost steps take no arguments but sheets: what they need of each
other they read off the sheets.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, field
from functools import wraps
from typing import TYPE_CHECKING, Any, TypeVar, cast

if TYPE_CHECKING:
    from inference.derive_sheet import Sheet

Step = Callable[..., Any]
Work = TypeVar("Work", bound=Step)
Fact = tuple["Sheet", str, str]  # the round's sheet, "number" or "answer", the name
ABSENT = object()


class Board(dict[str, Any]):
    """What the steps of one sheet write for each other, noting who reads and who writes what."""

    def __init__(self, journal: Journal) -> None:
        super().__init__()
        self._journal = journal
        self.writers: dict[str, _Record] = {}  # by what was written, the outermost step in which it was

    def now(self, name: str) -> object:
        """Return what stands there, unnoted."""
        return super().get(name, ABSENT)

    def _noted(self, name: str) -> object:
        found = self.now(name)
        if self._journal.notes:
            self._journal.note(_Wrote(self, name, found))
        return found

    def __contains__(self, name: object) -> bool:
        there = self.now(str(name)) is not ABSENT
        if self._journal.notes:
            self._journal.note(_Stood(self, str(name), there))
        return there

    def __getitem__(self, name: str) -> Any:
        if (found := self._noted(name)) is ABSENT:
            raise KeyError(name)
        return found

    def get(self, name: str, default: Any = None) -> Any:
        found = self._noted(name)
        return default if found is ABSENT else found

    def __setitem__(self, name: str, value: Any) -> None:
        if self._journal.notes:
            self._journal.wrote(self, name, value)
        self.put(name, value)

    def put(self, name: str, value: Any) -> None:
        """Write again what a record holds."""
        super().__setitem__(name, value)

    def put_all(self, values: dict[str, Any]) -> None:
        """Write again all that a record and those within it hold."""
        super().update(values)


@dataclass(frozen=True, eq=False)
class _Wrote:
    """A step looked at what another had written."""

    board: Board
    name: str
    value: object

    def holds(self, journal: Journal) -> bool:
        return self.board.now(self.name) is self.value


@dataclass(frozen=True, eq=False)
class _Stood:
    """A step looked whether another had written something."""

    board: Board
    name: str
    there: bool

    def holds(self, journal: Journal) -> bool:
        return (self.board.now(self.name) is not ABSENT) == self.there


@dataclass(frozen=True, eq=False)
class _Read:
    """A step looked at a reading or usage figure ("number") or an answer ("answer") of the round."""

    sheet: Sheet
    kind: str
    name: str
    value: float | str | None

    def holds(self, journal: Journal) -> bool:
        now: object = getattr(self.sheet.round, self.kind)(self.name)
        return now == self.value


_Look = _Wrote | _Stood | _Read


@dataclass(eq=False)
class _Record:
    """One step as it was taken.

    ``facts``, ``writes_all`` and ``sure`` are worked out for the steps of the case as it stands: every fact of the case
    behind the step, all that it and its own steps wrote, and whether its answer hangs on those facts alone (not where
    it looked for something that nobody had written: a step that was not taken may write it now). ``inner`` says the
    same of a step within another, which must not hang on what the other wrote itself.
    """

    key: tuple[object, ...]
    work: Step
    sheet: Sheet
    args: tuple[Any, ...]
    reads: list[_Look | _Record] = field(default_factory=list)
    writes: list[tuple[Board, str, Any]] = field(default_factory=list)
    result: Any = None
    epoch: int = 0
    facts: frozenset[Fact] = frozenset()
    writes_all: tuple[tuple[Board, dict[str, Any]], ...] = ()
    sure: bool = True
    inner: bool = False

    def holds(self, journal: Journal) -> bool:
        """As a read of the step that took this one: whether taking it now returns the very same."""
        return journal.taken(self.key, self.work, self.sheet, self.args).result is self.result


class Journal:
    """The records of one case and of the changes of it that are derived one after another.

    ``wanted``: the derived readings that are asked for, in a search whose changes have nothing in common but the case,
    so that nothing is kept from one to the next; None asks for all.
    """

    def __init__(self, wanted: Collection[str] | None = None) -> None:
        self.wanted = None if wanted is None else frozenset(wanted)
        self.sheets: list[Sheet] = []
        self.epoch = 0
        self.notes = True  # whether what a step reads and writes is noted: nobody asks for it of what is not kept
        self._first: dict[tuple[object, ...], _Record] = {}  # of the case as it stands
        self._last: dict[tuple[object, ...], _Record] = {}
        self._open: list[_Record] = []
        self._facts: dict[str, dict[Fact, float | str | None]] = {}  # as first looked at, by name
        self._changed: frozenset[Fact] = frozenset()
        self._as_it_stands = True  # whether all that was written since the beginning is what stood there at first

    def begin(self, moved: Collection[str] | None = None) -> None:
        """Begin to derive the case that is on the sheets; ``moved`` names all facts that may be others now."""
        self.epoch += 1
        self._open.clear()
        if self.wanted is not None:
            self._last.clear()
            self.notes = self.epoch == 1
        self._as_it_stands = True
        self._changed = frozenset(
            (sheet, kind, name)
            for looked_at in (self._facts if moved is None else moved)
            for (sheet, kind, name), value in self._facts.get(looked_at, {}).items()
            if getattr(sheet.round, kind)(name) != value
        )

    def hanging_on(self) -> Counter[tuple[str, str]]:
        """Return how many steps of the case as it stands, in any round, hang on each fact (its kind and name)."""
        return Counter(fact for record in self._first.values() for fact in {fact[1:] for fact in record.facts})

    def note(self, read: _Look | _Record) -> None:
        """Note a read of the step now open."""
        if self._open:
            self._open[-1].reads.append(read)

    def looked(self, sheet: Sheet, kind: str, name: str, value: float | str | None) -> None:
        """Note that the step now open looked at a fact of the case."""
        if not self.notes:
            return
        if self.epoch == 1:
            self._facts.setdefault(name, {})[sheet, kind, name] = value
        self.note(_Read(sheet, kind, name, value))

    def wrote(self, board: Board, name: str, value: object) -> None:
        """Note a write of the step now open."""
        if self._open:
            self._open[-1].writes.append((board, name, value))
            board.writers[name] = self._open[0]

    def take(self, work: Step, sheet: Sheet, args: tuple[Any, ...]) -> Any:
        """Take a step, or answer it from its record."""
        key = (work, sheet.round.index, *map(_label, args)) if args else (work, sheet.round.index)
        if self._open:
            record = self.taken(key, work, sheet, args)
            self._open[-1].reads.append(record)
            return record.result
        first = self._first.get(key)
        if first is not None and self._untouched(first, args):
            for board, values in first.writes_all:
                board.put_all(values)
            return first.result
        record = self.taken(key, work, sheet, args)
        if self.epoch == 1:
            _gather(record, record)
        self._as_it_stands &= record is first
        return record.result

    def _untouched(self, first: _Record, args: tuple[Any, ...]) -> bool:
        """Whether an outermost step as first taken is still true, by the facts behind it alone."""
        return (
            (first.sure or self._as_it_stands) and self._changed.isdisjoint(first.facts) and _alike(first.args, args)
        )  # fmt: skip

    def taken(self, key: tuple[object, ...], work: Step, sheet: Sheet, args: tuple[Any, ...]) -> _Record:
        """Return the record of a step that is true of the case now on the sheets."""
        first = _like(self._first.get(key), args)
        if first is not None and first.inner and self._changed.isdisjoint(first.facts):
            if first.epoch != self.epoch:
                for board, values in first.writes_all:
                    board.put_all(values)
                first.epoch = self.epoch
            return first
        for kept in (_like(self._last.get(key), args), first):
            if kept is not None and self._true(kept):
                return kept
        record = _Record(key, work, sheet, args, epoch=self.epoch)
        self._open.append(record)
        try:
            record.result = work(sheet, *args)
        finally:
            self._open.pop()
        (self._first if self.epoch == 1 else self._last)[key] = record
        return record

    def _true(self, record: _Record) -> bool:
        if record.epoch == self.epoch:
            return True
        for read in record.reads:
            if not read.holds(self):
                return False
        for board, name, value in record.writes:
            board.put(name, value)
        record.epoch = self.epoch
        return True


def _gather(record: _Record, outermost: _Record) -> None:
    """Work out what stands behind a step of the case as it stands, and behind the steps within it."""
    facts: set[Fact] = set()
    record.inner = record is not outermost
    writes: dict[int, tuple[Board, dict[str, Any]]] = {}
    for board, name, value in record.writes:
        writes.setdefault(id(board), (board, {}))[1][name] = value
    for read in record.reads:
        if isinstance(read, _Read):
            facts.add((read.sheet, read.kind, read.name))
        elif isinstance(read, _Record):
            _gather(read, outermost)
            facts |= read.facts
            record.sure &= read.sure
            record.inner &= read.inner
            for board, values in read.writes_all:
                writes.setdefault(id(board), (board, {}))[1].update(values)
        elif read.board.now(read.name) is ABSENT:
            record.sure = record.inner = False
        elif read.board.writers[read.name] is outermost:
            record.inner = False  # what stands behind it is gathered with the outermost step
        else:
            facts |= read.board.writers[read.name].facts
    record.facts, record.writes_all = frozenset(facts), tuple(writes.values())


def _label(arg: object) -> object:
    """What tells calls of one step apart: words, and what other arguments call themselves."""
    return arg if isinstance(arg, str | bool) else getattr(arg, "label", None)


def _like(record: _Record | None, args: tuple[Any, ...]) -> _Record | None:
    """Return a record if it is of a step with these arguments."""
    return record if record is not None and _alike(record.args, args) else None


def _alike(one: Sequence[Any], other: Sequence[Any]) -> bool:
    if one is other:  # mostly: no arguments at all
        return True
    if len(one) != len(other):
        return False
    for a, b in zip(one, other, strict=True):
        if a is b:
            continue
        if isinstance(a, tuple) and isinstance(b, tuple) and _alike(a, b):
            continue
        if not (isinstance(a, str | bool) and a == b):
            return False
    return True


def step(work: Work) -> Work:
    """Make a function of a sheet (and of other arguments, by place) a step."""

    @wraps(work)
    def taken(sheet: Sheet, *args: Any) -> Any:
        return work(sheet, *args) if sheet.journal is None else sheet.journal.take(work, sheet, args)

    return cast(Work, taken)


def kept(work: Work) -> Work:
    """Make a function of a sheet and of words (by place) a step that is taken once on each sheet."""

    @wraps(work)
    def taken(sheet: Sheet, *args: Any) -> Any:
        if sheet.journal is not None:
            return sheet.journal.take(work, sheet, args)
        key = ".".join((work.__name__, *map(str, args)))
        if key not in sheet.memo:
            sheet.memo[key] = work(sheet, *args)
        return sheet.memo[key]

    return cast(Work, taken)
