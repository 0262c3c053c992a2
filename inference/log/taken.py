"""Readings of a round out of a recording: each from the rows where the vehicle was in the state the reading wants.

What belongs to the moment before a burn (coolant ``now``, fuel in the tank, charging) is never taken from a recording:
the gate judges by it, and a recording tells of another time.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np

from inference.burn.judge import TOO_HOT, UNSEEN
from inference.log.drive import ROAD, BoolArray, Drive
from inference.log.episodes import Burn
from inference.log.fit import FLAT, SCATTERS, Fit
from inference.log.notes import Note, note
from inference.log.use import use_of
from inference.physics.valid import Array
from inference.read_fields import limit
from kb.model import Knowledge

ROAD_AFTER = 1200.0  # s from the start; kb/readings.yaml: twenty minutes or more at steady road speed
ROAD_LEAST = 180.0  # s
LASTING_HOURS, LASTING_TRIPS = 5.0, 5  # under it a share of idle says nothing lasting about the use
STILL_RISING = 0.4  # K a minute
SWINGS = 12.0  # K between the quarter points
BURNT_FOR = 5.0  # min after a burn until the exhaust is a road's again
DECIMALS = {
    "mbar": 1,
    "g/s": 1,
    "°C": 0,
    "1/min": 0,
    "min": 1,
    "s": 0,
    "%": 1,
    "km/h": 0,
    "V": 1,
    "g": 1,
    "km": 1,
    "1": 0,
}
OFFSET_ERROR = 2.0  # mbar; what is less sure says nothing of the sensor's nought
FINE = 1.5  # s from row to row, up to which a delay shows
EXHAUST = tuple(f"exhaust_temperature_{place}" for place in ("before_catalyst", "before_filter", "after_filter"))
ABSOLUTE = ("manifold_pressure", "boost_wanted")
# reading -> channel, by the state it is read in
AT_IDLE = {
    "sensor_pressure": "filter_pressure", "air_mass_flow": "air_mass_flow", "engine_speed": "engine_speed",
    "manifold_pressure": "manifold_pressure", "egr_wanted": "egr_wanted", "egr_actual": "egr_actual",
    "oxygen_content": "oxygen_content", **{e: e for e in EXHAUST},
}  # fmt: skip
AT_FAST_IDLE = {
    "sensor_pressure": "filter_pressure", "air_mass_flow": "air_mass_flow", "engine_speed": "engine_speed",
    **{e: e for e in EXHAUST},
}  # fmt: skip
AT_FULL_LOAD = {"engine_speed": "engine_speed", "manifold_pressure": "manifold_pressure",
                "boost_wanted": "boost_wanted"}  # fmt: skip
LAST_KNOWN = ("soot_load_model", "soot_load_measured", "ash_load_model", "distance_since_burn")


@dataclass(frozen=True)
class Taken:
    """One reading.

    Parameters
    ----------
    slot : reading and condition ("coolant_temperature.road")
    value : the figure, rounded as the instrument deserves [unit]
    unit : shop unit of the reading
    seconds : how much of the recording it is made from [s]
    """

    slot: str
    value: float
    unit: str
    seconds: float

    @property
    def text(self) -> str:
        """The figure as it is written in a case ("87 °C")."""
        shown = f"{self.value:.{DECIMALS.get(self.unit, 1)}f}"
        shown = shown.rstrip("0").rstrip(".") if "." in shown else shown
        shown = "0" if shown in ("-0", "") else shown
        return shown if self.unit == "1" else f"{shown} {self.unit}"

    @property
    def plain(self) -> str | int:
        """The same as YAML reads it back: a bare count is a number."""
        return int(self.text) if self.unit == "1" else self.text


@dataclass
class Taking:
    """The readings as they are taken."""

    drive: Drive
    knowledge: Knowledge
    taken: dict[str, Taken] = field(default_factory=dict)
    notes: list[Note] = field(default_factory=list)

    def put(self, slot: str, value: float, seconds: float) -> None:
        """Keep a reading unless it cannot be true."""
        reading = self.knowledge.readings[slot.partition(".")[0]]
        unit = reading.unit
        if not limit(reading.possible.low, unit) <= value <= limit(reading.possible.high, unit):
            self.notes.append(note("cannot_be", slot=slot, value=round(value, 1), unit=unit))
            return
        value = round(value, DECIMALS.get(unit, 1)) + 0.0
        self.taken[slot] = Taken(slot, value, unit, round(seconds))

    def middle(self, slot: str, channel: str, rows: BoolArray, least: float = 5.0) -> None:
        """Take the median of a channel over rows, if it is known over enough of them."""
        values = self.drive.get(channel)
        if values is None:
            return
        use = rows & np.isfinite(values)
        seconds = float(self.drive.seconds[use].sum())
        if use.sum() >= 3 and seconds >= least:
            self.put(slot, float(np.median(values[use])), seconds)


def take(
    drive: Drive, knowledge: Knowledge, burns: list[Burn], now: BoolArray, fit: Fit | None = None,
    top: float | None = None, scattered: tuple[float, float] | None = None,
) -> tuple[tuple[Taken, ...], tuple[Note, ...]]:  # fmt: skip
    """Take every reading the recording holds.

    Parameters
    ----------
    drive : the recording on its grid
    burns : the burns in it
    now : rows that speak of the filter as it was at the end (behind the last burn, where there was one)
    fit : pressure against flow over those rows, None where it could not be fitted
    top : pressure at which the sensor stops [mbar], None where it does not
    scattered : scatter of the pressure at steady flow [%] and the time looked at [s], None where it cannot be told
    """
    taking = Taking(drive, knowledge)
    burning = np.zeros_like(drive.running)
    for burn in burns:
        burning |= (drive.time >= burn.begin) & (drive.time < drive.time[burn.last - 1] + 60.0 * BURNT_FOR)
    quiet = ~burning
    for condition, rows, channels in (
        ("idle", drive.idle(), AT_IDLE),
        ("fast_idle", drive.fast_idle(), AT_FAST_IDLE),
    ):
        for reading, channel in channels.items():
            of_filter = reading == "sensor_pressure"
            taking.middle(f"{reading}.{condition}", channel, rows & quiet & (now if of_filter else quiet), 10.0)
    for reading, channel in (("sensor_pressure", "filter_pressure"), ("manifold_pressure", "manifold_pressure")):
        taking.middle(f"{reading}.key_on", channel, drive.key_on(), 2.0)
    _sensor(taking, fit, top, scattered)
    _full_load(taking)
    road = _road(taking)
    if road is not None:
        for exhaust in EXHAUST:
            taking.middle(f"{exhaust}.road", exhaust, road & quiet, 60.0)
        taking.middle("sensor_pressure.road", "filter_pressure", road & quiet & now, 60.0)
    for reading in ("ambient_temperature", "barometric_pressure"):
        taking.middle(reading, reading, np.ones_like(drive.running), 5.0)
    if top is not None:
        _not_above(taking, top)
    _warm_up(taking)
    _burn(taking, burns)
    for reading in LAST_KNOWN:
        values = drive.get(reading)
        if values is not None and np.isfinite(values).any():
            taking.put(reading, float(values[np.isfinite(values)][-1]), drive.step)
    _use(taking)
    volts = drive.get("battery_voltage")
    if volts is not None and np.isfinite(volts[drive.running]).any():
        # no reading: many vehicles lower the charging on purpose, and the gate wants it with loads on and today
        taking.notes.append(note("charging_in_drive", volts=round(float(np.nanmedian(volts[drive.running])), 1)))
    level = drive.get("fuel_level")
    if level is not None and np.isfinite(level).any():
        taking.notes.append(note("fuel_at_end", percent=round(float(level[np.isfinite(level)][-1]))))
    slots = [s for r in knowledge.readings.values() for s in ([f"{r.id}.{c}" for c in r.conditions] or [r.id])]
    ranked = sorted(taking.taken.values(), key=lambda t: slots.index(t.slot))
    return tuple(ranked), tuple(taking.notes)


def _sensor(
    taking: Taking, fit: Fit | None, top: float | None, scattered: tuple[float, float] | None
) -> None:  # fmt: skip
    """What the line of pressure against flow says of the sensor itself."""
    drive = taking.drive
    if top is not None:
        seconds = float(drive.seconds[drive.channels["filter_pressure"] >= top - 0.5].sum())
        taking.put("sensor_pressure_ceiling", top, seconds)
    if fit is None:
        return
    seconds = fit.rows * drive.step
    span = abs(fit.rise) * (fit.flow[1] - fit.flow[0]) / 100.0
    rises = span > FLAT
    if rises and fit.scatter > SCATTERS * span:
        if scattered is not None:
            taking.put("sensor_pressure_scatter", *scattered)
        return  # no line to speak of
    taking.put("sensor_pressure_rise", fit.rise, seconds)
    if scattered is not None:
        taking.put("sensor_pressure_scatter", *scattered)
    if rises and fit.offset[1] <= OFFSET_ERROR:
        taking.put("sensor_pressure_offset", fit.offset[0], seconds)
    if rises and drive.step <= FINE:  # coarser rows cannot tell
        taking.put("sensor_pressure_lag", fit.lag, seconds)


def _not_above(taking: Taking, top: float) -> None:
    """Leave out what was read at the sensor's upper end: the true pressure was higher, nobody knows by how much."""
    for slot in [s for s in taking.taken if s.startswith("sensor_pressure.")]:
        if taking.taken[slot].value >= top - 0.5:
            del taking.taken[slot]
            taking.notes.append(note("at_the_ceiling", slot=slot, top=round(top, 1)))


