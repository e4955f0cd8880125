"""The figure of a firing: temperature against target above, deviation below, on one time axis.

Pure: what is to be drawn in, a figure (plain lists and dicts) out. Times are shown with the one
UTC offset that held when the firing began, because a chart cannot show an hour twice.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from datetime import datetime
from typing import Any

import numpy as np

from firelog.say.durations import show_duration
from firelog.say.instants import zone_words
from firelog.schedule.plan.model import ChannelTrace
from firelog.view import downsampling
from firelog.view.figure import deviation, incidents, limits, marks, panels, strip
from firelog.view.figure.lines import (
    LEAST_POINTS,
    degree,
    degree_off,
    points_each,
    scatter,
    style_of,
)
from firelog.view.palette import DAY
from firelog.view.picture import MOST_HIGHLIGHTED, Picture, span_s
from firelog.view.target import Target

_DAYS_S = 2 * 86_400.0  # from then on a time needs its day


# ---------------------------------------------------------------- the figure
def firing_figure(picture: Picture, *, switched: bool = False, of: str = "") -> dict[str, Any]:
    """Return the figure of a firing as plain data that plotly.js draws.

    ``switched``: with the lines against the other clock too, hidden until a reader asks for them.
    ``of``: the board's address at which it may be looked at closely.
    """
    layout = _layout(picture)
    layout["meta"]["of"] = of
    return {"data": list(_lines(picture, switched)), "layout": layout}


def _lines(picture: Picture, switched: bool) -> Iterable[dict[str, Any]]:
    names = {trace.name for trace in picture.highlighted}
    points = points_each(len(picture.traces))
    for trace in picture.believed:
        if trace.name not in names:
            yield _line(picture, trace, LEAST_POINTS, (DAY["quiet"], "solid", 1.0))
    yield from _outlook(picture)
    yield from limits.levels(picture)
    yield from limits.bands(picture)
    for target in picture.targets.values():
        shown = target.against == picture.against
        if shown or switched:
            for line in (*_target_lines(picture, target), *deviation.lines(picture, target)):
                if switched:  # a picture without the switch has no line that it could hide
                    line["meta"] = {**line.get("meta", {}), "against": target.against}
                yield line if shown else line | {"visible": False}
    if picture.highlighted:
        yield _doubt(picture, picture.as_believed(picture.highlighted[0]), points)
    for number, trace in reversed(list(enumerate(picture.highlighted))):
        yield _line(picture, picture.as_believed(trace), points, style_of(number))
    yield from marks.aside(picture)
    yield from strip.lines(picture)
    yield from marks.evidence(picture)
    yield from marks.events(picture)
    yield from incidents.hovers(picture)


def _line(
    picture: Picture,
    trace: ChannelTrace,
    points: int,
    style: tuple[str, str, float],
) -> dict[str, Any]:
    t_s, temp_c = picture.drawn(trace.t_s, trace.temp_c, points)
    name = html.escape(trace.name)
    return {
        **scatter(picture.x(t_s), picture.y(temp_c), style),
        "name": name,
        "meta": {"channel": trace.name, "part": "measured", "key": f"measured {trace.name}"},
        "hovertemplate": f"%{{y:.1f}} {degree(picture)} {name}<extra></extra>",
    }


def _doubt(picture: Picture, trace: ChannelTrace, points: int) -> dict[str, Any]:
    """The expanded uncertainty around the deciding channel: seen when looked at closely."""
    t_s, edge_c = deviation.outline(picture, trace, trace.temp_c, points)
    return {
        **scatter(picture.x(t_s), picture.y(edge_c), ("rgba(0,0,0,0)", "solid", 0)),
        "name": "uncertainty",
        "meta": {
            "part": "uncertainty",
            "channel": trace.name,
            "key": f"U {trace.name} above",
            "whole": True,
        },
        "fill": "toself",
        "fillcolor": DAY["doubt"],
        "hoverinfo": "skip",
    }


def window_lines(picture: Picture, *, switched: bool = False) -> list[dict[str, Any]]:
    """Return what changes with the stretch that is looked at: key, x, y, text of each line.

    ``picture`` has that stretch as its ``window``. ``whole``: the line is of this stretch alone;
    others go on, coarser, on either side.
    """
    found = []
    for line in _lines(picture, switched):
        meta = line.get("meta", {})
        if "key" in meta:
            told = {"key": meta["key"], "whole": meta.get("whole", False)}
            found.append(told | {name: line[name] for name in ("x", "y", "text") if name in line})
    return found


def _target_lines(picture: Picture, target: Target) -> Iterable[dict[str, Any]]:
    accent = DAY["accent"]
    t_s, temp_c = target.line(picture.end_s)
    yield {
        **scatter(picture.x(t_s), picture.y(temp_c), (accent, "6px,3px", 2.0)),
        "name": "target",
        "meta": {"part": "target"},
        "hovertemplate": f"%{{y:.0f}} {degree(picture)} target<extra></extra>",
    }
    found = target.goals(picture.end_s)
    goals = [(at, c) for a, b, c in found for at, c in ((a, c), (b, c), (b, np.nan))]
    if goals:
        x, y = picture.x([g[0] for g in goals]), picture.y(np.array([g[1] for g in goals]))
        yield {**scatter(x, y, (accent, "2px,4px", 1.6)), "name": "goal", "hoverinfo": "skip"}
    if not picture.running:
        return
    t_s, temp_c = target.ahead(picture.end_s)
    if len(t_s):
        yield {
            **scatter(picture.x(t_s), picture.y(temp_c), (accent, "2px,4px", 1.6)),
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
    x = picture.x([point[0] for point in outline])
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
    foot = panels.up(picture, panels.MIDDLE + incidents.depth(picture)) if lower else 0.0
    rows = panels.strip_rows(picture)
    axis = {
        "gridcolor": DAY["grid"],
        "linecolor": DAY["rule"],
        "zeroline": False,
        "automargin": False,
        "tickfont": {"size": 13, "color": DAY["soft"]},
    }
    ends = picture.x([0.0, span_s(picture)])
    title = f"local time, {zone_words(picture.began_us, picture.how)}{_clock_change(picture)}"
    return {
        # Zoom is kept while this firing grows, and forgotten for another one or another unit.
        "uirevision": f"{picture.began_us} {picture.how.unit}",
        "meta": {
            "against": picture.against,
            "began": ends[0],
            "end": ends[1],
            "lower": panels.up(picture, panels.LOWER),
            "rows": rows,
            "limits": limits.stretches(picture),
        },
        "showlegend": False,
        "hovermode": "x unified" if len(picture.traces) <= MOST_HIGHLIGHTED else "closest",
        "dragmode": "zoom",
        "paper_bgcolor": "rgba(0,0,0,0)",
        "plot_bgcolor": "rgba(0,0,0,0)",
        "font": {"family": "system-ui, sans-serif", "size": 13, "color": DAY["ink"]},
        "hoverlabel": {"bgcolor": DAY["sheet"], "bordercolor": DAY["rule"]},
        "margin": {"l": 92 if rows else 52, "r": 14, "t": 6, "b": 52},
        "xaxis": {
            **axis,
            "type": "date",
            "anchor": "y5" if rows else "y2" if lower else "y",
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
            "domain": [foot, panels.top(picture)],
            "nticks": 7,
        },
        "yaxis2": {
            **axis,
            "domain": [panels.up(picture, 0.0), panels.up(picture, panels.LOWER)],
            "nticks": 6,
            "visible": lower,
            "zeroline": True,
            "zerolinecolor": DAY["accent"],
            "zerolinewidth": 1.2,
            **_lower_range(picture),
        },
        "xaxis2": {"matches": "x", "type": "date", "visible": False, "anchor": "y3"},
        "yaxis3": {
            "domain": [panels.up(picture, 0.955), 1.0],
            "range": [0, 1],
            "visible": False,
            "fixedrange": True,
            "anchor": "x2",
        },
        "yaxis4": {
            "domain": [
                panels.up(picture, panels.MIDDLE),
                panels.up(picture, panels.MIDDLE + max(0.01, incidents.depth(picture))),
            ],
            "range": [0, 1],
            "visible": False,
            "fixedrange": True,
            "anchor": "x2",
        },
        **({"yaxis5": strip.axis(picture, axis)} if rows else {}),
        "shapes": [*marks.shapes(picture), *incidents.bars(picture)],
        "annotations": [
            *_titles(picture, lower),
            *marks.segment_names(picture),
            *incidents.names(picture),
            *limits.names(picture),
            *marks.evidence_names(picture),
            *deviation.names(picture),
        ],
    }


def _lower_range(picture: Picture) -> dict[str, Any]:
    span_k = deviation.span_k(picture)
    return {} if span_k is None else {"range": picture.dy(np.array(span_k))}


def _clock_change(picture: Picture) -> str:
    """Say where the foundry's clocks were changed: the axis keeps its first offset throughout."""
    change = picture.clock_change
    if change is None:
        return ""
    at_s, by_s = change
    way = "on" if by_s > 0 else "back"
    moment = datetime.fromisoformat(picture.x([at_s])[0])
    when = f"at {moment:%H:%M}"
    if span_s(picture) > _DAYS_S:
        when = f"on {moment:%a} {moment.day} {moment:%b} {when}"
    return f" throughout; {when} the clocks went {way} by {show_duration(abs(by_s))}"


def _titles(picture: Picture, lower: bool) -> Iterable[dict[str, Any]]:
    yield _note(f"temperature, {degree(picture)}", panels.top(picture) + 0.005)
    if lower:
        asked = any(near for near in _has_asked(picture))
        words = f"off target, {degree_off(picture)}"
        more = "; dotted: off what is asked" if asked else ""
        note = _note(f"{words}{more}", panels.up(picture, panels.LOWER) + 0.005)
        yield note | {"name": f"title {words}"}
    if panels.strip_rows(picture):
        words = "each channel: a bar below its line is too cold, above it too hot; a gap is silence"
        yield _note(words, panels.strip_top(picture) + 0.003)


def _has_asked(picture: Picture) -> Iterable[bool]:
    target = picture.target
    for _, trace in deviation.channels(picture) if target else ():
        assert target is not None
        yield bool(np.isfinite(deviation.distances_k(picture, trace, target)[1]).any())


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
