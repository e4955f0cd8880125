"""A figure made ready for paper: lines told apart without colour, and names that cover nothing.

The board's figure may count on colour and on a pointer that tells what a line is. On paper, copied
in grey, a line is known by its dash, its width and the name written at its end.
"""

from __future__ import annotations

from collections.abc import Iterable
from typing import Any

from firelog.view.palette import DAY

# Dash and width of each line by its colour: no two alike in grey.
_STYLES = {
    DAY["ink"]: ("solid", 2.6),
    DAY["line-1"]: ("11px,4px", 2.0),
    DAY["line-3"]: ("2px,3px", 2.4),
    DAY["line-2"]: ("12px,3px,2px,3px", 2.0),
    DAY["line-4"]: ("20px,5px", 1.5),
    DAY["line-5"]: ("solid", 1.1),
    DAY["accent"]: ("5px,4px", 1.3),
    DAY["ember"]: ("7px,3px,2px,3px,2px,3px", 2.2),
}
_CHARACTER = 6.6  # width of a character of a name, in the drawing's units
_ROWS = 3  # rows of names above a panel
_ROW = 0.09  # the height of one, as a share of the panel's


def dash_of(colour: str, usual: str = "solid") -> tuple[str, float | None]:
    """Return dash and width of a line of that colour on paper; no width where it keeps its own."""
    return _STYLES.get(colour, (usual, None))


def printed(figure: dict[str, Any], width: float) -> dict[str, Any]:
    """Return the figure as it is printed ``width`` units wide; the one that came stays as it is."""
    layout = dict(figure["layout"])
    notes = list(layout.get("annotations", ()))
    upright = [one for one in notes if one.get("textangle") == -90 and "domain" in one["yref"]]
    if upright:
        layout |= _with_room(layout)
        notes = [_lifted(one) for one in notes if one not in upright]
        notes += _above(upright, layout, width)
    layout["annotations"] = notes
    return {"data": [_styled(line) for line in figure["data"]], "layout": layout}


def _styled(line: dict[str, Any]) -> dict[str, Any]:
    style = line.get("line", {})
    dash, wide = dash_of(style.get("color", ""), style.get("dash", "solid"))
    if wide is None or line.get("fill") or "lines" not in line.get("mode", ""):
        return line
    if line.get("name") == "goal":
        dash, wide = "1px,4px", 1.0
    return {**line, "line": {**style, "dash": dash, "width": wide}}


# ---------------------------------------------------------------- names above a panel
def _with_room(layout: dict[str, Any]) -> dict[str, Any]:
    """Part the two panels of a heat so far that rows of names fit between them."""
    lower, upper = dict(layout["yaxis4"]), dict(layout["yaxis"])
    lower["domain"], upper["domain"] = [0.0, 0.45], [0.71, 0.92]
    return {"yaxis4": lower, "yaxis": upper}


def _lifted(note: dict[str, Any]) -> dict[str, Any]:
    """Move a panel's heading to where the panel is now."""
    if note.get("yref") != "paper":
        return note
    return {**note, "y": 0.575 if note["y"] < 0.6 else 0.93}


def _above(names: list[dict[str, Any]], layout: dict[str, Any], width: float) -> Iterable[Any]:
    """Yield the names in rows above their panel, none over another, each under a hair line."""
    first, last = layout[f"xaxis{names[0]['xref'][1:]}"]["range"]
    scale = 0.86 * width / (last - first)
    ends = [-1e9] * _ROWS
    for one in sorted(names, key=lambda name: name["x"]):
        half = _CHARACTER * len(one["text"]) / 2.0
        middle = (one["x"] - first) * scale
        row = next((r for r in range(_ROWS) if middle - half > ends[r]), _ROWS - 1)
        ends[row] = middle + half + 8.0
        yield {
            **one,
            "name": "pour",
            "xanchor": "center",
            "yanchor": "bottom",
            "textangle": 0,
            "y": 1.0 + 0.02 + row * _ROW,
        }
