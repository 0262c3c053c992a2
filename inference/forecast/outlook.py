"""The forecast of one case: how far until the filter blocks again, as things stand and after each remedy.

    from inference.forecast.outlook import forecast
    told = forecast(knowledge, diagnose(case, knowledge))

257 vehicles that agree with what is known of this one are driven on; each has its own soot, habits and faults (a cause
is there in as many of them as its probability says). Where the history tells how far it went from one blocking to the
next, or the control unit how far from burn to burn, those that come near it weigh more.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np

from inference.derive_gas import housing
from inference.forecast.sample import drawn, quantiles
from inference.forecast.setting import Setting, Told
from inference.forecast.simulate import Path, Week, simulate
from inference.forecast.usage import Usage, usage_of
from inference.log.notes import Note, note
from inference.physics.calibration import Parameter
from inference.physics.sampling import Z10, N
from inference.physics.valid import Array
from inference.result import Result
from kb.model import Knowledge

WEEKS = 104.0  # horizon
WORTH = 0.15  # probability from which a cause's remedy gets an outlook of its own
MOST = 4  # such outlooks
LIKELY = 0.5
STRANGE = 0.1  # share of the sample near what was seen, under which the balance does not explain it
MISS = 0.5  # standard deviation of the logarithm of a distance foretold over one that was seen (from memory)
LEFT = Parameter(0.4, 0.8, 1.3, "1", True, "soot left by a burn, over what counts as done; from memory")


@dataclass(frozen=True)
class Band:
    """10, 50 and 90 % points; infinite where not within the horizon."""

    low: float
    mid: float
    high: float


@dataclass(frozen=True)
class Outlook:
    """What one state of the vehicle leads to.

    Parameters
    ----------
    id : "as things stand", the id of the cause that is removed, or "all"
    causes : the causes removed
    distance, weeks : until the filter blocks again [km], [week]
    holds : share of the vehicles that do not block within the horizon [-]
    gained, burnt : soot a week [g]
    hot : minutes a week with the exhaust warm enough for a burn to begin [min]
    completes : chance that a burn begun on a typical trip completes [-]
    ash : share of the vehicles that ash blocks within the horizon, which no burn removes [-]
    at, track : distance [km] and soot over what blocks [-] as 10, 50, 90 % points on the way
    """

    id: str
    causes: tuple[str, ...]
    distance: Band
    weeks: Band
    holds: float
    gained: Band
    burnt: Band
    hot: Band
    completes: Band
    ash: float
    at: tuple[float, ...]
    track: tuple[tuple[float, float, float], ...]


@dataclass(frozen=True)
class Forecast:
    """All outlooks of a case, "as things stand" first; ``limit`` [g/l] is where a burn is refused."""

    case: str
    outlooks: tuple[Outlook, ...]
    weeks: float
    weekly: Band  # km
    limit: Band
    fits: float | None  # share of the sample that comes near what was seen, None where nothing was
    notes: tuple[Note, ...]

    def of(self, outlook: str) -> Outlook | None:
        """Return the outlook of a cause, "as things stand" or "all"; None if there is none."""
        return next((o for o in self.outlooks if o.id == outlook), None)


def forecast(knowledge: Knowledge, result: Result) -> Forecast | None:
    """Return the forecast of a diagnosed case, None where not even the engine's or the filter's size is known."""
    body = housing(result.case)
    if body is None:
        return None
    usage = usage_of(result.case)
    notes = [*usage.notes, *(note("of_the_filter", says=says) for says in body.notes)]
    volume = np.broadcast_to(np.asarray(body.body.volume), (N,))
    setting = Setting(knowledge, result, usage, volume)
    now = {c.id: c.now for c in result.causes if c.state == "present"}
    then = {c.id: c.probability for c in result.causes}
    removed = _removed(knowledge, result)
    plans: list[tuple[str, Mapping[str, float], tuple[str, ...]]] = [("as things stand", now, ())]
    plans += [(causes[0] if len(causes) == 1 else "all", now, causes) for causes in removed]
    weights, fits, said = _weights(setting, result, then)
    notes += said
    weeks = [setting.week(chances, without) for _, chances, without in plans]
    stacked = _stack([w for w, _ in weeks])
    path = simulate(stacked, _burnt_clean(stacked), WEEKS)
    outlooks = tuple(
        _outlook(name, without, i, path, weeks[i], weights, volume) for i, (name, _, without) in enumerate(plans)
    )
    if fits is not None and fits < STRANGE and not any(c.state == "repaired" for c in result.causes):
        before = result.latest.derived.get("blocking_interval")
        if before is not None and before.spread.mid > 0:
            now_on = _as_before(outlooks[0], before.spread.mid, usage, weights)
            outlooks = (now_on, *(_no_sooner(o, now_on, outlooks[0]) for o in outlooks[1:]))
            notes.append(note("as_before"))
    weekly = Band(*(x / 1e3 for x in quantiles(usage.weekly_distance, weights)))
    notes.append(note("from_clean"))
    return Forecast(
        result.case.name, outlooks, WEEKS, weekly, Band(*quantiles(weeks[0][0].refuses, weights)), fits,
        tuple(dict.fromkeys(notes)),
    )  # fmt: skip


def _as_before(told: Outlook, km: float, usage: Usage, weights: Array) -> Outlook:
    """Return the outlook of a vehicle that goes on as it did: the distance that was seen, with the usual scatter."""
    spread = [km * float(np.exp(z * MISS)) for z in (-Z10, 0.0, Z10)]
    week = quantiles(usage.weekly_distance, weights)[1] / 1e3
    return replace(
        told, distance=Band(*spread), weeks=Band(*(d / week for d in spread)), holds=0.0, ash=0.0, at=(), track=()
    )


def _no_sooner(told: Outlook, now: Outlook, foretold: Outlook) -> Outlook:
    """Stretch a remedy's outlook as far as the past was longer than foretold; putting right never blocks it sooner."""

    def stretched(after: Band, past: Band, model: Band) -> Band:
        stretch = max(past.mid / model.mid, 1.0) if np.isfinite(model.mid) and model.mid > 0 else 1.0
        pairs = zip((after.low, after.mid, after.high), (past.low, past.mid, past.high), strict=True)
        return Band(*(max(a * stretch, p) for a, p in pairs))

    return replace(
        told,
        distance=stretched(told.distance, now.distance, foretold.distance),
        weeks=stretched(told.weeks, now.weeks, foretold.weeks),
        at=(),
        track=(),
    )


