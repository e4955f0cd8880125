"""Rates of heating and cooling: straight lines fitted over a moving window, with their own U."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firelog.physics import conformity
from firelog.readings import FloatArray
from firelog.say.durations import show_duration
from firelog.schedule.checks.basis import (
    Answer,
    PreparedFiring,
    TimeSpan,
    check_of,
    in_hole,
    not_proven,
    worst_answer,
)
from firelog.schedule.plan.model import Check
from firelog.schedule.plan.requirements import Ramp
from firelog.schedule.series import Series, holes, worst_of_many
from firelog.verdict import Decision, Side, Verdict

FULL_WINDOW = 0.85  # a window counts when its readings span this much of it
LEAST_READINGS = 5
PER_WINDOW = 60
LEAST_SHOWN_K_PER_H = 1.0
OUTLIERS = 4.0  # readings farther than this many deviations from the line are left out, once


@dataclass(frozen=True)
class Slopes:
    """Rates [K/h] at window centres [s] with U (k = 2) [K/h], mean temperature [°C]; all (n,)."""

    t_s: FloatArray
    k_per_h: FloatArray
    expanded_k_per_h: FloatArray
    mean_c: FloatArray


def slopes(series: Series, over_s: float, lo_s: float, hi_s: float, longest_gap_s: float) -> Slopes:
    """Fit a line [K/h] to every window of length ``over_s`` [s] that lies inside [lo, hi] [s].

    Readings are first averaged to about sixty a window. Least squares by running sums (cost linear
    in the readings), repeated once without those that lie far from their line. U combines the
    scatter of the fit with the change of the thermocouple's own U across the window: a fixed error
    does not bend a slope. The scatter is covered for the worst of all windows, which strays farther
    than any one of them. Windows with a hole longer than ``longest_gap_s`` [s] are left out.

    Source: ordinary least squares with its standard error; that a window of 85 % counts, and four
    robust deviations for an outlier, are common practice, no source.
    """
    at = series.between(lo_s, hi_s)
    t_s, temp_c, u_k = series.t_s[at], series.temp_c[at], series.expanded_k[at]
    empty = np.empty(0)
    if len(t_s) < LEAST_READINGS or t_s[-1] - t_s[0] < FULL_WINDOW * over_s:
        return Slopes(empty, empty, empty, empty)
    t_s, temp_c, u_k = _thinned(t_s, temp_c, u_k, over_s / PER_WINDOW)
    first = np.arange(len(t_s))
    last = np.searchsorted(t_s, t_s + over_s + 1e-9, "right")
    weight = np.ones_like(t_s)
    fit = _fit(t_s, temp_c, weight, first, last)
    centre = np.clip(np.searchsorted(t_s, t_s - over_s / 2), 0, len(t_s) - 1)
    off = np.abs(temp_c - (fit.level[centre] + fit.slope[centre] * (t_s - fit.middle[centre])))
    scatter = 1.4826 * float(np.median(off))
    if scatter > 0:
        weight = np.where(off > np.maximum(OUTLIERS * scatter, 1.0), 0.0, 1.0)
        if weight.sum() >= 0.8 * len(weight):
            fit = _fit(t_s, temp_c, weight, first, last)
    wide = np.concatenate(([0], np.cumsum(np.diff(t_s) > longest_gap_s)))
    ends = last - 1
    whole = (
        (t_s[ends] - t_s >= FULL_WINDOW * over_s)
        & (fit.count >= LEAST_READINGS)
        & (wide[ends] == wide[first])
    )
    tolerance = np.abs(u_k[ends] - u_k[first]) / np.maximum(t_s[ends] - t_s, 1e-9)
    cover = worst_of_many((t_s[-1] - t_s[0]) / over_s)
    expanded = np.hypot(cover * fit.slope_u, tolerance) * 3600.0
    return Slopes(fit.middle[whole], fit.slope[whole] * 3600.0, expanded[whole], fit.level[whole])


def _thinned(
    t_s: FloatArray, temp_c: FloatArray, u_k: FloatArray, cell_s: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return means over cells of that length; cells without a reading are left out."""
    number = ((t_s - t_s[0]) / cell_s).astype(np.int64)
    starts = np.flatnonzero(np.concatenate(([True], number[1:] != number[:-1])))
    if len(starts) == len(t_s):
        return t_s, temp_c, u_k
    count = np.diff(np.concatenate((starts, [len(t_s)])))
    t_s, temp_c, u_k = (np.add.reduceat(row, starts) / count for row in (t_s, temp_c, u_k))
    return t_s, temp_c, u_k


@dataclass(frozen=True)
class _Fit:
    slope: FloatArray
    slope_u: FloatArray
    middle: FloatArray
    level: FloatArray
    count: FloatArray


