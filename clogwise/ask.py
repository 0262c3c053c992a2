"""The questions one may ask of an answer: why not, what if, what would turn it, the least proof, why rather.

Each command reads the case, asks one question and prints the answer in words or, with ``--json``, as data.
"""

from __future__ import annotations

import re
from pathlib import Path
from typing import TYPE_CHECKING, Annotated, cast

import typer

from clogwise import naming
from kb.faults import Fault, Faults

if TYPE_CHECKING:
    from pydantic import BaseModel
    from rich.console import Console

    from explain.tippingview import TippingAnswer
    from inference.case import Case
    from inference.result import Decision, Result
    from inference.shares import Shares
    from kb.model import Knowledge

CaseFile = Annotated[Path, typer.Argument(metavar="CASE", help="case file (YAML)")]
AsJson = Annotated[bool, typer.Option("--json", help="print the answer as JSON")]
Everything = Annotated[bool, typer.Option("--all", help="show everything, not only what matters most")]
Changes = Annotated[
    list[str],
    typer.Argument(metavar="NAME=VALUE...", help="changes, such as coolant_temperature.road=88°C or codes=P0128"),
]
CODE = re.compile(r"[PBCUpbcu][0-9A-Fa-f]{4}")
WHAT_CHANGES = "reading, usage figure, question, code or fact of the filter"


def _read(path: Path) -> tuple[Knowledge, Case]:
    from clogwise.cli import knowledge_and_case

    return knowledge_and_case(path)


def _diagnosed(path: Path) -> tuple[Knowledge, Result]:
    from clogwise.cli import diagnosed

    return diagnosed(path)


def _console() -> Console:
    from clogwise.cli import console

    return console()


def _dump(answer: BaseModel) -> None:
    from explain import jsonout

    typer.echo(jsonout.dump(answer))


def _cause(knowledge: Knowledge, name: str, command: str) -> str:
    return naming.meant(name, [naming.causes(knowledge)], "cause", command)


def _named(knowledge: Knowledge, change: str) -> str:
    """Return a change with its fact by the name a case file has for it ("coolant on the road=88 °C")."""
    name, equals, value = change.partition("=")
    if not equals or not name.strip() or set("_.") & set(name) or CODE.fullmatch(name.strip()):
        return change
    return naming.meant(name.strip(), [naming.facts(knowledge)], WHAT_CHANGES, "what if") + equals + value


def whatif(case: CaseFile, changes: Changes, json: AsJson = False, all: Everything = False) -> None:
    """Say what the answer would be if readings, answers or codes were different, and what moves.

    Example: clogwise whatif cases/school-run.yaml coolant_temperature.road=88°C egr_valve_moves_freely=yes
    """
    from explain import whatifview
    from inference.questions.change import parse_changes
    from inference.questions.whatif import whatif as ask

    knowledge, read = _read(case)
    new = parse_changes([_named(knowledge, change) for change in changes])
    answer = whatifview.answer(knowledge, ask(read, knowledge, new), new)
    if json:
        return _dump(answer)
    whatifview.show(answer, _console(), everything=all)


def tipping(case: CaseFile, json: AsJson = False, all: Everything = False) -> None:
    """Say which single fact, at which value, would turn the decision or the most probable cause.

    Example: clogwise tipping cases/school-run.yaml
    """
    from clogwise.cores import over_the_cores
    from inference.shares import undivided

    def asked(shares: Shares) -> TippingAnswer:
        from explain.tippingview import answer
        from inference.questions.again import Again
        from inference.questions.tipping import tipping as ask

        knowledge, read = _read(case)
        again = Again(read, knowledge, sparing=True)
        return answer(knowledge, again.base, ask(read, knowledge, again, shares))

    once = not case.is_file()  # what comes through a pipe can be read by one process alone
    found = asked(undivided) if once else over_the_cores(asked)  # before anything is loaded: see there
    if json:
        return _dump(found)
    from explain import tippingview

    tippingview.show(found, _console(), everything=all)


