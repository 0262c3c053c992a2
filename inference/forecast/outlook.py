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

from inference.burn import conditions as at
from inference.burn import table
from inference.burn.regeneration import Chemistry, Gas, burning
from inference.derive_gas import housing
from inference.forecast import balance
from inference.forecast.sample import drawn, factor, normal, places, present, quantiles
from inference.forecast.simulate import Path, Week, log_left, shares, simulate
from inference.forecast.usage import Usage, usage_of
from inference.log.notes import Note, note
from inference.physics.calibration import Parameter
from inference.physics.sampling import Z10, N
from inference.physics.usage import ENGINE_SIZE, fuel_use
from inference.physics.valid import Array
from inference.result import Result
from kb.model import Effect, Knowledge
from kb.units import number

WEEKS = 104.0  # horizon
WORTH = 0.15  # probability from which a cause's remedy gets an outlook of its own
MOST = 4  # such outlooks
LIKELY = 0.5
NINE = np.exp(balance.TRIP_SPREAD * np.array([-1.593, -0.967, -0.589, -0.282, 0.0, 0.282, 0.589, 0.967, 1.593]))
BROKEN_OFF = 0.15  # of the share a whole burn would have burnt, where the driver ends it (from memory)
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
    at, track : distance [km] and soot load [g/l] as 10, 50, 90 % points on the way
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
    setting = _Setting(knowledge, result, usage, volume)
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
    return replace(told, distance=Band(*spread), weeks=Band(*(d / week for d in spread)), holds=0.0, at=(), track=())


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


@dataclass(frozen=True)
class Told:
    """What a week's figures say beside the simulation: hot minutes [min], chance that a burn completes [-]."""

    hot: Array
    completes: Array