def _full_load(taking: Taking) -> None:
    drive = taking.drive
    air = drive.get("air_mass_flow")
    rows = drive.full_load()
    if not rows.any():
        return
    if air is not None and np.isfinite(air[rows]).any():
        top = int(np.nanargmax(np.where(rows, air, np.nan)))
        rows &= np.abs(drive.time - drive.time[top]) <= max(1.5, drive.step)
        taking.put("air_mass_flow.full_load", float(np.nanmax(air[rows])), float(drive.seconds[rows].sum()))
    for reading, channel in AT_FULL_LOAD.items():
        taking.middle(f"{reading}.full_load", channel, rows, 0.0)


def _road(taking: Taking) -> BoolArray | None:
    """Rows at road speed twenty minutes or more after the start, of the last trip that has them; the coolant there."""
    drive = taking.drive
    speed, coolant = drive.get("vehicle_speed"), drive.get("coolant_temperature")
    if speed is None:
        taking.notes.append(note("no_road_speed"))
        return None
    best: BoolArray | None = None
    for trip in drive.trips():
        rows = np.zeros_like(drive.running)
        rows[trip.first : trip.last] = True
        rows &= drive.running & (speed >= ROAD) & (drive.time >= drive.time[trip.first] + ROAD_AFTER)
        if float(drive.seconds[rows].sum()) >= ROAD_LEAST:
            best = rows
    if best is None:
        taking.notes.append(note("no_long_road", minutes=ROAD_AFTER / 60.0, speed=ROAD))
        return None
    if coolant is not None:
        _plateau(taking, coolant, best)
        taking.middle("oil_temperature", "oil_temperature", best & (drive.time >= drive.time[best][-1] - 300.0), 30.0)
    return best


