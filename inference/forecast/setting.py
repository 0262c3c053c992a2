"""What all outlooks of a case share, and what a week does to the soot when causes are there or removed."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np

from inference.burn import conditions as at
from inference.burn import table
from inference.burn.regeneration import Chemistry, Gas, burning
from inference.forecast import balance
from inference.forecast.sample import UNKNOWNS, drawn, factor, normal, places, present
from inference.forecast.simulate import Week, log_left, shares
from inference.forecast.usage import Usage
from inference.physics.ash import LEFT_BY_CLEANING
from inference.physics.calibration import Parameter
from inference.physics.sampling import N
from inference.physics.usage import ENGINE_SIZE, fuel_use
from inference.physics.valid import Array
from inference.result import Result
from kb.model import Effect, Knowledge
from kb.units import number

NINE = np.exp(balance.TRIP_SPREAD * np.array([-1.593, -0.967, -0.589, -0.282, 0.0, 0.282, 0.589, 0.967, 1.593]))
BROKEN_OFF = 0.15  # of the share a whole burn would have burnt, where the driver ends it (from memory)
# Causes whose remedy cleans the filter off the vehicle or changes it
ANEW = {"ash_full", "filter_damaged", "wrong_filter"}


@dataclass(frozen=True)
class Told:
    """What a week's figures say beside the simulation: hot minutes [min], chance that a burn completes [-]."""

    hot: Array
    completes: Array


class Setting:
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
        ash = self._ash(bool(ANEW & set(without))) / self.effect(chances, without, "ash")
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

    def _ash(self, anew: bool) -> Array:
        """Distance after which ash alone fills the filter [m]; far away where nothing is known of it.

        A filter that ash fills already is the cause ash_full, with its own probability; so only the members that
        still have room speak here. Cleaned off the vehicle or changed, it has the room that it had when it was fitted.
        """
        derived = self.result.latest.derived
        life, used, driven = (derived.get(d) for d in ("ash_life_left", "ash_room_used", "distance_on_filter"))
        if life is None or not life.spread.sample:
            return np.full(N, 1e9)
        ordered = np.asarray([x for x in life.spread.sample if x > 0.0])
        if anew and used is not None and used.spread.sample and driven is not None and driven.spread.mid > 0.0:
            room = np.maximum(np.asarray(used.spread.sample[::-1]) / 100.0, 1e-6)  # told in per cent
            ordered = driven.spread.mid / room * (1.0 - LEFT_BY_CLEANING.mid)
        if ordered.size == 0:
            return np.full(N, 1e9)
        place = places(UNKNOWNS.index("ash"))
        return np.asarray(ordered[(place * ordered.size).astype(int)] * 1e3)


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