class _Setting:
    """What all outlooks of a case share."""

    def __init__(self, knowledge: Knowledge, result: Result, usage: Usage, volume: Array) -> None:
        self.knowledge, self.result, self.usage, self.volume = knowledge, result, usage, volume
        self.order = {cause: place for place, cause in enumerate(sorted(knowledge.causes))}
        case = result.case
        self.kind = case.filter_type
        self.limit = self._limit()
        self.chemistry = _chemistry(table.kinds(self.kind))

    def _limit(self) -> Array:
        """Soot at which such filters count as full [kg/m^3]: the maker's figure, else what bodies are made for."""
        own = self.result.case.burn_limit_g_l
        if own is not None:
            return np.full(N, own)
        bodies = self.knowledge.substrates
        known = bodies.get(self.result.case.substrate or "")
        spans = [b.safe_soot for b in ([known] if known else bodies.values())]
        low, high = min(number(s.low, "g/l") for s in spans), max(number(s.high, "g/l") for s in spans)
        return drawn(Parameter(low, (low + high) / 2.0, high, "kg/m^3", False, "kb/filters.yaml"), "limit")

    def effect(self, chances: Mapping[str, float], without: Sequence[str], name: str, share: bool = False) -> Array:
        """Return a factor of kb/effects.yaml over the sample: the product over the causes there (the sum for heat)."""
        out = np.zeros(N) if name == "heat" else np.ones(N)
        for cause, chance in sorted(chances.items()):
            effect: Effect | None = self.knowledge.effects.get(cause)
            three = getattr(effect, name) if effect else None
            if three is None or cause in without or chance <= 0.0:
                continue
            there = present(chance, self.order[cause])
            value = factor(three, self.order[cause])
            assert value is not None
            value = np.maximum(value, 0.0)
            if share:
                value = np.clip(value, 0.01, 1.0)
            out = out + there * value if name == "heat" else out * np.where(there > 0, value, 1.0)
        return out

    def week(self, chances: Mapping[str, float], without: Sequence[str]) -> tuple[Week, Told]:
        """Return what a week does when causes are there with these chances and some are removed."""
        u, effects = self.usage, self.knowledge.effects
        relief = {k: v for c in without if c in effects for k, v in effects[c].without.items()}
        long_runs = np.maximum(u.long_runs, relief.get("long_run_per_month", 0.0) / 4.345)
        idle = u.idle * relief.get("idle_share", 1.0)
        warm_up = u.warm_up * self.effect(chances, without, "warm_up")
        gained = self._gained(chances, without, long_runs, idle, warm_up)
        speed = u.distance / u.time
        begins = warm_up * np.clip(drawn(balance.BEGINS, "begins"), 0.3, 1.0)
        exhaust = warm_up * np.clip(drawn(balance.EXHAUST_WARM, "begins"), 0.2, 1.0)
        warm_time, long_warm = np.maximum(u.time - exhaust, 0.0), np.maximum(u.long_time - exhaust, 0.0)
        town = self._passive(speed)
        road = self._passive(np.full(N, 25.0))
        passive = -(town * warm_time * u.trips + road * long_warm * long_runs)
        active, completes = self._active(chances, without, long_runs, begins)
        room = self.effect(chances, without, "room", True)
        told = self.effect(chances, without, "told", True)
        full = self.limit * room * told
        refuses = full * np.maximum(drawn(balance.REFUSES, "refuses"), 0.9)
        asks = full * np.clip(drawn(balance.ASKS, "asks"), 0.3, 0.8)
        ash = self._ash() / self.effect(chances, without, "ash")
        distance = u.trips * u.distance + long_runs * u.long_distance
        hot = np.maximum(u.time - begins, 0.0) * u.trips + np.maximum(u.long_time - begins, 0.0) * long_runs
        week = Week(distance, gained, passive, active, asks, balance.ENOUGH * full, refuses, ash)
        return week, Told(hot / 60.0, completes)

    def _gained(
        self, chances: Mapping[str, float], without: Sequence[str], long_runs: Array, idle: Array, warm_up: Array
    ) -> Array:
        u = self.usage
        litres = self.result.case.engine_litres
        size = fuel_use(litres * 1e-3) / fuel_use(ENGINE_SIZE) if litres else 1.0
        rate, idle_rate = drawn(balance.ENGINE_SOOT, "soot") * size, drawn(balance.IDLE_SOOT, "idle_soot") * size
        cold = np.maximum(drawn(balance.COLD_SOOT, "cold"), 0.0)
        short = balance.soot_made(u.distance, u.time, 0.0, warm_up, cold, rate, idle_rate) * u.trips
        long = balance.soot_made(u.long_distance, u.long_time, 0.0, warm_up, cold, rate, idle_rate) * long_runs
        made = np.asarray(short + long + idle_rate * idle)
        return made * np.minimum(self.effect(chances, without, "soot"), balance.MOST_SOOT) / self.volume

    def _passive(self, speed: Array) -> Array:
        """Share burnt in a second on the way by nitrogen dioxide and oxygen, the exhaust warm [1/s]."""
        part = road_part(speed)
        town, road = drawn(balance.TOWN_HEAT, "heat"), drawn(balance.ROAD_HEAT, "heat")
        gas = Gas(25.0, 0.10, balance.ROAD_OXIDES)
        soot = np.full(N, 1.0)
        return np.asarray(burning(soot, town + part * (road - town), self.chemistry, gas) / soot)

    def _active(
        self, chances: Mapping[str, float], without: Sequence[str], long_runs: Array, warm_up: Array
    ) -> tuple[Array, Array]:
        """Return the logarithm of what a week of wanted burns leaves, and the chance that one completes on a trip."""
        u = self.usage
        types = self.knowledge.filter_types
        known = types.get(self.kind or "")
        spans = [t.burn_inlet for t in ([known] if known else types.values())]
        low, high = min(number(s.low, "°C") for s in spans), max(number(s.high, "°C") for s in spans)
        inlet = Parameter(low, (low + high) / 2.0, high, "°C", False, "kb/filters.yaml").at(normal("inlet"))
        inlet = inlet - self.effect(chances, without, "heat")
        slower = np.maximum(drawn(balance.DRIVING_BURN, "driving"), 0.5)
        slower = slower / np.maximum(self.effect(chances, without, "burning"), 0.01)
        done = table.times("minutes", self.kind, inlet, normal("minutes")) * 60.0 * slower
        until_hot = table.times("until_hot", self.kind, inlet, normal("until_hot")) * 60.0
        # the table holds an hour for never; what never burns is not to be let burn slowly
        done = np.where(done >= 0.98 * 3600.0 * slower, 1e7, np.maximum(done, until_hot + 60.0))
        trips = u.time[None, :] * NINE[:, None]
        on_trip = shares(trips, warm_up, until_hot, done)
        on_long = shares(u.long_time, warm_up, until_hot, done)
        allowed = self.effect(chances, without, "allowed", True)
        finished = self.effect(chances, without, "finished", True)
        whole = allowed * (finished + (1.0 - finished) * BROKEN_OFF)
        town = drawn(balance.TOWN_SUCCESS, "success").clip(0.0, 1.0)
        road = drawn(balance.ROAD_SUCCESS, "success").clip(0.0, 1.0)
        success = town + road_part(u.distance / u.time) * (road - town)
        completes = allowed * finished * success * (on_trip >= 0.8).mean(axis=0)
        left = log_left(on_trip.mean(axis=0) * whole * success, u.trips)
        left = left + log_left(on_long * whole * road, long_runs)
        return left, completes

    def _ash(self) -> Array:
        """Distance after which ash alone fills the filter [m]; far away where nothing is known of it.

        A filter that ash fills already is the cause ash_full, with its own probability; so only the members that
        still have room speak here.
        """
        life = self.result.latest.derived.get("ash_life_left")
        if life is None or not life.spread.sample:
            return np.full(N, 1e9)
        ordered = np.asarray([x for x in life.spread.sample if x > 0.0])
        if ordered.size == 0:
            return np.full(N, 1e9)
        return np.asarray(ordered[(places(21) * ordered.size).astype(int)] * 1e3)


