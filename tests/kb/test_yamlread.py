"""YAML as people write it, and every way in which a file can be wrong."""

import pytest

from kb.faults import Faults
from kb.yamlread import MAX_BYTES, parse_yaml


def test_only_true_and_false_are_booleans_and_dates_stay_text() -> None:
    data = parse_yaml(b"a: yes\nb: no\nc: on\nd: true\ne: 2026-03-02\nf: 0.5\ng: 1e3\nh: ~\n", "f").data
    assert data == {"a": "yes", "b": "no", "c": "on", "d": True, "e": "2026-03-02", "f": 0.5, "g": 1000.0, "h": None}


def test_every_key_and_item_knows_its_line() -> None:
    document = parse_yaml(b"a:\n  - b: 1\n    c: 2\n  - d\n", "f")
    assert [document.line(p) for p in ("a", "a.0.b", "a.0.c", "a.1", "a.1.not.there")] == [1, 2, 3, 4, 4]


@pytest.mark.parametrize(
    ("raw", "says"),
    [
        (b"", "f: the file is empty"),
        (b"  \n\n", "f: the file is empty"),
        (b"# only a remark\n", "says nothing"),
        (b"a: 1\nb: 2\na: 3\n", "f:3: a: the key 'a' stands here twice"),
        (b"a: &x 1\nb: *x\n", "an alias"),
        (b"a: .nan\n", "'.nan' is no number"),
        (b"a: -.inf\n", "'-.inf' is no number"),
        (b"a: !!python/object:os.system x\n", "the tag"),
        (b"a: !!binary aGk=\n", "the tag"),
        (b"a: [1\n", "f:2: is not YAML"),
        (b"a: b: c\n", "f:1: is not YAML"),
        (b"\xff\xfe\x00", "is not UTF-8"),
        (b"a: \x00\n", "is not YAML text"),
        (b"? [a]\n: 1\n", "a key must be a plain word"),
        (b"[" * 200 + b"]" * 200, "nested deeper"),
        (b"a: 1\n---\nb: 2\n", "is not YAML"),
    ],
)
def test_a_wrong_file_is_one_sentence_with_its_place(raw: bytes, says: str) -> None:
    with pytest.raises(Faults) as found:
        parse_yaml(raw, "f")
    assert says in str(found.value)


def test_nested_aliases_cannot_blow_up() -> None:
    bomb = b"a: &a [x,x,x,x,x,x,x,x,x]\n" + b"".join(
        b"%c: &%c [%s]\n" % (98 + i, 98 + i, b",".join([b"*%c" % (97 + i)] * 9)) for i in range(8)
    )
    with pytest.raises(Faults, match="an alias"):
        parse_yaml(bomb, "f")


def test_a_huge_file_is_refused_before_it_is_parsed() -> None:
    with pytest.raises(Faults, match="at most"):
        parse_yaml(b"a" * (MAX_BYTES + 1), "f")
