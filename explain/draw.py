"""Draw a chain as SVG, PNG or DOT: left to right, shapes and lines before colours, so that it also reads in grey.

The places come from Graphviz (explain/layout.py); every line is drawn here, so that the SVG carries a title, a
description, a tooltip on every node and the same ids for the same chain.
"""

from __future__ import annotations

from collections import Counter
from typing import Any

from explain.chain import CAUSE, CAUTION, DERIVED, FINDING, GATE, GIVEN, MORE, REMEDY, RULE, Graph
from explain.layout import LEAD, SIZE, SMALL, Box, Curve, lay_out, node_id, pen, to_dot
from explain.letters import clean, families, width, wrap
from explain.look import AGAINST, DASH, DECISION, FILL, FOR, INK, LINE, PAPER, SOFT, attribute, text
from explain.words import phrases, say

FORMATS = ("svg", "png", "dot")
MARGIN = 16.0
PNG_PPI = 144
NARROW = 560.0  # a picture is at least this wide, so that its key fits


def draw(graph: Graph, title: str, format_: str, describe: str = "") -> bytes:
    """Return the picture of a chain as the bytes of an SVG, PNG or DOT file.

    Parameters
    ----------
    title : stands above the picture and names it to a screen reader
    describe : the picture in words, for a screen reader

    Raises
    ------
    ValueError : another format than svg, png or dot
    """
    if format_ not in FORMATS:
        raise ValueError(f"'{format_}' is no picture format here; take one of {', '.join(FORMATS)}")
    if format_ == "dot":
        return str(to_dot(graph, title)[0].source).encode()
    svg = to_svg(graph, title, describe)
    if format_ == "svg":
        return svg.encode()
    from explain.papers.typeset import picture_to_png

    return picture_to_png(svg, PNG_PPI)


def describe(graph: Graph, name: str) -> str:
    """Return the picture in words: how much of what there is, the decision, and the causes with their belief."""
    count = Counter(str(d["kind"]) for _, d in graph.nodes(data=True))
    words = phrases()
    causes = sorted(
        ((n, d) for n, d in graph.nodes(data=True) if d["kind"] == CAUSE and "probability" in d),
        key=lambda nd: (-nd[1]["probability"], nd[0]),
    )
    told = [
        say("chain.describe_cause", title=d["label"], level=words["level"][d["state"]], percent=d["value"])
        for _, d in causes[:5]
    ]
    decision = graph.nodes[GATE]["label"] if GATE in graph else ""
    return say(
        "chain.describe", case=clean(name), given=count[GIVEN], derived=count[DERIVED], finding=count[FINDING],
        cause=count[CAUSE], remedy=count[REMEDY], decision=decision, causes=" ".join(told),
    ).strip()  # fmt: skip


def to_svg(graph: Graph, title: str, describe: str = "", legend: bool = True, heading: bool = True) -> str:
    """Return the SVG of a chain. Units are points; it scales to any width."""
    place = lay_out(graph)
    top = MARGIN + (30.0 if heading else 0.0)
    wide = max(place.width + 2 * MARGIN, NARROW)
    key = _legend(graph, top + place.height + 22, wide) if legend else ("", 0.0)
    high = top + place.height + MARGIN + key[1]
    fonts = ", ".join(f"'{f}'" for f in (*families(), "Arial", "Helvetica"))
    title, describe = clean(title, 120), clean(describe)
    out = [
        f'<svg xmlns="http://www.w3.org/2000/svg" role="img" aria-labelledby="chain-title chain-desc" '
        f'width="{wide:.0f}pt" height="{high:.0f}pt" viewBox="0 0 {wide:.1f} {high:.1f}" '
        f'font-family="{fonts}, sans-serif" font-size="{SIZE:g}" fill="{INK}">',
        f'<title id="chain-title">{text(title)}</title><desc id="chain-desc">{text(describe or title)}</desc>',
        f'<rect width="{wide:.1f}" height="{high:.1f}" fill="{PAPER}"/>',
    ]
    if heading:
        out.append(f'<text x="{MARGIN}" y="{MARGIN + 12}" font-size="15" font-weight="600">{text(title)}</text>')
    out.append(f'<g transform="translate({(wide - place.width) / 2:.2f} {top:.2f})">')
    for source, target in sorted(place.curves):
        out.append(_edge(source, target, dict(graph.edges[source, target]), place.curves[source, target]))
    for node in sorted(place.boxes):
        out.append(_node(node, dict(graph.nodes[node]), place.boxes[node]))
    out += ["</g>", key[0], "</svg>\n"]
    return "\n".join(out)