def _fit(
    t_s: FloatArray,
    temp_c: FloatArray,
    weight: FloatArray,
    first: NDArray[np.int64],
    last: NDArray[np.int64],
) -> _Fit:
    """Weighted least squares over t[first:last] for every window at once, by running sums.

    Times and temperatures are taken from their overall middle so that the sums keep their digits.
    """
    origin, base = (t_s[0] + t_s[-1]) / 2.0, float(np.mean(temp_c))
    x, y = t_s - origin, temp_c - base

    def total(values: FloatArray) -> FloatArray:
        summed = np.concatenate(([0.0], np.cumsum(values)))
        return np.asarray(summed[last] - summed[first])

    count = total(weight)
    safe = np.maximum(count, 1.0)
    mean_x, mean_y = total(weight * x) / safe, total(weight * y) / safe
    sxx = np.maximum(total(weight * x * x) - safe * mean_x**2, 1e-9)
    sxy = total(weight * x * y) - safe * mean_x * mean_y
    syy = np.maximum(total(weight * y * y) - safe * mean_y**2, 0.0)
    slope = sxy / sxx
    residual = np.maximum(syy - slope * sxy, 0.0) / np.maximum(count - 2.0, 1.0)
    return _Fit(slope, np.sqrt(residual / sxx), mean_x + origin, mean_y + base, count)


# ---------------------------------------------------------------- the check
def ramp(firing: PreparedFiring, requirement: Ramp, span: TimeSpan, series: Series) -> Answer:
    """Judge one channel's rate [K/h]: the worst window of the span and the temperatures asked.

    Guarded by the U (k = 2) [K/h] of that window (JCGM 106:2012, 8.3.2). Not proven where no window
    is whole, where a hole touches the temperatures asked, and while the firing runs.
    """
    limits = f"{requirement.limit_words(firing.schedule.unit)} was asked"
    if span.lost:
        why = f"{series.name}: {span.lost}; {limits}."
        return Answer(_unknown(requirement, series, why), -np.inf)
    found = slopes(series, requirement.over_s, span.lo_s, span.hi_s, firing.schedule.longest_gap_s)
    inside = np.ones(len(found.t_s), dtype=np.bool_)
    if requirement.between_c is not None:
        low_c, high_c = requirement.between_c
        inside = (found.mean_c >= low_c) & (found.mean_c <= high_c)
    if not inside.any():
        where = ""
        if requirement.between_c is not None:
            where = " between " + " and ".join(map(firing.temperature, requirement.between_c))
        why = (
            f"{series.name} has no unbroken stretch of {show_duration(requirement.over_s)}"
            f"{where}, so no rate can be told; {limits}."
        )
        return Answer(_unknown(requirement, series, why), -np.inf)
    answer = _decide(firing, requirement, series, found, inside)
    if answer.check.verdict is not Verdict.PASS:
        return answer
    check = answer.check
    for hole in holes(series, span.lo_s, span.hi_s, firing.schedule.longest_gap_s):
        if _touches(hole.before_c, hole.after_c, requirement.between_c):
            return Answer(not_proven(check, in_hole(hole)), answer.margin)
    if span.still_open:
        check = not_proven(check, "kept so far, and the firing still runs")
    return Answer(check, answer.margin)


def _decide(
    firing: PreparedFiring,
    requirement: Ramp,
    series: Series,
    found: Slopes,
    inside: NDArray[np.bool_],
) -> Answer:
    direction = _direction(firing, requirement)
    signed = found.k_per_h[inside]
    if direction == "cooling":
        signed = -signed
    elif direction == "either":
        signed = np.abs(signed)
    t_s, expanded = found.t_s[inside], found.expanded_k_per_h[inside]
    asked = f"{requirement.limit_words(firing.schedule.unit)} was asked"
    answers = []
    for limit in requirement.limits:
        sign = -1.0 if limit.side is Side.AT_MOST else 1.0
        at = int(np.argmin(sign * signed))
        measured, u, at_s = float(signed[at]), float(expanded[at]), float(t_s[at])
        worst = "fastest" if sign < 0 else "slowest"
        sure = f"sure to within {firing.rate(max(u, LEAST_SHOWN_K_PER_H))}"
        if requirement.decision is Decision.SIMPLE:
            sure = "compared plainly, uncertainty left aside"
        elif not np.isfinite(u):
            sure = "no tolerance is defined for this thermocouple there, so it proves nothing"
        why = (
            f"{series.name}, {worst} {show_duration(requirement.over_s)} at "
            f"{firing.rate(measured)} {firing.after(at_s)}; {asked} ({sure})."
        )
        verdict = conformity.met(measured, limit, u, requirement.decision)
        check = check_of(
            requirement, verdict, why, asked=limit, measured=measured, uncertainty=u, at_s=at_s,
            channel=series.name,
        )  # fmt: skip
        answers.append(Answer(check, sign * (measured - limit.value)))
    return worst_answer(answers)


def _direction(firing: PreparedFiring, requirement: Ramp) -> str:
    if requirement.direction is not None:
        return requirement.direction
    if requirement.segment is None:
        return "heating"
    segments = firing.schedule.segments
    number = [segment.name for segment in segments].index(requirement.segment)
    before_c = segments[number - 1].target_c if number else firing.schedule.start_c
    if before_c is None or segments[number].target_c >= before_c:
        return "heating"
    return "cooling"


def _touches(before_c: float, after_c: float, between_c: tuple[float, float] | None) -> bool:
    """True when the hole may have held a part of the ramp that the requirement is about."""
    if between_c is None:
        return True
    low_c, high_c = between_c
    known = [value for value in (before_c, after_c) if np.isfinite(value)]
    if len(known) < 2:
        return True
    return min(known) <= high_c and max(known) >= low_c


def _unknown(requirement: Ramp, series: Series, why: str) -> Check:
    return check_of(requirement, Verdict.NOT_PROVEN, why, channel=series.name)
