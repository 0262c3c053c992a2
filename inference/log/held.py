"""A recorded burn held against what it should have done: foretold for this drive, and judged.

Foretold twice: as such a burn should be, and with the gas that came. The first says when 450 °C after the filter was
due, the second how much of the soot the recorded heat can have burnt.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass, replace

import numpy as np

from inference.burn import table
from inference.burn.foretell import Circumstances, Course, Filter, Foretold, foretell
from inference.burn.judge import DONE, UNSEEN, BurnSeen, Verdict, judge
from inference.case import Case
from inference.derive_gas import housing
from inference.log.bands import Bin, make_bands
from inference.log.clock import IntArray
from inference.log.drive import BoolArray, Drive
from inference.log.episodes import Burn
from inference.log.fit import Flow
from inference.physics import sampling
from inference.physics.valid import Array
from inference.values import Spread
from kb.model import Knowledge

IN_TIME = 20.0  # min within which 80 % should burn (as inference/derive_burn.py)
SHOULD_FOR = 1500.0  # s for which a burn as it should be is foretold
ON_FOR = 420.0  # s behind a burn for which the gas that came is followed
LONGEST = 3600.0  # s
MOST = 6  # burns foretold; of more only the latest, so that a long recording stays quick
BESIDE = 1200.0  # s before a burn in which its soot is read off the pressure
TELLS = 1.15  # index before a burn under which there is too little extra pressure to see it fall
USUAL_INDEX = Spread(1.8, 2.7, 4.5)  # pressure over a clean filter's when a burn is asked for (from memory)
BAD_SENSOR = ("sensor_flat", "sensor_backwards", "sensor_wanders", "sensor_lags", "sensor_saturates")


@dataclass(frozen=True)
class Held:
    """One recorded burn beside what was foretold of it; None is not known.

    Parameters
    ----------
    verdict : how it went
    should : as such a burn should be, from its beginning on
    came : with the gas that came
    burnt : share of the soot that the heat that came burns by its end [-]; what a gap may have burnt is left out
    left : share of the extra pressure it left [-]
    soot : soot it began with, by the pressure before it, ash taken as none [g/l]
    recorded : which of "flow" and "oxygen" were taken from the recording; the others are those usual in a burn
    """

    verdict: Verdict
    should: Foretold | None = None
    came: Foretold | None = None
    burnt: Spread | None = None
    left: Spread | None = None
    soot: Spread | None = None
    recorded: tuple[str, ...] = ()


def hold(
    drive: Drive, gas_: Flow | None, burns: Sequence[Burn], case: Case, knowledge: Knowledge, zero: float,
    noticed: Collection[str],
) -> tuple[Held, ...]:  # fmt: skip
    """Hold each burn of a recording against what was foretold of it.

    Parameters
    ----------
    drive, gas_, burns : the recording, the gas in it, the burns found in it
    case : the filter
    zero : what the pressure sensor reads at no flow [mbar]
    noticed : kinds of notes on the pressure sensor; by a bad one no soot is told
    """
    if not burns:
        return ()
    filter_ = _filter(case, knowledge)
    trusted = not set(noticed) & set(BAD_SENSOR)
    before = [_bin_before(drive, gas_, b, burns, case, knowledge, zero) if trusted else None for b in burns]
    soot = [Spread(*b.soot) if b is not None and b.soot is not None else None for b in before]
    whole = [i for i, b in enumerate(burns) if not b.cut_at_start][-MOST:]  # from its beginning on, at least
    asked = [c for i in whole for c in _circumstances(drive, gas_, burns[i], soot[i])]
    error = knowledge.readings["exhaust_temperature_after_filter"].error_at(600.0)
    told = foretell(asked, filter_, error)
    pairs = {i: (told[2 * n], _on_the_clock(drive, burns[i], told[2 * n + 1])) for n, i in enumerate(whole)}
    out = []
    for i, burn in enumerate(burns):
        should, came = pairs.get(i, (None, None))
        left = _left(burn, before[i]) if trusted else None
        burnt = came.burnt(burn.elapsed * 60.0) if came else None
        seen = _seen(burn, filter_.kind, should, burnt, left)
        recorded = _recorded(drive, gas_, burn, filter_) if should else ()
        out.append(Held(judge(seen), should, came, burnt, left, soot[i], recorded))
    return tuple(out)


def _seen(burn: Burn, kind: str | None, should: Foretold | None, burnt: Spread | None, left: Spread | None) -> BurnSeen:
    low, mid, high = (table.inlet_needed(kind, IN_TIME, row) for row in range(3))
    unfinished = burn.ended == "standing at idle" and (burnt is None or burnt.low < DONE) and burn.gap_minutes <= UNSEEN
    broken = burn.ended == "engine switched off" or unfinished
    return BurnSeen(
        needed=Spread(low, mid, high),
        before=burn.before_filter if np.isfinite(burn.before_filter) else None,
        after=burn.after_filter,
        minutes=burn.minutes,
        should=burnt,
        left=left,
        completed=False if broken else None,
        hot_by=should.until_hot if should else None,
        could=should.burnt(burn.minutes * 60.0) if should else None,
        whole=burn.whole,
        unseen=burn.gap_minutes,
    )


def _filter(case: Case, knowledge: Knowledge) -> Filter:
    body = housing(case)
    volume = None
    if body is not None:
        each = np.broadcast_to(np.asarray(body.body.volume, dtype=float), (sampling.N,))
        low, mid, high = (float(x) for x in np.quantile(each, (0.1, 0.5, 0.9)))
        volume = Spread(low, mid, high)
    kind = case.filter_type if case.filter_type in table.table()["minutes"] else None
    return Filter(kind, knowledge.substrates.get(case.substrate or ""), volume)


def _circumstances(drive: Drive, gas_: Flow | None, burn: Burn, soot: Spread | None) -> tuple[Circumstances, ...]:
    """The burn as it should be, and as the gas came.

    Gaps are left out of the course of what came: the filter goes on behind one as it was before it. It lay in gas that
    nobody recorded meanwhile, and nothing is made up for that.
    """
    begin, took = drive.time[burn.first], burn.elapsed * 60.0
    until = min(float(drive.time[burn.last - 1] - begin) + ON_FOR, LONGEST)
    rows = rows_about(drive, burn, 0.0, until)
    until -= 60.0 * burn.gap_minutes
    inside = rows[rows < burn.last]
    inlet, after = drive.channels["exhaust_temperature_before_filter"], drive.get("exhaust_temperature_after_filter")
    front = _first(inlet, burn.first)
    back = _first(after, burn.first) if after is not None else None
    start = None if front is None else (front, front if back is None else back)
    flow = steady = None
    if gas_ is not None:
        flow = _course(drive, burn, gas_.mass, rows)
        steady = _course(drive, burn, gas_.mass, inside[drive.running[inside]], went_on=True)
    share = drive.get("oxygen_content")
    oxygen = None if share is None else _course(drive, burn, share / 100.0, inside, went_on=True)
    should = Circumstances(min(max(took, SHOULD_FOR), LONGEST), start, soot, None, steady, oxygen)
    return should, Circumstances(until, start, soot, _course(drive, burn, inlet, rows), flow, oxygen)


def rows_about(drive: Drive, burn: Burn, before: float, after: float) -> IntArray:
    """Return the rows of a burn and those about it: from ``before`` [s] its beginning to ``after`` [s] behind that.

    Of the drives of the recording only those that the burn itself reaches into.
    """
    since, drives = drive.time - drive.time[burn.first], drive.segment[[burn.first, burn.last - 1]]
    near = (since >= -before) & (since <= after)
    return np.flatnonzero(near & (drive.segment >= drives[0]) & (drive.segment <= drives[1]))


def _silence(drive: Drive, burn: Burn) -> list[tuple[float, float]]:
    """The burn's gaps: since its beginning, when each began with all before it left out, and how long it was [s]."""
    out, passed = [], 0.0
    for row in burn.gaps:
        length = float(drive.time[row + 1] - drive.time[row] - drive.step)
        out.append((float(drive.time[row] - drive.time[burn.first]) - passed, length))
        passed += length
    return out


