"""How a line of a figure looks (colour, dash, width), and how many points it may have."""

from __future__ import annotations

from typing import Any

from firelog.say import numbers as say
from firelog.view.palette import DAY
from firelog.view.picture import Picture

MOST_POINTS = 1200  # in one line: under 2 000 with the holes
ALL_POINTS = 6400  # in all lines of one panel: a first sight; a board then asks for its own width
LOWER_PANEL_POINTS = 2800  # in all lines of the lower panel, by both clocks: it is half as high
LEAST_POINTS = 200
_STYLES = (
    ("ink", "solid", 2.2),
    ("line-1", "solid", 1.7),
    ("line-3", "dash", 1.7),
    ("line-2", "dot", 1.9),
    ("line-4", "dashdot", 1.7),
    ("line-5", "longdash", 1.7),
)


def points_each(count: int) -> int:
    """Return how many points each of ``count`` lines may have."""
    return max(LEAST_POINTS, min(MOST_POINTS, ALL_POINTS // max(1, count)))


def points_in_lower_panel(count: int) -> int:
    """Return how many points each of ``count`` lines of the lower panel may have."""
    return max(LEAST_POINTS, min(MOST_POINTS, LOWER_PANEL_POINTS // max(1, count)))


def style_of(number: int) -> tuple[str, str, float]:
    """Return colour, dash and width of the n-th highlighted channel."""
    name, dash, width = _STYLES[number % len(_STYLES)]
    return DAY[name], dash, width


def colour_of(number: int) -> str:
    """Return the palette's name of the n-th highlighted channel's colour."""
    return _STYLES[number % len(_STYLES)][0]


def scatter(
    x: list[str], y: list[float | None], style: tuple[str, str, float], yaxis: str = "y"
) -> dict[str, Any]:
    """Return a line as plotly.js takes it; a None in ``y`` breaks it."""
    colour, dash, width = style
    return {
        "type": "scatter",
        "mode": "lines",
        "x": x,
        "y": y,
        "yaxis": yaxis,
        "line": {"color": colour, "dash": dash, "width": width},
        "connectgaps": False,
    }


def degree(picture: Picture) -> str:
    """Return the sign of a temperature, as its reader wants it."""
    return say.degree(picture.how.unit)


def degree_off(picture: Picture) -> str:
    """Return the sign of a difference, as its reader wants it."""
    return say.difference_degree(picture.how.unit)
