"""What is asked, drawn where it is: levels along their stretch, rates and distances at a spot.

Each limit says its sense in words; its words stand on the side that is forbidden.
"""

from __future__ import annotations

import html
from collections.abc import Iterable
from typing import Any

import numpy as np

from firelog.say.limits import limit_words
from firelog.say.verdicts import SIGNS
from firelog.schedule.plan.model import ChannelTrace, Check
from firelog.schedule.plan.requirements import Ramp, Requirement, Spread, Track
from firelog.verdict import Side, Verdict
from firelog.view import downsampling
from firelog.view.asked import Level
from firelog.view.figure.lines import scatter
from firelog.view.palette import DAY
from firelog.view.picture import Picture, span_s

_DASH = "14px,3px,2px,3px"
_LEAST_SHARE = 0.05  # of the width: a slope at a spot is still seen
_SIGNS = 115  # of a label that fit across the picture


def levels(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield a line for each temperature that a requirement asks."""
    for one in picture.levels:
        if one.side is None:
            continue  # an aim has a line of its own
        ends = [one.from_s, max(one.to_s, one.from_s + 1.0)]
        yield {
            **scatter(picture.x(ends), picture.y(np.full(2, one.temp_c)), _style(picture, one)),
            "name": html.escape(one.name),
            "meta": {"part": "limit", "words": one.words},
            "text": [html.escape(f"{one.words}: {one.name}")] * 2,
            "hovertemplate": "%{text}<extra></extra>",
        }
    yield from _spots(picture)


def names(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield each limit's words, on its forbidden side; one of a level that is asked twice."""
    said: set[tuple[float, str]] = set()
    for one in picture.levels:
        key = (round(one.temp_c, 1), one.words)
        if one.side is None or key in said:
            continue
        said.add(key)
        upper = one.side is Side.AT_MOST
        share = (one.to_s - one.from_s) / span_s(picture)
        full = f"{one.words}: {one.name}"
        text = full if len(full) <= share * _SIGNS else one.words
        yield {
            "name": f"limit {one.words}",
            "text": html.escape(text),
            "x": picture.x([one.from_s if share < 0.12 else one.from_s + 0.01 * span_s(picture)])[
                0
            ],
            "xref": "x",
            "xanchor": "left",
            "y": picture.y(np.array([one.temp_c]))[0],
            "yref": "y",
            "yanchor": "bottom" if upper else "top",
            "showarrow": False,
            "font": {"size": 12, "color": _style(picture, one)[0]},
        }


def stretches(picture: Picture) -> dict[str, list[str]]:
    """Return from when to when each name of :func:`names` may stand."""
    found = [one for one in picture.levels if one.side is not None]
    return {f"limit {one.words}": picture.x([one.from_s, one.to_s]) for one in found}


def _style(picture: Picture, one: Level) -> tuple[str, str, float]:
    verdict = _verdict(picture, one.name)
    colour = DAY["soft"] if verdict in (None, Verdict.PASS) else DAY[SIGNS[verdict].name]
    return colour, _DASH, 1.3


def _verdict(picture: Picture, name: str) -> Verdict | None:
    checks = picture.judgement.checks if picture.judgement else ()
    found = next((check.verdict for check in checks if check.requirement == name), None)
    return None if picture.running and found is Verdict.NOT_PROVEN else found


# ---------------------------------------------------------------- at one spot
def _spots(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield the limit of a rate or a distance where the check was decided."""
    asked = {one.name: one for one in picture.schedule.requirements} if picture.schedule else {}
    for check in picture.judgement.checks if picture.judgement else ():
        one, trace = asked.get(check.requirement), _trace(picture, check)
        if one is None or trace is None or check.at_s is None or check.verdict is Verdict.PASS:
            continue
        made = _spot(picture, one, check, trace)
        if made is None:
            continue
        t_s, temp_c = made
        words = f"{limit_words(check.asked, picture.how.unit)}: {check.requirement}"
        colour = DAY[SIGNS[check.verdict].name]
        yield {
            **scatter(picture.x(t_s), picture.y(np.array(temp_c)), (colour, _DASH, 1.6)),
            "name": html.escape(check.requirement),
            "meta": {"part": "limit", "words": words},
            "text": [html.escape(words)] * len(t_s),
            "hovertemplate": "%{text}<extra></extra>",
        }


def _spot(
    picture: Picture, one: Requirement, check: Check, trace: ChannelTrace
) -> tuple[list[float], list[float]] | None:
    at_s = float(check.at_s or 0.0)
    if isinstance(one, Ramp):
        kept = downsampling.usable(trace.t_s, trace.temp_c)
        half_s = max(one.over_s / 2.0, _LEAST_SHARE * span_s(picture) / 2.0)
        before_c, here_c, after_c = np.interp(
            [at_s - half_s, at_s, at_s + half_s], trace.t_s[kept], trace.temp_c[kept]
        )
        rise_k = check.limit * half_s / 3600.0 * (-1.0 if after_c < before_c else 1.0)
        return [at_s - half_s, at_s + half_s], [here_c - rise_k, here_c + rise_k]
    if isinstance(one, Spread):
        here = [_at(other, at_s) for other in picture.believed if other.role == trace.role]
        known = [temp_c for temp_c in here if np.isfinite(temp_c)]
        if known:
            return [at_s, at_s], [min(known), min(known) + check.limit]
    return None


def _at(trace: ChannelTrace, t_s: float) -> float:
    kept = downsampling.usable(trace.t_s, trace.temp_c)
    return float(np.interp(t_s, trace.t_s[kept], trace.temp_c[kept])) if len(kept) else float("nan")


def _trace(picture: Picture, check: Check) -> ChannelTrace | None:
    return next((one for one in picture.believed if one.name == check.channel), None)


# ---------------------------------------------------------------- around the target
def bands(picture: Picture) -> Iterable[dict[str, Any]]:
    """Yield the band around the target that a requirement asks for, in the lower panel."""
    for one in picture.schedule.requirements if picture.schedule else ():
        if not isinstance(one, Track):
            continue
        span = picture.spans[one.name]
        ends = [span.lo_s, span.hi_s, span.hi_s]
        for sign in (1.0, -1.0):
            values = sign * np.array([one.band_k, one.band_k, np.nan])
            yield {
                **scatter(picture.x(ends), picture.dy(values), (DAY["soft"], _DASH, 1.3), "y2"),
                "name": html.escape(one.name),
                "meta": {"part": "limit", "words": one.words(picture.how.unit)},
                "text": [html.escape(f"{one.name}: {one.words(picture.how.unit)}")] * 3,
                "hovertemplate": "%{text}<extra></extra>",
            }
