"""README and DEVELOPERS are true: every command in them runs, and every command there is stands in the README."""

import re
import shlex
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
import typer

from clogwise.cli import app

ROOT = Path(__file__).parent.parent.parent
README = (ROOT / "README.md").read_text(encoding="utf-8")
DEVELOPERS = (ROOT / "DEVELOPERS.md").read_text(encoding="utf-8")


def commands(text: str) -> list[str]:
    """Return the clogwise commands of all ``sh`` blocks, without the remark behind them."""
    blocks = re.findall(r"```sh\n(.*?)```", text, re.S)
    lines = [line.split(" #")[0].strip() for block in blocks for line in block.splitlines()]
    return [line.removeprefix(".venv/bin/") for line in lines if re.match(r"(\.venv/bin/)?clogwise ", line)]


@pytest.fixture(scope="module")
def workplace(tmp_path_factory: pytest.TempPathFactory) -> Path:
    """A folder laid out as a reader has it, in which commands may write."""
    place = tmp_path_factory.mktemp("clone")
    shutil.copytree(ROOT / "cases", place / "cases")
    makes = re.search(r"\.venv/bin/python (-m bench\.drive .*?) > drive\.csv", README)
    assert makes  # the README says how to come by a drive
    done = subprocess.run([sys.executable, *shlex.split(makes[1])], cwd=ROOT, capture_output=True, check=True)
    (place / "drive.csv").write_bytes(done.stdout)
    return place


@pytest.mark.parametrize("command", dict.fromkeys(commands(README) + commands(DEVELOPERS)))
def test_a_command_that_a_reader_can_paste_runs(command: str, workplace: Path) -> None:
    words = shlex.split(command)
    assert words[0] == "clogwise"
    done = subprocess.run(
        [sys.executable, "-m", "clogwise", *words[1:]], cwd=workplace, capture_output=True, text=True, timeout=120
    )
    assert done.returncode == 0, f"{command}\n{done.stdout[-500:]}\n{done.stderr}"
    assert done.stdout.strip()


def test_the_readme_is_not_without_commands() -> None:
    assert len(commands(README)) >= 8


def all_commands() -> list[str]:
    """Every command of the program, groups spelt out."""
    top = typer.main.get_command(app)
    out = []
    for name, command in top.commands.items():  # type: ignore[attr-defined]
        below = getattr(command, "commands", None)
        out += [f"{name} {inner}" for inner in below] if below else [name]
    return out


@pytest.mark.parametrize("command", all_commands())
def test_every_command_stands_in_the_readme(command: str) -> None:
    assert f"clogwise {command}" in README or command == "demo"


@pytest.mark.parametrize("command", all_commands())
def test_every_command_has_help_with_an_example(command: str) -> None:
    done = subprocess.run(
        [sys.executable, "-m", "clogwise", *command.split(), "--help"], capture_output=True, text=True, timeout=60
    )
    assert done.returncode == 0
    assert f"Example: clogwise {command}" in " ".join(done.stdout.split())
