"""The board's figure as an SVG drawing, so that a printed report shows the same picture.

Takes the plain figure that the board makes (lines, marks, shapes, notes on date axes) and draws
those parts of it that its figures use. Nothing is chosen here: what is shown, and in which
colour, was decided there.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from typing import Any

from firelog.report import labels
from firelog.report.axes import LEFT, Frame, axes_of, frame_of, ticks, time_ticks, timed
from firelog.report.printed import printed
from firelog.say.verdicts import SIGNS
from firelog.view.palette import DAY

_NARROW = 500.0  # on a phone there is no margin for names: they stand on the lines
_DASHES = {"dash": "9,5", "dot": "2,4", "dashdot": "9,4,2,4", "longdash": "14,5"}


def draw(figure: dict[str, Any], words: str, *, width: float = 760.0, height: float = 430.0) -> str:
    """Return the figure as an SVG element; ``words`` say what it shows to those who cannot see it.

    Dashes and names are those of paper (:mod:`firelog.report.printed`). An empty string when there
    is nothing to draw.
    """
    figure = printed(timed(figure), width)
    lines = [line for line in figure["data"] if line.get("visible", True) and _seen(line)]
    layout = figure["layout"]
    if not any(len(line["x"]) for line in lines):
        return ""
    frame = frame_of(lines, layout, width, height)
    if width > _NARROW:
        bands = [one for one in layout.get("shapes", ()) if _is_band(one)]
        right = labels.margin_for(labels.labels(frame, lines, bands))
        frame = frame_of(lines, layout, width, height, right)
        names = labels.labels(frame, lines, bands)
    else:
        names = []
    parts = [
        *(_shape(frame, one) for one in layout.get("shapes", ())),
        *_grid(frame, layout),
        *(_line(frame, line) for line in lines if "lines" in line["mode"]),
        *(mark for line in lines if "markers" in line["mode"] for mark in _marks(frame, line)),
        *(_note(frame, one) for one in layout.get("annotations", ())),
        *(labels.drawn(one) for one in names),
    ]
    said = html.escape(words)
    return (
        f'<svg viewBox="0 0 {width:.0f} {height:.0f}" role="img" aria-label="{said}"'
        ' xmlns="http://www.w3.org/2000/svg" font-size="13">'
        f"<title>{said}</title>{''.join(parts)}</svg>"
    )


def _seen(line: dict[str, Any]) -> bool:
    hidden = line.get("opacity", 1) == 0 or line.get("marker", {}).get("opacity", 1) == 0
    return line.get("type", "scatter") == "scatter" and not hidden


# ---------------------------------------------------------------- axes
def _grid(frame: Frame, layout: dict[str, Any]) -> Iterable[str]:
    grid, soft = layout["xaxis"]["gridcolor"], layout["xaxis"]["tickfont"]["color"]
    right = frame.width - frame.right
    across = axes_of(layout, "x")
    for ref, axis in axes_of(layout, "y").items():
        if not axis.get("visible", True):
            continue
        tall = frame.domains[ref][1] - frame.domains[ref][0]
        for value in ticks(*frame.y[ref], most=max(3, round(tall * 12))):
            y = frame.up(ref, value)
            yield f'<path d="M{LEFT:.1f} {y:.1f}H{right:.1f}" stroke="{grid}"/>'
            text = f"{value:g}".replace("-", "−")
            yield _text(LEFT - 6, y + 4, text, soft, "end")
        below = [r for r, one in across.items() if one.get("anchor", "y") == ref]
        for name in below:
            if across[name].get("visible", True):
                yield from _times(frame, name, ref, grid, soft)
        if not below and axis.get("anchor", "x") == "x":
            yield from _uprights(frame, ref, grid)
    title = layout["xaxis"].get("title", {}).get("text", "")
    titles = [one.get("title", {}).get("text", "") for one in across.values()]
    said = title or next((one for one in titles if one), "")
    yield _text((LEFT + right) / 2, frame.height - 6, said, soft, "middle")


def _most(frame: Frame) -> int:
    """Return how many clock times fit along the axis."""
    return max(3, min(9, round((frame.width - LEFT - frame.right) / 68.0)))


def _times(frame: Frame, name: str, ref: str, grid: str, soft: str) -> Iterable[str]:
    bottom = frame.up(f"{ref} domain", 0.0)
    for at, text in time_ticks(*frame.x[name], most=_most(frame)):
        x = frame.across(name, at)
        top = frame.up(f"{ref} domain", 1.0)
        yield f'<path d="M{x:.1f} {top:.1f}V{bottom:.1f}" stroke="{grid}"/>'
        for number, row in enumerate(text.split("\n")):
            yield _text(x, bottom + 16 + 14 * number, row, soft, "middle")


def _uprights(frame: Frame, ref: str, grid: str) -> Iterable[str]:
    for at, _ in time_ticks(*frame.x["x"], most=_most(frame)):
        x = frame.across("x", at)
        top, bottom = frame.up(f"{ref} domain", 1.0), frame.up(f"{ref} domain", 0.0)
        yield f'<path d="M{x:.1f} {top:.1f}V{bottom:.1f}" stroke="{grid}"/>'


# ---------------------------------------------------------------- lines and marks
def _line(frame: Frame, line: dict[str, Any]) -> str:
    style, (across, up) = line.get("line", {}), (line.get("xaxis", "x"), line.get("yaxis", "y"))
    path = _path(frame, line, across, up)
    if not path or not frame.domains.get(up):
        return ""
    if line.get("fill") == "toself":
        return f'<path d="{path}" fill="{line["fillcolor"]}"/>'
    return (
        f'<path d="{path}" fill="none" stroke="{style.get("color", "#000")}"'
        f' stroke-width="{style.get("width", 1)}" stroke-linejoin="round"{_dash(style)}/>'
    )


def _path(frame: Frame, line: dict[str, Any], across: str, up: str) -> str:
    """Return the line's path; the pen is lifted at holes and outside what the axes show."""
    (first, last), (low, high) = frame.x[across], frame.y[up]
    path, pen_down = [], False
    for x, y in zip(line["x"], line["y"], strict=True):
        if y is None or not (first <= x <= last and low <= y <= high):
            pen_down = False
            continue
        letter = "L" if pen_down else "M"
        path.append(f"{letter}{frame.across(across, x):.1f} {frame.up(up, y):.1f}")
        pen_down = True
    return "".join(path)


