"""The figure of a heat's last half hour: metal, moulds, the window, the pours.

Pure, and drawn on the sheet of a firing's picture: what the lance and the crucible read, beside
it what was computed (dashed, with its doubt), and at each pour a mark with its verdict.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from typing import Any

import numpy as np

from firelog.physics.metal.cooling import expanded_over
from firelog.pouring.mould import MouldCooling
from firelog.pouring.verify import PourAssessment
from firelog.quantity import How, Quantity
from firelog.say.numbers import degree
from firelog.say.verdicts import SIGNS
from firelog.units import from_celsius, seconds_since
from firelog.view.figure.firing import firing_figure
from firelog.view.heat import HeatView
from firelog.view.palette import DAY
from firelog.view.picture import Picture

_MOULD_POINTS = 60
_ABOVE, _BELOW = 0.63, 0.50  # where the upper panel begins, and the lower one ends


def heat_figure(view: HeatView) -> dict[str, Any]:
    """Return the figure of a heat as plain data that plotly.js draws.

    Above the last half hour; below, on a time axis of its own, the minutes from lift to pour.
    """
    figure = firing_figure(view.picture)
    layout = figure["layout"]
    measured = [line for line in figure["data"] if line.get("meta", {}).get("part") == "measured"]
    close = [*measured, *_mould_lines(view), *_metal_lines(view), *_pour_marks(view)]
    figure["data"] += [{**line, "xaxis": "x4", "yaxis": "y4"} for line in close]
    layout["uirevision"] = f"heat {view.assessment.heat.id} {view.how.unit}"
    layout["hovermode"] = "closest"
    _two_panels(view, layout)
    layout["shapes"] = [*_bands(view, "y"), *_uprights(view, "x", "y")]
    layout["shapes"] += [*_bands(view, "y4"), *_windows(view), *_uprights(view, "x4", "y4")]
    layout["annotations"] += [_note(view), *_pour_names(view)]
    return figure


def _two_panels(view: HeatView, layout: dict[str, Any]) -> None:
    low, high = _range(view)
    upper, lower = dict(layout["xaxis"]), dict(layout["xaxis"])
    upper |= {"title": {"text": ""}, "tickformat": "%H:%M", "tickformatstops": []}
    upper["range"] = view.picture.x([view.from_s, view.to_s])
    lower["range"] = view.picture.x([_close_from_s(view), view.to_s])
    lower |= {"anchor": "y4", "nticks": 7, "tickangle": 0}
    lower["tickformatstops"] = [
        {"dtickrange": [None, 59_999], "value": "%H:%M:%S"},
        {"dtickrange": [60_000, None], "value": "%H:%M"},
    ]
    layout["xaxis"], layout["xaxis4"] = upper, lower
    layout["yaxis4"] = {
        **layout["yaxis"],
        "domain": [0.0, _BELOW],
        "range": [low, high],
        "anchor": "x4",
    }
    layout["yaxis"] |= {"domain": [_ABOVE, 0.90], "range": [low, high], "nticks": 5}


def _close_from_s(view: HeatView) -> float:
    """Return from when the lower panel shows: a minute before the lift or the first kiln-out."""
    heat = view.assessment.heat
    instants = [heat.lifted_us] if heat.lifted_us is not None else []
    instants += [pour.pour.out_us or pour.pour.began_us for pour in view.assessment.pours]
    if not instants:
        return view.from_s
    return max(view.from_s, _s(view, min(instants)) - 60.0)


def _note(view: HeatView) -> dict[str, Any]:
    return {
        "text": f"from the lift to the last pour, {degree(view.how.unit)}",
        "x": 0,
        "xref": "paper",
        "xanchor": "left",
        "y": _BELOW + 0.005,
        "yref": "paper",
        "yanchor": "bottom",
        "showarrow": False,
        "font": {"size": 13, "color": DAY["soft"]},
    }


# ---------------------------------------------------------------- computed lines
def _metal_lines(view: HeatView) -> Iterable[dict[str, Any]]:
    """From the dip that a pour was reckoned from, down to the metal at its lip."""
    dips = {dip.at_us: dip for dip in view.assessment.dips}
    for pour in view.assessment.pours:
        metal = pour.metal
        if not isinstance(metal, Quantity) or pour.dip_us is None or metal.how is How.MEASURED:
            continue
        dip = dips[pour.dip_us]
        start_us = max(dip.at_us, view.assessment.heat.lifted_us or dip.at_us)
        hot_c = dip.dip.settled_c if dip.dip.settled else dip.dip.last_c
        t_s = [_s(view, start_us), _s(view, pour.pour.began_us)]
        yield _computed(
            view.picture, np.array(t_s), np.array([hot_c, metal.value]), "ember", "metal, computed"
        )


def _mould_lines(view: HeatView) -> Iterable[dict[str, Any]]:
    for pour in view.assessment.pours:
        if not isinstance(pour.mould_course, MouldCooling):
            continue
        course, out_s = pour.mould_course.course, _s(view, pour.mould_course.out_us)
        last_s = _s(view, pour.pour.began_us) - out_s
        after_s = np.linspace(0.0, last_s, _MOULD_POINTS)
        core, doubt = expanded_over(course, after_s, pour.mould_course.out_within_s)
        yield _uncertainty_band(view.picture, after_s + out_s, core, doubt)
        name = f"{pour.pour.mould}, computed"
        yield _computed(view.picture, after_s + out_s, core, "accent", name)


def _computed(picture: Picture, t_s: Any, temp_c: Any, colour: str, name: str) -> dict[str, Any]:
    said = html.escape(name)
    return {
        "type": "scatter",
        "mode": "lines",
        "x": picture.x(t_s),
        "y": picture.y(temp_c),
        "line": {"color": DAY[colour], "dash": "6px,3px", "width": 2.0},
        "name": said,
        "meta": {"part": "computed"},
        "hovertemplate": f"%{{y:.0f}} {said}<extra></extra>",
    }


def _uncertainty_band(picture: Picture, t_s: Any, temp_c: Any, doubt_k: Any) -> dict[str, Any]:
    around = np.concatenate((temp_c - doubt_k, (temp_c + doubt_k)[::-1]))
    return {
        "type": "scatter",
        "mode": "lines",
        "x": picture.x(np.concatenate((t_s, t_s[::-1]))),
        "y": picture.y(around),
        "line": {"color": "rgba(0,0,0,0)", "width": 0},
        "fill": "toself",
        "fillcolor": DAY["doubt"],
        "name": "uncertainty",
        "meta": {"part": "uncertainty"},
        "hoverinfo": "skip",
    }


# ---------------------------------------------------------------- the pours
def _pour_marks(view: HeatView) -> Iterable[dict[str, Any]]:
    """At each pour its metal and its mould, each with U, marked by the pour's verdict."""
    for pour in view.assessment.pours:
        sign = SIGNS[pour.verdict]
        found = [(what, c, u) for what, c, u in _values(pour) if c is not None]
        if not found:
            continue
        t_s = _s(view, pour.pour.began_us)
        words = [f"{pour.pour.mould}: {what}, {pour.verdict.value}" for what, _, _ in found]
        yield {
            "type": "scatter",
            "mode": "markers",
            "x": view.picture.x([t_s] * len(found)),
            "y": view.picture.y(np.array([c for _, c, _ in found])),
            "error_y": {
                "type": "data",
                "array": view.picture.dy(np.array([u for _, _, u in found])),
                "color": DAY[sign.name],
                "thickness": 1.6,
                "width": 5,
            },
            "name": html.escape(pour.pour.mould),
            "meta": {"part": "pour"},
            "text": [html.escape(word) for word in words],
            "hovertemplate": "%{text}: %{y:.0f}<extra></extra>",
            "marker": {
                "symbol": sign.symbol,
                "size": 12,
                "color": DAY[sign.name],
                "line": {"width": 2, "color": DAY[sign.name]},
            },
        }


