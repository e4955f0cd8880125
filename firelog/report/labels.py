"""Names written beside the lines and bands of a printed drawing, so that no colour must be known.

What ends at the right edge is named in the margin, one name under the other; what ends elsewhere
is named where there is room beside it.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Any

from firelog.report.axes import Frame
from firelog.view.palette import DAY

Box = tuple[float, float, float, float]  # left, top, right, bottom
Point = tuple[float, float]

_NAMED = ("measured", "target", "computed", "off target")
_ROW = 14.0  # from one row of text to the next
_NEAR = 0.985  # a line that ends beyond this share of the width is named in the margin
_CHARACTER = 6.8
_GAP = 22.0  # from the panel's edge to a name in the margin


@dataclass(frozen=True)
class Label:
    """A name of one or more rows: where its line ends (None: a band's), and where it stands."""

    name: str
    colour: str
    end: Point | None
    at: Point
    in_margin: bool

    @property
    def rows(self) -> list[str]:
        """The name's rows."""
        return self.name.split("\n")


def box_of(text: str, middle: Point) -> Box:
    """Return about what a row of text covers whose baseline's middle is at ``middle``."""
    half = _CHARACTER * len(text) / 2.0
    x, y = middle
    return x - half, y - 11.0, x + half, y + 3.0


def margin_for(found: Iterable[Label]) -> float:
    """Return how much room names need at the right of the panels."""
    rows = [row for label in found if label.in_margin for row in label.rows]
    return min(190.0, _GAP + _CHARACTER * max(map(len, rows))) if rows else 12.0


def labels(frame: Frame, lines: list[dict[str, Any]], bands: list[dict[str, Any]]) -> list[Label]:
    """Return a name for each line of each panel, and for each band."""
    found: list[Label] = []
    for panel in frame.domains:
        mine = [line for line in lines if line.get("yaxis", "y") == panel and _wanted(line)]
        drawn_at = [point for line in mine for part in _stretches(frame, line) for point in part]
        taken = list(_marks(frame, lines))
        margin = [_band(frame, one) for one in bands if one["yref"] == panel]
        for name, line in {_said(line, lines): line for line in reversed(mine)}.items():
            stretches = _stretches(frame, line)
            if not stretches:
                continue
            if stretches[-1][-1][0] >= _NEAR * (frame.width - frame.right):
                margin.append(_in_margin(frame, name, line["line"]["color"], stretches[-1][-1]))
                continue
            places = list(_places(frame, panel, name, line, stretches[-1]))
            free = (one for one in places if _is_free(box_of(name, one), taken, drawn_at))
            x, y = next(free, places[0])
            found.append(Label(name, line["line"]["color"], stretches[-1][-1], (x, y), False))
            taken.append(box_of(name, (x, y)))
        found += _spread(frame, panel, margin)
    return found


def drawn(label: Label) -> str:
    """Return a name as SVG, in the margin with a thin line from where its curve ends."""
    left, up = label.at
    leader, anchor, down = "", "middle", 0.0
    if label.in_margin:
        anchor, down = "start", 4.0  # the middle of its letters, not their foot, is at the line
    if label.in_margin and label.end is not None:
        x, y = label.end
        leader = (
            f'<path d="M{x + 1:.1f} {y:.1f}L{left - 12:.1f} {up:.1f}H{left - 4:.1f}" fill="none"'
            f' stroke="{label.colour}" stroke-width="0.9"/>'
        )
    ink = DAY["ink"] if label.end is not None else DAY["soft"]
    rows = "".join(
        f'<text x="{left:.1f}" y="{up + down + _ROW * n:.1f}" fill="{ink}"'
        f' text-anchor="{anchor}">{html.escape(row)}</text>'
        for n, row in enumerate(label.rows)
    )
    return leader + rows


# ---------------------------------------------------------------- what is named
def _wanted(line: dict[str, Any]) -> bool:
    shown = line.get("meta", {}).get("part") in _NAMED and "lines" in line.get("mode", "")
    return shown and bool(line.get("name"))


def _said(line: dict[str, Any], lines: list[dict[str, Any]]) -> str:
    """Return a line's name; moulds that cooled alike are named once."""
    name = html.unescape(line["name"])
    if line["meta"]["part"] != "computed":
        return name
    colour = line["line"]["color"]
    alike = {
        one["name"]
        for one in lines
        if one.get("meta", {}).get("part") == "computed" and one["line"].get("color") == colour
    }
    return "moulds, computed" if len(alike) > 1 else name


def _stretches(frame: Frame, line: dict[str, Any]) -> list[list[Point]]:
    """Return the places of each unbroken stretch of a line that can be seen."""
    across, up = line.get("xaxis", "x"), line.get("yaxis", "y")
    (first, last), (low, high) = frame.x[across], frame.y[up]
    found: list[list[Point]] = []
    fresh = True
    for x, y in zip(line["x"], line["y"], strict=True):
        if y is None or not (first <= x <= last and low <= y <= high):
            fresh = True
            continue
        if fresh:
            found.append([])
            fresh = False
        found[-1].append((frame.across(across, x), frame.up(up, y)))
    return found


def _marks(frame: Frame, lines: list[dict[str, Any]]) -> Iterable[Box]:
    for line in lines:
        if "markers" in line.get("mode", ""):
            for x, y in (point for part in _stretches(frame, line) for point in part):
                yield x - 8.0, y - 8.0, x + 8.0, y + 8.0


# ---------------------------------------------------------------- where it stands
def _band(frame: Frame, band: dict[str, Any]) -> Label:
    middle = frame.up(band["yref"], (band["y0"] + band["y1"]) / 2.0)
    name = html.unescape(band["label"]["text"]).replace(", ", ",\n")
    return Label(name, DAY["soft"], None, (frame.width - frame.right + 6.0, middle), True)


def _in_margin(frame: Frame, name: str, colour: str, end: Point) -> Label:
    return Label(name, colour, end, (frame.width - frame.right + _GAP, end[1]), True)


def _places(
    frame: Frame, panel: str, name: str, line: dict[str, Any], points: list[Point]
) -> Iterable[Point]:
    """Yield where a name may stand beside its line, inside the panel, the best place first."""
    top, bottom = (frame.up(f"{panel} domain", share) for share in (1.0, 0.0))
    peak, first, last = min(points, key=lambda point: point[1]), points[0], points[-1]
    middle = points[len(points) // 2]
    order = [first, middle, last] if line["meta"]["part"] == "computed" else [peak, middle, first]
    half = _CHARACTER * len(name) / 2.0
    left, right = frame.across("paper", 0.0) + half, frame.width - frame.right - half
    for down in (-9.0, 17.0, -24.0, 31.0, 46.0):
        for aside in (0.0, -0.9 * half, 0.9 * half):
            for x, y in order:
                if top + 11.0 <= y + down <= bottom - 3.0:
                    yield min(max(x + aside, left), right), y + down
    yield min(max(peak[0], left), right), peak[1] - 9.0


def _is_free(box: Box, taken: list[Box], points: list[Point]) -> bool:
    """Whether a box covers no other and no line runs through it."""
    crossed = any(
        box[0] < b[2] and b[0] < box[2] and box[1] < b[3] and b[1] < box[3] for b in taken
    )
    return not crossed and not any(box[0] < x < box[2] and box[1] < y < box[3] for x, y in points)


def _spread(frame: Frame, panel: str, mine: list[Label]) -> list[Label]:
    """Move names in the margin apart, in the order of what they name."""
    ordered = sorted(mine, key=lambda one: one.at[1])
    heights = [_ROW * len(one.rows) for one in ordered]
    places: list[float] = []
    for n, one in enumerate(ordered):
        after = places[-1] + heights[n - 1] if places else -1e9
        places.append(max(one.at[1] - (heights[n] - _ROW) / 2.0, after))
    limit = frame.up(f"{panel} domain", 0.0) + _ROW
    for n in range(len(places) - 1, -1, -1):
        places[n] = min(places[n], limit - heights[n])
        limit = places[n]
    return [replace(one, at=(one.at[0], place)) for one, place in zip(ordered, places, strict=True)]
