"""What is worth a second look, for the terminal and the job sheet alike: what is unusual, told wrong or not used."""

from __future__ import annotations

from explain.rangeview import beyond_range
from explain.words import Speaker, say
from inference.result import Result
from kb.model import Knowledge

TOLD_WRONG = ("driving_not_as_told",)  # findings that no cause shows, but that must be seen: they correct the case


def second_look(knowledge: Knowledge, result: Result) -> list[str]:
    """Return a sentence for each thing that the reader should check before he believes the answer."""
    speaker, latest = Speaker(knowledge, result), len(result.rounds) - 1
    out = [speaker.warned(w) for w in result.case.warnings]
    out += beyond_range(knowledge, result)
    out += [say("why.conflict", finding=knowledge.findings[f].title) for f, _ in result.conflicts]
    for name in TOLD_WRONG:
        found = result.latest.verdicts.findings.get(name)
        if found is not None and found.state == "holds":
            out.append(f"{knowledge.findings[name].title}. {speaker.finding_says(name, latest)}")
    out += [say("why.clash", cause=knowledge.causes[c].title) for c in result.clashes]
    if result.unused:
        out.append(say("why.unused", codes=", ".join(result.unused)))
    return out
