"""The figure of a firing: temperature against target above, deviation below, on one time axis.

Pure: what is to be drawn in, a figure (plain lists and dicts) out. Times are shown with the one
UTC offset that held when the firing began, because a chart cannot show an hour twice.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from typing import Any

import numpy as np

from firelog.say.instants import zone_words
from firelog.schedule.plan.model import ChannelTrace
from firelog.view import downsampling
from firelog.view.figure import deviation, incidents, marks
from firelog.view.figure.lines import (
    LEAST_POINTS,
    degree,
    degree_off,
    points_each,
    scatter,
    style_of,
)
from firelog.view.palette import DAY
from firelog.view.picture import MOST_HIGHLIGHTED, Picture
from firelog.view.target import Target


# ---------------------------------------------------------------- the figure
def firing_figure(picture: Picture, *, switched: bool = False) -> dict[str, Any]:
    """Return the figure of a firing as plain data that plotly.js draws.

    ``switched``: with the lines against the other clock too, hidden until a reader asks for them.
    """
    return {"data": list(_lines(picture, switched)), "layout": _layout(picture)}


def _lines(picture: Picture, switched: bool) -> Iterable[dict[str, Any]]:
    names = {trace.name for trace in picture.highlighted}
    points = points_each(len(picture.traces))
    for trace in picture.traces:
        if trace.name not in names:
            yield _line(picture, trace, LEAST_POINTS, (DAY["quiet"], "solid", 1.0))
    yield from _outlook(picture)
    for target in picture.targets.values():
        shown = target.against == picture.against
        if shown or switched:
            for line in (*_target_lines(picture, target), *deviation.lines(picture, target)):
                if switched:  # a picture without the switch has no line that it could hide
                    line["meta"] = {**line.get("meta", {}), "against": target.against}
                yield line if shown else line | {"visible": False}
    for number, trace in reversed(list(enumerate(picture.highlighted))):
        yield _line(picture, trace, points, style_of(number))
    yield from marks.evidence(picture)
    yield from marks.events(picture)
    yield from incidents.hovers(picture)


def _line(
    picture: Picture,
    trace: ChannelTrace,
    points: int,
    style: tuple[str, str, float],
) -> dict[str, Any]:
    t_s, temp_c = downsampling.drawn(trace.t_s, trace.temp_c, points)
    name = html.escape(trace.name)
    return {
        **scatter(picture.x_ms(t_s), picture.y(temp_c), style),
        "name": name,
        "meta": {"channel": trace.name, "part": "measured"},
        "hovertemplate": f"%{{y:.0f}} {degree(picture)} {name}<extra></extra>",
    }


def _target_lines(picture: Picture, target: Target) -> Iterable[dict[str, Any]]:
    accent = DAY["accent"]
    t_s, temp_c = target.line(picture.end_s)
    yield {
        **scatter(picture.x_ms(t_s), picture.y(temp_c), (accent, "6px,3px", 2.0)),
        "name": "target",
        "meta": {"part": "target"},
        "hovertemplate": f"%{{y:.0f}} {degree(picture)} target<extra></extra>",
    }
    found = target.goals(picture.end_s)
    goals = [(at, c) for a, b, c in found for at, c in ((a, c), (b, c), (b, np.nan))]
    if goals:
        x, y = picture.x_ms([g[0] for g in goals]), picture.y(np.array([g[1] for g in goals]))
        yield {**scatter(x, y, (accent, "2px,4px", 1.6)), "name": "goal", "hoverinfo": "skip"}
    if not picture.running:
        return
    t_s, temp_c = target.ahead(picture.end_s)
    if len(t_s):
        yield {
            **scatter(picture.x_ms(t_s), picture.y(temp_c), (accent, "2px,4px", 1.6)),
            "name": "plan ahead",
            "hovertemplate": f"%{{y:.0f}} {degree(picture)} planned<extra></extra>",
        }


def _outlook(picture: Picture) -> Iterable[dict[str, Any]]:
    """The faint band between the early and the late way ahead: 80 % of endings lie in it."""
    outlook, schedule = picture.outlook, picture.schedule
    lead = picture.followed[0] if picture.followed else None
    if outlook is None or schedule is None or lead is None or not outlook.estimates:
        return
    kept = downsampling.usable(lead.t_s, lead.temp_c)
    if not len(kept):
        return
    aims_c = {segment.name: segment.target_c for segment in schedule.segments}
    now = (picture.end_s, float(lead.temp_c[kept[-1]]))
    early = [(estimate.early_s, aims_c[estimate.segment]) for estimate in outlook.estimates]
    late = [(estimate.late_s, aims_c[estimate.segment]) for estimate in outlook.estimates]
    outline = [now, *early, *late[::-1], now]
    x = picture.x_ms([point[0] for point in outline])
    yield {
        **scatter(x, picture.y(np.array([p[1] for p in outline])), (DAY["doubt"], "solid", 3.0)),
        "name": "expected",
        "meta": {"part": "expected"},
        "fill": "toself",
        "fillcolor": DAY["doubt"],
        "hoverinfo": "skip",
    }


# ---------------------------------------------------------------- layout
def _layout(picture: Picture) -> dict[str, Any]:
    lower = picture.target is not None
    foot = marks.MIDDLE + incidents.depth(picture) if lower else 0.0
    axis = {
        "gridcolor": DAY["grid"],
        "linecolor": DAY["rule"],
        "zeroline": False,
        "automargin": False,
        "tickfont": {"size": 13, "color": DAY["soft"]},
    }
    title = f"local time, {zone_words(picture.began_us, picture.how)}"
    return {
        # Zoom is kept while this firing grows, and forgotten for another one or another unit.
        "uirevision": f"{picture.began_us} {picture.how.unit}",
        "meta": {"against": picture.against},
        "showlegend": False,
        "hovermode": "x unified" if len(picture.traces) <= MOST_HIGHLIGHTED else "closest",
        "dragmode": "zoom",
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": "system-ui, sans-serif", "size": 13, "color": DAY["ink"]},
        "hoverlabel": {"bgcolor": DAY["sheet"], "bordercolor": DAY["rule"]},
        "margin": {"l": 52, "r": 14, "t": 6, "b": 52},
        "xaxis": {
            **axis,
            "type": "date",
            "anchor": "y2" if lower else "y",
            "title": {"text": title, "font": {"size": 13, "color": DAY["soft"]}, "standoff": 8},
            "hoverformat": "%a %H:%M:%S",
            "tickformatstops": [
                {"dtickrange": [None, 60_000], "value": "%H:%M:%S"},
                {"dtickrange": [60_000, 86_400_000], "value": "%H:%M\n%a %-d %b"},
                {"dtickrange": [86_400_000, None], "value": "%-d %b\n%Y"},
            ],
            "nticks": 9,
        },
        "yaxis": {
            **axis,
            "domain": [foot, marks.top(picture)],
            "nticks": 7,
        },
        "yaxis2": {
            **axis,
            "domain": [0.0, 0.30],
            "nticks": 6,
            "visible": lower,
            "zeroline": True,
            "zerolinecolor": DAY["accent"],
            "zerolinewidth": 1.2,
        },
        "xaxis2": {"matches": "x", "type": "date", "visible": False, "anchor": "y3"},
        "yaxis3": {
            "domain": [0.955, 1.0],
            "range": [0, 1],
            "visible": False,
            "fixedrange": True,
            "anchor": "x2",
        },
        "yaxis4": {
            "domain": [
                marks.MIDDLE,
                marks.MIDDLE + max(0.01, incidents.depth(picture)),
            ],
            "range": [0, 1],
            "visible": False,
            "fixedrange": True,
            "anchor": "x2",
        },
        "shapes": [*marks.shapes(picture), *incidents.bars(picture)],
        "annotations": [
            *_titles(picture, lower),
            *marks.segment_names(picture),
            *incidents.names(picture),
        ],
    }


def _titles(picture: Picture, lower: bool) -> Iterable[dict[str, Any]]:
    yield _note(f"temperature, {degree(picture)}", marks.top(picture) + 0.005)
    if lower:
        yield _note(f"off target, {degree_off(picture)}", 0.305)


def _note(text: str, y: float) -> dict[str, Any]:
    return {
        "text": text,
        "x": 0,
        "xref": "paper",
        "xanchor": "left",
        "y": y,
        "yref": "paper",
        "yanchor": "bottom",
        "showarrow": False,
        "font": {"size": 13, "color": DAY["soft"]},
    }