def _node(node: str, data: dict[str, Any], box: Box) -> str:
    told = clean(str(data.get("detail") or data["label"]))
    left, right = box.x - box.width / 2, box.x + box.width / 2
    lines = [
        f'<text x="{box.x:.1f}" y="{box.y - box.height / 2 + SMALL + 5:.1f}" font-size="{SMALL:g}" fill="{SOFT}" '
        f'text-anchor="middle">{text(box.caption)}</text>'
    ]
    y = box.y - box.height / 2 + SMALL + 7
    for line, bold in box.lines:
        y += LEAD
        weight = ' font-weight="600"' if bold else ""
        lines.append(f'<text x="{box.x:.1f}" y="{y:.1f}" text-anchor="middle"{weight}>{text(line)}</text>')
    shape = _shape(data, left, right, box.y - box.height / 2, box.y + box.height / 2)
    label = " ".join(line for line, _ in box.lines)
    spoken = attribute(f"{box.caption}: {label}")
    return (
        f'<g id="{node_id(node)}" class="{data["kind"]}" role="group" aria-label={spoken}>'
        f"<title>{text(told)}</title>{shape}{''.join(lines)}</g>"
    )


def _shape(data: dict[str, Any], x0: float, x1: float, y0: float, y1: float) -> str:
    """Return the outline of a node: a shape of its own for each kind, a line of its own for each state."""
    kind, state, mid = data["kind"], data["state"], (y0 + y1) / 2
    fill, ink, line, dash = FILL.get(kind, PAPER), SOFT, 1.0, ""
    if kind == GIVEN:
        path = f"M{x0:.1f} {y0:.1f}H{x1:.1f}V{y1:.1f}H{x0:.1f}Z"
        dash = DASH["unknown"] if state == "unknown" else ""
    elif kind == DERIVED:  # slanted: on its way from reading to finding
        ink, line = (AGAINST, 1.6) if state == "out of range" else (SOFT, 1.0)
        path = f"M{x0 + 9:.1f} {y0:.1f}H{x1:.1f}L{x1 - 9:.1f} {y1:.1f}H{x0:.1f}Z"
    elif kind == RULE:
        path = f"M{x0:.1f} {y0:.1f}H{x1 - 8:.1f}L{x1:.1f} {y0 + 8:.1f}V{y1:.1f}H{x0:.1f}Z"
        ink, line = (AGAINST, 1.6) if state == "broke" else (SOFT, 1.0)
        dash = DASH["unknown"] if state == "unknown" else ""
    elif kind in (FINDING, MORE):
        path = _rounded(x0, x1, y0, y1, 9)
        ink, line = (FOR, 1.3) if state == "holds" else (SOFT, 1.3)
        fill = FILL["finding"] if state == "holds" else PAPER
        dash = DASH.get(state, "")
    elif kind == CAUSE:
        path = (
            f"M{x0 + 12:.1f} {y0:.1f}H{x1 - 12:.1f}L{x1:.1f} {mid:.1f}L{x1 - 12:.1f} {y1:.1f}"
            f"H{x0 + 12:.1f}L{x0:.1f} {mid:.1f}Z"
        )
        ink, line = INK, {"proven": 3.0, "likely": 2.4, "possible": 1.4}.get(state, 0.9)
        fill = PAPER if state in ("unlikely", "ruled out") else fill
        dash = DASH["unknown"] if state == "ruled out" else ""
    elif kind == GATE:
        c = min(14.0, (y1 - y0) / 3)
        path = (
            f"M{x0 + c:.1f} {y0:.1f}H{x1 - c:.1f}L{x1:.1f} {y0 + c:.1f}V{y1 - c:.1f}L{x1 - c:.1f} {y1:.1f}"
            f"H{x0 + c:.1f}L{x0:.1f} {y1 - c:.1f}V{y0 + c:.1f}Z"
        )
        ink, line = DECISION[state], 3.0
    elif kind == REMEDY:  # a tag that points on
        path = f"M{x0:.1f} {y0:.1f}H{x1 - 10:.1f}L{x1:.1f} {mid:.1f}L{x1 - 10:.1f} {y1:.1f}H{x0:.1f}Z"
        fill, ink = FILL["work"], INK
    else:
        path = f"M{x0:.1f} {y0:.1f}H{x1:.1f}V{y1:.1f}H{x0:.1f}Z"
        ink, line = AGAINST, 1.2
    dashed = f' stroke-dasharray="{dash}"' if dash else ""
    out = f'<path d="{path}" fill="{fill}" stroke="{ink}" stroke-width="{line:g}"{dashed}/>'
    if kind == FINDING and state == "fails":  # struck at the corner; the label says what is so instead
        out += f'<path d="M{x0 + 6:.1f} {y0 + 14:.1f}l8 -8" stroke="{AGAINST}" stroke-width="2"/>'
    if kind == CAUTION:
        out += f'<path d="M{x0:.1f} {y0:.1f}h5V{y1:.1f}h-5z" fill="{AGAINST}"/>'
    if kind == CAUSE and "probability" in data:  # how much is believed, as a bar along the foot
        long = (x1 - x0 - 24) * data["probability"]
        out += f'<path d="M{x0 + 12:.1f} {y1 - 2:.1f}h{long:.1f}" stroke="{INK}" stroke-width="4"/>'
    return out


