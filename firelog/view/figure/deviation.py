"""The lower panel of a firing: how far each channel is from its target, with U and the band.

Where there is no target, a dotted line says how far it is from the nearest temperature that is
asked there, so that the panel is never empty where a firing fails.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from typing import Any

import numpy as np

from firelog.readings import FloatArray
from firelog.say.numbers import signed_difference
from firelog.schedule.plan.model import ChannelTrace
from firelog.view import asked, downsampling
from firelog.view.figure import panels
from firelog.view.figure.lines import degree_off, points_in_lower_panel, scatter, style_of
from firelog.view.palette import DAY
from firelog.view.picture import Picture, deviation_k, span_s
from firelog.view.target import Target

_ROOM_BANDS = 3.0  # the panel shows at least so many bands on either side
_MOST_BANDS = 12.0
_FEW = 0.05
_SIGNS = 115  # of words that fit across the panel


def lines(picture: Picture, target: Target) -> Iterable[dict[str, Any]]:
    """Yield the lines of the lower panel against one target."""
    yield from _bands(picture, target)
    shown = channels(picture)
    points = points_in_lower_panel(2 * len(shown) * len(picture.targets))
    for place, (number, trace) in enumerate(shown):
        off_k, near_k = distances_k(picture, trace, target)
        if place == 0:
            either_k = np.where(np.isfinite(off_k), off_k, near_k)
            yield _uncertainty(picture, target, trace, either_k, points)
        colour, dash, width = style_of(number)
        for part, value, style in (
            ("off target", off_k, (colour, dash, width)),
            ("off asked", near_k, (colour, "1px,3px", max(1.4, width - 0.4))),
        ):
            t_s, drawn_k = picture.drawn(trace.t_s, value, points)
            name = html.escape(trace.name)
            of = "" if part == "off target" else " from what is asked"
            yield {
                **scatter(picture.x(t_s), picture.dy(drawn_k), style, "y2"),
                "name": name,
                "meta": {
                    "channel": trace.name,
                    "part": part,
                    "key": f"{part} {trace.name} {target.against}",
                },
                "hovertemplate": f"%{{y:+.1f}} {degree_off(picture)}{of} {name}<extra></extra>",
            }


def channels(picture: Picture) -> list[tuple[int, ChannelTrace]]:
    """Return the channels with a line in the lower panel: what is meant to be somewhere."""
    meant = {trace.name for trace in picture.followed}
    return [
        (number, picture.as_believed(trace))
        for number, trace in enumerate(picture.highlighted)
        if trace.name in meant or asked.of_trace(picture.levels, trace)
    ]


def distances_k(
    picture: Picture, trace: ChannelTrace, target: Target
) -> tuple[FloatArray, FloatArray]:
    """Return measured minus target, and minus the nearest that is asked where there is none [K]."""
    known = picture.distances.get((trace.name, target.against))
    if known is None or len(known[0]) != len(trace):  # a line may go on with newer readings
        known = _distances_k(picture, trace, target)
        if any(one.name == trace.name and len(one) == len(trace) for one in picture.traces):
            picture.distances[trace.name, target.against] = known
    return known


def _distances_k(
    picture: Picture, trace: ChannelTrace, target: Target
) -> tuple[FloatArray, FloatArray]:
    if trace.name in {one.name for one in picture.followed}:
        off_k = deviation_k(trace, target)
    else:
        off_k = np.full(len(trace), np.nan)
    aimed = np.isfinite(off_k) | ~np.isfinite(trace.temp_c)
    return off_k, np.where(aimed, np.nan, picture.off_asked_k(trace))


def span_k(picture: Picture) -> tuple[float, float] | None:
    """Return from where to where the panel shows [K], None where its lines may say it.

    A way of hundreds of kelvin before a step is reached must not flatten the step itself.
    """
    target = picture.target
    shown = channels(picture)
    if target is None or not shown:
        return None
    offs = [distances_k(picture, trace, target) for _, trace in shown]
    aimed = np.concatenate([off_k[np.isfinite(off_k)] for off_k, _ in offs])
    near = np.concatenate([near_k[np.isfinite(near_k)] for _, near_k in offs])
    if len(aimed) < len(near) / 4 or not len(near):
        return None
    if len(near) < _FEW * len(aimed):
        near = aimed
    band_k = max((one.band_k for one in target.schedule.segments), default=15.0)
    low, high = float(aimed.min()) - band_k / 2, float(aimed.max()) + band_k / 2
    low = min(low, max(float(near.min()), -_MOST_BANDS * band_k), -_ROOM_BANDS * band_k / 2)
    high = max(high, min(float(near.max()), _MOST_BANDS * band_k), _ROOM_BANDS * band_k / 2)
    return low, high


def names(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield how far off a channel is where its line lies outside what the panel shows."""
    target, shown_k, lines_of = picture.target, span_k(picture), channels(picture)
    if target is None or shown_k is None:
        return
    trace = lines_of[0][1]
    off_k, near_k = distances_k(picture, trace, target)
    value_k = np.where(np.isfinite(off_k), off_k, near_k)
    whole_s = span_s(picture)
    for low, edge in ((True, "bottom"), (False, "top")):
        out = value_k < shown_k[0] if low else value_k > shown_k[1]
        turns = np.flatnonzero(np.diff(np.concatenate([[0], out.astype(np.int8), [0]])))
        for first, stop in zip(turns[::2].tolist(), turns[1::2].tolist(), strict=True):
            from_s, to_s = float(trace.t_s[first]), float(trace.t_s[stop - 1])
            ends = [signed_difference(value_k[at], picture.how.unit) for at in (first, stop - 1)]
            full = f"{'▾' if low else '▴'} {' … '.join(dict.fromkeys(ends))}"
            share = (to_s - from_s) / whole_s
            yield {
                "name": f"outside {full[0]}",
                "text": full if len(full) <= share * _SIGNS else full[0],
                "x": picture.x([(from_s + to_s) / 2.0])[0],
                "xref": "x",
                "y": panels.up(picture, 0.0 if low else panels.LOWER),
                "yref": "paper",
                "yanchor": edge,
                "showarrow": False,
                "font": {"size": 12, "color": style_of(lines_of[0][0])[0]},
            }


