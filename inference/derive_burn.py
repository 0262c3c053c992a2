"""What a burn would do, and what one did: limit of soot, peak at a fall to idle, minutes, heat wanted, soot burnt."""

from __future__ import annotations

from array import array
from collections.abc import Mapping
from functools import lru_cache

import numpy as np

from inference.burn import kinetics, table
from inference.burn.judge import BurnSeen, Verdict, judge
from inference.derive_sheet import DerivedReading, Sheet
from inference.physics.sampling import Z10, between, exact, of_round, vehicle
from inference.physics.valid import Array, NotMade, Odd, outside
from inference.steps import kept, step
from inference.values import Spread
from kb.model import Substrate
from kb.units import number

BURN = "exhaust_temperature_before_filter.burn"
AFTER = "exhaust_temperature_after_filter.burn"
IN_TIME = 20.0  # min within which 80 % should burn, for the temperature a burn needs (from memory)
MUCH_ASH = 5.0  # g/l, where the walls wear a layer of it (from memory)


@kept
def body_of(sheet: Sheet) -> tuple[Substrate, table.Limit] | None:
    """Return the filter body, or the most delicate where it is not known, with its limit; None if none is listed."""
    bodies = sheet.knowledge.substrates
    known = bodies.get(sheet.case.substrate or "")
    among = [known] if known else list(bodies.values())
    if not among:
        return None
    ash = sheet.done.get("ash_load")
    much = ash is not None and ash.spread.mid >= MUCH_ASH
    limits = [(table.limit([body], sheet.case.filter_type, much), body) for body in among]
    limit, body = min(limits, key=lambda pair: (pair[0].high, pair[0].low, pair[1].id))
    return body, limit


@kept
def burn_limit(sheet: Sheet) -> tuple[Spread, tuple[str, ...]] | None:
    """Return the soot a burn may begin with [g/l] and notes, and write it down; None where no body is listed."""
    own = sheet.case.burn_limit_g_l
    inputs: tuple[str, ...] = ("filter",)
    if own is not None:
        notes: tuple[str, ...] = ("The vehicle maker's limit was taken.",)
        spread = exact(own)
    else:
        found = body_of(sheet)
        if found is None:
            return None
        body, limit = found
        spread, notes = Spread(limit.low, limit.mid, limit.high), limit.notes
        if "ash_load" in sheet.done:
            inputs = (*inputs, "ash_load")
        if body.id != sheet.case.substrate:
            notes = (
                f"What the filter is made of is not known; the limit of the most delicate, {body.id}, was taken.",
                *notes,
            )
        if limit.by_heat is not None and limit.by_cracks is not None:
            sheet.put("burn_heat_limit", Spread(*limit.by_heat), inputs, notes)
            sheet.put("burn_crack_limit", Spread(*limit.by_cracks), ("filter",), notes)
            inputs = (*inputs, "burn_heat_limit", "burn_crack_limit")
    sheet.put("burn_soot_limit", spread, inputs, notes)
    return spread, notes


@step
def derive_burn(sheet: Sheet) -> None:
    """Write down what a burn would do now, and hold one that was read against what it should have done."""
    if "soot_load" not in sheet.samples and sheet.read(BURN) is None and sheet.read(AFTER) is None:
        return  # nothing that a burn could be thought of for
    kind = sheet.case.filter_type
    notes: tuple[str, ...] = ()
    if kind not in table.table()["minutes"]:
        notes = ("The kind of filter is not known; all kinds were allowed for.",)
    needed = _needed(kind)
    sheet.put("burn_inlet_needed", needed, ("filter",), notes)
    if sheet.wants("burn_peak_at_idle"):
        _peak(sheet)
    if sheet.read(BURN) is not None or sheet.wants("burn_minutes", "burn_minutes_until_hot"):
        _times(sheet, needed, notes)


@lru_cache
def _needed(kind: str | None) -> Spread:
    """Return the temperature before the filter [°C] at which a burn is done in time."""
    low, mid, high = (table.inlet_needed(kind, IN_TIME, row) for row in range(3))
    return Spread(low, mid, high)


@step
def _times(sheet: Sheet, needed: Spread, notes: tuple[str, ...]) -> None:
    """Write down how long a burn takes at the temperature read or usual, and judge the one that was read."""
    kind = sheet.case.filter_type
    inlet, inputs, more, odd = _inlet(sheet)
    index = sheet.round.index
    unknown = vehicle("breathing")
    minutes = table.times("minutes", kind, inlet, unknown)
    until_hot = table.times("until_hot", kind, inlet, -of_round("egr_fast_idle", index))
    sheet.put("burn_minutes", minutes.clip(0.0, 240.0), inputs, notes + more, odd)
    sheet.put("burn_minutes_until_hot", until_hot.clip(0.0, 240.0), inputs, notes + more, odd)
    if sheet.read(BURN) is not None:
        _recorded(sheet, minutes, until_hot, needed, notes, odd)


