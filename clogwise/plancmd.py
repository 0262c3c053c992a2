"""The commands that say what to do next: ``next`` (the plan of a case) and ``start`` (asks, and writes a case)."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="case file (YAML)")]
AsJson = Annotated[bool, typer.Option("--json", help="print the answer as JSON")]
Everything = Annotated[bool, typer.Option("--all", help="show everything, not only what matters most")]


def next_steps(case: CaseFile, json: AsJson = False, all: Everything = False) -> None:
    """Say what to test or repair next, what each outcome would change, and what it is expected to cost.

    Example: clogwise next cases/school-run.yaml
    """
    from clogwise.cli import console, diagnosed
    from explain import jsonout, nextview
    from inference.plan.build import plan_of

    knowledge, result = diagnosed(case)
    plan = plan_of(knowledge, result)
    if json:
        typer.echo(jsonout.dump(nextview.answer(knowledge, result, plan)))
        return
    nextview.show(knowledge, result, plan, console(), everything=all)


def register(app: typer.Typer) -> None:
    """Add the commands to the program."""
    app.command("next")(next_steps)
