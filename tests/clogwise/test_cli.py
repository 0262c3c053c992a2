"""The commands as a user meets them: answers, JSON in its published shape, and one clear sentence for each mistake."""

import json
import os
import subprocess
import sys
from pathlib import Path

import jsonschema
import pytest

from explain.jsonout import schema
from explain.shape import Why

ROOT = Path(__file__).parent.parent.parent
DEMO = ROOT / "clogwise" / "demo.yaml"


def clogwise(*words: str, **env: str) -> subprocess.CompletedProcess[str]:
    return subprocess.run(
        [sys.executable, "-m", "clogwise", *words],
        capture_output=True, text=True, timeout=120, cwd=ROOT, env={**os.environ, **env},
    )  # fmt: skip


def test_why_tells_decision_filter_causes_and_next_on_one_screen() -> None:
    done = clogwise("why", str(DEMO), COLUMNS="100")
    assert done.returncode == 0
    for wanted in ("HOLD", "51 mbar at about 2,500 rpm; clean would be", "recirculation", "Test next", "Take care"):
        assert wanted in done.stdout
    assert len(done.stdout.splitlines()) <= 60
    assert "\x1b[" not in done.stdout  # no colour in a pipe
    assert all(len(line) <= 100 for line in done.stdout.splitlines())


def test_why_as_json_has_the_published_shape() -> None:
    answer = json.loads(clogwise("why", str(DEMO), "--json").stdout)
    shipped = json.loads((ROOT / "explain" / "why.schema.json").read_text(encoding="utf-8"))
    jsonschema.validate(answer, shipped)
    assert len(answer["causes"]) >= 36
    chances = [c["probability"] for c in answer["causes"]]
    assert chances == sorted(chances, reverse=True)


def test_the_shipped_schema_is_the_generated_one() -> None:
    assert (ROOT / "explain" / "why.schema.json").read_text(encoding="utf-8") == schema()
    assert Why.model_json_schema()["title"] == "Why"


def test_the_same_bytes_every_time_and_without_what_is_confirmed(tmp_path: Path) -> None:
    told = {clogwise("why", str(DEMO), "--json", PYTHONHASHSEED=seed).stdout for seed in ("0", "1", "42")}
    assert len(told) == 1
    marked = tmp_path / "marked.yaml"
    marked.write_text(DEMO.read_text(encoding="utf-8") + "confirmed: [thermostat_stuck_open]\n", encoding="utf-8")
    assert clogwise("why", str(marked), "--json").stdout in told


@pytest.mark.parametrize("command", ["check", "gate", "how"])
def test_each_report_also_comes_as_json(command: str) -> None:
    more = ["egr_stuck_open"] if command == "how" else []
    done = clogwise(command, str(DEMO), *more, "--json")
    assert done.returncode == 0
    assert json.loads(done.stdout)


@pytest.mark.parametrize(("ending", "begins"), [("svg", b"<svg"), ("png", b"\x89PNG"), ("dot", b"digraph")])
def test_chain_writes_a_picture(ending: str, begins: bytes, tmp_path: Path) -> None:
    picture = tmp_path / f"chain.{ending}"
    done = clogwise("chain", str(DEMO), "-o", str(picture))
    assert done.returncode == 0, done.stderr
    assert picture.read_bytes().lstrip().startswith(begins)


