"""Set pages with typst: no system fonts, a time stamp from the case, and what people wrote handed over as data only.

Equal input gives equal bytes. What is typeset is always one of our own templates; the content goes to it as JSON.
"""

from __future__ import annotations

import json
from collections.abc import Mapping
from datetime import UTC, date, datetime
from functools import lru_cache
from pathlib import Path
from typing import Any

import typst

from explain.letters import FAMILY, families, font_files
from kb.faults import Fault, Faults

TEMPLATES = Path(__file__).parent / "templates"
LAST_RESORT = "DejaVu Sans Mono"  # typst brings it; it has the sign for a letter that cannot be printed
PICTURE = """#set page(width: auto, height: auto, margin: 0pt)
#image(bytes(sys.inputs.at("svg")), format: "svg")
"""


@lru_cache(maxsize=1)
def fonts() -> typst.Fonts:
    """Return the fonts, read once.

    Raises
    ------
    Faults : the font package is not installed; the sentence says what to do
    """
    if not font_files():
        says = "the fonts to print with are missing; install them: pip install fontpkg-fira-sans manimgx-fonts"
        raise Faults([Fault("fonts", 0, "", says)])
    return typst.Fonts(include_system_fonts=False, font_paths=sorted({str(p.parent) for p in font_files()}))


def _inputs(data: Mapping[str, Any]) -> dict[str, str]:
    names = [FAMILY, *(f for f in families() if f != FAMILY), LAST_RESORT]
    return {"data": json.dumps({**data, "fonts": names}, ensure_ascii=False)}


def to_pdf(template: str, data: Mapping[str, Any], day: date | None) -> bytes:
    """Return a page as a tagged PDF (PDF/UA-1), the same bytes for the same input.

    Parameters
    ----------
    template : file name of a template of ours
    data : what it prints; text stays text, whatever is in it
    day : the day that the PDF says it was made; None writes 1970-01-01, as "not known"
    """
    made = datetime(day.year, day.month, day.day, tzinfo=UTC) if day else datetime(1970, 1, 1, tzinfo=UTC)
    return typst.compile(
        TEMPLATES / template, root=TEMPLATES, font_paths=fonts(), format="pdf", sys_inputs=_inputs(data),
        timestamp=made, pdf_standards="ua-1",
    )  # fmt: skip


def pages(template: str, data: Mapping[str, Any]) -> int:
    """Return on how many pages a paper comes out."""
    found = typst.query(
        TEMPLATES / template, "<pages>", field="value", one=True, root=TEMPLATES, font_paths=fonts(),
        sys_inputs=_inputs(data),
    )  # fmt: skip
    return int(json.loads(found))


def to_pngs(template: str, data: Mapping[str, Any], ppi: int = 110) -> list[bytes]:
    """Return the same page as pictures, one for each sheet of paper."""
    out: Any = typst.compile(
        TEMPLATES / template, root=TEMPLATES, font_paths=fonts(), format="png", sys_inputs=_inputs(data), ppi=ppi
    )
    return list(out) if isinstance(out, list) else [bytes(out)]


def is_picture(content: bytes) -> bool:
    """Return whether a PNG or JPEG can be drawn."""
    source = b"#image(bytes(json(bytes(sys.inputs.data))), width: 1cm)"
    try:
        typst.compile(source, font_paths=fonts(), format="png", ppi=20, sys_inputs={"data": json.dumps(list(content))})
    except RuntimeError:
        return False
    return True


def picture_to_png(svg: str, ppi: int) -> bytes:
    """Return an SVG drawn as a PNG with our own fonts."""
    out: Any = typst.compile(PICTURE.encode(), font_paths=fonts(), format="png", ppi=ppi, sys_inputs={"svg": svg})
    return bytes(out[0] if isinstance(out, list) else out)
