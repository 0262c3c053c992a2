"""The commands that say what to do next: ``next`` (the plan of a case) and ``start`` (asks, and writes a case)."""

from __future__ import annotations

import re
import sys
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


def start(
    file: Annotated[Path | None, typer.Argument(metavar="FILE", help="case file to write, or to go on with")] = None,
) -> None:
    """Ask about a vehicle, one question at a time, write the case file, and end with the answer to why.

    Every answer is kept at once; stop when you like and go on later with the same file.

    Example: clogwise start bakery-van.yaml
    """
    from datetime import date

    from clogwise.cli import console
    from clogwise.interview import interview
    from explain.terminal import Terminal
    from explain.words import say
    from inference.diagnose import diagnose
    from kb.load import load

    out = console()
    lines = iter(sys.stdin.readline, "")
    echo = not sys.stdin.isatty()
    if file is None:
        out.print(say("start.name"), style="bold", end=" ")
        name = next(lines, "").strip()
        if echo:
            out.print(name)
        stem = "-".join(re.findall(r"[\w.-]+", name.lower())).strip(".") or "case"
        file = Path(stem if stem.endswith((".yaml", ".yml")) else f"{stem}.yaml")
    knowledge = load()
    talk = interview(file, knowledge, out, lines, echo, date.today)
    out.print(say("start.stopped", file=file))
    out.print()
    Terminal(knowledge, diagnose(talk.case.case, knowledge), out).why()


def names(
    words: Annotated[list[str] | None, typer.Argument(metavar="WORDS...", help="words of a name or title")] = None,
    json: AsJson = False,
) -> None:
    """List how a case file names things, with what they are: all, or those that fit the words.

    Example: clogwise names oil level
    """
    from clogwise.cli import console
    from clogwise.naming import fitting
    from explain import jsonout, namesview
    from kb.faults import Fault, Faults
    from kb.load import load

    said = " ".join(words or ())
    found = [n for n in namesview.names(load()) if fitting(said, f"{n.name} {n.title}")]
    if not found:
        raise Faults([Fault("names", 0, "", namesview.none_of(said))])
    if json:
        typer.echo(jsonout.dump(namesview.NamesShape(names=found)))
        return
    namesview.show(found, console())


def register(app: typer.Typer) -> None:
    """Add the commands to the program."""
    app.command("next")(next_steps)
    app.command("start")(start)
    app.command()(names)
