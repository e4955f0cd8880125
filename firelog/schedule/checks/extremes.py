"""Checks that one extreme decides: reach, ceiling and floor."""

from __future__ import annotations

from dataclasses import replace

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
    sureness,
    used_u,
)
from firelog.schedule.checks.peaks import SMALL_K, Extreme, proven_beyond, settled
from firelog.schedule.plan.model import Check
from firelog.schedule.plan.requirements import Ceiling, Floor, Reach
from firelog.schedule.series import Hole, Series, highest_in, holes, lowest_in
from firelog.verdict import Decision, Limit, Side, Verdict


# ---------------------------------------------------------------- reach
def reach(firing: PreparedFiring, requirement: Reach, span: TimeSpan, series: Series) -> Answer:
    """Judge one channel: its highest (cooling: lowest) reading [°C] no later than the deadline [s].

    Guarded by its U (k = 2) [K] (JCGM 106:2012, 8.3.2). A miss is not proven where a hole could
    hide it, or while it is not yet due.
    """
    deadline_s, due = span.hi_s, not span.still_open
    if requirement.within_s is not None:
        deadline_s = span.lo_s + requirement.within_s
        due = not firing.is_open or (not span.lost and deadline_s <= firing.end_s)
    at = series.between(span.lo_s, min(deadline_s, firing.end_s))
    heating = _heats(firing, requirement, span, series)
    asked = replace(requirement.limits[0], side=Side.AT_LEAST if heating else Side.AT_MOST)
    limit_c = asked.value
    peak = _decisive(series, at, limit_c, requirement.decision, highest=heating)
    if peak is None:
        why = (
            f"{series.name} has no usable reading in time; {firing.temperature(limit_c)} was asked."
        )
        return Answer(_answer(requirement, asked, series, Verdict.NOT_PROVEN, why), -np.inf)
    verdict = conformity.met(peak.temp_c, asked, peak.expanded_k, requirement.decision)
    why = _reach_words(firing, requirement, series, peak, heating)
    check = _answer(requirement, asked, series, verdict, why, peak=peak)
    guard_k = np.nan_to_num(used_u(peak.expanded_k, requirement.decision))
    if verdict is Verdict.FAIL:
        until_s = min(deadline_s, firing.end_s)
        hole = _hiding(
            firing, series, (span.lo_s, until_s), limit_c, guard_k=guard_k, above=heating
        )  # fmt: skip
        if hole is not None:
            check = not_proven(check, in_hole(hole))
    if check.verdict is not Verdict.PASS and not due:
        check = not_proven(check, firing.not_due)
    if span.lost and (check.verdict is Verdict.PASS or requirement.within_s is not None):
        check = not_proven(check, span.lost)
    sign = 1.0 if heating else -1.0
    return Answer(check, sign * (peak.temp_c - limit_c))


def _decisive(
    series: Series, at: slice, limit_c: float, decision: Decision, *, highest: bool
) -> Extreme | None:
    """Return the extreme that decides: one provably beyond the limit, else the best estimate.

    A best estimate that itself looks beyond the limit while nothing proves it is given a U that
    leaves it open.
    """
    best = settled(series, at, highest=highest)
    if best is None or decision is Decision.SIMPLE:
        return best
    beyond = proven_beyond(series, at, limit_c, highest=highest)
    if beyond is not None:
        return beyond
    over_k = (best.temp_c - limit_c) * (1.0 if highest else -1.0)
    unsure = np.isnan(best.expanded_k) or over_k <= best.expanded_k
    return best if unsure else replace(best, expanded_k=over_k + SMALL_K)


def _heats(firing: PreparedFiring, requirement: Reach, span: TimeSpan, series: Series) -> bool:
    """Heating or cooling: as the file says, else as the plan first comes to the temperature.

    A kiln that is loaded hot may start above a temperature that the plan goes up to: it has
    reached it then. Only a plan that comes down to the temperature reaches it by cooling.
    """
    if requirement.by is not None:
        return requirement.by == "heating"
    asked_c, segments = requirement.temperature_c, firing.schedule.segments
    names = [segment.name for segment in segments]
    first = 0 if requirement.segment is None else names.index(requirement.segment)
    before_c = segments[first - 1].target_c if first else _start_c(firing, span, series)
    for segment in segments[first:]:
        if segment.target_c >= asked_c or segment.is_hold:
            return True
        if before_c > asked_c:
            return False
        before_c = segment.target_c
    return True


def _start_c(firing: PreparedFiring, span: TimeSpan, series: Series) -> float:
    if firing.schedule.start_c is not None:
        return firing.schedule.start_c
    at = series.between(span.lo_s, span.hi_s)
    return float(series.temp_c[at][0]) if at.start < at.stop else -np.inf


