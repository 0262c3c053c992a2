"""Recordings in ASAM MDF 4, through asammdf (an optional extra: pip install '.[mdf]')."""

from __future__ import annotations

import gc
import sys
from collections.abc import Mapping
from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from inference.log.clock import Form, numbers
from inference.log.columns import Column, recognise
from inference.log.long import held
from inference.log.notes import note
from inference.log.read import Gathered, Log, assemble
from inference.physics.valid import Array
from kb.faults import Fault, Faults

LONGEST = 5_000_000  # rows of the common time; more is thinned to it


def read_mdf(path: Path, mapping: Mapping[str, str] | None = None) -> Log:
    """Read an MDF 4 file: every recognised channel on one common time, held from sample to sample.

    Raises
    ------
    Faults : asammdf is not installed, the file is none of that kind, or nothing in it was recognised
    """
    name = str(path)
    try:
        from asammdf import MDF
    except ImportError:
        says = "this is an MDF 4 recording; to read it install the extra: pip install '.[mdf]'"
        raise Faults([Fault(name, 0, "", says)]) from None
    hook, says = sys.unraisablehook, ""
    sys.unraisablehook = lambda _: None  # what asammdf half opened complains again when it is thrown away
    try:
        file = MDF(name)
    except Exception as error:  # asammdf raises many kinds; each means: not readable as MDF
        says = f"cannot be read as MDF 4 ({type(error).__name__}); record it again or export it as CSV"
    finally:
        gc.collect()
        sys.unraisablehook = hook
    if says:
        raise Faults([Fault(name, 0, "", says)])
    try:
        return _signals(file, name, mapping)
    finally:
        file.close()


def _signals(file: Any, name: str, mapping: Mapping[str, str] | None) -> Log:
    listed: dict[str, tuple[str, str, int, int]] = {}
    for group, content in enumerate(file.groups):
        for index, channel in enumerate(content.channels):
            if channel.channel_type in (2, 3):  # the group's own time
                continue
            listed.setdefault(channel.name, (channel.name, channel.unit or "", group, index))
    signals = list(listed.values())
    columns, spare = recognise([s[0] for s in signals], [s[1] for s in signals], mapping)
    columns = [c for c in columns if c.channel not in ("time", "date", "raw")]
    if not columns:
        shown = ", ".join(s[0] for s in signals)[:300]
        says = f"no signal was recognised; name some with --map, such as filter_pressure=SIGNAL; there are {shown}"
        raise Faults([Fault(name, 0, "", says)])
    read: list[tuple[Column, Array, Array]] = []
    for column in columns:
        _, _, group, index = signals[column.place]
        signal = file.get(group=group, index=index)
        read.append((column, np.asarray(signal.timestamps, dtype=np.float64), _figures(signal.samples)))
    finest = max((t for _, t, _ in read), key=lambda t: t.size)
    if not finest.size:
        raise Faults([Fault(name, 0, "", "its signals hold no samples")])
    common = np.unique(finest)[:: max(1, finest.size // LONGEST)]
    gathered = Gathered(times=[common])
    for column, time, values in read:
        gathered.add(column.channel, held(common, time, values))
    form = Form("number", lambda cells: numbers(cells, False))
    kept = {c.place for c in columns}
    unused = tuple(s[0] for i, s in enumerate(signals) if i not in kept)
    told = [note("spare_column", column=c.name, used=c.channel) for c in spare if c.channel not in ("time", "date")]
    log = assemble(name, gathered, form, "s", columns, unused, told)
    began = getattr(file.header, "start_time", None)
    if began is None or not 1990 < began.year < 2100:
        return log
    return replace(log, day=began.date())


def _figures(samples: Any) -> Array:
    array = np.asarray(samples)
    if array.dtype.kind in "fiub":
        return array.astype(np.float64)
    return np.full(array.shape[:1], np.nan)  # text and structures hold no figure