def _inlet(sheet: Sheet) -> tuple[Array, tuple[str, ...], tuple[str, ...], tuple[Odd, ...]]:
    """Return the temperature before the filter in a burn [°C] as a sample: read, else usual for the kind of filter."""
    z = of_round("gas_temperature", sheet.round.index)
    read = sheet.sampled(BURN, z)
    if read is not None:
        odd = outside(kinetics.oxygen_rate, temperature=read + 273.15)
        return read, (BURN, "filter"), (), odd
    types = sheet.knowledge.filter_types
    known = types.get(sheet.case.filter_type or "")
    spans = [t.burn_inlet for t in ([known] if known else types.values())]
    low, high = min(number(s.low, "°C") for s in spans), max(number(s.high, "°C") for s in spans)
    note = f"Before the filter {low:.0f} to {high:.0f} °C was taken, as usual for a burn of this filter."
    return between(z, low, (low + high) / 2.0, high), ("filter",), (note,), ()


@step
def _peak(sheet: Sheet) -> None:
    """Highest temperature in the body if the engine fell to idle at the worst moment of a burn begun now."""
    soot = sheet.samples.get("soot_load")
    found = body_of(sheet)
    if soot is None or found is None or not table.known_figures(found[0]):
        return
    rows = [table.peak_at(found[0].id, kind, soot) for kind in table.kinds(sheet.case.filter_type)]
    low, mid, high = np.max(rows, axis=0)
    z = of_round("egr_fast_idle", sheet.round.index) / Z10
    peak = mid + np.where(z < 0, mid - low, high - mid) * z
    most = table.table()["loads"][-1]
    odd = (
        (NotMade(f"The burn model goes up to {most:g} g/l of soot."),)
        if sheet.done["soot_load"].spread.mid > most
        else ()
    )
    sheet.put("burn_peak_at_idle", peak, ("soot_load", "filter"), sheet.done["soot_load"].notes, odd)


def _recorded(
    sheet: Sheet, minutes: Array, until_hot: Array, needed: Spread, notes: tuple[str, ...], odd: tuple[Odd, ...]
) -> None:
    read = sheet.sampled(BURN, of_round("gas_temperature", sheet.round.index))
    if read is not None:
        wanted = between(vehicle("breathing"), needed.low, needed.mid, needed.high)
        sheet.put("burn_heat_shortfall", wanted - read, ("burn_inlet_needed", BURN), notes, odd)
    lasted = sheet.sampled("burn_duration", of_round("engine_speed", sheet.round.index))
    if lasted is not None:
        done = np.maximum(minutes, until_hot + 1.0)
        share = np.asarray(kinetics.share_burnt(np.maximum(lasted, 0.0) * 60.0, until_hot * 60.0, done * 60.0))
        sheet.put_share("burn_share_expected", share, (BURN, "burn_duration", "filter"), notes, odd)


def recorded_burn(
    derived: Mapping[str, DerivedReading], numbers: Mapping[str, float | None], ended: str | None
) -> Verdict | None:
    """Hold the burn that one round tells of against what it should have done; None if it tells of none.

    Parameters
    ----------
    derived : the round's derived readings
    numbers : the round's readings before and after the filter in the burn [°C] and burn_duration [min]
    ended : "yes" or "no" as told of its completion, None if not known
    """
    needed = derived.get("burn_inlet_needed")
    if needed is None or all(v is None for v in numbers.values()):
        return None
    should, left = derived.get("burn_share_expected"), derived.get("excess_left_after_burn.fast_idle")
    return judge(
        BurnSeen(
            needed=needed.spread,
            before=numbers.get(BURN),
            after=numbers.get(AFTER),
            minutes=numbers.get("burn_duration"),
            should=_part(should),
            left=_part(left),
            completed=None if ended is None else ended == "yes",
        )
    )


def _part(told: DerivedReading | None) -> Spread | None:
    """Return a share told in per cent as a part of one."""
    if told is None:
        return None
    s = told.spread
    return Spread(s.low / 100.0, s.mid / 100.0, s.high / 100.0, array("d", (x / 100.0 for x in s.sample)))