def _removed(knowledge: Knowledge, result: Result) -> list[tuple[str, ...]]:
    """Return the sets of causes whose removal is looked at: each one that is worth it, and all likely ones together."""
    worth = [
        c.id for c in result.causes
        if c.state == "present" and c.now >= WORTH and c.id in knowledge.effects
    ]  # fmt: skip
    likely = [c.id for c in result.causes if c.state == "present" and c.now >= LIKELY and c.id in knowledge.effects]
    together = tuple(likely if len(likely) > 1 else worth[:MOST])
    sets: list[tuple[str, ...]] = [(c,) for c in worth[:MOST]]
    return [*sets, together] if len(together) > 1 else sets


def _weights(setting: Setting, result: Result, then: Mapping[str, float]) -> tuple[Array, float | None, list[Note]]:
    """Weigh the sample by what was seen: distance from one blocking to the next, distance from burn to burn."""
    derived, case = result.latest.derived, result.case
    blocked = derived.get("blocking_interval")
    between = case.rounds[-1].number("burn_interval")
    seen = []
    if blocked is not None and blocked.spread.mid > 0:
        seen.append(("blocked", blocked.spread.mid))
    if between:
        seen.append(("burns", between))
    if not seen:
        return np.full(N, 1.0 / N), None, [note("no_past")]
    week, _ = setting.week(then, ())
    path = simulate(week, _burnt_clean(week), WEEKS)
    miss = np.zeros(N)
    said = []
    for what, km in seen:
        if what == "blocked":
            foretold = np.where(np.isfinite(path.blocked_after), path.blocked_after, 1.5 * path.distance) / 1e3
            said.append(note("weighed_by_blocking", km=km))
        else:
            foretold = path.distance / 1e3 / np.maximum(path.burns, 0.5)
            said.append(note("weighed_by_burns", km=km))
        miss += (np.log(np.maximum(foretold, 1.0) / km) / MISS) ** 2
    near = float(np.mean(miss < 2.0 * len(seen) + 2.0))
    weights = np.exp(-0.5 * (miss - miss.min()))
    temper = 1.0
    while 1.0 / np.sum((weights / weights.sum()) ** 2) < 25.0 and temper > 0.05:  # never let a handful speak for all
        temper *= 0.8
        weights = np.exp(-0.5 * temper * (miss - miss.min()))
    if near < STRANGE:
        said.append(note("not_explained"))
    return weights / weights.sum(), near, said


