"""What leaves the screen: the chain's pictures, the job sheet and the customer's page.

Commands are registered by clogwise/cli.py; each reads the case, diagnoses, and hands the result to ``explain``.
"""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from kb.faults import Fault, Faults, nearest

if TYPE_CHECKING:
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
    """Write the chain in the format that the file's ending names; return the number of nodes drawn.

    Raises
    ------
    Faults : the ending, the cause or the branch is none there is, or the file cannot be written
    """
    from clogwise.files import write_whole
    from explain.chain import build, select
    from explain.draw import describe, draw
    from explain.words import phrases, say

    format_ = ending(output, PICTURES)
    if cause is not None and cause not in knowledge.causes:
        raise Faults([Fault("--cause", 0, "", f"there is no cause '{cause}'{nearest(cause, knowledge.causes)}")])
    name = result.case.name
    if whynot is not None:
        known = [*knowledge.causes, *knowledge.findings]
        if whynot not in known:
            says = f"there is no cause or finding '{whynot}'{nearest(whynot, known)}"
            raise Faults([Fault("--whynot", 0, "", says)])
        from explain.chainwhynot import whynot as branch

        entry = knowledge.causes.get(whynot) or knowledge.findings[whynot]
        graph = branch(knowledge, result, whynot)
        title = say("chain.whynot", case=name, title=entry.title)
        told = say("chain.describe_whynot", title=entry.title)
    else:
        whole = build(knowledge, result)
        graph = select(whole, result, cause, all)
        title = say("chain.title", case=name, decision=phrases()["decision"][result.gate.decision])
        told = describe(graph, name)
    if format_ == "html":
        from explain.chainhtml import page

        content = page(knowledge, result, graph, graph if whynot else whole, title, told).encode()
    else:
        content = draw(graph, title, format_, told)
    write_whole(output, content)
    return int(graph.number_of_nodes())
