"""What stands beside the lines of a figure: segments, holes, events, where a check was decided."""

from __future__ import annotations

import html
from collections.abc import Iterable
from typing import Any

import numpy as np

from firelog.say.durations import show_duration
from firelog.say.verdicts import SIGNS
from firelog.schedule.plan.model import Check
from firelog.verdict import Verdict
from firelog.view import downsampling
from firelog.view.palette import DAY
from firelog.view.picture import Picture, begun_segments, hole_spans, span_s

MIDDLE = 0.41  # where it begins; between it and the lower panel stand the segments' names
MOST_EVENTS = 200


def top(picture: Picture) -> float:
    """Return where the upper panel ends, as a share of the height; events stand above it."""
    return 0.90 if picture.events else 0.955


def shapes(picture: Picture) -> list[dict[str, Any]]:
    """Return stripes behind every other segment, holes, and a line at each event."""
    return [*_stripes(picture), *_hole_shapes(picture), *_event_shapes(picture)]


def _stripes(picture: Picture) -> Iterable[dict[str, Any]]:
    for number, _, from_s, to_s in begun_segments(picture):
        if number % 2:
            yield _upright(picture, from_s, to_s, DAY["stripe"])


def segment_names(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield each segment's number, and its name where there is room for it."""
    whole_s = span_s(picture)
    for number, name, from_s, to_s in begun_segments(picture):
        share = (to_s - from_s) / whole_s
        if share < 0.015:
            continue
        room = int(share * 115)
        text = f"{number} {name}" if len(name) + 2 <= room else str(number)
        yield {
            "name": f"segment {number}",
            "text": html.escape(text),
            "x": picture.x_ms([(from_s + to_s) / 2])[0],
            "xref": "x",
            "y": MIDDLE - 0.008,
            "yref": "paper",
            "yanchor": "top",
            "showarrow": False,
            "font": {"size": 12, "color": DAY["soft"]},
        }


def _hole_shapes(picture: Picture) -> Iterable[dict[str, Any]]:
    for from_s, to_s in hole_spans(picture)[: downsampling.MOST_HOLES]:
        label = f"no readings, {show_duration(to_s - from_s)}"
        share = (to_s - from_s) / span_s(picture)
        yield {
            **_upright(picture, from_s, to_s, DAY["hole"]),
            "name": "hole",
            "label": {
                "text": label if share > 0.03 else "",
                "textposition": "middle center",
                "textangle": 0 if share > 0.2 else -90,
                "font": {"size": 12, "color": DAY["fail"]},
            },
        }


def _event_shapes(picture: Picture) -> Iterable[dict[str, Any]]:
    for at_s, _, _ in picture.events[:MOST_EVENTS]:
        x = picture.x_ms([at_s])[0]
        yield {
            "type": "line",
            "name": "event",
            "xref": "x",
            "yref": "paper",
            "x0": x,
            "x1": x,
            "y0": 0,
            "y1": 0.955,
            "line": {"color": DAY["accent"], "width": 1, "dash": "1px,4px"},
        }


def _upright(picture: Picture, from_s: float, to_s: float, colour: str) -> dict[str, Any]:
    x0, x1 = picture.x_ms([from_s, to_s])
    return {
        "type": "rect",
        "xref": "x",
        "yref": "paper",
        "x0": x0,
        "x1": x1,
        "y0": 0,
        "y1": top(picture),
        "fillcolor": colour,
        "line": {"width": 0},
        "layer": "below",
    }


def evidence(picture: Picture) -> Iterable[dict[str, Any]]:
    """A mark where a check that is not a pass was decided, on the channel that decided it."""
    checks = picture.judgement.checks if picture.judgement else ()
    for verdict in (Verdict.FAIL, Verdict.NOT_PROVEN):
        sign = SIGNS[verdict]
        if picture.running and verdict is Verdict.NOT_PROVEN:
            continue  # not due yet: nothing has been decided there
        placed = [(c, *_where(picture, c)) for c in checks if c.verdict is verdict]
        found = [(check, t, value) for check, t, value in placed if value is not None]
        if not found:
            continue
        yield {
            "type": "scatter",
            "mode": "markers",
            "x": picture.x_ms([t for _, t, _ in found]),
            "y": picture.y(np.array([value for _, _, value in found])),
            "name": verdict.value,
            "meta": {"part": "evidence"},
            "text": [html.escape(f"{verdict.value}: {c.requirement}") for c, _, _ in found],
            "hovertemplate": "%{text}<extra></extra>",
            "marker": {
                "symbol": sign.symbol,
                "size": 12,
                "color": DAY[sign.name],
                "line": {"width": 2, "color": DAY[sign.name]},
            },
        }


def _where(picture: Picture, check: Check) -> tuple[float, float | None]:
    trace = next((t for t in picture.traces if t.name == check.channel), None)
    if check.at_s is None or trace is None:
        return 0.0, None
    kept = downsampling.usable(trace.t_s, trace.temp_c)
    if not len(kept):
        return 0.0, None
    nearest = kept[int(np.argmin(np.abs(trace.t_s[kept] - check.at_s)))]
    return check.at_s, float(trace.temp_c[nearest])


def events(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield the row of event marks above the panels."""
    if not picture.events:
        return
    words = [html.escape(f"{kind}: {text}" if text else kind) for _, kind, text in picture.events]
    yield {
        "type": "scatter",
        "mode": "markers",
        "x": picture.x_ms([event[0] for event in picture.events]),
        "y": [0.5] * len(picture.events),
        "xaxis": "x2",
        "yaxis": "y3",
        "name": "events",
        "meta": {"part": "events"},
        "text": words,
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {"symbol": "diamond", "size": 9, "color": DAY["accent"]},
    }