def _burnt_clean(week: Week) -> Array:
    """Return what a workshop's burn leaves [kg/m^3]."""
    return np.asarray(week.enough * np.minimum(drawn(LEFT, "driving"), 2.0))


def _stack(weeks: Sequence[Week]) -> Week:
    names = Week.__dataclass_fields__
    return Week(**{n: np.array([np.broadcast_to(getattr(w, n), (N,)) for w in weeks]) for n in names})


def _open_together(distance: Band, weeks: Band) -> tuple[Band, Band]:
    """Return both bands open wherever one is: in their own orders the same share of vehicles may just miss a point."""
    pairs = zip((distance.low, distance.mid, distance.high), (weeks.low, weeks.mid, weeks.high), strict=True)
    both = [(d, w) if np.isfinite(d) and np.isfinite(w) else (float("inf"), float("inf")) for d, w in pairs]
    return Band(*(d for d, _ in both)), Band(*(w for _, w in both))


def _by_distance(at: Array, track: Array, a_week: Array, weights: Array) -> tuple[Array, Array]:
    """Return distances [m] and the soot there, from times [week] and the soot then (times, members) [-].

    Each vehicle is followed by its own distance, as where it blocks is counted, or the picture would not fit the bars.
    """
    far = at * quantiles(a_week, weights)[1]
    return far, np.stack([np.interp(far / week, at, track[:, k]) for k, week in enumerate(a_week)], axis=1)


def _outlook(
    name: str, without: tuple[str, ...], i: int, path: Path, made: tuple[Week, Told], weights: Array, volume: Array
) -> Outlook:
    week, told = made
    after = path.blocked_after[i]
    a_week = np.maximum(week.distance, 1.0)
    driven = np.maximum(path.distance[i] / a_week, 1e-6)

    def band(values: Array) -> Band:
        return Band(*quantiles(np.broadcast_to(values, (N,)), weights))

    track = path.track[:, i, :] if path.track.ndim == 3 else path.track
    at, track = _by_distance(path.at, np.broadcast_to(track, (path.at.size, N)), np.broadcast_to(a_week, (N,)), weights)
    distance, weeks = _open_together(band(after / 1e3), band(after / a_week))
    return Outlook(
        id=name,
        causes=without,
        distance=distance,
        weeks=weeks,
        holds=float(np.sum(weights[~np.isfinite(after)])),
        gained=band(path.gained[i] * volume * 1e3 / driven),
        burnt=band(path.burnt[i] * volume * 1e3 / driven),
        hot=band(told.hot),
        completes=band(told.completes),
        ash=float(np.sum(weights[np.broadcast_to(path.by_ash[i], (N,))])),
        at=tuple(float(x) / 1e3 for x in at),
        track=tuple(tuple(quantiles(row, weights)) for row in track),  # type: ignore[misc]
    )
