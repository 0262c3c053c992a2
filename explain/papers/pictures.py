"""The README's pictures, made from one worked case (``make pictures``)."""

from __future__ import annotations

import sys
from pathlib import Path

from explain.chain import build
from explain.chainfit import fit
from explain.draw import describe, draw
from explain.forecastletter import for_letter
from explain.papers import letter, sheet
from explain.words import phrases, say
from inference.diagnose import diagnose
from inference.forecast.outlook import forecast
from inference.read_case import read_case
from kb.load import load

CASE = Path(__file__).parent.parent.parent / "cases" / "tram-stop.yaml"
PPI = 80


def make(folder: Path) -> list[Path]:
    """Write chain.svg, sheet-1.png and on, and letter.png; return the files. The same case gives the same bytes."""
    knowledge = load()
    result = diagnose(read_case(CASE, knowledge), knowledge)
    name = result.case.name
    folder.mkdir(parents=True, exist_ok=True)
    graph = fit(build(knowledge, result), result)
    title = say("chain.title", case=name, decision=phrases()["decision"][result.gate.decision])
    told = forecast(knowledge, result)
    sender = letter.Sender(
        "A. Customer", "The Workshop in the Lane", forecast=for_letter(knowledge, told) if told else None
    )
    made = {"chain.svg": draw(graph, title, "svg", describe(graph, name))}
    made |= {f"sheet-{i}.png": page for i, page in enumerate(sheet.pngs(knowledge, result, ppi=PPI), 1)}
    made["letter.png"] = letter.pngs(knowledge, result, sender, ppi=PPI)[0]
    for file, content in made.items():
        (folder / file).write_bytes(content)
    return [folder / file for file in made]


if __name__ == "__main__":
    for path in make(Path(sys.argv[1])):
        print(path)
