"""Departures from the plan (a stall, a door opened, an overshoot) as thin bars below the trace.

Holes are shaded by ``marks``; what has no stretch of its own on the trace (a step not
reached, a firing given up) is said in the list below the picture only.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from typing import Any

from firelog.say.durations import show_duration
from firelog.schedule.plan.model import Happening
from firelog.view.figure.panels import MIDDLE, up
from firelog.view.palette import DAY
from firelog.view.picture import Picture, span_s

DRAWN = frozenset({"late start", "waited", "stalled", "door", "cooled", "overshoot"})
MOST_ROWS = 3
MOST_BARS = 40
ROW = 0.038  # of the picture's height: a bar and its word
BAR = 0.008
LEAST_SHARE = 0.004  # of the width: an instant is still seen
SIGNS = 115  # of a label that fit across a desk's picture, and across a phone's
SIGNS_PHONE = 44


def placed(picture: Picture) -> list[tuple[int, Happening]]:
    """Return the happenings that are drawn, each with its row: those that overlap lie apart."""
    found = picture.judgement.happenings if picture.judgement else ()
    until: list[float] = []
    rows = []
    for one in [h for h in found if h.kind in DRAWN][:MOST_BARS]:
        row = next((n for n, end_s in enumerate(until) if end_s <= one.from_s), len(until))
        if row >= MOST_ROWS:
            continue
        until[row : row + 1] = [one.to_s]
        rows.append((row, one))
    return rows


def depth(picture: Picture) -> float:
    """Return how much of the picture's height the bars take: no line of the trace is there."""
    return ROW * (1 + max((row for row, _ in placed(picture)), default=-1))


def _ends_s(picture: Picture, happening: Happening) -> tuple[float, float]:
    least_s = LEAST_SHARE * span_s(picture)
    return happening.from_s, max(happening.to_s, happening.from_s + least_s)


def bars(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield one thin bar for each happening."""
    for row, one in placed(picture):
        x0, x1 = picture.x(_ends_s(picture, one))
        foot = up(picture, MIDDLE + 0.004 + ROW * row)
        yield {
            "type": "rect",
            "name": f"happening {one.kind}",
            "xref": "x",
            "yref": "paper",
            "x0": x0,
            "x1": x1,
            "y0": foot,
            "y1": foot + BAR,
            "fillcolor": DAY["rule"],
            "line": {"width": 0},
        }


def names(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield a word above each bar that is wide enough for it; its name is the word on a phone."""
    whole_s = span_s(picture)
    for row, one in placed(picture):
        share = (one.to_s - one.from_s) / whole_s
        full = f"{one.kind} {show_duration(one.to_s - one.from_s)}"
        text = next((t for t in (full, one.kind) if len(t) <= share * SIGNS), "")
        if not text:
            continue
        phone = one.kind if len(one.kind) <= share * SIGNS_PHONE else ""
        yield {
            "name": f"happening {phone}",
            "text": html.escape(text),
            "x": picture.x([one.from_s])[0],
            "xref": "x",
            "xanchor": "left",
            "y": up(picture, MIDDLE + 0.004 + ROW * row) + BAR,
            "yref": "paper",
            "yanchor": "bottom",
            "showarrow": False,
            "font": {"size": 12, "color": DAY["soft"]},
        }


def hovers(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield what a pointer finds on the bars: the whole sentence."""
    rows = placed(picture)
    if not rows:
        return
    height = 1 + max(row for row, _ in rows)
    t_s: list[float] = []
    y: list[float | None] = []
    text: list[str] = []
    for row, one in rows:
        from_s, to_s = _ends_s(picture, one)
        t_s += [from_s, (from_s + to_s) / 2, to_s, to_s]
        y += [(row + 0.2) / height] * 3 + [None]
        text += [html.escape(f"{one.kind}: {one.what}")] * 4
    yield {
        "type": "scatter",
        "mode": "lines",
        "x": picture.x(t_s),
        "y": y,
        "xaxis": "x2",
        "yaxis": "y4",
        "name": "happenings",
        "meta": {"part": "happenings"},
        "line": {"color": "rgba(0,0,0,0)", "width": 8, "dash": "solid"},
        "connectgaps": False,
        "text": text,
        "hovertemplate": "%{text}<extra></extra>",
    }
