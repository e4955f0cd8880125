"""What stands beside the lines of a figure: segments, holes, events, where a check was decided."""

from __future__ import annotations

import html
from collections.abc import Iterable
from typing import Any

import numpy as np

from firelog.say.durations import show_duration
from firelog.say.verdicts import SIGNS
from firelog.schedule.plan.model import ChannelTrace, Check
from firelog.verdict import Verdict
from firelog.view import downsampling
from firelog.view.figure.lines import degree, style_of
from firelog.view.figure.panels import MIDDLE, top, up
from firelog.view.palette import DAY
from firelog.view.picture import Picture, begun_segments, hole_spans, span_s

MOST_EVENTS = 200
MOST_ASIDE = 300  # points for the readings of a channel that were set aside
MOST_SIGNS = 34  # of the words beside a mark


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
            "x": picture.x([(from_s + to_s) / 2])[0],
            "xref": "x",
            "y": up(picture, MIDDLE - 0.008),
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
        x = picture.x([at_s])[0]
        yield {
            "type": "line",
            "name": "event",
            "xref": "x",
            "yref": "paper",
            "x0": x,
            "x1": x,
            "y0": 0,
            "y1": up(picture, 0.955),
            "line": {"color": DAY["accent"], "width": 1, "dash": "1px,4px"},
        }


def _upright(picture: Picture, from_s: float, to_s: float, colour: str) -> dict[str, Any]:
    x0, x1 = picture.x([from_s, to_s])
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
    for verdict in (Verdict.FAIL, Verdict.NOT_PROVEN):
        sign = SIGNS[verdict]
        mine = [one for one in _decided(picture) if one[0].verdict is verdict]
        if not mine:
            continue
        yield {
            "type": "scatter",
            "mode": "markers",
            "x": picture.x([t_s for _, t_s, _ in mine]),
            "y": picture.y(np.array([temp_c for _, _, temp_c in mine])),
            "name": verdict.value,
            "meta": {"part": "evidence"},
            "text": [html.escape(f"{verdict.value}: {check.requirement}") for check, _, _ in mine],
            "hovertemplate": "%{text}<extra></extra>",
            "marker": {
                "symbol": sign.symbol,
                "size": 13,
                "color": DAY[sign.name],
                "line": {"width": 2, "color": DAY[sign.name]},
            },
        }


