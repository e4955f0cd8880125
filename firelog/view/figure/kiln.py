"""The figure of a kiln's whole record: its channels, and its firings as stripes, named."""

from __future__ import annotations

import html
from collections.abc import Iterable
from pathlib import Path
from typing import Any

from firelog.units import seconds_since
from firelog.view.figure.firing import firing_figure
from firelog.view.figure.lines import scatter, style_of
from firelog.view.kiln import COLUMNS, KilnView, window_of
from firelog.view.palette import DAY
from firelog.view.window import Window

MOST_NAMES = 40
_SIGNS = 115  # of a name that fit across the picture


def kiln_figure(path: Path, view: KilnView, of: str) -> dict[str, Any]:
    """Return the figure of a kiln's record; ``of`` is the address where it is looked at closely."""
    figure = firing_figure(view.frame, of=of)
    window = Window(0.0, max(view.end_s, 1.0), COLUMNS)
    _, found, _ = window_of(path, view, window)
    drawn = {line["key"]: line for line in found}
    figure["data"] = list(_lines(view, drawn))[::-1]
    layout = figure["layout"]
    layout["uirevision"] = f"kiln {view.kiln} {view.how.unit}"
    layout["hovermode"] = "closest"
    layout["shapes"] = list(_stripes(view))
    layout["annotations"] += list(_names(view))
    return figure


def _lines(view: KilnView, drawn: dict[str, dict[str, Any]]) -> Iterable[dict[str, Any]]:
    none: dict[str, Any] = {"x": [], "y": []}
    for number, channel in enumerate(view.channels):
        key = f"measured {channel.name}"
        found = drawn.get(key, none)
        name = html.escape(channel.name)
        yield {
            **scatter(found["x"], found["y"], style_of(number)),
            "name": name,
            "meta": {"channel": channel.name, "part": "measured", "key": key},
            "hovertemplate": f"%{{y:.1f}} {name}<extra></extra>",
        }


def _spans(view: KilnView) -> Iterable[tuple[str, float, float]]:
    for firing in view.firings:
        ended_us = view.ended_us if firing.ended_us is None else firing.ended_us
        from_s = max(0.0, seconds_since(view.began_us, firing.began_us))
        yield firing.name, from_s, min(view.end_s, seconds_since(view.began_us, ended_us))


def _stripes(view: KilnView) -> Iterable[dict[str, Any]]:
    for _, from_s, to_s in _spans(view):
        x0, x1 = view.frame.x([from_s, to_s])
        yield {
            "type": "rect",
            "name": "firing",
            "xref": "x",
            "yref": "paper",
            "x0": x0,
            "x1": x1,
            "y0": 0,
            "y1": 0.955,
            "fillcolor": DAY["stripe"],
            "line": {"width": 0},
            "layer": "below",
        }


def _names(view: KilnView) -> Iterable[dict[str, Any]]:
    for name, from_s, to_s in list(_spans(view))[-MOST_NAMES:]:
        if len(name) > (to_s - from_s) / max(view.end_s, 1.0) * _SIGNS:
            continue
        yield {
            "text": html.escape(name),
            "x": view.frame.x([from_s])[0],
            "xref": "x",
            "xanchor": "left",
            "y": 0.0,
            "yref": "paper",
            "yanchor": "bottom",
            "showarrow": False,
            "font": {"size": 12, "color": DAY["soft"]},
        }
