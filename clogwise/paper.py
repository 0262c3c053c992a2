"""What leaves the screen: the chain's pictures, the job sheet and the customer's page.

Commands are registered by clogwise/cli.py; each reads the case, diagnoses, and hands the result to ``explain``.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from clogwise import naming
from kb.faults import Fault, Faults

if TYPE_CHECKING:
    from explain.forecastletter import ForLetter
    from inference.result import Result
    from kb.model import Knowledge

PICTURES = ("svg", "png", "dot", "html")


def ending(output: Path, allowed: tuple[str, ...]) -> str:
    """Return the format that a file's ending names.

    Raises
    ------
    Faults : the ending is none of ``allowed``
    """
    found = output.suffix.lstrip(".").lower()
    if found not in allowed:
        names = ", ".join(f".{a}" for a in allowed[:-1]) + f" or .{allowed[-1]}"
        says = f"the ending '{output.suffix}' is no format here; take {names}"
        raise Faults([Fault(str(output), 0, "", says)])
    return found


def draw_chain(
    knowledge: Knowledge, result: Result, output: Path, cause: str | None = None, all: bool = False,
    whynot: str | None = None,
) -> int:  # fmt: skip
    """Write the chain in the format that the file's ending names; return the number of boxes drawn.

    Raises
    ------
    Faults : the ending, the cause or the branch is none there is, or the file cannot be written
    """
    from clogwise.files import write_whole
    from explain.chain import build, select
    from explain.chainfit import fit
    from explain.draw import describe, draw
    from explain.words import phrases, say

    format_ = ending(output, PICTURES)
    if cause is not None:
        cause = naming.meant(cause, [naming.causes(knowledge)], "cause", "--cause")
    name = result.case.name
    if whynot is not None:
        kinds = [naming.causes(knowledge), naming.findings(knowledge)]
        if naming.is_decision(whynot):
            says = f"'{whynot}' is a decision; the chain itself shows what holds it, clogwise whynot says it in words"
            raise Faults([Fault("--whynot", 0, "", says)])
        whynot = naming.meant(whynot, kinds, "cause or finding", "--whynot")
        from explain.chainwhynot import fitted
        from explain.chainwhynot import whynot as branch

        entry = knowledge.causes.get(whynot) or knowledge.findings[whynot]
        graph = (branch if format_ == "html" or all else fitted)(knowledge, result, whynot)
        title = say("chain.whynot", case=name, title=entry.title)
        told = say("chain.describe_whynot", title=entry.title)
    else:
        whole = build(knowledge, result)
        unfolds = format_ == "html" or all
        graph = select(whole, result, cause, all) if unfolds else fit(whole, result, cause)
        title = say("chain.title", case=name, decision=phrases()["decision"][result.gate.decision])
        told = describe(graph, name)
    if format_ == "html":
        from explain.chainhtml import page

        content = page(knowledge, result, graph, graph if whynot else whole, title, told).encode()
    else:
        content = draw(graph, title, format_, told)
    write_whole(output, content)
    return int(graph.number_of_nodes())


CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="case file (YAML)")]
Output = Annotated[Path, typer.Option("-o", "--output", help="file to write: .pdf or .html")]
Paper = Annotated[str, typer.Option(help="a4 or letter")]
SIZES = {"a4": "a4", "letter": "us-letter"}


def paper_size(name: str) -> str:
    """Return the paper as the typesetter names it.

    Raises
    ------
    Faults : it is neither a4 nor letter
    """
    if name.lower() not in SIZES:
        raise Faults([Fault("--paper", 0, "", f"'{name}' is no paper here; take a4 or letter")])
    return SIZES[name.lower()]


def chain(
    case: CaseFile,
    output: Annotated[Path, typer.Option("-o", "--output", help="file to write: .svg, .png, .dot or .html")],
    cause: Annotated[str | None, typer.Option(help="only the branch of this cause")] = None,
    whynot: Annotated[str | None, typer.Option(help="a cause or finding, and where it broke")] = None,
    all: Annotated[bool, typer.Option("--all", help="show everything, not only what matters most")] = False,
) -> None:
    """Draw the chain of reasoning, from what was read to what to do.

    Example: clogwise chain cases/school-run.yaml -o school-run.svg
    """
    from clogwise.cli import diagnosed

    if cause is not None and whynot is not None:
        raise Faults([Fault("--whynot", 0, "", "stands beside --cause; draw one branch at a time")])
    knowledge, result = diagnosed(case)
    nodes = draw_chain(knowledge, result, output, cause, all, whynot)
    typer.echo(f"{output}: drawn, with {nodes} boxes")


def sheet(case: CaseFile, output: Output, paper: Paper = "a4") -> None:
    """Write the job sheet: decision, readings, causes, order of work and proof, on one to three pages.

    Example: clogwise sheet cases/school-run.yaml -o school-run.pdf
    """
    from clogwise.cli import diagnosed
    from clogwise.files import write_whole
    from explain.papers import sheet as page

    format_, size = ending(output, ("pdf", "html")), paper_size(paper)
    knowledge, result = diagnosed(case)
    content = page.pdf(knowledge, result, size) if format_ == "pdf" else page.html(knowledge, result).encode()
    write_whole(output, content)
    typer.echo(str(output))


def letter(
    case: CaseFile,
    output: Annotated[Path | None, typer.Option("-o", "--output", help="file to write: .pdf or .html")] = None,
    name: Annotated[str, typer.Option(help="the customer's name")] = "",
    workshop: Annotated[str, typer.Option(help="the workshop's name")] = "",
    logo: Annotated[Path | None, typer.Option(help="the workshop's logo, PNG or JPEG")] = None,
    prices: Annotated[
        Path | None, typer.Option(help="the shop's own price file; without one no money is named")
    ] = None,
    trace: Annotated[bool, typer.Option("--trace", help="print each sentence with what it rests on")] = False,
    paper: Paper = "a4",
) -> None:
    """Write the customer's page: what happened, why, what is proposed and what is not known yet, in plain words.

    Example: clogwise letter cases/school-run.yaml -o letter.pdf --name "A. Customer"
    """
    from clogwise.cli import diagnosed
    from clogwise.files import write_whole
    from explain.papers import letter as page
    from explain.papers.pricelist import read_logo, read_prices

    if output is None and not trace:
        raise Faults([Fault("letter", 0, "", "name a file to write with -o, or ask for --trace")])
    format_ = ending(output, ("pdf", "html")) if output else ""
    size = paper_size(paper)
    knowledge, result = diagnosed(case)
    sender = page.Sender(
        name, workshop, read_logo(logo) if logo else b"", read_prices(prices, knowledge) if prices else None,
        _forecast(knowledge, result),
    )  # fmt: skip
    if trace:
        for line in page.Letter(knowledge, result, sender).trace():
            typer.echo(line)
    if output is not None:
        if format_ == "pdf":
            write_whole(output, page.pdf(knowledge, result, sender, size))
        else:
            write_whole(output, page.html(knowledge, result, sender).encode())
        typer.echo(str(output))


def _forecast(knowledge: Knowledge, result: Result) -> ForLetter | None:
    """Return the forecast for the letter, where the case says how the vehicle is used; else none."""
    if not any(result.case.number(slot) is not None for slot in ("typical_trip", "typical_distance")):
        return None
    from explain.forecastletter import for_letter
    from inference.forecast.outlook import forecast

    told = forecast(knowledge, result)
    return None if told is None else for_letter(knowledge, told)


def register(app: typer.Typer) -> None:
    """Add the commands of this file to the command line."""
    for command in (chain, sheet, letter):
        app.command()(command)