WRONG = {
    "empty": (b"", "the file is empty"),
    "binary": (b"\x00\x01\x02\xff\xfe", "UTF-8"),
    "no unit": (b"case: a\nrounds:\n  - readings: {gauge_pressure: {idle: 9}}\n", "has no unit"),
    "wrong unit": (b"case: a\nrounds:\n  - readings: {gauge_pressure: {idle: 9 kg}}\n", "does not fit here"),
    "comma": (b"case: a\nrounds:\n  - readings: {gauge_pressure: {idle: '9,5 mbar'}}\n", "9.5 mbar"),
    "nan": (b"case: a\nrounds:\n  - readings: {gauge_pressure: {idle: .nan}}\n", "is no number"),
    "impossible": (b"case: a\nrounds:\n  - readings: {coolant_temperature: {now: 900 C}}\n", "900"),
    "doubled": (b"case: a\ncase: b\n", "stands here twice"),
    "unknown key": (b"case: a\nrouns: []\n", "did you mean 'rounds'"),
    "unknown reading": (b"case: a\nrounds:\n  - readings: {gauge_presure: 9 mbar}\n", "did you mean 'gauge_pressure'"),
    "unknown answer": (b"case: a\nrounds:\n  - answers: {blue_smoke: maybe}\n", "maybe"),
    "list for map": (b"- case: a\n", ""),
    "alias bomb": (b"a: &a [1,1]\nb: [*a,*a]\nc: *a\n", "alias"),
    "code": (b"case: a\nrounds:\n  - codes: [X99]\n", "X99"),
    "range": (b"case: a\nrounds:\n  - readings: {gauge_pressure: {idle: 8-9 mbar}}\n", "reads like a range"),
    "tab": (b"case: a\nrounds:\n  - readings:\n\tgauge_pressure: 3\n", "a tab where spaces belong"),
    "open bracket": (b"case: [1,2\nrounds: ]\n", "a comma is missing"),
    "other name": (b"case: a\nrounds:\n  - readings: {maf: 30 g/s}\n", "'air_mass_flow' (air mass flow)"),
    "number as text": (b"case: [1, 2]\n", ""),
}  # fmt: skip


@pytest.mark.parametrize("kind", WRONG)
def test_a_wrong_case_is_told_in_one_sentence_each(kind: str, tmp_path: Path) -> None:
    raw, says = WRONG[kind]
    path = tmp_path / "wrong.yaml"
    path.write_bytes(raw)
    done = clogwise("why", str(path))
    assert done.returncode == 2
    assert done.stdout == ""
    assert says in done.stderr
    assert "Traceback" not in done.stderr
    assert all(str(path) in line for line in done.stderr.strip().splitlines())


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (["why", "nowhere.yaml"], "there is no such file"),
        (["why", "cases"], "is a folder"),
        (["how", str(DEMO), "egr_stuck_opn"], "did you mean 'egr_stuck_open'"),
        (["chain", str(DEMO), "-o", "chain.xyz"], ".svg"),
        (["chain", str(DEMO), "-o", "/nowhere/at/all/chain.svg"], "no folder"),
        (["chain", str(DEMO), "-o", "x.svg", "--cause", "egr"], "may be one of several, name one: egr_stuck_open"),
        (["bench", "cases", "tests"], "holds no NAME.yaml"),
        (["chain", str(DEMO), "-o", "x.svg", "--cause", "ash", "--whynot", "ash"], "draw one branch at a time"),
        (["rather", str(DEMO), "short trips", "short trips"], "'Short trips only' is held against itself"),
        (["how", str(DEMO), "zebra"], "clogwise names lists"),
    ],
)
def test_other_mistakes_end_with_status_2(words: list[str], says: str) -> None:
    done = clogwise(*words)
    assert done.returncode == 2
    assert says in done.stderr
    assert "Traceback" not in done.stderr


def test_rules_check_finds_nothing_wrong() -> None:
    done = clogwise("rules", "check")
    assert done.returncode == 0, done.stdout
    assert "no faults" in done.stdout


def test_demo_runs_the_whole_job_and_says_what_it_wrote(tmp_path: Path) -> None:
    done = clogwise("demo", "--folder", str(tmp_path / "out"))
    assert done.returncode == 0, done.stderr
    assert {p.suffix for p in (tmp_path / "out").iterdir()} >= {".yaml", ".svg", ".png"}
    assert "Written:" in done.stdout


def test_who_borrows_from_the_benchmarks_is_not_set_up_anew() -> None:
    borrow = "import gc, os; b = gc.get_threshold(), dict(os.environ); import bench.drive; "
    program = borrow + "print(b == (gc.get_threshold(), dict(os.environ)))"
    done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, cwd=ROOT)
    assert done.stdout == "True\n"
