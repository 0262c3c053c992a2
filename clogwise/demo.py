"""``clogwise demo``: one complete scenario of our own, through check, why, how and the chain's picture."""

from __future__ import annotations

from pathlib import Path

from rich.console import Console
from rich.text import Text

from kb.faults import Fault, Faults

CASE = Path(__file__).with_name("demo.yaml")


def run_demo(folder: Path, out: Console) -> None:
    """Copy the scenario to ``folder``, run the main job on it, write the chain's pictures, and say what came of it.

    Raises
    ------
    Faults : the folder cannot be made or written
    """
    from clogwise.files import write_whole
    from clogwise.paper import draw_chain
    from explain import checkview, howview
    from explain.terminal import Terminal
    from inference.diagnose import diagnose
    from inference.read_case import read_case
    from kb.load import load

    try:
        folder.mkdir(parents=True, exist_ok=True)
    except OSError as error:
        raise Faults([Fault(str(folder), 0, "", f"the folder cannot be made ({error.strerror})")]) from None
    case_file = folder / "orchard-pickup.yaml"
    write_whole(case_file, CASE.read_bytes())
    knowledge = load()
    result = diagnose(read_case(case_file, knowledge), knowledge)
    top = result.causes[0].id

    def command(words: str) -> None:
        out.print()
        out.print(Text(f"$ clogwise {words}", style="bold cyan"))

    command(f"check {case_file}")
    checkview.show(knowledge, result, out)
    command(f"why {case_file}")
    Terminal(knowledge, result, out).why()
    command(f"how {case_file} {top}")
    howview.show(howview.how(knowledge, result, top), out)
    written = [case_file]
    for ending in (".svg", ".png"):
        picture = folder / f"orchard-pickup{ending}"
        command(f"chain {case_file} -o {picture}")
        out.print(f"{picture}: drawn, with {draw_chain(knowledge, result, picture)} boxes")
        written.append(picture)
    out.print()
    out.print(Text("Written: " + ", ".join(str(p) for p in written), style="bold"))
    out.print(f"Now change a reading in {case_file} and ask again: clogwise why {case_file}")
    out.print("What a burn would still need, whole: " + f"clogwise gate {case_file}")
    out.print("Write your own case like this one; the README's tour shows how.")
