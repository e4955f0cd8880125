"""The board's figure as an SVG drawing, so that a printed report shows the same picture.

Takes the plain figure that ``dashboards.figures`` makes (lines, marks, shapes, notes on a date
axis) and draws those parts of it that the figure uses. Nothing is chosen here: what is shown, and
in which colour, was decided there.
"""

from __future__ import annotations

import html
import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from typing import Any

LEFT, RIGHT, TOP, BOTTOM = 56.0, 12.0, 8.0, 56.0
_DASHES = {"dash": "9,5", "dot": "2,4", "dashdot": "9,4,2,4", "longdash": "14,5"}
_STEPS_MIN = (1, 2, 5, 10, 15, 30, 60, 120, 180, 240, 360, 720, 1440, 2880, 10080)


@dataclass(frozen=True)
class Frame:
    """Where things lie: the axis ranges, and the drawing's size in points."""

    width: float
    height: float
    x: tuple[float, float]
    y: dict[str, tuple[float, float]]
    domains: dict[str, tuple[float, float]]

    def across(self, x: float) -> float:
        """Return the horizontal place of an instant (ms)."""
        low, high = self.x
        return LEFT + (x - low) / (high - low) * (self.width - LEFT - RIGHT)

    def paper(self, share: float) -> float:
        """Return the vertical place of a share of the height, 0 at the bottom."""
        return TOP + (1.0 - share) * (self.height - TOP - BOTTOM)

    def up(self, axis: str, value: float) -> float:
        """Return the vertical place of a value on an axis."""
        (low, high), (bottom, top) = self.y[axis], self.domains[axis]
        return self.paper(bottom + (value - low) / (high - low) * (top - bottom))


def draw(
    figure: dict[str, Any], words: str, *, width: float = 1000.0, height: float = 520.0
) -> str:
    """Return the figure as an SVG element; ``words`` say what it shows to those who cannot see it.

    An empty string when there is nothing to draw.
    """
    lines, layout = figure["data"], figure["layout"]
    instants = [x for line in lines if line.get("xaxis", "x") == "x" for x in line["x"]]
    if not instants:
        return ""
    start, end = min(instants), max(*instants, min(instants) + 1)
    axes = [axis for axis in ("y", "y2") if layout[_long(axis)].get("visible", True)]
    frame = Frame(
        width,
        height,
        (start, end),
        {axis: _range(lines, axis) for axis in axes} | {"y3": (0.0, 1.0)},
        {axis: tuple(layout[_long(axis)]["domain"]) for axis in (*axes, "y3")},
    )
    parts = [
        *(_shape(frame, one) for one in layout.get("shapes", ())),
        *_grid(frame, axes, layout),
        *(_line(frame, one) for one in lines if one["mode"] == "lines"),
        *(mark for one in lines if one["mode"] == "markers" for mark in _marks(frame, one)),
        *(_note(frame, one) for one in layout.get("annotations", ())),
    ]
    said = html.escape(words)
    return (
        f'<svg viewBox="0 0 {width:.0f} {height:.0f}" role="img" aria-label="{said}"'
        ' xmlns="http://www.w3.org/2000/svg" font-size="13">'
        f"<title>{said}</title>{''.join(parts)}</svg>"
    )


def _long(axis: str) -> str:
    return "yaxis" + axis[1:]


# ---------------------------------------------------------------- axes
def _range(lines: Sequence[dict[str, Any]], axis: str) -> tuple[float, float]:
    values = [
        y for line in lines if line.get("yaxis", "y") == axis for y in line["y"] if y is not None
    ]
    low, high = min(values, default=0.0), max(values, default=1.0)
    pad = 0.05 * (high - low) or 1.0
    return low - pad, high + pad


def ticks(low: float, high: float, most: int) -> list[float]:
    """Return round numbers between two values, at most ``most`` of them."""
    rough = (high - low) / max(1, most)
    power = 10.0 ** math.floor(math.log10(rough))
    step = next(m * power for m in (1.0, 2.0, 5.0, 10.0) if m * power >= rough - 1e-12 * rough)
    first = math.ceil(low / step)
    return [n * step for n in range(first, math.floor(high / step) + 1)]


def time_ticks(start_ms: float, end_ms: float, most: int) -> list[tuple[float, str]]:
    """Return instants at round clock times with their words; the day stands where it begins."""
    span_min = (end_ms - start_ms) / 60_000.0
    step = next((s for s in _STEPS_MIN if span_min / s <= most), _STEPS_MIN[-1]) * 60_000.0
    found, day = [], None
    at = math.ceil(start_ms / step) * step
    while at <= end_ms:
        moment = datetime.fromtimestamp(at / 1000.0, UTC)
        text = f"{moment:%H:%M}"
        if moment.date() != day:
            text += f"\n{moment:%a} {moment.day} {moment:%b}"
            day = moment.date()
        found.append((at, text))
        at += step
    return found