def road_part(speed: Array) -> Array:
    """How much of a trip was driven on the road, from its mean speed.

    Equation: x = min(1, max(0, (v - 7 m/s) / 14 m/s))

    Parameters
    ----------
    speed : mean of the trip [m/s]

    Returns
    -------
    0 in town up to 25 km/h, 1 on the road from 75 km/h on [-]

    Raises
    ------
    ValueError : never

    Valid range: any mean speed; it only goes between what is usual in town and on the road.

    References
    ----------
    from-memory: legislated town cycles 18 to 34 km/h on the mean, road and motorway cycles 57 to 97.

    Examples
    --------
    >>> [round(float(road_part(np.array(v / 3.6))), 2) for v in (20.0, 50.0, 90.0)]
    [0.0, 0.49, 1.0]
    """
    return np.asarray(np.clip((speed - 7.0) / 14.0, 0.0, 1.0))


def _chemistry(kinds: tuple[str, ...]) -> Chemistry:
    """Return the soot and coating of a kind of filter over the sample; of kinds not told apart, each in turn."""
    turn = np.arange(N) % len(kinds)

    def each(figures: Mapping[str, float]) -> Array:
        return np.array([figures[k] for k in kinds])[turn]

    rate = np.array([at.RATE[k].mid for k in kinds])[turn]
    energy = np.array([at.ENERGY[k].mid for k in kinds])[turn]
    dioxide = drawn(at.DIOXIDE_RATE, "dioxide")
    return Chemistry(rate, energy, dioxide, at.DIOXIDE_ENERGY, each(at.APPROACH), each(at.RECYCLE), each(at.MONOXIDE))


def _weights(setting: _Setting, result: Result, then: Mapping[str, float]) -> tuple[Array, float | None, list[Note]]:
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
    return Outlook(
        id=name,
        causes=without,
        distance=band(after / 1e3),
        weeks=band(after / a_week),
        holds=float(np.sum(weights[~np.isfinite(after)])),
        gained=band(path.gained[i] * volume * 1e3 / driven),
        burnt=band(path.burnt[i] * volume * 1e3 / driven),
        hot=band(told.hot),
        completes=band(told.completes),
        at=tuple(float(x) / 1e3 for x in path.at),
        track=tuple(tuple(quantiles(row, weights)) for row in track),  # type: ignore[misc]
    )