def evidence_names(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield the word of each mark, led to it by a stroke: near ones stand one below another."""
    whole_s = span_s(picture)
    before_s, depth = -np.inf, 0
    for check, t_s, temp_c in _decided(picture):
        depth = depth + 1 if t_s - before_s < 0.3 * whole_s else 0
        before_s = t_s
        right, down = _beside(picture, check, t_s)
        sign = SIGNS[check.verdict]
        words = f"{check.verdict.value}: {check.requirement}"
        yield {
            "name": f"evidence {check.verdict.value}",
            "text": html.escape(words if len(words) <= MOST_SIGNS else f"{words[:MOST_SIGNS]}…"),
            "x": picture.x([t_s])[0],
            "xref": "x",
            "xanchor": "left" if right else "right",
            "y": picture.y(np.array([temp_c]))[0],
            "yref": "y",
            "showarrow": True,
            "arrowhead": 0,
            "arrowwidth": 1,
            "arrowcolor": DAY[sign.name],
            "ax": 14 if right else -14,
            "ay": (30 + 21 * depth) * (1 if down else -1),
            "bgcolor": DAY["paper"],
            "borderpad": 1,
            "font": {"size": 13, "color": DAY[sign.name]},
        }


def _beside(picture: Picture, check: Check, t_s: float) -> tuple[bool, bool]:
    """Return whether a mark's word stands on its right, and below it: where the line is not."""
    whole_s, right = span_s(picture), t_s < 0.5 * span_s(picture)
    trace = _decider(picture, check)
    kept = downsampling.usable(trace.t_s, trace.temp_c) if trace else np.empty(0, np.int64)
    if trace is None or not len(kept):
        return right, True
    beside_s = [t_s, t_s + (0.1 if right else -0.1) * whole_s]
    here_c, there_c = np.interp(beside_s, trace.t_s[kept], trace.temp_c[kept])
    known = trace.temp_c[kept]
    room_k = 0.2 * float(np.ptp(known))
    return right, bool(there_c >= here_c - 0.1 * room_k and here_c > known.min() + room_k)


def _decider(picture: Picture, check: Check) -> ChannelTrace | None:
    """Return the channel that decided a check, else the first that is followed."""
    trace = next((t for t in picture.believed if t.name == check.channel), None)
    return trace or (picture.as_believed(picture.followed[0]) if picture.followed else None)


def _decided(picture: Picture) -> list[tuple[Check, float, float]]:
    """Return the checks that are no pass, with instant and temperature, in order of time."""
    checks = picture.judgement.checks if picture.judgement else ()
    found = []
    for check in checks:
        # What is not due yet has been decided nowhere.
        not_due = picture.running and check.verdict is Verdict.NOT_PROVEN
        if check.verdict is Verdict.PASS or not_due:
            continue
        t_s, temp_c = _where(picture, check)
        if temp_c is not None:
            found.append((check, t_s, temp_c))
    return sorted(found, key=lambda one: one[1])


def _where(picture: Picture, check: Check) -> tuple[float, float | None]:
    """Return when and at what temperature a check was decided.

    Where no channel or instant is named, at the end of the stretch it was held against, on the
    first channel that is followed; None where there is no reading at all.
    """
    span = picture.spans.get(check.requirement)
    at_s = check.at_s if check.at_s is not None else (span.hi_s if span else picture.end_s)
    trace = _decider(picture, check)
    if trace is None:
        return 0.0, None
    kept = downsampling.usable(trace.t_s, trace.temp_c)
    if not len(kept):
        return 0.0, None
    nearest = kept[int(np.argmin(np.abs(trace.t_s[kept] - at_s)))]
    return at_s, float(trace.temp_c[nearest])


def aside(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield the readings that were set aside: hollow, and off every line."""
    numbers = {trace.name: number for number, trace in enumerate(picture.highlighted)}
    for trace in picture.traces:
        found = picture.aside.get(trace.name)
        if found is None:
            continue
        t_s, temp_c = picture.drawn(trace.t_s[found.place], found.temp_c, MOST_ASIDE)
        kept = np.isfinite(temp_c)
        t_s, temp_c = t_s[kept], temp_c[kept]
        why = [found.why[n] for n in np.searchsorted(trace.t_s[found.place], t_s).tolist()]
        colour = style_of(numbers[trace.name])[0] if trace.name in numbers else DAY["soft"]
        name = html.escape(trace.name)
        yield {
            "type": "scatter",
            "mode": "markers",
            "x": picture.x(t_s),
            "y": picture.y(temp_c),
            "name": name,
            "meta": {
                "part": "set aside",
                "channel": trace.name,
                "key": f"set aside {trace.name}",
                "whole": True,
            },
            "text": [html.escape(f"set aside: {one}") for one in why],
            "hovertemplate": f"%{{y:.1f}} {degree(picture)} {name}, %{{text}}<extra></extra>",
            "marker": {
                "symbol": "square-open",
                "size": 7,
                "color": colour,
                "line": {"width": 1.4, "color": colour},
            },
        }


def events(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield the row of event marks above the panels."""
    if not picture.events:
        return
    words = [html.escape(f"{kind}: {text}" if text else kind) for _, kind, text in picture.events]
    yield {
        "type": "scatter",
        "mode": "markers",
        "x": picture.x([event[0] for event in picture.events]),
        "y": [0.5] * len(picture.events),
        "xaxis": "x2",
        "yaxis": "y3",
        "name": "events",
        "meta": {"part": "events"},
        "text": words,
        "hovertemplate": "%{text}<extra></extra>",
        "marker": {"symbol": "diamond", "size": 9, "color": DAY["accent"]},
    }
