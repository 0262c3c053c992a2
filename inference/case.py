"""A case: one vehicle's problem as it was written down, typed, in shop units, with nothing inferred.

Frozen dataclasses filled by :mod:`inference.read_case`. ``None`` or an absent key always means *not known*.
Units are the shop's: km, l, mm, g/l, and for a reading the unit that readings.yaml names.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from datetime import date
from typing import Literal, get_args

from kb.faults import Fault

YesNo = Literal["yes", "no", "unknown"]
When = Literal["arrival", "after repair", "after burn", "follow-up"]
Happening = Literal[
    "blocked", "forced regeneration", "driven regeneration", "filter cleaned", "filter replaced", "repair"
]
CodeStatus = Literal["stored", "pending", "permanent"]
Gearbox = Literal["manual", "automatic"]
WHENS: tuple[When, ...] = get_args(When)
HAPPENINGS: tuple[Happening, ...] = get_args(Happening)
BURNS: tuple[Happening, ...] = ("forced regeneration", "driven regeneration")
STATUSES: tuple[CodeStatus, ...] = get_args(CodeStatus)


@dataclass(frozen=True)
class Quantity:
    """A number in its shop unit, and the text it was read from.

    Parameters
    ----------
    value : the number [unit]
    unit : shop unit; "1" for none
    given : what stood in the file ("0.058 bar")
    line : line of the file
    """

    value: float
    unit: str
    given: str
    line: int


@dataclass(frozen=True)
class SeenCode:
    """A trouble code that was read, whether or not the knowledge names it.

    ``harmless``: it is not known here, was looked up with the vehicle's maker and has nothing to do with a burn.
    """

    code: str
    status: CodeStatus
    line: int
    harmless: bool = False


@dataclass(frozen=True)
class Event:
    """Something that happened to the filter or the vehicle before, between or at the rounds.

    ``repaired`` holds the causes whose ids stand in ``what``, ``jobs`` the jobs; ``completed`` tells of a burn.
    """

    event: Happening
    date: date | None = None
    odometer_km: float | None = None
    completed: YesNo = "unknown"
    what: str = ""
    repaired: tuple[str, ...] = ()
    jobs: tuple[str, ...] = ()
    line: int = 0


@dataclass(frozen=True)
class CodesCleared:
    """What has been driven since the codes were last cleared."""

    distance_km: float | None = None
    warm_ups: float | None = None


@dataclass(frozen=True)
class Round:
    """What was read and seen at one time.

    ``readings`` and ``usage`` go by slot (``coolant_temperature.road``, ``typical_trip``). ``answers`` holds
    what was answered, "unknown" included where it was written. ``codes`` is None where they were not read,
    empty where they were read and none was there. ``repaired`` lists the causes removed just before this
    round, ``jobs`` other work done then (an oil change), ``burn_completed`` tells of a burn just before it.
    What :mod:`inference.carry` finds still true of earlier rounds stands in ``carried_readings`` and
    ``carried_answers``, ``taken`` says from which round.
    """

    index: int
    when: When
    date: date | None = None
    odometer_km: float | None = None
    readings: Mapping[str, Quantity] = field(default_factory=dict)
    usage: Mapping[str, Quantity] = field(default_factory=dict)
    answers: Mapping[str, str] = field(default_factory=dict)
    codes: tuple[SeenCode, ...] | None = None
    codes_cleared: CodesCleared = CodesCleared()
    monitors_complete: YesNo = "unknown"
    burn_completed: YesNo = "unknown"
    repaired: tuple[str, ...] = ()
    jobs: tuple[str, ...] = ()
    notes: str = ""
    line: int = 0
    carried_readings: Mapping[str, Quantity] = field(default_factory=dict)
    carried_answers: Mapping[str, str] = field(default_factory=dict)
    taken: Mapping[str, int] = field(default_factory=dict)

    def number(self, slot: str) -> float | None:
        """Return the reading or usage figure of ``slot`` in its shop unit, None if it is not known."""
        found = self.readings.get(slot) or self.carried_readings.get(slot) or self.usage.get(slot)
        return found.value if found else None

    def answer(self, name: str) -> str | None:
        """Return the answer given to a question, None where there is none or it is "unknown"."""
        said = self.answers.get(name, self.carried_answers.get(name))
        return None if said == "unknown" else said


@dataclass(frozen=True)
class Case:
    """The whole case. ``warnings`` are readable but unusual figures; they are shown and change nothing."""

    name: str
    rounds: tuple[Round, ...]
    file: str = ""
    opened: date | None = None
    complaint: str = ""
    notes: str = ""
    engine_litres: float | None = None
    odometer_km: float | None = None
    emission_class: str = ""
    gearbox: Gearbox | None = None
    filter_type: str | None = None
    substrate: str | None = None
    fitted: date | None = None
    fitted_at_km: float | None = None
    volume_l: float | None = None
    diameter_mm: float | None = None
    length_mm: float | None = None
    cells_per_square_inch: float | None = None
    wall_mm: float | None = None
    burn_limit_g_l: float | None = None
    layout: str | None = None
    usage: Mapping[str, Quantity] = field(default_factory=dict)
    history: tuple[Event, ...] = ()
    history_given: bool = False
    confirmed: tuple[str, ...] = ()
    given: Mapping[str, Quantity] = field(default_factory=dict)  # vehicle and filter figures, by dotted path
    warnings: tuple[Fault, ...] = ()

    @property
    def today(self) -> date | None:
        """The date of the last dated round, else the day the case was opened, else None."""
        dated = [r.date for r in self.rounds if r.date is not None]
        return dated[-1] if dated else self.opened

    def number(self, slot: str) -> float | None:
        """Return a usage figure in its shop unit, None if it was not asked."""
        found = self.usage.get(slot)
        return found.value if found else None

    def before(self, event: Event, round_: Round) -> bool | None:
        """Say whether an event lies before a round: by date, then by odometer, then by what the round is for.

        An event with neither date nor odometer is earlier history and lies before every round. At the same date
        and odometer, work and burns lie after the arrival and before the rounds that follow it; with the arrival
        alone, or with nothing to compare, the order is not known: None.
        """
        if event.date is None and event.odometer_km is None:
            return True
        same_day = event.date is not None and event.date == round_.date
        if event.date is not None and round_.date is not None and not same_day:
            return event.date < round_.date
        same_km = event.odometer_km is not None and event.odometer_km == round_.odometer_km
        if event.odometer_km is not None and round_.odometer_km is not None and not same_km:
            return event.odometer_km < round_.odometer_km
        if not (same_day or same_km):
            return None
        later = self.rounds[round_.index + 1 :]
        if round_.when == "arrival":
            return True if event.event == "blocked" else (False if later else None)
        burn_to_come = any(r.when == "after burn" and r.date == round_.date for r in later)
        return not (event.event in BURNS and round_.when == "after repair" and burn_to_come)

    def between(self, earlier: Round, later: Round) -> tuple[Event, ...]:
        """Return the events that may lie between two rounds; where the order is unclear they count as in."""
        return tuple(
            e for e in self.history if self.before(e, earlier) is not True and self.before(e, later) is not False
        )

    def repaired_by(self, round_: Round) -> frozenset[str]:
        """Return the causes removed before ``round_``, by the rounds' own lists and the history's repairs."""
        done = {cause for r in self.rounds[: round_.index + 1] for cause in r.repaired}
        done |= {c for e in self.history if self.before(e, round_) is True for c in e.repaired}
        return frozenset(done)