def _plateau(taking: Taking, coolant: Array, road: BoolArray) -> None:
    """The coolant on the road, unless it was still rising or swung."""
    drive = taking.drive
    use = road & np.isfinite(coolant) & (drive.time >= drive.time[road][-1] - 900.0)
    if float(drive.seconds[use].sum()) < ROAD_LEAST / 2:
        return
    values, time = coolant[use], drive.time[use]
    half = (time[0] + time[-1]) / 2
    early, late = values[time <= half], values[time > half]
    rise = 0.0
    if early.size and late.size and time[-1] > time[0]:
        rise = float(np.median(late) - np.median(early)) / max((time[-1] - time[0]) / 120.0, 1e-9)
    swing = float(np.subtract(*np.quantile(values, (0.75, 0.25))))
    if rise > STILL_RISING:
        taking.notes.append(note("coolant_still_rising", at=round(float(values[-1])), rise=round(rise, 1)))
    elif swing > SWINGS:
        low, high = np.quantile(values, (0.1, 0.9))
        taking.notes.append(note("coolant_swings", low=round(float(low)), high=round(float(high))))
    else:
        taking.put("coolant_temperature.road", float(np.median(values)), float(drive.seconds[use].sum()))


def _warm_up(taking: Taking) -> None:
    """Minutes from a cold start to 80 °C, of the first trip that begins cold."""
    drive = taking.drive
    coolant, ambient = drive.get("coolant_temperature"), drive.get("ambient_temperature")
    if coolant is None:
        return
    outside = float(np.nanmedian(ambient)) if ambient is not None and np.isfinite(ambient).any() else None
    for trip in drive.trips():
        cold = 30.0 if outside is None else outside + 10.0
        if trip.coolant_first is None or trip.coolant_first > cold:
            continue
        rows = np.arange(trip.first, trip.last)
        hot = rows[coolant[rows] >= 80.0]
        if hot.size:
            minutes = float(drive.time[hot[0]] - drive.time[trip.first]) / 60.0
            taking.put("coolant_warm_up_time", minutes, minutes * 60.0)
        elif trip.minutes >= 20.0 and trip.coolant_last is not None:
            at = round(float(np.nanmax(coolant[rows])))
            taking.notes.append(note("never_warm", minutes=round(trip.minutes), at=at))
        return