def _grid(frame: Frame, axes: Sequence[str], layout: dict[str, Any]) -> Iterable[str]:
    grid, soft = layout["xaxis"]["gridcolor"], layout["xaxis"]["tickfont"]["color"]
    right = frame.width - RIGHT
    for axis in axes:
        for value in ticks(*frame.y[axis], most=7 if axis == "y" else 5):
            y = frame.up(axis, value)
            yield f'<path d="M{LEFT:.1f} {y:.1f}H{right:.1f}" stroke="{grid}"/>'
            text = f"{value:g}".replace("-", "−")
            yield _text(LEFT - 6, y + 4, text, soft, "end")
    bottom = frame.paper(0.0)
    for at, text in time_ticks(*frame.x, most=9):
        x = frame.across(at)
        yield f'<path d="M{x:.1f} {frame.paper(1.0):.1f}V{bottom:.1f}" stroke="{grid}"/>'
        for number, row in enumerate(text.split("\n")):
            yield _text(x, bottom + 16 + 14 * number, row, soft, "middle")
    title = layout["xaxis"]["title"]["text"]
    yield _text((LEFT + right) / 2, frame.height - 6, title, soft, "middle")


# ---------------------------------------------------------------- lines, marks, shapes
def _line(frame: Frame, line: dict[str, Any]) -> str:
    style, axis = line["line"], line.get("yaxis", "y")
    if axis not in frame.y:
        return ""
    path, pen_down = [], False
    for x, y in zip(line["x"], line["y"], strict=True):
        if y is None:
            pen_down = False
            continue
        path.append(f"{'L' if pen_down else 'M'}{frame.across(x):.1f} {frame.up(axis, y):.1f}")
        pen_down = True
    if line.get("fill") == "toself":
        return f'<path d="{"".join(path)}" fill="{line["fillcolor"]}"/>'
    dash = _dash(style["dash"])
    return (
        f'<path d="{"".join(path)}" fill="none" stroke="{style["color"]}"'
        f' stroke-width="{style["width"]}" stroke-linejoin="round"{dash}/>'
    )


def _dash(name: str) -> str:
    pattern = name.replace("px", "") if "px" in name else _DASHES.get(name, "")
    return f' stroke-dasharray="{pattern}"' if pattern else ""


def _marks(frame: Frame, line: dict[str, Any]) -> Iterable[str]:
    marker, axis = line["marker"], line.get("yaxis", "y")
    size, colour = marker["size"] / 2.0, marker["color"]
    for x, y in zip(line["x"], line["y"], strict=True):
        if y is None:
            continue
        at = f"{frame.across(x):.1f} {frame.up(axis, y):.1f}"
        match marker["symbol"]:
            case "circle-open":
                inside = f'<circle r="{size}" fill="none" stroke="{colour}" stroke-width="2"/>'
            case "triangle-up":
                inside = f'<path d="M0 {-size}L{size} {size}H{-size}Z" fill="{colour}"/>'
            case _:
                inside = f'<path d="M0 {-size}L{size} 0L0 {size}L{-size} 0Z" fill="{colour}"/>'
        yield f'<g transform="translate({at})">{inside}</g>'


def _shape(frame: Frame, shape: dict[str, Any]) -> str:
    low, high = frame.x
    x0, x1 = (frame.across(min(max(shape[key], low), high)) for key in ("x0", "x1"))
    y0, y1 = frame.paper(shape["y0"]), frame.paper(shape["y1"])
    if shape["type"] == "line":
        line = shape["line"]
        return (
            f'<path d="M{x0:.1f} {y0:.1f}V{y1:.1f}" stroke="{line["color"]}"{_dash(line["dash"])}/>'
        )
    drawn = (
        f'<rect x="{x0:.1f}" y="{y1:.1f}" width="{x1 - x0:.1f}" height="{y0 - y1:.1f}"'
        f' fill="{shape["fillcolor"]}"/>'
    )
    label = shape.get("label", {})
    if label.get("text"):
        drawn += _turned((x0 + x1) / 2, (y0 + y1) / 2, label)
    return drawn


def _turned(x: float, y: float, label: dict[str, Any]) -> str:
    turn = f' transform="rotate({label["textangle"]} {x:.1f} {y:.1f})"'
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" fill="{label["font"]["color"]}" font-size="12"'
        f' text-anchor="middle"{turn}>{html.escape(label["text"])}</text>'
    )


def _note(frame: Frame, note: dict[str, Any]) -> str:
    from_left = LEFT if note["xref"] == "paper" else frame.across(note["x"])
    anchor = "start" if note.get("xanchor") == "left" else "middle"
    y = frame.paper(note["y"]) + (12 if note.get("yanchor") == "top" else -2)
    text = html.unescape(note["text"])  # the figure escaped it for its own reader
    return _text(from_left, y, text, note["font"]["color"], anchor)


def _text(x: float, y: float, text: str, colour: str, anchor: str) -> str:
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" fill="{colour}" text-anchor="{anchor}">'
        f"{html.escape(text)}</text>"
    )
