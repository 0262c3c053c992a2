"""``clogwise forecast`` and ``clogwise compare``: how far until it blocks again, and whether the work held."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from kb.faults import Fault, Faults

PICTURES = (".svg", ".png", ".pdf")
CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="case file (YAML)")]
AsJson = Annotated[bool, typer.Option("--json", help="print the answer as JSON")]


def forecast(
    case: CaseFile,
    json: AsJson = False,
    output: Annotated[Path | None, typer.Option("-o", "--output", help="picture to write: .svg, .png or .pdf")] = None,
) -> None:
    """Say how far the vehicle goes until the filter blocks again: as things stand, and after each remedy.

    Example: clogwise forecast cases/school-run.yaml -o school-run-forecast.svg
    """
    from clogwise.cli import console, diagnosed
    from explain import forecastview
    from inference.forecast.outlook import forecast as foretell

    if output is not None and output.suffix.lower() not in PICTURES:
        says = f"the ending '{output.suffix}' names no picture; {', '.join(PICTURES)} do"
        raise Faults([Fault(str(output), 0, "", says)])
    knowledge, result = diagnosed(case)
    told = foretell(knowledge, result)
    if told is None:
        says = "neither engine_litres nor the filter's size is given; write one of them"
        raise Faults([Fault(str(case), 0, "vehicle", says)])
    if json:
        from explain import jsonout

        typer.echo(jsonout.dump(forecastview.shape(told)))
    else:
        forecastview.show(knowledge, told, console())
    if output is not None:
        from clogwise.files import write_whole
        from explain.forecastdraw import draw

        write_whole(output, draw(knowledge, told, output.suffix.lower().lstrip(".")))
        if not json:
            typer.echo(f"{output}: written")


def compare(case: CaseFile, json: AsJson = False) -> None:
    """Hold the first round against the latest at equal flow and say whether the work held.

    Example: clogwise compare cases/bee-keeper.yaml
    """
    from clogwise.cli import console, diagnosed
    from explain import compareview
    from inference.compare import compare as hold

    knowledge, result = diagnosed(case)
    if len(result.rounds) < 2:
        says = "only one round is written down; a comparison needs two (add the round after the work)"
        raise Faults([Fault(str(case), 0, "rounds", says)])
    answer = hold(knowledge, result)
    if json:
        from explain import jsonout

        typer.echo(jsonout.dump(compareview.shape(knowledge, answer)))
    else:
        compareview.show(knowledge, result, answer, console())


def register(app: typer.Typer) -> None:
    """Add both commands to the program."""
    app.command()(forecast)
    app.command()(compare)