def _values(assessed: PourAssessment) -> Iterable[tuple[str, float | None, float]]:
    mould = assessed.mould_temperature()
    if isinstance(assessed.metal, Quantity):
        yield (
            f"metal, {assessed.metal.how}",
            assessed.metal.value,
            assessed.metal.expanded,
        )
    if isinstance(mould, Quantity):
        yield f"mould, {mould.how}", mould.value, mould.expanded


def _uprights(view: HeatView, xaxis: str, yaxis: str) -> Iterable[dict[str, Any]]:
    lifted_us = view.assessment.heat.lifted_us
    instants = [] if lifted_us is None else [(lifted_us, "ember")]
    instants += [(pour.pour.began_us, "soft") for pour in view.assessment.pours]
    for t_us, colour in instants:
        x = view.picture.x([_s(view, t_us)])[0]
        yield {
            "type": "line",
            "name": "instant",
            "xref": xaxis,
            "yref": f"{yaxis} domain",
            "x0": x,
            "x1": x,
            "y0": 0,
            "y1": 1,
            "line": {"color": DAY[colour], "width": 1, "dash": "2px,3px"},
        }


def _pour_names(view: HeatView) -> Iterable[dict[str, Any]]:
    lifted_us = view.assessment.heat.lifted_us
    names = [] if lifted_us is None else [(lifted_us, "lifted")]
    names += [(pour.pour.began_us, pour.pour.mould) for pour in view.assessment.pours]
    for t_us, name in names:
        yield {
            "text": html.escape(name),
            "x": view.picture.x([_s(view, t_us)])[0],
            "xref": "x4",
            "xanchor": "right",
            "y": 0.03,
            "yref": "y4 domain",
            "yanchor": "bottom",
            "textangle": -90,
            "showarrow": False,
            "font": {"size": 12, "color": DAY["soft"]},
        }