def _uncertainty(
    picture: Picture, target: Target, trace: ChannelTrace, off_k: FloatArray, points: int
) -> dict[str, Any]:
    """The expanded uncertainty around the deciding channel: one closed outline a stretch."""
    t_s, edge = outline(picture, trace, off_k, points)
    return {
        **scatter(picture.x(t_s), picture.dy(edge), ("rgba(0,0,0,0)", "solid", 0), "y2"),
        "name": "uncertainty",
        "meta": {
            "part": "uncertainty",
            "channel": trace.name,
            "key": f"U {trace.name} {target.against}",
            "whole": True,
        },
        "fill": "toself",
        "fillcolor": DAY["doubt"],
        "hoverinfo": "skip",
    }


def outline(
    picture: Picture, trace: ChannelTrace, value: FloatArray, points: int
) -> tuple[list[float], FloatArray]:
    """Return instants and values around U of each stretch of a line, NaN between them."""
    low = picture.drawn(trace.t_s, value - trace.expanded_k, points // 2)
    high = picture.drawn(trace.t_s, value + trace.expanded_k, points // 2)
    t_s: list[float] = []
    edge: list[float] = []
    for under, over in zip(
        downsampling.stretches(*low), downsampling.stretches(*high), strict=False
    ):
        around = [*under, *over[::-1], under[0], (under[0][0], np.nan)]
        t_s += [point[0] for point in around]
        edge += [point[1] for point in around]
    return t_s, np.array(edge)


def _bands(picture: Picture, target: Target) -> Iterable[dict[str, Any]]:
    """The band that each segment allows."""
    t_s: list[float] = []
    band: list[float] = []
    for from_s, to_s, band_k in target.bands(picture.end_s):
        t_s += [from_s, to_s, to_s]
        band += [band_k, band_k, np.nan]
    for sign in (1.0, -1.0):
        yield {
            **scatter(
                picture.x(t_s),
                picture.dy(sign * np.array(band)),
                (DAY["accent"], "2px,4px", 1.2),
                "y2",
            ),
            "name": "band",
            "hoverinfo": "skip",
        }