def proof(case: CaseFile, json: AsJson = False) -> None:
    """Find the smallest sets of facts that carry the decision and the most probable cause.

    Example: clogwise proof cases/school-run.yaml
    """
    from explain import leastview
    from inference.questions.again import Again
    from inference.questions.least import least_proof

    knowledge, read = _read(case)
    again = Again(read, knowledge)
    answer = leastview.answer(knowledge, again.base, least_proof(read, knowledge, again))
    if json:
        return _dump(answer)
    leastview.show(answer, _console())


def rather(
    case: CaseFile,
    a: Annotated[str, typer.Argument(metavar="CAUSE", help="the cause that is said")],
    b: Annotated[str, typer.Argument(metavar="OTHER", help="the cause it is held against")],
    json: AsJson = False,
    all: Everything = False,
) -> None:
    """Say why one cause rather than another: the findings that part them, and what would part them further.

    Example: clogwise rather cases/school-run.yaml short_trips thermostat_stuck_open
    """
    from explain import ratherview
    from inference.diagnose import evidence_of
    from inference.questions.contrast import contrast

    knowledge, result = _diagnosed(case)
    a, b = _cause(knowledge, a, "rather"), _cause(knowledge, b, "rather")
    if a == b:
        raise Faults([Fault("rather", 0, "", f"'{knowledge.causes[b].title}' is held against itself; name two causes")])
    findings = {**result.stands.findings, **result.decided.findings}
    evidence = evidence_of(result.case, knowledge, result.rounds)
    states = {f: r.state for f, r in findings.items()}
    answer = ratherview.answer(
        knowledge, result, contrast(knowledge, evidence, result.cause(a), result.cause(b), states)
    )
    if json:
        return _dump(answer)
    ratherview.show(answer, _console(), everything=all)


def whynot(
    case: CaseFile,
    what: Annotated[
        list[str],
        typer.Argument(metavar="CAUSE|FINDING|DECISION", help="words of it, or clear, hold, not-needed, do-not-burn"),
    ],
    json: AsJson = False,
    all: Everything = False,
) -> None:
    """Say why a cause, a finding or a decision is not the answer: each rule, premise by premise, and what outweighs it.

    Example: clogwise whynot cases/school-run.yaml clear
    """
    from explain import whynotview
    from inference.questions.whynot import WhyNot

    knowledge, result = _diagnosed(case)
    ask = WhyNot(knowledge, result)
    said = " ".join(what)
    decision, named = naming.decision_of(said), ""
    if decision is None:
        kinds = [naming.causes(knowledge), naming.findings(knowledge)]
        named = naming.meant(
            said, kinds, "cause, finding or decision", "whynot", elsewhere=lambda: naming.elsewhere(said, knowledge)
        )
    answer: BaseModel
    if named in knowledge.causes:
        cause = whynotview.cause(knowledge, result, ask.cause(named))
        if not json:
            return whynotview.show_cause(cause, _console(), all)
        answer = cause
    elif named in knowledge.findings:
        finding = whynotview.finding(knowledge, result, ask.finding(named))
        if not json:
            return whynotview.show_finding(finding, _console(), all)
        answer = finding
    else:
        taken = whynotview.decision(knowledge, result, ask.decision(cast("Decision", decision)))
        if not json:
            return whynotview.show_decision(taken, _console(), all)
        answer = taken
    _dump(answer)


def how_found(knowledge: Knowledge, result: Result, what: str, json: bool, all: bool) -> None:
    """Answer ``how`` for the gate or a finding."""
    from explain import proofview

    if what == "gate":
        gate = proofview.gate(knowledge, result)
        return _dump(gate) if json else proofview.show_gate(gate, _console(), all)
    proof = proofview.finding(knowledge, result, what)
    return _dump(proof) if json else proofview.show_finding(proof, _console(), all)


def register(app: typer.Typer) -> None:
    """Put the commands on the command line."""
    for command in (whynot, whatif, tipping, proof, rather):
        app.command()(command)