# ---------------------------------------------------------------- what was asked
def _bands(view: HeatView, yaxis: str) -> Iterable[dict[str, Any]]:
    """The pouring range, and the liquidus as wide as its sources disagree."""
    for label, low_c, high_c, colour in (*_ranges(view), _liquidus(view)):
        low, high = view.picture.y(np.array([low_c, high_c]))
        yield {
            "type": "rect",
            "name": label,
            "xref": "paper",
            "yref": yaxis,
            "x0": 0,
            "x1": 1,
            "y0": low,
            "y1": high,
            "fillcolor": DAY[colour],
            "line": {"width": 1 if high_c - low_c < 8.0 else 0, "color": DAY["hole"]},
            "layer": "below",
            "label": {
                "text": label,
                "textposition": "top left",
                "font": {"size": 12, "color": DAY["soft"]},
            },
        }


def _ranges(view: HeatView) -> Iterable[tuple[str, float, float, str]]:
    seen = set()
    for pour in view.assessment.pours:
        for check in pour.checks:
            if check.kind != "window" or check.low is None or check.high is None:
                continue
            key = (check.low, check.high)
            if key not in seen:
                seen.add(key)
                yield (
                    f"to be poured at, {pour.mould.section} section",
                    check.low,
                    check.high,
                    "stripe",
                )


def _liquidus(view: HeatView) -> tuple[str, float, float, str]:
    low, high = view.assessment.card.liquidus_c
    words = "liquidus" if low == high else "liquidus, as sources disagree"
    return words, low, high, "hole"


def _windows(view: HeatView) -> Iterable[dict[str, Any]]:
    """The minutes in which metal and mould of a pour were both right."""
    for pour in view.assessment.pours:
        if pour.window_us is None:
            continue
        x0, x1 = view.picture.x([_s(view, t_us) for t_us in pour.window_us])
        yield {
            "type": "rect",
            "name": "window",
            "xref": "x4",
            "yref": "y4 domain",
            "x0": x0,
            "x1": x1,
            "y0": 0,
            "y1": 1,
            "fillcolor": DAY["stripe"],
            "line": {"width": 1, "color": DAY["accent"], "dash": "1px,4px"},
            "layer": "below",
        }


def _range(view: HeatView) -> list[float]:
    """From the coldest mould to the hottest metal; a lance that hangs in the air lies below."""
    low, high = view.assessment.card.liquidus_c
    values = [low - 120.0, high + 60.0]
    for pour in view.assessment.pours:
        for _, temp_c, expanded_k in _values(pour):
            if temp_c is not None:
                around_k = 30.0 + (expanded_k if np.isfinite(expanded_k) else 0.0)
                values += [temp_c - around_k, temp_c + around_k]
    for trace in view.picture.traces:
        usable = trace.temp_c[np.isfinite(trace.temp_c)]
        if len(usable):
            values.append(float(usable.max()) + 30.0)
    return [float(from_celsius(value, view.how.unit)) for value in (min(values), max(values))]


def _s(view: HeatView, t_us: int) -> float:
    return seconds_since(view.assessment.heat.began_us, t_us)