def _on_the_clock(drive: Drive, burn: Burn, came: Foretold) -> Foretold:
    """Put what was reckoned without the gaps back to where it lies in the recording."""
    seconds = came.seconds.copy()
    for begun, length in _silence(drive, burn):
        seconds[came.seconds > begun] += length
    return replace(came, seconds=seconds)


def _first(values: Array, row: int) -> float | None:
    known = values[row : row + 10]
    known = known[np.isfinite(known)]
    return float(known[0]) if known.size else None


def _course(drive: Drive, burn: Burn, values: Array, rows: IntArray, went_on: bool = False) -> Course | None:
    """What was recorded in these rows, the burn's gaps left out; with ``went_on`` it goes on at its median."""
    use = rows[np.isfinite(values[rows])]
    if use.size < 10:
        return None
    since = drive.time[use] - drive.time[burn.first]
    seconds, known = since.copy(), np.maximum(values[use], 0.0)
    for row, (_, length) in zip(burn.gaps, _silence(drive, burn), strict=True):
        seconds[use > row] -= length
    if went_on:
        seconds, known = np.append(seconds, seconds[-1] + 1.0), np.append(known, float(np.median(known)))
    return Course(seconds, known)


def _recorded(drive: Drive, gas_: Flow | None, burn: Burn, filter_: Filter) -> tuple[str, ...]:
    def there(values: Array | None) -> bool:
        return values is not None and int(np.isfinite(values[burn.first : burn.last]).sum()) >= 10

    flow = gas_ is not None and filter_.volume is not None and there(gas_.mass)
    return tuple(n for n, yes in (("flow", flow), ("oxygen", there(drive.get("oxygen_content")))) if yes)


