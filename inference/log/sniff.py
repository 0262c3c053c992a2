"""How a logger's file is laid out: encoding, delimiter, decimal sign, and where its header and data begin."""

from __future__ import annotations

import codecs
import csv
import re
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from pathlib import Path

from inference.log.columns import count_known, is_unit
from kb.faults import Fault, Faults

HEAD = 262_144  # bytes looked at
FIRST_LINES = 60  # a header is looked for among these
DELIMITERS = (";", "\t", ",", "|")
_NUMBER = re.compile(r"^[-+]?(?:\d+[.,]?\d*|[.,]\d+)(?:[eE][-+]?\d+)?$")
_CLOCK = re.compile(r"^\D{0,3}\d{1,4}[-./:T ]\d{1,2}[-./:T ].*$|^\d{1,2}:\d{2}([.:,]\d+)*$")
_HEX = re.compile(r"^(?:0x)?[0-9A-Fa-f]{2}(?:[ :]?[0-9A-Fa-f]{2})*$")


@dataclass(frozen=True)
class Layout:
    """How a file of text is laid out.

    Parameters
    ----------
    encoding : its encoding
    delimiter : what parts the columns
    comma : whether figures have a decimal comma
    header : names of the columns
    units : the row of units under them, or nothing
    first : line where the data begin, from 0
    header_line : line of the header, from 0
    """

    encoding: str
    delimiter: str
    comma: bool
    header: tuple[str, ...]
    units: tuple[str, ...]
    first: int
    header_line: int


def sniff(path: Path, mapping: Mapping[str, str] | None = None) -> Layout:
    """Look at the beginning of a file and say how it is laid out.

    Raises
    ------
    Faults : no such file, no text, no table, or no header that says what is what
    """
    head, whole = _head(path)
    encoding = _encoding(head, str(path))
    text = codecs.getincrementaldecoder(encoding)("replace").decode(head)
    if not text.strip("\ufeff \r\n\t"):
        raise Faults([Fault(str(path), 0, "", "the file is empty")])
    lines = re.split(r"\r\n|\r|\n", text.lstrip("\ufeff"))
    if not whole and len(lines) > 1:
        lines = lines[:-1]  # cut in the middle
    delimiter = _delimiter(lines, str(path))
    rows = [_cells(line, delimiter) for line in lines[: FIRST_LINES + 140]]
    at = _header(rows, mapping or {}, str(path))
    first, units = _below(rows, at)
    _refuse_split_figures(rows, at, first, delimiter, str(path))
    return Layout(
        encoding, delimiter, _comma(rows[first:], delimiter), tuple(c.strip().strip("\ufeff") for c in rows[at]),
        units, first, at,
    )  # fmt: skip


def _head(path: Path) -> tuple[bytes, bool]:
    try:
        with path.open("rb") as file:
            head = file.read(HEAD)
            return head, not file.read(1)
    except FileNotFoundError:
        raise Faults([Fault(str(path), 0, "", "there is no such file; check the path")]) from None
    except IsADirectoryError:
        raise Faults([Fault(str(path), 0, "", "this is a folder; a recording (CSV or MDF 4) is wanted")]) from None
    except OSError as error:
        raise Faults([Fault(str(path), 0, "", f"cannot be read ({error.strerror})")]) from None


def _encoding(head: bytes, name: str) -> str:
    for mark, says in (
        (b"PK\x03\x04", "is a spreadsheet or an archive; save the sheet as CSV or unpack it first"),
        (b"\x1f\x8b", "is compressed; unpack it first"),
        (b"\xd0\xcf\x11\xe0", "is a spreadsheet; save the sheet as CSV first"),
        (b"%PDF", "is a PDF; a recording as CSV or MDF 4 is wanted"),
    ):
        if head.startswith(mark):
            raise Faults([Fault(name, 0, "", says)])
    if head.startswith((b"\xff\xfe", b"\xfe\xff")):
        return "utf-16"
    if head.startswith(b"\xef\xbb\xbf"):
        return "utf-8-sig"
    odd, even = head[1::2], head[0::2]
    if len(head) > 20 and odd.count(0) > 0.6 * len(odd) and even.count(0) < 0.1 * len(even):
        return "utf-16-le"
    if len(head) > 20 and even.count(0) > 0.6 * len(even) and odd.count(0) < 0.1 * len(odd):
        return "utf-16-be"
    if b"\0" in head:
        raise Faults([Fault(name, 0, "", "is no text; a recording as CSV or MDF 4 is wanted")])
    try:
        codecs.getincrementaldecoder("utf-8")().decode(head)
    except UnicodeDecodeError:
        return "cp1252"
    return "utf-8"