def _dash(style: dict[str, Any]) -> str:
    name = style.get("dash", "solid")
    pattern = name.replace("px", "") if "px" in name else _DASHES.get(name, "")
    return f' stroke-dasharray="{pattern}"' if pattern else ""


def _marks(frame: Frame, line: dict[str, Any]) -> Iterable[str]:
    marker, across, up = line["marker"], line.get("xaxis", "x"), line.get("yaxis", "y")
    size, colour = marker.get("size", 8) / 2.0, marker["color"]
    doubts = line.get("error_y", {}).get("array", [])
    (first, last), (low, high) = frame.x[across], frame.y[up]
    for number, (x, y) in enumerate(zip(line["x"], line["y"], strict=True)):
        if y is None or not (first <= x <= last and low <= y <= high):
            continue
        left, place = frame.across(across, x), frame.up(up, y)
        if number < len(doubts) and doubts[number]:
            ends = [frame.up(up, y - doubts[number]), frame.up(up, y + doubts[number])]
            yield (
                f'<path d="M{left:.1f} {ends[0]:.1f}V{ends[1]:.1f}M{left - 5:.1f} {ends[0]:.1f}h10'
                f'M{left - 5:.1f} {ends[1]:.1f}h10" stroke="{colour}" stroke-width="1.6"/>'
            )
        inside = _mark(marker.get("symbol", "circle"), size, colour)
        yield f'<g transform="translate({left:.1f} {place:.1f})">{inside}</g>'


def _mark(symbol: str, size: float, colour: str) -> str:
    match symbol:
        case "circle-open":
            return f'<circle r="{size}" fill="none" stroke="{colour}" stroke-width="2"/>'
        case "square-open":
            side = f'x="{-size}" y="{-size}" width="{2 * size}" height="{2 * size}"'
            return f'<rect {side} fill="none" stroke="{colour}" stroke-width="1.4"/>'
        case "circle":
            return f'<circle r="{size}" fill="{colour}"/>'
        case "triangle-up":
            return f'<path d="M0 {-size}L{size} {size}H{-size}Z" fill="{colour}"/>'
    return f'<path d="M0 {-size}L{size} 0L0 {size}L{-size} 0Z" fill="{colour}"/>'