def _bin_before(
    drive: Drive, gas_: Flow | None, burn: Burn, burns: Sequence[Burn], case: Case, knowledge: Knowledge, zero: float
) -> Bin | None:
    """The pressure before a burn at the higher flows; None where it is lower than any clean filter's."""
    if gas_ is None:
        return None
    rows: BoolArray = (drive.time >= burn.begin - BESIDE) & (drive.time < burn.begin)
    for other in burns:
        if other.begin < burn.begin:
            rows &= drive.time >= drive.time[other.last - 1] + 120.0
    bands = make_bands(drive, gas_, rows, case, knowledge, zero)
    known = [b for b in bands.bins if b.soot is not None and b.index is not None] if bands else []
    top = sorted(known, key=lambda b: b.volume)[-max(1, len(known) // 3) :]
    best = max(top, key=lambda b: b.rows, default=None)
    return best if best is not None and best.index is not None and best.index[2] > 1.0 else None


def _left(burn: Burn, before: Bin | None) -> Spread | None:
    """Share of the extra pressure left, from what is left of all of it; None where there was too little to see."""
    if burn.left is None:
        return None
    index = USUAL_INDEX
    if before is not None and before.index is not None:
        index = Spread(*before.index)
        if index.low < TELLS:
            return None
    z, other = sampling.vehicle("permeability"), sampling.vehicle("cake")
    times = np.maximum(sampling.between_log(z, index.low, index.mid, index.high), 1.05)
    whole = sampling.between(other, *burn.left)
    low, mid, high = (float(x) for x in np.quantile((whole * times - 1.0) / (times - 1.0), (0.1, 0.5, 0.9)))
    return Spread(max(low, 0.0), max(mid, 0.0), max(high, 0.0))
