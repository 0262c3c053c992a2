"""Loading the knowledge: every fault of every file in one go, each with its line and the nearest known name."""

import shutil
from pathlib import Path

import pytest

from kb.faults import Faults
from kb.load import HOME, knowledge_files, load, read_all


@pytest.fixture
def copy(tmp_path: Path) -> Path:
    """A copy of the knowledge files that a test may spoil."""
    (tmp_path / "rules").mkdir()
    for path in knowledge_files():
        shutil.copy(path, tmp_path / path.relative_to(HOME))
    return tmp_path


def spoil(path: Path, old: str, new: str) -> int:
    """Replace the first ``old`` by ``new`` and return its line."""
    text = path.read_text(encoding="utf-8")
    assert old in text, f"{path.name} no longer holds {old!r}"
    path.write_text(text.replace(old, new, 1), encoding="utf-8")
    return text[: text.index(old)].count("\n") + 1


def faults_of(home: Path) -> list[str]:
    with pytest.raises(Faults) as found:
        read_all(home)
    return [str(f) for f in found.value.faults]


def test_the_shipped_knowledge_is_sound() -> None:
    knowledge = read_all()
    assert len(knowledge.causes) >= 36
    assert len(knowledge.rules) >= 90


def test_a_misspelt_key_names_its_line_and_the_nearest(copy: Path) -> None:
    line = spoil(copy / "causes.yaml", "\n  mechanism:", "\n  mecanism:") + 1
    assert any(f.startswith(f"kb/causes.yaml:{line}:") and "did you mean 'mechanism'" in f for f in faults_of(copy))


def test_faults_of_several_files_come_together(copy: Path) -> None:
    spoil(copy / "causes.yaml", "kind: part", "kind: pard")
    spoil(copy / "cautions.yaml", "rank: 1", "rank: 9")
    (copy / "tests.yaml").write_text("a: [", encoding="utf-8")
    told = "\n".join(faults_of(copy))
    assert all(name in told for name in ("kb/causes.yaml", "kb/cautions.yaml", "kb/tests.yaml"))


@pytest.mark.parametrize(
    ("file", "old", "new", "says"),
    [
        (
            "rules/gate.yaml",
            "finding: need_coolant_warm",
            "finding: need_coolant_warn",
            "did you mean 'need_coolant_warm'",
        ),
        ("rules/gate.yaml", "reading: fuel_level", "reading: fuel_levl", "did you mean 'fuel_level'"),
        ("rules/gate.yaml", "'75 °C'", "'75'", "has no unit"),
        ("rules/gate.yaml", "trust: always", "trust: allways", "is no frequency"),
        ("rules/gate.yaml", "trust: always", "trust: seldom", "says nothing"),
        ("rules/gate.yaml", "source: common-practice", "source: comon-practice", "did you mean 'common-practice'"),
        ("rules/gate.yaml", "coolant_temperature.now, at_least", "coolant_temperature.now, at_leest", "at_least"),
        ("causes.yaml", "p: 0.", "p: 1.", "is no frequency between 0 and 1"),
        ("findings.yaml", "- id: engine_runs_cold", "- id: blue_smoke", "is also the name of an entry"),
    ],
)
def test_what_cannot_be_right_is_told(copy: Path, file: str, old: str, new: str, says: str) -> None:
    spoil(copy / file, old, new)
    assert any(says in f for f in faults_of(copy)), faults_of(copy)


def test_the_cache_gives_the_same_knowledge(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv("CLOGWISE_CACHE", str(tmp_path))
    load.cache_clear()
    first = load()
    assert list((tmp_path / "clogwise").glob("*.pickle"))
    load.cache_clear()
    assert load() == first
    for kept in (tmp_path / "clogwise").glob("*.pickle"):
        kept.write_bytes(b"spoilt")
    load.cache_clear()
    assert load() == first
    load.cache_clear()