def _cells(line: str, delimiter: str) -> list[str]:
    try:
        return next(csv.reader([line], delimiter=delimiter, skipinitialspace=True), [])
    except csv.Error:
        return line.split(delimiter)


def _delimiter(lines: Sequence[str], name: str) -> str:
    """The sign that parts most lines into the same number of cells, more than one."""
    first = lines[0].strip().lower()
    if re.fullmatch(r"sep=(.)", first):
        return first[4]
    if lines[0].startswith("sep=\t"):
        return "\t"
    best: tuple[float, str] | None = None
    body = [line for line in lines[: FIRST_LINES + 140] if line.strip()]
    for delimiter in DELIMITERS:
        counts = Counter(len(_cells(line, delimiter)) for line in body)
        cells, times = max(counts.items(), key=lambda c: (c[1] * (c[0] > 1), c[0]))
        # a decimal comma parts every figure in two: a semicolon or tab that works at all goes before it
        score = times / len(body) * (1.0 if cells > 1 else 0.0) * (0.5 if delimiter in ",|" else 1.0)
        if cells > 1 and (best is None or score > best[0] + 1e-9):
            best = (score, delimiter)
    if best is None:
        says = "is no table: no comma, semicolon, tab or bar parts its lines into columns"
        raise Faults([Fault(name, 1, "", says)])
    return best[1]


def _is_value(cell: str) -> bool:
    cell = cell.strip()
    return bool(_NUMBER.match(cell) or _CLOCK.match(cell))


def _is_data(row: Sequence[str]) -> bool:
    filled = [c for c in row if c.strip()]
    values = sum(_is_value(c) or bool(_HEX.match(c.strip())) for c in filled)
    return bool(filled) and values >= max(1, 0.5 * len(filled))


def _header(rows: Sequence[Sequence[str]], mapping: Mapping[str, str], name: str) -> int:
    """The row with the most known names; without any, the one over the data, for a mapping to speak of."""
    wide = [i for i, row in enumerate(rows[:FIRST_LINES]) if sum(bool(c.strip()) for c in row) > 1]
    known = {i: count_known(rows[i]) for i in wide if not _is_data(rows[i])}
    if mapping:
        named = {v.strip().lower() for v in mapping.values()}
        for i in known:
            known[i] += 10 * sum(c.strip().lower() in named for c in rows[i])
    if known and max(known.values()) > 0:
        return max(known, key=lambda i: (known[i], -i))
    data = next((i for i in wide if _is_data(rows[i])), None)
    if data is not None and data - 1 in known:
        return data - 1
    if data is not None:
        says = "the columns have no names; put a line with their names above the figures"
        raise Faults([Fault(name, data + 1, "", says)])
    raise Faults([Fault(name, 1, "", "no line with the names of columns and figures under it was found")])


def _below(rows: Sequence[Sequence[str]], at: int) -> tuple[int, tuple[str, ...]]:
    """Return the line where data begin and the row of units, if one stands between."""
    units: tuple[str, ...] = ()
    for i in range(at + 1, min(at + 5, len(rows))):
        row = rows[i]
        filled = [c for c in row if c.strip()]
        if _is_data(row) and not (filled and all(is_unit(c) for c in filled)):
            return i, units
        if filled and sum(is_unit(c) for c in filled) >= 0.5 * len(filled):
            units = tuple(c.strip() for c in row)
    return (at + 1 + bool(units)), units


def _comma(rows: Sequence[Sequence[str]], delimiter: str) -> bool:
    cells = [c.strip() for row in rows for c in row]
    commas = sum(bool(re.fullmatch(r"[-+]?[\d.]*\d,\d+(?:[eE][-+]?\d+)?", c)) for c in cells)
    points = sum(bool(re.fullmatch(r"[-+]?\d*\.\d+(?:[eE][-+]?\d+)?", c)) for c in cells)
    return commas > points


def _refuse_split_figures(rows: Sequence[Sequence[str]], at: int, first: int, delimiter: str, name: str) -> None:
    """Refuse a comma-separated file whose figures have decimal commas too: which comma is which cannot be known."""
    widths = [len(r) for r in rows[first : first + 40] if any(c.strip() for c in r)]
    names = len(rows[at])
    if delimiter == "," and widths and names > 2 and sorted(widths)[len(widths) // 2] >= 1.5 * names:
        says = (
            "commas part the columns and the decimals of the figures as well; write the file again with semicolons "
            "between the columns or points in the figures"
        )
        raise Faults([Fault(name, first + 1, "", says)])
