"""The command line. Each command is a few lines: read the case, diagnose, hand the result to a view.

Exit status: 0 done, 2 something the user supplied is at fault (one sentence per fault on standard error),
1 clogwise itself is at fault. Imports stand inside the commands, so that each starts as fast as it can.
"""

from __future__ import annotations

import gc
import os
import sys
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from clogwise import naming
from clogwise.ask import register as register_questions
from clogwise.forecastcmd import register as register_forecast
from clogwise.logcmd import register as register_log
from clogwise.paper import register as register_paper
from clogwise.plancmd import register as register_plan
from kb.faults import Faults

if TYPE_CHECKING:
    from rich.console import Console

    from inference.case import Case
    from inference.result import Result
    from kb.model import Knowledge

app = typer.Typer(
    help="Find out why a diesel particulate filter keeps blocking, and whether it may be burnt clean now.",
    no_args_is_help=True, add_completion=False, pretty_exceptions_enable=False, rich_markup_mode=None,
)  # fmt: skip
rules_app = typer.Typer(help="Look after the rules.", no_args_is_help=True, rich_markup_mode=None)
app.add_typer(rules_app, name="rules")
bench_app = typer.Typer(help="Measure how well the program does.", no_args_is_help=True, rich_markup_mode=None)
app.add_typer(bench_app, name="bench")

CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="case file (YAML)")]
AsJson = Annotated[bool, typer.Option("--json", help="print the answer as JSON")]
Everything = Annotated[bool, typer.Option("--all", help="show everything, not only what matters most")]


def console() -> Console:
    """Return the console to print on: colour only on a terminal that wants it, at least 60 columns in a pipe."""
    from rich.console import Console

    width = None if sys.stdout.isatty() else int(os.environ.get("COLUMNS") or 100)
    return Console(highlight=False, soft_wrap=False, width=width)


def knowledge_and_case(path: Path) -> tuple[Knowledge, Case]:
    from inference.read_case import read_case
    from kb.load import load

    knowledge = load()
    return knowledge, read_case(path, knowledge)


def diagnosed(path: Path) -> tuple[Knowledge, Result]:
    from inference.diagnose import diagnose

    knowledge, case = knowledge_and_case(path)
    return knowledge, diagnose(case, knowledge)


@app.command()
def why(case: CaseFile, json: AsJson = False, all: Everything = False) -> None:
    """Say why the filter keeps blocking and whether it may be burnt clean now.

    Example: clogwise why cases/school-run.yaml
    """
    knowledge, result = diagnosed(case)
    if json:
        from explain import jsonout

        typer.echo(jsonout.dump(jsonout.why(knowledge, result)))
        return
    from explain.terminal import Terminal

    Terminal(knowledge, result, console(), everything=all).why()


@app.command()
def gate(case: CaseFile, json: AsJson = False) -> None:
    """Decide on a forced regeneration: do not burn, not needed, hold or clear, with every reason.

    Example: clogwise gate cases/school-run.yaml
    """
    knowledge, result = diagnosed(case)
    if json:
        from explain import jsonout

        typer.echo(jsonout.dump(jsonout.gate(result)))
        return
    from explain.terminal import Terminal

    Terminal(knowledge, result, console(), everything=True).gate()


@app.command()
def check(case: CaseFile, json: AsJson = False) -> None:
    """Read a case and say what was understood and which missing facts would help most.

    Example: clogwise check cases/school-run.yaml
    """
    knowledge, result = diagnosed(case)
    if json:
        from explain import checkview, jsonout

        typer.echo(jsonout.dump(checkview.as_shape(knowledge, result)))
        return
    from explain.checkview import show

    show(knowledge, result, console())


@app.command()
def how(
    case: CaseFile,
    what: Annotated[list[str], typer.Argument(metavar="CAUSE|FINDING|gate", help="an id or words, such as thermostat")],
    json: AsJson = False,
    all: Everything = False,
) -> None:
    """Show how a belief, a finding or the decision came about: the proof, with values, limits and sources.

    Example: clogwise how cases/school-run.yaml short_trips
    """
    from explain import howview

    knowledge, result = diagnosed(case)
    kinds = [naming.causes(knowledge), naming.findings(knowledge)]
    said = "gate" if naming.is_decision(" ".join(what)) else " ".join(what)
    named = naming.meant(
        said, kinds, "cause or finding, nor gate", "how", ["gate"], lambda: naming.elsewhere(said, knowledge)
    )  # fmt: skip
    if named not in knowledge.causes:
        from clogwise.ask import how_found

        return how_found(knowledge, result, named, json, all)
    answer = howview.how(knowledge, result, named)
    if json:
        from explain import jsonout

        typer.echo(jsonout.dump(answer))
        return
    howview.show(answer, console(), all)


@rules_app.command("check")
def rules_check(json: AsJson = False) -> None:
    """Load all knowledge, run every example of every rule, and print whatever is wrong.

    Example: clogwise rules check
    """
    from clogwise.rulescheck import check_all

    report = check_all()
    if json:
        from explain import jsonout

        typer.echo(jsonout.dump(report))
    else:
        for line in report.lines():
            typer.echo(line)
    if report.faults:
        raise typer.Exit(2)


@bench_app.command("cases")
def bench_cases(
    folder: Annotated[Path, typer.Argument(help="folder of cases with their expected outcomes")] = Path("cases"),
    json: AsJson = False,
) -> None:
    """Run every case whose outcome is known and print how often the program was right.

    Example: clogwise bench cases
    """
    from clogwise.casebench import case_files, outcome, score
    from kb.load import load

    knowledge = load()
    result = score([outcome(path, knowledge) for path in case_files(folder)])
    if json:
        from explain import jsonout

        typer.echo(jsonout.dump(result))
    else:
        for line in result.lines():
            typer.echo(line)


@app.command()
def demo(
    folder: Annotated[Path, typer.Option(help="where the pictures go")] = Path("demo-output"),
) -> None:
    """Run a complete scenario of our own: check, why, how and the chain's picture.

    Example: clogwise demo
    """
    from clogwise.demo import run_demo

    run_demo(folder, console())


register_questions(app)
register_plan(app)
register_log(app)
register_forecast(app)
register_paper(app)


def for_short_work() -> None:
    """Set the interpreter up for a command, which lives for a second; before numpy is loaded."""
    gc.set_threshold(200_000, 50, 50)  # collecting took a tenth of that second
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")  # the matrices are small: threads would only wait for each other


def main() -> None:
    """Run the command line; turn faults into sentences and exit status."""
    for_short_work()
    try:
        app()
    except Faults as found:
        for fault in found.faults:
            print(fault, file=sys.stderr)
        sys.exit(2)
    except BrokenPipeError:
        os.dup2(os.open(os.devnull, os.O_WRONLY), sys.stdout.fileno())  # the reader has gone; that is no fault
        sys.exit(0)
    except Exception as error:
        if os.environ.get("CLOGWISE_DEBUG"):
            raise
        says = f"clogwise is at fault: {type(error).__name__}: {error}"
        print(f"{says} (set CLOGWISE_DEBUG=1 for the details)", file=sys.stderr)
        sys.exit(1)