def sign(name: str, colour: str) -> str:
    """Return a verdict's shape, the window's, or the mark of what was noted, around the origin."""
    if name == "window":
        return (
            f'<rect x="-6" y="-6" width="12" height="12" fill="{DAY["stripe"]}"'
            f' stroke="{colour}" stroke-dasharray="1,3"/>'
        )
    symbols = {one.name: one.symbol for one in SIGNS.values()}
    return _mark(symbols.get(name, "diamond"), 5.5, colour)


# ---------------------------------------------------------------- shapes and notes
def _shape(frame: Frame, shape: dict[str, Any]) -> str:
    across, up = shape.get("xref", "x"), shape.get("yref", "y")
    low, high = (0.0, 1.0) if across == "paper" else frame.x[across]
    if shape["x1"] < low or shape["x0"] > high:
        return ""
    x0, x1 = (frame.across(across, min(max(shape[key], low), high)) for key in ("x0", "x1"))
    y0, y1 = frame.up(up, shape["y0"]), frame.up(up, shape["y1"])
    if shape["type"] == "line":
        line = shape["line"]
        ends = f"M{x0:.1f} {y0:.1f}L{x1:.1f} {y1:.1f}"
        return f'<path d="{ends}" stroke="{line["color"]}"{_dash(line)}/>'
    top, tall = min(y0, y1), abs(y0 - y1)
    drawn = (
        f'<rect x="{x0:.1f}" y="{top:.1f}" width="{x1 - x0:.1f}" height="{max(tall, 1.0):.1f}"'
        f' fill="{shape.get("fillcolor", "none")}"/>'
    )
    label = shape.get("label", {})
    if not label.get("text") or (_is_band(shape) and frame.width > _NARROW):
        return drawn
    colour, text = label["font"]["color"], html.unescape(label["text"])
    if label.get("textposition") == "top left":
        return drawn + _text(x0 + 4, top + 13, text, colour, "start")
    turn = label.get("textangle", 0)
    return drawn + _text((x0 + x1) / 2, top + tall / 2, text, colour, "middle", turn=turn)


def _is_band(shape: dict[str, Any]) -> bool:
    """Whether a shape is a range across the whole panel, named in the margin."""
    label = shape.get("label", {})
    return bool(label.get("text")) and label.get("textposition") == "top left"


def _note(frame: Frame, note: dict[str, Any]) -> str:
    across, up = note.get("xref", "x"), note.get("yref", "y")
    if across != "paper" and not frame.x[across][0] <= note["x"] <= frame.x[across][1]:
        return ""
    x, y = frame.across(across, note["x"]), frame.up(up, note["y"])
    if note.get("showarrow"):
        return _led(note, x, y)
    text = html.unescape(note["text"])  # the figure escaped it for its own reader
    colour, turn = note.get("font", {}).get("color", "#000"), note.get("textangle", 0)
    if turn == -90:
        return _text(x - 4, y, text, colour, "start", turn=turn)
    anchor = {"left": "start", "right": "end"}.get(note.get("xanchor", ""), "middle")
    return _text(x, y + (12 if note.get("yanchor") == "top" else -2), text, colour, anchor)


def _led(note: dict[str, Any], x: float, y: float) -> str:
    """A word beside its mark, with the stroke that leads there."""
    colour, (right, down) = note["font"]["color"], (note["ax"], note["ay"])
    words = html.unescape(note["text"])
    stroke = f'<path d="M{x:.1f} {y:.1f}l{right:.1f} {down:.1f}" stroke="{colour}"/>'
    return stroke + _text(x + right, y + down + 4, words, colour, "start" if right > 0 else "end")


def _text(x: float, y: float, text: str, colour: str, anchor: str, *, turn: float = 0) -> str:
    turned = f' transform="rotate({turn} {x:.1f} {y:.1f})"' if turn else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" fill="{colour}" text-anchor="{anchor}"{turned}>'
        f"{html.escape(text)}</text>"
    )
