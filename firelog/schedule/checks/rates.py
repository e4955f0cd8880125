"""Rates of heating and cooling: the worst window of the stretch a requirement looks at decides."""

from __future__ import annotations

import numpy as np

from firelog.physics import conformity
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
from firelog.schedule.checks.slopes import (
    NONE,
    Slopes,
    crossings,
    slopes,
    together,
    whole_stretch,
)
from firelog.schedule.plan.model import Check
from firelog.schedule.plan.requirements import Ramp
from firelog.schedule.series import Hole, Series, highest_in, holes, lowest_in
from firelog.verdict import Decision, Limit, Side, Verdict

LEAST_SHOWN_K_PER_H = 1.0


def ramp(firing: PreparedFiring, requirement: Ramp, span: TimeSpan, series: Series) -> Answer:
    """Judge one channel's rate [K/h]: the worst window of the span and the temperatures asked.

    Guarded by the U (k = 2) [K/h] of that window (JCGM 106:2012, 8.3.2). What was crossed faster
    than a window resolves is judged by its mean over the crossing. Not proven where no rate can be
    told, where a hole touches the temperatures asked, and while the firing runs.
    """
    limits = f"{requirement.limit_words(firing.schedule.unit)} was asked"
    if span.lost:
        why = f"{series.name}: {span.lost}; {limits}."
        return Answer(_unknown(requirement, series, why), -np.inf)
    windows, quick = _found(firing, requirement, span, series)
    if not len(windows) and not len(quick):
        where = ""
        if requirement.between_c is not None:
            where = " between " + " and ".join(map(firing.temperature, requirement.between_c))
        why = (
            f"{series.name} has no unbroken stretch of {show_duration(requirement.over_s)}"
            f"{where}, so no rate can be told; {limits}."
        )
        return Answer(_unknown(requirement, series, why), -np.inf)
    answer = worst_answer(
        _against(firing, requirement, series, (windows, quick), limit)
        for limit in requirement.limits
    )
    if answer.check.verdict is not Verdict.PASS:
        return answer
    check = answer.check
    for hole in holes(series, *span.with_holes_s, firing.schedule.hole_s):
        if _touches(hole, series, requirement.between_c):
            return Answer(not_proven(check, in_hole(hole)), answer.margin)
    if span.still_open:
        check = not_proven(check, f"kept so far, and {firing.more_to_come}")
    return Answer(check, answer.margin)


def _found(
    firing: PreparedFiring, requirement: Ramp, span: TimeSpan, series: Series
) -> tuple[Slopes, Slopes]:
    """Return the windows that the requirement is about, and what was too quick for a window."""
    gap_s, over_s = firing.schedule.hole_s, requirement.over_s
    windows = _signed(firing, requirement, slopes(series, over_s, span.lo_s, span.hi_s, gap_s))
    if requirement.between_c is None:
        if len(windows) or span.hi_s - span.lo_s >= over_s or span.still_open:
            return windows, NONE
        doubt_s = float(np.hypot(span.lo_u_s, span.hi_u_s))
        whole = () if holes(series, span.lo_s, span.hi_s, gap_s) else (span.lo_s, span.hi_s)
        quick = whole_stretch(series, whole, doubt_s) if whole else NONE
        return windows, _signed(firing, requirement, quick)
    low_c, high_c = requirement.between_c
    windows = windows.at((windows.mean_c >= low_c) & (windows.mean_c <= high_c))
    quick = crossings(series, over_s, (span.lo_s, span.hi_s), requirement.between_c, gap_s)
    quick = _signed(firing, requirement, quick)
    return windows, quick.at(quick.k_per_h > 0)


def _signed(firing: PreparedFiring, requirement: Ramp, found: Slopes) -> Slopes:
    direction = _direction(firing, requirement)
    if direction == "heating":
        return found
    rate = -found.k_per_h if direction == "cooling" else np.abs(found.k_per_h)
    return Slopes(found.t_s, rate, *(getattr(found, name) for name in _REST))


_REST = tuple(Slopes.__dataclass_fields__)[2:]


def _against(
    firing: PreparedFiring,
    requirement: Ramp,
    series: Series,
    found: tuple[Slopes, Slopes],
    limit: Limit,
) -> Answer:
    """Hold the worst rate against one limit.

    Windows that reach beyond the temperatures asked may hold what was done outside them: they can
    keep a pass from being proven, and only windows wholly inside (or a quick crossing) prove a
    fail. For a lowest rate, windows around a quick crossing say nothing: they hold its end too.
    """
    windows, quick = found
    if limit.side is Side.AT_LEAST:
        for from_s, to_s in zip(quick.from_s, quick.to_s, strict=True):
            windows = windows.at((windows.to_s < from_s) | (windows.from_s > to_s))
    every = together(windows, quick)
    check, margin = _worst(firing, requirement, series, every, limit)
    if check.verdict is not Verdict.FAIL or requirement.between_c is None:
        return Answer(check, margin)
    low_c, high_c = requirement.between_c
    wholly = together(windows.at((windows.low_c >= low_c) & (windows.high_c <= high_c)), quick)
    if len(wholly):
        inner, inner_margin = _worst(firing, requirement, series, wholly, limit)
        if inner.verdict is not Verdict.FAIL:
            why = "part of that stretch lies outside the temperatures asked"
            return Answer(not_proven(check, why), inner_margin)
        return Answer(inner, inner_margin)
    return Answer(check, margin)


def _worst(
    firing: PreparedFiring, requirement: Ramp, series: Series, found: Slopes, limit: Limit
) -> tuple[Check, float]:
    sign = -1.0 if limit.side is Side.AT_MOST else 1.0
    at = int(np.argmin(sign * found.k_per_h))
    measured, u = float(found.k_per_h[at]), float(found.expanded_k_per_h[at])
    at_s, lasted_s = float(found.t_s[at]), float(found.to_s[at] - found.from_s[at])
    worst = "fastest" if sign < 0 else "slowest"
    stretch = requirement.over_s if lasted_s >= 0.5 * requirement.over_s else lasted_s
    sure = f"sure to within {firing.rate(max(u, LEAST_SHOWN_K_PER_H))}"
    if requirement.decision is Decision.SIMPLE:
        sure = "compared plainly, uncertainty left aside"
    elif not np.isfinite(u):
        sure = "no tolerance is defined for this thermocouple there, so it proves nothing"
    why = (
        f"{series.name}, {worst} {show_duration(stretch)} at {firing.rate(measured)} "
        f"{firing.after(at_s)}; {requirement.limit_words(firing.schedule.unit)} was asked ({sure})."
    )
    verdict = conformity.met(measured, limit, u, requirement.decision)
    check = check_of(
        requirement, verdict, why, asked=limit, measured=measured, uncertainty=u, at_s=at_s,
        channel=series.name,
    )  # fmt: skip
    return check, sign * (measured - limit.value)


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


def _touches(hole: Hole, series: Series, between_c: tuple[float, float] | None) -> bool:
    """True when the hole may have held a part of the ramp that the requirement is about."""
    if between_c is None:
        return True
    low_c, high_c = between_c
    if np.isfinite(hole.before_c) and np.isfinite(hole.after_c):
        sides = hole.before_c, hole.after_c
        return min(sides) <= high_c and max(sides) >= low_c
    return lowest_in(hole, series) <= high_c and highest_in(hole, series) >= low_c


def _unknown(requirement: Ramp, series: Series, why: str) -> Check:
    return check_of(requirement, Verdict.NOT_PROVEN, why, channel=series.name)
