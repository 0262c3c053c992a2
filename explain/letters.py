"""Letters on paper: which fonts there are, how wide a text runs, where it wraps, and what cannot be printed.

The fonts come from Python packages (SIL Open Font License), so that every machine sets the same page and no system
font is asked. Chinese, Japanese and Korean are in a package of their own (20 MB), taken if it is installed.
"""

from __future__ import annotations

import unicodedata
from functools import lru_cache
from importlib.util import find_spec
from pathlib import Path

FAMILY = "Fira Sans"
FONTS = ("fontpkg_fira_sans", "manimgx_fonts", "manimgx_fonts_cjk")  # packages, the first that has a letter sets it
FACES = ("Regular", "Italic", "SemiBold", "Bold")
SKIP = ("NotoSans[", "NotoSans-Italic[")  # Latin is set in Fira Sans
MISSING = "□"  # U+25A1, set where no font has the letter; typst's own DejaVu Sans Mono has it
JOINERS = "\u200c\u200d"  # needed inside words of Persian and of the scripts of India
MARKS = 4  # accents stacked on one letter; more are a trick to write over other lines
GUESS = 0.6  # width [em] of a letter that no font knows


@lru_cache(maxsize=1)
def font_files() -> tuple[Path, ...]:
    """Return the font files installed, in the order in which they are asked for a letter."""
    out: list[Path] = []
    for package in FONTS:
        spec = find_spec(package)
        for folder in spec.submodule_search_locations or [] if spec else []:
            files = sorted(p for p in Path(folder).rglob("*") if p.suffix in (".ttf", ".otf", ".ttc"))
            if package == FONTS[0]:
                files = [p for face in FACES for p in files if p.stem.endswith(f"-{face}")]
            out += [p for p in files if not p.name.startswith(SKIP)]
    return tuple(out)


@lru_cache(maxsize=64)
def _font(path: Path) -> tuple[str, dict[int, str], dict[str, tuple[int, int]], int]:
    """Return a font's family, letters, widths and units per em."""
    from fontTools.ttLib import TTCollection, TTFont

    font = TTCollection(str(path), lazy=True).fonts[0] if path.suffix == ".ttc" else TTFont(str(path), lazy=True)
    family = font["name"].getBestFamilyName() or path.stem
    return family, font.getBestCmap(), font["hmtx"].metrics, font["head"].unitsPerEm


@lru_cache(maxsize=1)
def families() -> tuple[str, ...]:
    """Return the names of the families, in the order in which they are asked for a letter."""
    return tuple(dict.fromkeys(_font(p)[0] for p in font_files()))


@lru_cache(maxsize=4096)
def _advance(letter: str, bold: bool) -> float | None:
    """Return the width [em] of a letter, None if no font has it."""
    if unicodedata.combining(letter) or letter in JOINERS or unicodedata.category(letter) == "Mn":
        return 0.0 if any(ord(letter) in _font(p)[1] for p in font_files()) or letter in JOINERS else None
    for path in font_files():
        if path.stem.endswith(("Italic", "SemiBold" if not bold else "Regular", "-Bold")):
            continue
        _, cmap, widths, em = _font(path)
        if ord(letter) in cmap:
            return widths[cmap[ord(letter)]][0] / em
    return None


def width(text: str, size: float, bold: bool = False) -> float:
    """Return how wide a text runs, in the unit of ``size``; letters no font knows are guessed."""
    total = 0.0
    for letter in text:
        known = _advance(letter, bold)
        wide = unicodedata.east_asian_width(letter) in "WF"
        total += known if known is not None else (1.0 if wide else GUESS)
    return total * size


def wrap(text: str, room: float, size: float, bold: bool = False) -> list[str]:
    """Break a text into lines no wider than ``room``: at spaces, and inside a word only where it is wider itself."""
    lines: list[str] = []
    line = ""
    for word in text.split():
        trial = f"{line} {word}" if line else word
        if width(trial, size, bold) <= room:
            line = trial
            continue
        if line:
            lines.append(line)
        line = word
        while width(line, size, bold) > room:
            cut = _fits(line, room, size, bold)
            lines.append(line[:cut])
            line = line[cut:]
    if line:
        lines.append(line)
    return lines


def _fits(word: str, room: float, size: float, bold: bool) -> int:
    used, cut = 0.0, 0
    for letter in word:
        used += width(letter, size, bold)
        if used > room:
            break
        cut += 1
    while 0 < cut < len(word) and (unicodedata.combining(word[cut]) or word[cut] in JOINERS):
        cut -= 1  # never part a letter from its accent
    return max(cut, 1)


def clean(text: str, most: int | None = None) -> str:
    """Return what a person wrote, on one line and harmless to a page.

    Line breaks become spaces; control characters and those that turn the direction of the text around go, and so do
    accents stacked more than ``MARKS`` deep. A text longer than ``most`` is cut, with an ellipsis.
    """
    if text.isascii() and text.isprintable():
        whole = " ".join(text.split())
        return whole if most is None or len(whole) <= most else whole[: most - 1].rstrip() + "…"
    out: list[str] = []
    marks = 0
    for letter in unicodedata.normalize("NFC", text):
        kind = unicodedata.category(letter)
        if letter.isspace() or kind in ("Zl", "Zp"):
            letter, kind = " ", "Zs"
        marks = marks + 1 if kind in ("Mn", "Me") else 0
        if kind in ("Cc", "Cs") or (kind == "Cf" and letter not in JOINERS) or marks > MARKS:
            continue
        out.append(letter)
    whole = " ".join("".join(out).split())
    return whole if most is None or len(whole) <= most else whole[: most - 1].rstrip() + "…"


def printable(text: str) -> tuple[str, tuple[str, ...]]:
    """Return a text with ``MISSING`` for each letter that no font has, and those letters once each."""
    if not font_files():
        return text, ()
    lost = dict.fromkeys(letter for letter in text if letter != MISSING and _advance(letter, False) is None)
    return "".join(MISSING if letter in lost else letter for letter in text), tuple(lost)
