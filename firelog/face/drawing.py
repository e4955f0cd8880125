"""The board's pictures as plotly figures for a notebook, and as SVG where no script runs."""

from __future__ import annotations

from typing import Any

from plotly.graph_objects import Figure

from firelog.audit import casting as audits
from firelog.audit.catalogue import read_catalogue
from firelog.errors import InputError
from firelog.face.opened import Opened
from firelog.pouring.verify import assess_heat
from firelog.record.castings import Casting
from firelog.record.heats import Heat
from firelog.record.rows import Firing
from firelog.report import svg
from firelog.say.reader import Reader
from firelog.view.casting import casting_picture
from firelog.view.figure.firing import firing_figure
from firelog.view.figure.heat import heat_figure
from firelog.view.firing import firing_view
from firelog.view.heat import heat_view
from firelog.view.palette import DAY
from firelog.view.picture import Picture

LETTER_WIDTH = 0.0085  # of the picture's width: how far the names of lines stand apart
HEIGHT_PX = {"firing": 560, "heat": 660}


def firing(opened: Opened, row: Firing, unit: str | None) -> Figure:
    """Return the picture of a firing."""
    return _figure(firing_figure(_firing(opened, row, unit)), HEIGHT_PX["firing"])


def firing_svg(opened: Opened, row: Firing, unit: str | None) -> str:
    """Return the picture of a firing as an SVG element."""
    words = f"{row.name}: temperatures against target, and how far they were off"
    plain = firing_figure(_firing(opened, row, unit))
    drawn = svg.draw(plain | {"layout": _with_key(plain)}, words)
    # A report brings its own letters and paper; alone, the drawing must.
    alone = f'<svg font-family="system-ui, sans-serif" style="background:{DAY["sheet"]}" '
    return drawn.replace("<svg ", alone, 1)


def heat(opened: Opened, row: Heat, unit: str | None) -> Figure:
    """Return the picture of a heat."""
    how = _manner(opened, unit)
    view = heat_view(assess_heat(opened.store, row, how.unit), how)
    _needs_readings(view.picture, row.name)
    return _figure(heat_figure(view), HEIGHT_PX["heat"])


def casting(opened: Opened, row: Casting, unit: str | None) -> Figure:
    """Return the picture of a casting's firing, with the places where findings lie."""
    how = _manner(opened, unit)
    made = audits.audit(opened.store, row, read_catalogue(), how.unit)
    picture = _needs_readings(casting_picture(made, None, how), row.name)
    return _figure(firing_figure(picture), HEIGHT_PX["firing"])


def _firing(opened: Opened, row: Firing, unit: str | None) -> Picture:
    view = firing_view(opened.store, row, _manner(opened, unit))
    return _needs_readings(view.picture, row.name)


def _manner(opened: Opened, unit: str | None) -> Reader:
    return Reader(opened.chosen_unit(unit), opened.tz, opened.name)


def _needs_readings(picture: Picture | None, name: str) -> Picture:
    if picture is None or not picture.traces:
        raise InputError(f"{name!r} has no readings; there is nothing to draw")
    return picture


def _with_key(plain: dict[str, Any]) -> dict[str, Any]:
    """Return the layout with each line's name above the picture: on the board it stands beside it.

    A name has its line's colour and a stroke like it, so that it is told apart without colour too.
    """
    layout = plain["layout"]
    title = next(one for one in layout["annotations"] if one["text"].startswith("temperature"))
    lines = {
        line["name"]: line["line"]
        for line in plain["data"]
        if line.get("meta", {}).get("part") in ("measured", "target") and line.get("visible", True)
    }
    notes, right = [], 1.0
    for name, line in lines.items():
        stroke = "━━" if line["dash"] == "solid" else "━ ━" if line["dash"] == "dash" else "╍╍"
        font = {**title["font"], "color": line["color"]}
        text = f"{stroke} {name}"
        notes.append({**title, "text": text, "x": right, "xanchor": "right", "font": font})
        right -= (len(text) + 2) * LETTER_WIDTH
    return {**layout, "annotations": [*layout["annotations"], *notes]}


def _figure(plain: dict[str, Any], height_px: int) -> Figure:
    """Return a plotly figure on the board's own paper, so that it is legible on a dark page too."""
    layout = {
        **_with_key(plain),
        "template": "none",
        "height": height_px,
        "paper_bgcolor": DAY["sheet"],
        "plot_bgcolor": DAY["sheet"],
    }
    return Figure({"data": plain["data"], "layout": layout})
