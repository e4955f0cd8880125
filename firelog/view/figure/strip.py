"""Every channel along the time, a row each: as asked, too cold, too hot, or silent.

A bar hangs below its row's line where the channel is too cold and stands above it where it is too
hot; place and thickness say it, colour only helps. Pale bars lie within the uncertainty. A gap in
the row is a gap in the readings.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from typing import Any

import numpy as np

from firelog.readings import FloatArray, IntArray
from firelog.schedule.plan.model import ChannelTrace
from firelog.verdict import Side
from firelog.view import asked
from firelog.view.figure import panels
from firelog.view.figure.lines import scatter
from firelog.view.palette import DAY
from firelog.view.picture import Picture
from firelog.view.window import Window

COLUMNS = 500
_FREE, _AS_ASKED, _LOW_UNSURE, _HIGH_UNSURE, _LOW, _HIGH = range(6)  # the worse the larger
_WORDS = {
    _FREE: "nothing asked",
    _AS_ASKED: "as asked",
    _LOW_UNSURE: "too cold, within U",
    _HIGH_UNSURE: "too hot, within U",
    _LOW: "too cold",
    _HIGH: "too hot",
}
_BESIDE = {_LOW_UNSURE: -0.24, _LOW: -0.24, _HIGH_UNSURE: 0.24, _HIGH: 0.24}


def rows(picture: Picture) -> list[ChannelTrace]:
    """Return the channels of the strip from above, those that decide first."""
    names = {trace.name for trace in picture.highlighted}
    first = [picture.as_believed(trace) for trace in picture.highlighted]
    rest = [trace for trace in picture.believed if trace.name not in names]
    return [*first, *rest][: panels.strip_rows(picture)]


def lines(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield one line for each state, over all rows."""
    channels = rows(picture)
    if not channels:
        return
    thick = max(2.0, min(6.0, 90.0 / len(channels)))
    columns = [_columns(picture, trace) for trace in channels]
    for state, style in _styles(thick).items():
        t_s: list[float] = []
        y: list[float | None] = []
        text: list[str] = []
        for row, trace in enumerate(channels):
            for from_s, to_s in _runs(*columns[row], state):
                place = len(channels) - 1 - row + _BESIDE.get(state, 0.0)
                t_s += [from_s, to_s, to_s]
                y += [place, place, None]
                text += [html.escape(f"{trace.name}: {_WORDS[state]}")] * 3
        yield {
            **scatter(picture.x(t_s), y, style, "y5"),
            "name": _WORDS[state],
            "meta": {"part": "strip", "key": f"strip {state}", "whole": True},
            "text": text,
            "hovertemplate": "%{text}<extra></extra>",
        }


def axis(picture: Picture, look: dict[str, Any]) -> dict[str, Any]:
    """Return the strip's vertical axis: the channels' names."""
    channels = rows(picture)
    return {
        **look,
        "domain": [0.0, panels.strip_top(picture)],
        "range": [-0.6, len(channels) - 0.4],
        "tickvals": list(range(len(channels)))[::-1],
        "ticktext": [html.escape(_short(trace.name)) for trace in channels],
        "tickfont": {"size": 11, "color": DAY["soft"]},
        "showgrid": False,
        "fixedrange": True,
        "visible": bool(channels),
        "anchor": "x",
    }


def _short(name: str) -> str:
    return name if len(name) <= 11 else f"{name[:10]}…"


def _styles(thick: float) -> dict[int, tuple[str, str, float]]:
    return {
        _FREE: (DAY["rule"], "solid", 1.0),
        _AS_ASKED: (DAY["soft"], "solid", 1.2),
        _LOW_UNSURE: (DAY["line-4"], "2px,2px", thick),
        _HIGH_UNSURE: (DAY["line-3"], "2px,2px", thick),
        _LOW: (DAY["line-1"], "solid", thick),
        _HIGH: (DAY["fail"], "solid", thick),
    }


# ---------------------------------------------------------------- states
def _runs(edges_s: FloatArray, states: IntArray, state: int) -> Iterable[tuple[float, float]]:
    """Yield the stretches [s] in which the worst of a column is this state."""
    same = np.concatenate([[False], states == state, [False]])
    turns = np.flatnonzero(np.diff(same.astype(np.int8)))
    for first, last in zip(turns[::2].tolist(), turns[1::2].tolist(), strict=True):
        yield float(edges_s[first]), float(edges_s[last])


def _columns(picture: Picture, trace: ChannelTrace) -> tuple[FloatArray, IntArray]:
    """Return the edges of columns [s] and the worst state in each, −1 without a reading."""
    window = picture.window or Window(0.0, max(picture.end_s, 1.0), COLUMNS)
    edges_s = np.linspace(window.from_s, window.to_s, COLUMNS + 1)
    worst = np.full(COLUMNS, -1, np.int64)
    inside = window.places(trace.t_s)
    known = np.isfinite(trace.temp_c[inside])
    if not known.any():
        return edges_s, worst
    state = states(picture, trace)[inside][known]
    column = np.searchsorted(edges_s, trace.t_s[inside][known], "right") - 1
    np.maximum.at(worst, np.clip(column, 0, COLUMNS - 1), state)
    return edges_s, _bridged(worst, edges_s, picture)


def _bridged(worst: IntArray, edges_s: FloatArray, picture: Picture) -> IntArray:
    """Give a column without a reading the state before it, unless the hole is a hole."""
    wide_s = picture.schedule.longest_gap_s if picture.schedule else 300.0
    most = int(wide_s / max(1e-9, float(edges_s[1] - edges_s[0])))
    place = np.where(worst >= 0, np.arange(len(worst)), -1)
    last = np.maximum.accumulate(place)
    near = (worst < 0) & (last >= 0) & (np.arange(len(worst)) - last <= most)
    return np.where(near, worst[np.maximum(last, 0)], worst)


def states(picture: Picture, trace: ChannelTrace) -> IntArray:
    """Return the state of each reading of a channel, (n,)."""
    excess_k = np.zeros(len(trace))
    judged = np.zeros(len(trace), np.bool_)
    target = picture.target
    if target is not None and trace.name in {one.name for one in picture.followed}:
        off_k = trace.temp_c - target.at(trace.t_s)
        for from_s, to_s, band_k in target.bands(picture.end_s):
            here = (trace.t_s >= from_s) & (trace.t_s <= to_s) & np.isfinite(off_k)
            excess_k[here] = np.sign(off_k[here]) * np.maximum(np.abs(off_k[here]) - band_k, 0.0)
            judged |= here
    for one in asked.of_trace(picture.levels, trace):
        if one.side is None or one.due_s is not None:
            continue  # an aim, or what has time to come
        here = (trace.t_s >= one.from_s) & (trace.t_s <= one.to_s) & np.isfinite(trace.temp_c)
        over_k = trace.temp_c - one.temp_c
        bad_k = np.minimum(over_k, 0.0) if one.side is Side.AT_LEAST else np.maximum(over_k, 0.0)
        larger = here & (np.abs(np.nan_to_num(bad_k)) > np.abs(excess_k))
        excess_k = np.where(larger, bad_k, excess_k)
        judged |= here
    sure = np.abs(excess_k) > np.nan_to_num(trace.expanded_k, nan=np.inf)
    low, high = np.where(sure, _LOW, _LOW_UNSURE), np.where(sure, _HIGH, _HIGH_UNSURE)
    state = np.where(excess_k < 0, low, np.where(excess_k > 0, high, _AS_ASKED))
    return np.where(judged, state, _FREE)