def _burn(taking: Taking, burns: list[Burn]) -> None:
    """The last burn: its plateau, the hottest after the filter, and how long it took where that was seen whole.

    Behind a gap in it its time says nothing of the heat it had, and the hottest may have been in the gap.
    """
    if not burns:
        return
    burn = burns[-1]
    seconds = burn.minutes * 60.0
    taking.put("exhaust_temperature_before_filter.burn", burn.before_filter, seconds)
    if burn.before_catalyst is not None and np.isfinite(burn.before_catalyst):
        taking.put("exhaust_temperature_before_catalyst.burn", burn.before_catalyst, seconds)
    unseen = burn.gap_minutes > UNSEEN
    if burn.after_filter is not None and (not unseen or burn.after_filter > TOO_HOT):
        taking.put("exhaust_temperature_after_filter.burn", burn.after_filter, seconds)
    if burn.whole and not unseen:
        taking.put("burn_duration", burn.elapsed, seconds)
    if unseen:
        taking.notes.append(note("burn_has_gap", minutes=round(burn.gap_minutes, 1)))


def _use(taking: Taking) -> None:
    """How the recorded trips were driven; idle share and mean speed stand for the long time where it was one."""
    trips = taking.drive.trips()
    use = use_of(taking.drive, trips)
    if use is None:
        return
    seconds = 60.0 * use.recorded
    for slot, value, scale in (
        ("recorded_trips", use.trips, 1.0),
        ("recorded_trip_time", use.trip_minutes, 1.0),
        ("recorded_trip_distance", use.trip_km, 1.0),
        ("recorded_longest_trip", use.longest, 1.0),
        ("recorded_long_runs", use.long_runs, 1.0),
        ("recorded_mean_speed", use.mean_speed, 1.0),
        ("recorded_idle_share", use.idle_share, 100.0),
        ("recorded_warm_up_share", use.cold_share, 100.0),
        ("recorded_hot_share", use.hot_share, 100.0),
    ):
        if value is not None:
            taking.put(slot, value * scale, seconds)
    if gaps := sum(t.gaps for t in trips):
        missed = round(sum(t.gap_minutes for t in trips), 1)
        taking.notes.append(note("gaps_in_trips", count=gaps, minutes=missed))
    if use.idle_share is None or use.mean_speed is None:
        return
    share, mean = 100.0 * use.idle_share, use.mean_speed
    if use.minutes / 60.0 >= LASTING_HOURS and use.trips >= LASTING_TRIPS:
        taking.put("idle_share", share, seconds)
        taking.put("mean_speed", mean, seconds)
    else:
        taking.notes.append(
            note(
                "use_too_short",
                share=round(share),
                speed=round(mean),
                minutes=round(use.minutes),
                trips=use.trips,
                hours=LASTING_HOURS,
                least=LASTING_TRIPS,
            )
        )
