"""The one picture of a firing: temperature against target above, deviation below, one time axis.

Pure: what is to be drawn in, a figure (plain lists and dicts) out. Times are shown with the one
UTC offset that held when the firing began, because a chart cannot show an hour twice.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from typing import Any

import numpy as np

from dashboards import marks, thinning
from dashboards.palette import DAY
from dashboards.picture import MOST_SPOKEN, Picture, deviation_k
from dashboards.wording import zone_words
from firelog.readings import FloatArray
from firelog.schedule.model import ChannelTrace

MOST_POINTS = 1200  # in one line: under 2 000 with the holes
ALL_POINTS = 9000  # in all lines of one panel
LEAST_POINTS = 200
_STYLES = (
    ("ink", "solid", 2.2),
    ("line-1", "solid", 1.7),
    ("line-3", "dash", 1.7),
    ("line-2", "dot", 1.9),
    ("line-4", "dashdot", 1.7),
    ("line-5", "longdash", 1.7),
)


# ---------------------------------------------------------------- the figure
def firing_figure(picture: Picture) -> dict[str, Any]:
    """Return the figure of a firing as plain data that plotly.js draws."""
    return {"data": list(_lines(picture)), "layout": _layout(picture)}


def points_each(count: int) -> int:
    """Return how many points each of ``count`` lines may have."""
    return max(LEAST_POINTS, min(MOST_POINTS, ALL_POINTS // max(1, count)))


def style_of(number: int) -> tuple[str, str, float]:
    """Return colour, dash and width of the n-th spoken channel."""
    name, dash, width = _STYLES[number % len(_STYLES)]
    return DAY[name], dash, width


def colour_of(number: int) -> str:
    """Return the palette's name of the n-th spoken channel's colour."""
    return _STYLES[number % len(_STYLES)][0]


def _lines(picture: Picture) -> Iterable[dict[str, Any]]:
    names = {trace.name for trace in picture.spoken}
    points = points_each(len(picture.traces))
    for trace in picture.traces:
        if trace.name not in names:
            yield _line(picture, trace, LEAST_POINTS, (DAY["quiet"], "solid", 1.0))
    yield from _target_lines(picture)
    yield from _off_target(picture, points)
    for number, trace in reversed(list(enumerate(picture.spoken))):
        yield _line(picture, trace, points, style_of(number))
    yield from marks.evidence(picture)
    yield from marks.events(picture)


def _line(
    picture: Picture,
    trace: ChannelTrace,
    points: int,
    style: tuple[str, str, float],
) -> dict[str, Any]:
    t_s, temp_c = thinning.drawn(trace.t_s, trace.temp_c, points)
    name = html.escape(trace.name)
    return {
        **_scatter(picture.x_ms(t_s), picture.y(temp_c), style),
        "name": name,
        "meta": {"channel": trace.name, "part": "measured"},
        "hovertemplate": f"%{{y:.0f}} {_degree(picture)} {name}<extra></extra>",
    }


def _scatter(
    x: list[int], y: list[float | None], style: tuple[str, str, float], yaxis: str = "y"
) -> dict[str, Any]:
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


def _target_lines(picture: Picture) -> Iterable[dict[str, Any]]:
    target = picture.target
    if target is None:
        return
    inside = target.t_s <= picture.end_s
    t_s, temp_c = target.t_s[inside], target.temp_c[inside]
    if len(target.t_s) > len(t_s):
        t_s = np.append(t_s, picture.end_s)
        temp_c = np.append(temp_c, target.at(np.array([picture.end_s])))
    accent = DAY["accent"]
    yield {
        **_scatter(picture.x_ms(t_s), picture.y(temp_c), (accent, "6px,3px", 2.0)),
        "name": "target",
        "meta": {"part": "target"},
        "hovertemplate": f"%{{y:.0f}} {_degree(picture)} target<extra></extra>",
    }
    goals = [(at, c) for a, b, c in target.goals for at, c in ((a, c), (b, c), (b, np.nan))]
    if goals:
        x, y = picture.x_ms([g[0] for g in goals]), picture.y(np.array([g[1] for g in goals]))
        yield {**_scatter(x, y, (accent, "2px,4px", 1.6)), "name": "goal", "hoverinfo": "skip"}
    if picture.running and len(target.ahead_t_s):
        x, y = picture.x_ms(target.ahead_t_s), picture.y(target.ahead_c)
        yield {
            **_scatter(x, y, (accent, "2px,4px", 1.6)),
            "name": "plan ahead",
            "hovertemplate": f"%{{y:.0f}} {_degree(picture)} planned<extra></extra>",
        }


# ---------------------------------------------------------------- the panel below
def _off_target(picture: Picture, points: int) -> Iterable[dict[str, Any]]:
    target = picture.target
    if target is None:
        return
    yield from _bands(picture)
    meant = {trace.name for trace in picture.followed}
    lines = [(n, trace) for n, trace in enumerate(picture.spoken) if trace.name in meant]
    for place, (number, trace) in enumerate(lines):
        off_k = deviation_k(trace, target)
        if place == 0:
            yield _doubt(picture, trace, off_k, points)
        t_s, value = thinning.drawn(trace.t_s, off_k, points)
        name = html.escape(trace.name)
        yield {
            **_scatter(picture.x_ms(t_s), picture.dy(value), style_of(number), "y2"),
            "name": name,
            "meta": {"channel": trace.name, "part": "off target"},
            "hovertemplate": f"%{{y:+.0f}} {_degree_off(picture)} {name}<extra></extra>",
        }


def _doubt(picture: Picture, trace: ChannelTrace, off_k: FloatArray, points: int) -> dict[str, Any]:
    """The expanded uncertainty around the deciding channel: one closed outline a stretch."""
    low = thinning.drawn(trace.t_s, off_k - trace.expanded_k, points // 2)
    high = thinning.drawn(trace.t_s, off_k + trace.expanded_k, points // 2)
    t_s: list[float] = []
    edge: list[float] = []
    for under, over in zip(thinning.stretches(*low), thinning.stretches(*high), strict=False):
        outline = [*under, *over[::-1], under[0], (under[0][0], np.nan)]
        t_s += [point[0] for point in outline]
        edge += [point[1] for point in outline]
    return {
        **_scatter(
            picture.x_ms(t_s), picture.dy(np.array(edge)), ("rgba(0,0,0,0)", "solid", 0), "y2"
        ),
        "name": "uncertainty",
        "meta": {"part": "uncertainty"},
        "fill": "toself",
        "fillcolor": DAY["doubt"],
        "hoverinfo": "skip",
    }


def _bands(picture: Picture) -> Iterable[dict[str, Any]]:
    """The band that each segment allows, as it really ran."""
    schedule, judgement = picture.schedule, picture.judgement
    if schedule is None or judgement is None:
        return
    t_s: list[float] = []
    band: list[float] = []
    for segment, run in zip(schedule.segments, judgement.segments, strict=False):
        if run.began_s is None:
            break
        ended_s = picture.end_s if run.ended_s is None else run.ended_s
        t_s += [run.began_s, ended_s, ended_s]
        band += [segment.band_k, segment.band_k, np.nan]
    for sign in (1.0, -1.0):
        yield {
            **_scatter(
                picture.x_ms(t_s),
                picture.dy(sign * np.array(band)),
                (DAY["accent"], "2px,4px", 1.2),
                "y2",
            ),
            "name": "band",
            "hoverinfo": "skip",
        }


# ---------------------------------------------------------------- layout
def _layout(picture: Picture) -> dict[str, Any]:
    lower = picture.target is not None
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
        "showlegend": False,
        "hovermode": "x unified" if len(picture.traces) <= MOST_SPOKEN else "closest",
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
            "domain": [marks.MIDDLE if lower else 0.0, marks.top(picture)],
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
        "shapes": marks.shapes(picture),
        "annotations": [*_titles(picture, lower), *marks.segment_names(picture)],
    }


def _titles(picture: Picture, lower: bool) -> Iterable[dict[str, Any]]:
    yield _note(f"temperature, {_degree(picture)}", marks.top(picture) + 0.005)
    if lower:
        yield _note(f"off target, {_degree_off(picture)}", 0.305)


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


def _degree(picture: Picture) -> str:
    return "K" if picture.how.unit == "K" else f"°{picture.how.unit}"


def _degree_off(picture: Picture) -> str:
    return "F°" if picture.how.unit == "F" else "K"
