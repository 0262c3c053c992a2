"""One visual language for everything that leaves the program: colours that keep apart in grey, and the four signs.

Every colour on white reaches a contrast of 4.5 to 1 (WCAG 2, 1.4.3); no meaning hangs on colour alone.
"""

from __future__ import annotations

from xml.sax.saxutils import escape, quoteattr

INK = "#20262b"
SOFT = "#5a646d"  # captions, frames
LINE = "#8d979f"  # thin lines that carry no meaning of their own
PAPER = "#ffffff"
FOR = "#0b5a6b"  # speaks for, petrol
AGAINST = "#a63a12"  # speaks against, rust
BAND = "#dfe9e4"  # where a reading is expected
FILL = {"given": "#ffffff", "derived": "#f1f3f4", "finding": "#e2eef0", "cause": "#f5e6c8", "work": "#e6efdc",
        "caution": "#fae3db", "rule": "#faf8f1"}  # fmt: skip
DECISION = {"do not burn": "#9c1c1c", "not needed": "#24527a", "hold": "#7d5200", "clear": "#2b662e"}
DASH = {"unknown": "5 3", "conflict": "8 2 2 2", "against": "6 3.5", "open": "1.5 3"}


def sign(decision: str, size: float = 40) -> str:
    """Return the sign of a decision as SVG: four shapes of our own that differ without colour too.

    A barred flame in an octagon, a flame behind two bars in a square, a flame in a ring, three free streams in a ring.
    """
    ink = DECISION[decision]
    flame = (
        "M20 8C22 14 28 17 28 24C28 29 24.5 32 20 32C15.5 32 12 29 12 24"
        "C12 20.5 14 18.5 15.5 16.5C16 19 17 20 18.5 20.5C17.5 16 18 12 20 8Z"
    )
    wave = "c5 0 6-3 11-3s6 3 11 3"
    ring = f'<circle cx="20" cy="20" r="17.5" fill="#fff" stroke="{ink}" stroke-width="3"/>'
    body = {
        "do not burn": f'<path d="M12.5 2h15L38 12.5v15L27.5 38h-15L2 27.5v-15z" fill="{ink}"/>'
        f'<path d="{flame}" fill="#fff"/><path d="M8 8L32 32" stroke="{ink}" stroke-width="7"/>'
        '<path d="M8.5 8.5L31.5 31.5" stroke="#fff" stroke-width="3"/>',
        "hold": f'<rect x="2.5" y="2.5" width="35" height="35" rx="5" fill="#fff" stroke="{ink}" stroke-width="3"/>'
        f'<path d="M11 10h6v20h-6zM23 10h6v20h-6z" fill="{ink}"/>',
        "clear": f'{ring}<path d="{flame}" fill="{ink}"/>',
        "not needed": f'{ring}<path d="M9 14{wave}M9 21{wave}M9 28{wave}" fill="none"'
        f' stroke="{ink}" stroke-width="3"/>',
    }[decision]  # fmt: skip
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" width="{size:g}" height="{size:g}" viewBox="0 0 40 40"'
        f' aria-hidden="true">{body}</svg>'
    )


def text(content: str) -> str:
    """Return text safe to stand inside an SVG element."""
    return escape(content)


def attribute(content: str) -> str:
    """Return text as a quoted SVG attribute."""
    return quoteattr(content)
