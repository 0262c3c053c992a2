"""``clogwise log``: a recorded drive, and readings of a round out of it."""

from __future__ import annotations

from datetime import date
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from inference.case import WHENS
from kb.faults import Fault, Faults, nearest

if TYPE_CHECKING:
    from inference.log.summary import Summary


def log(
    case: Annotated[Path, typer.Argument(metavar="CASE", help="case file (YAML) of the vehicle that was driven")],
    recording: Annotated[Path, typer.Argument(metavar="FILE", help="recording: CSV of any logger, or MDF 4")],
    map_: Annotated[
        list[str] | None,
        typer.Option("--map", metavar="CHANNEL=COLUMN", help="say which column is what, '[unit]' behind it if needed"),
    ] = None,
    output: Annotated[
        Path | None, typer.Option("-o", "--output", help="new case file: this case with the readings in it")
    ] = None,
    when: Annotated[str, typer.Option(help="what the new round is for")] = "follow-up",
    day: Annotated[
        str | None, typer.Option("--date", help="date of the new round, year-month-day; else the recording's own")
    ] = None,
    latest: Annotated[
        bool, typer.Option("--latest", help="put them into the latest round, not into a new one")
    ] = False,
    picture: Annotated[Path | None, typer.Option(help="picture to write: .svg or .png")] = None,
    json: Annotated[bool, typer.Option("--json", help="print the answer as JSON")] = False,
) -> None:
    """Read a recorded drive: pressure against flow, burns, trips, and readings for a round.

    Example: clogwise log cases/school-run.yaml drive.csv --map "filter_pressure=Channel 7 [mbar]" -o new.yaml
    """
    from clogwise.cli import console
    from explain.burntold import words
    from explain.logview import LogView, as_json
    from inference.log.read import read_log
    from inference.log.summary import hot_enough, summarise
    from inference.read_case import read_case
    from kb.load import load

    mapping = _mapping(map_ or [])
    faults = _options(when, picture, output, case)
    on = _day(day, faults)
    if faults:
        raise Faults(faults)
    knowledge = load()
    read = read_case(case, knowledge)
    summary = summarise(read_log(recording, mapping), read, knowledge)
    mark = hot_enough(read, knowledge)
    written: list[str] = []
    after: list[str] = []
    drawn = _drawn(summary, picture, mark) if picture is not None else None
    if output is not None:
        after += _write_case(case, output, summary, when, on, latest)
        written.append(str(output))
    if picture is not None and drawn is not None:
        from clogwise.files import write_whole

        write_whole(picture, drawn)
        written.append(str(picture))
    if json:
        from json import dumps

        typer.echo(dumps(as_json(summary, read.name) | {"written": written}, indent=2, ensure_ascii=False))
        return
    out = console()
    LogView(summary, mark, out).show()
    for line in (*after, *([words("heading", "written", paths=", ".join(written))] if written else [])):
        typer.echo(line)


def _mapping(pairs: list[str]) -> dict[str, str]:
    out: dict[str, str] = {}
    for pair in pairs:
        channel, equals, column = pair.partition("=")
        if not equals or not channel.strip() or not column.strip():
            says = f"'{pair}' names no column; write channel=column, such as filter_pressure=P_DPF"
            raise Faults([Fault("--map", 0, "", says)])
        if channel.strip() in out:
            raise Faults([Fault("--map", 0, channel.strip(), "is named twice; keep one")])
        out[channel.strip()] = column.strip()
    return out


def _options(when: str, picture: Path | None, output: Path | None, case: Path) -> list[Fault]:
    from explain.logpicture import FORMATS

    faults = []
    if when not in WHENS:
        says = f"'{when}' is not one of {', '.join(WHENS)}{nearest(when, WHENS)}"
        faults.append(Fault("--when", 0, "", says))
    if picture is not None and picture.suffix.lstrip(".").lower() not in FORMATS:
        says = f"the ending '{picture.suffix}' is no picture format here; take .svg or .png"
        faults.append(Fault(str(picture), 0, "", says))
    if output is not None and output.resolve() == case.resolve():
        says = "this is the case itself; name a new file, so that nothing is lost"
        faults.append(Fault(str(output), 0, "", says))
    return faults


def _day(text: str | None, faults: list[Fault]) -> date | None:
    if text is None:
        return None
    try:
        return date.fromisoformat(text)
    except ValueError:
        faults.append(Fault("--date", 0, "", f"'{text}' is no date; write year-month-day, such as 2026-03-02"))
        return None


def _drawn(summary: Summary, picture: Path, mark: float) -> bytes:
    from explain.burntold import words
    from explain.logpicture import draw_log

    drawn = draw_log(summary, picture.suffix.lstrip(".").lower(), mark)
    if drawn is None:
        raise Faults([Fault(str(picture), 0, "", words("picture", "nothing"))])
    return drawn


def _write_case(case: Path, output: Path, summary: Summary, when: str, on: date | None, latest: bool) -> list[str]:
    """Write the new case, whole and checked, or nothing; return what there is to say about it."""
    from clogwise.files import write_whole
    from explain.burntold import words
    from explain.logview import source_line
    from inference.case import When
    from inference.log.merge import burn_completed, into_latest, with_round
    from inference.read_case import parse_case
    from kb.load import load

    if not summary.readings:
        raise Faults([Fault(str(output), 0, "", "no reading could be taken from the recording; nothing is written")])
    raw, source, completed = case.read_bytes(), source_line(summary), burn_completed(summary)
    if latest:
        merged = into_latest(raw, str(case), summary.readings, source, completed)
    else:
        kind: When = next(w for w in WHENS if w == when)
        day = on or summary.log.day
        merged = with_round(raw, str(case), summary.readings, source, kind, day, completed)
    parse_case(merged.text, str(output), load())
    write_whole(output, merged.text)
    told = [words("readings", "kept", slots=", ".join(merged.kept))] if merged.kept else []
    return told if latest else [*told, words("readings", "new_round")]


def register(app: typer.Typer) -> None:
    """Add the command to the program."""
    app.command()(log)