def _reach_words(
    firing: PreparedFiring, requirement: Reach, series: Series, peak: Extreme, heating: bool
) -> str:
    asked = f"{firing.temperature(requirement.temperature_c)} was asked"
    if requirement.within_s is not None:
        since = f"of {requirement.segment!r}" if requirement.segment else "of the firing"
        asked += f" within {show_duration(requirement.within_s)} {since}"
    return (
        f"{series.name}, {_what(peak, heating)} in time {firing.temperature(peak.temp_c, 1)} "
        f"{firing.after(float(series.t_s[peak.index]))}; {asked} "
        f"({sureness(firing, peak.expanded_k, requirement.decision)})."
    )


def _what(peak: Extreme, highest: bool) -> str:
    side = "highest" if highest else "lowest"
    return f"{side} mean of {show_duration(peak.over_s)}" if peak.over_s else f"{side} reading"


# ---------------------------------------------------------------- ceiling and floor
def limit(
    firing: PreparedFiring, requirement: Ceiling | Floor, span: TimeSpan, series: Series
) -> Answer:
    """Judge one channel by its highest (floor: lowest) temperature [°C] of the span.

    Guarded by its U (k = 2) [K], noise included (JCGM 106:2012, 8.3.2). Kept is not proven where a
    hole could hide more, and while the firing runs.
    """
    allowed = requirement.limits[0]
    above, limit_c = allowed.side is Side.AT_MOST, allowed.value
    at = series.between(span.lo_s, span.hi_s)
    peak = _decisive(series, at, limit_c, requirement.decision, highest=above)
    asked = f"{firing.words(requirement)} was asked"
    if peak is None or span.lost:
        why = f"{series.name}: {span.lost or 'there is no usable reading'}; {asked}."
        return Answer(_answer(requirement, allowed, series, Verdict.NOT_PROVEN, why), -np.inf)
    verdict = conformity.met(peak.temp_c, allowed, peak.expanded_k, requirement.decision)
    why = (
        f"{series.name}, {_what(peak, above)} {firing.temperature(peak.temp_c, 1)} "
        f"{firing.after(float(series.t_s[peak.index]))}; {asked} "
        f"({sureness(firing, peak.expanded_k, requirement.decision)})."
    )
    check = _answer(requirement, allowed, series, verdict, why, peak=peak)
    if verdict is Verdict.FAIL and not _fails_inside(requirement, span, series):
        why = "only at an edge of the segment, which may be as far off itself"
        check = not_proven(check, why)
    if verdict is Verdict.PASS:
        guard_k = np.nan_to_num(used_u(peak.expanded_k, requirement.decision))
        hole = _hiding(firing, series, span.with_holes_s, limit_c, guard_k=guard_k, above=above)
        if hole is not None:
            check = not_proven(check, in_hole(hole))
        elif span.still_open:
            check = not_proven(check, f"kept so far, and {firing.more_to_come}")
    sign = -1.0 if above else 1.0
    return Answer(check, sign * (peak.temp_c - limit_c))


def _fails_inside(requirement: Ceiling | Floor, span: TimeSpan, series: Series) -> bool:
    """Return whether a limit is broken even where the segment's ends [s] are as late and early."""
    if requirement.segment is None or not (span.lo_u_s or span.hi_u_s):
        return True
    allowed = requirement.limits[0]
    at = series.between(span.lo_s + span.lo_u_s, span.hi_s - span.hi_u_s)
    above = allowed.side is Side.AT_MOST
    peak = _decisive(series, at, allowed.value, requirement.decision, highest=above)
    if peak is None:
        return False
    verdict = conformity.met(peak.temp_c, allowed, peak.expanded_k, requirement.decision)
    return verdict is Verdict.FAIL


def _hiding(
    firing: PreparedFiring,
    series: Series,
    within: tuple[float, float],
    limit_c: float,
    *,
    guard_k: float,
    above: bool,
) -> Hole | None:
    """Return the first hole in which the kiln could have come as far as the limit, or None."""
    lo_s, hi_s = within
    for hole in holes(series, lo_s, hi_s, firing.schedule.hole_s):
        if above and highest_in(hole, series, hi_s) >= limit_c - guard_k:
            return hole
        if not above and lowest_in(hole, series, hi_s) <= limit_c + guard_k:
            return hole
    return None


def _answer(
    requirement: Reach | Ceiling | Floor,
    asked: Limit,
    series: Series,
    verdict: Verdict,
    why: str,
    *,
    peak: Extreme | None = None,
) -> Check:
    if peak is None:
        return check_of(requirement, verdict, why, asked=asked, channel=series.name)
    return check_of(
        requirement,
        verdict,
        why,
        asked=asked,
        measured=peak.temp_c,
        uncertainty=peak.expanded_k,
        at_s=float(series.t_s[peak.index]),
        channel=series.name,
    )
