"""The lower panel of a firing: each channel's deviation from its target, with U and the band."""

from __future__ import annotations

import html
from collections.abc import Iterable
from typing import Any

import numpy as np

from firelog.readings import FloatArray
from firelog.schedule.plan.model import ChannelTrace
from firelog.view import downsampling
from firelog.view.figure.lines import degree_off, points_in_lower_panel, scatter, style_of
from firelog.view.palette import DAY
from firelog.view.picture import Picture, deviation_k
from firelog.view.target import Target


def lines(picture: Picture, target: Target) -> Iterable[dict[str, Any]]:
    """Yield the lines of the lower panel against one target."""
    yield from _bands(picture, target)
    meant = {trace.name for trace in picture.followed}
    drawn = [(n, trace) for n, trace in enumerate(picture.highlighted) if trace.name in meant]
    points = points_in_lower_panel(len(drawn) * len(picture.targets))
    for place, (number, trace) in enumerate(drawn):
        off_k = deviation_k(trace, target)
        if place == 0:
            yield _uncertainty(picture, trace, off_k, points)
        t_s, value = downsampling.drawn(trace.t_s, off_k, points)
        name = html.escape(trace.name)
        yield {
            **scatter(picture.x_ms(t_s), picture.dy(value), style_of(number), "y2"),
            "name": name,
            "meta": {"channel": trace.name, "part": "off target"},
            "hovertemplate": f"%{{y:+.0f}} {degree_off(picture)} {name}<extra></extra>",
        }


def _uncertainty(
    picture: Picture, trace: ChannelTrace, off_k: FloatArray, points: int
) -> dict[str, Any]:
    """The expanded uncertainty around the deciding channel: one closed outline a stretch."""
    low = downsampling.drawn(trace.t_s, off_k - trace.expanded_k, points // 2)
    high = downsampling.drawn(trace.t_s, off_k + trace.expanded_k, points // 2)
    t_s: list[float] = []
    edge: list[float] = []
    for under, over in zip(
        downsampling.stretches(*low), downsampling.stretches(*high), strict=False
    ):
        outline = [*under, *over[::-1], under[0], (under[0][0], np.nan)]
        t_s += [point[0] for point in outline]
        edge += [point[1] for point in outline]
    return {
        **scatter(
            picture.x_ms(t_s), picture.dy(np.array(edge)), ("rgba(0,0,0,0)", "solid", 0), "y2"
        ),
        "name": "uncertainty",
        "meta": {"part": "uncertainty"},
        "fill": "toself",
        "fillcolor": DAY["doubt"],
        "hoverinfo": "skip",
    }


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
                picture.x_ms(t_s),
                picture.dy(sign * np.array(band)),
                (DAY["accent"], "2px,4px", 1.2),
                "y2",
            ),
            "name": "band",
            "hoverinfo": "skip",
        }