def _rounded(x0: float, x1: float, y0: float, y1: float, r: float) -> str:
    return (
        f"M{x0 + r:.1f} {y0:.1f}H{x1 - r:.1f}A{r} {r} 0 0 1 {x1:.1f} {y0 + r:.1f}V{y1 - r:.1f}"
        f"A{r} {r} 0 0 1 {x1 - r:.1f} {y1:.1f}H{x0 + r:.1f}A{r} {r} 0 0 1 {x0:.1f} {y1 - r:.1f}V{y0 + r:.1f}"
        f"A{r} {r} 0 0 1 {x0 + r:.1f} {y0:.1f}Z"
    )


def _edge(source: str, target: str, data: dict[str, Any], curve: Curve) -> str:
    side = data["side"]
    heavy = pen(data)
    (x0, y0), *rest = curve.points
    path = f"M{x0:.1f} {y0:.1f}C" + " ".join(f"{x:.1f} {y:.1f}" for x, y in rest)
    ink = {"for": FOR, "against": AGAINST, "open": SOFT}.get(side, LINE)
    dash = f' stroke-dasharray="{DASH[side]}"' if side in DASH else ""
    names = f"{node_id(source)}--{node_id(target)}"
    line = f'<path d="{path}" fill="none" stroke="{ink}" stroke-width="{heavy:.2f}"{dash}/>'
    out = f'<g id="{names}" class="edge {side}">{line}'
    out += _end(side, ink, curve.points[-2], curve.points[-1], heavy)
    if curve.label:
        x, y = curve.at[0], curve.at[1] - max(heavy - 3.0, 0.0)  # off the middle of a thick line
        out += (
            f'<text x="{x:.1f}" y="{y + 3:.1f}" font-size="9" text-anchor="middle" stroke="{PAPER}" stroke-width="3" '
            f'paint-order="stroke" fill="{ink}">{text(curve.label)}</text>'
        )
    return out + "</g>"


def _end(side: str, ink: str, before: tuple[float, float], tip: tuple[float, float], heavy: float) -> str:
    """Return what stands at the target: an arrow for, a bar across against, an open ring for what is not known."""
    dx, dy = tip[0] - before[0], tip[1] - before[1]
    size = max((dx * dx + dy * dy) ** 0.5, 1e-6)
    ux, uy = dx / size, dy / size
    if side == "against":
        h = 5 + heavy / 2
        x, y = tip[0] - 2 * ux, tip[1] - 2 * uy
        bar = f"M{x - h * uy:.1f} {y + h * ux:.1f}L{x + h * uy:.1f} {y - h * ux:.1f}"
        return f'<path d="{bar}" stroke="{ink}" stroke-width="2.4"/>'
    if side == "open":
        return (
            f'<circle cx="{tip[0] - 3.5 * ux:.1f}" cy="{tip[1] - 3.5 * uy:.1f}" r="3" fill="{PAPER}" stroke="{ink}"/>'
        )
    long, half = 5 + heavy * 0.8, 2.6 + heavy * 0.6
    x, y = tip[0] - long * ux, tip[1] - long * uy
    return (
        f'<path d="M{tip[0]:.1f} {tip[1]:.1f}L{x - half * uy:.1f} {y + half * ux:.1f}'
        f'L{x + half * uy:.1f} {y - half * ux:.1f}Z" fill="{ink}"/>'
    )


def _legend(graph: Graph, top: float, wide: float) -> tuple[str, float]:
    """Return the key of lines at the foot and what was left out, wrapped to the picture's width, and its height."""
    told = phrases()["chain"]
    out = [f'<g id="key" font-size="9.5" fill="{SOFT}">']
    x, y = MARGIN, top + 10
    for side, heavy in (("for", 4.0), ("against", 2.5), ("open", 1.0), ("plain", 1.0)):
        says = str(told["legend_line"][side])
        long = 46 + width(says, 9.5) + 20
        if x + long > wide - MARGIN and x > MARGIN:
            x, y = MARGIN, y + 16
        ink = {"for": FOR, "against": AGAINST, "open": SOFT}.get(side, LINE)
        dash = f' stroke-dasharray="{DASH[side]}"' if side in DASH else ""
        out.append(
            f'<path d="M{x:.1f} {y:.1f}h36" stroke="{ink}" stroke-width="{heavy}"{dash}/>'
            f"{_end(side, ink, (x, y), (x + 38, y), heavy)}"
            f'<text x="{x + 46:.1f}" y="{y + 3.2:.1f}">{text(says)}</text>'
        )
        x += long
    if left_out := graph.graph.get("left_out", 0):
        for line in wrap(say("chain.left_out", count=left_out), wide - 2 * MARGIN, 9.5):
            y += 16
            out.append(f'<text x="{MARGIN:.1f}" y="{y + 3.2:.1f}">{text(line)}</text>')
    out.append("</g>")
    return "".join(out), y - top + 16
