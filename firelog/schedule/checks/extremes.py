"""Checks that one extreme reading decides: reach, ceiling, floor, and the spread of channels."""

from __future__ import annotations

from collections.abc import Sequence
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
from firelog.schedule.plan.model import Check
from firelog.schedule.plan.requirements import Ceiling, Floor, Reach, Spread
from firelog.schedule.series import Hole, Series, highest_in, holes, lowest_in, worst_of_many
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
        due = not firing.running or (not span.lost and deadline_s <= firing.end_s)
    at = series.between(span.lo_s, min(deadline_s, firing.end_s))
    heating = _heats(firing, requirement, span, series)
    index = _extreme(series, at, heating)
    asked = replace(requirement.limits[0], side=Side.AT_LEAST if heating else Side.AT_MOST)
    limit_c = asked.value
    if index is None:
        why = (
            f"{series.name} has no usable reading in time; {firing.temperature(limit_c)} was asked."
        )
        return Answer(_answer(requirement, asked, series, Verdict.NOT_PROVEN, why), -np.inf)
    measured, expanded_k = float(series.temp_c[index]), float(series.expanded_k[index])
    verdict = conformity.met(measured, asked, expanded_k, requirement.decision)
    why = _reach_words(firing, requirement, series, index, heating)
    check = _answer(requirement, asked, series, verdict, why, index=index)
    guard_k = np.nan_to_num(used_u(expanded_k, requirement.decision))
    if verdict is Verdict.FAIL:
        hole = _hiding(
            firing,
            series,
            (span.lo_s, min(deadline_s, firing.end_s)),
            limit_c,
            guard_k=guard_k,
            above=heating,
        )
        if hole is not None:
            check = not_proven(check, in_hole(hole))
    if check.verdict is not Verdict.PASS and not due:
        check = not_proven(check, "it is not due yet")
    if span.lost and (check.verdict is Verdict.PASS or requirement.within_s is not None):
        check = not_proven(check, span.lost)
    sign = 1.0 if heating else -1.0
    return Answer(check, sign * (measured - limit_c))


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
    firing: PreparedFiring, requirement: Reach, series: Series, index: int, heating: bool
) -> str:
    measured, expanded_k = float(series.temp_c[index]), float(series.expanded_k[index])
    side = "highest" if heating else "lowest"
    asked = f"{firing.temperature(requirement.temperature_c)} was asked"
    if requirement.within_s is not None:
        since = f"of {requirement.segment!r}" if requirement.segment else "of the firing"
        asked += f" within {show_duration(requirement.within_s)} {since}"
    return (
        f"{series.name}, {side} reading in time {firing.temperature(measured, 1)} "
        f"{firing.after(float(series.t_s[index]))}; {asked} "
        f"({sureness(firing, expanded_k, requirement.decision)})."
    )


# ---------------------------------------------------------------- ceiling and floor
def limit(
    firing: PreparedFiring, requirement: Ceiling | Floor, span: TimeSpan, series: Series
) -> Answer:
    """Judge one channel by its highest (floor: lowest) reading [°C] of the span.

    Guarded by its U (k = 2) [K] (JCGM 106:2012, 8.3.2). Kept is not proven where a hole could hide
    more, and while the firing runs.
    """
    allowed = requirement.limits[0]
    above, limit_c = allowed.side is Side.AT_MOST, allowed.value
    at = series.between(span.lo_s, span.hi_s)
    index = _extreme(series, at, above)
    asked = f"{firing.words(requirement)} was asked"
    if index is None or span.lost:
        why = f"{series.name}: {span.lost or 'there is no usable reading'}; {asked}."
        return Answer(_answer(requirement, allowed, series, Verdict.NOT_PROVEN, why), -np.inf)
    index = _provably_beyond(series, at, limit_c, above, requirement) or index
    measured, expanded_k = float(series.temp_c[index]), float(series.expanded_k[index])
    verdict = conformity.met(measured, allowed, expanded_k, requirement.decision)
    side = "highest" if above else "lowest"
    why = (
        f"{series.name}, {side} reading {firing.temperature(measured, 1)} "
        f"{firing.after(float(series.t_s[index]))}; {asked} "
        f"({sureness(firing, expanded_k, requirement.decision)})."
    )
    check = _answer(requirement, allowed, series, verdict, why, index=index)
    if verdict is Verdict.PASS:
        guard_k = np.nan_to_num(used_u(expanded_k, requirement.decision))
        hole = _hiding(
            firing, series, (span.lo_s, span.hi_s), limit_c, guard_k=guard_k, above=above
        )
        if hole is not None:
            check = not_proven(check, in_hole(hole))
        elif span.still_open:
            check = not_proven(check, "kept so far, and the firing still runs")
    sign = -1.0 if above else 1.0
    return Answer(check, sign * (measured - limit_c))


def _provably_beyond(
    series: Series, at: slice, limit_c: float, above: bool, requirement: Ceiling | Floor
) -> int | None:
    """Return the extreme among readings that are beyond the limit by more than their U."""
    sign = 1.0 if above else -1.0
    plain = requirement.decision is Decision.SIMPLE
    guard_k = 0.0 if plain else series.expanded_k[at]
    beyond = sign * (series.temp_c[at] - limit_c) > guard_k
    if not beyond.any():
        return None
    ranked = np.where(beyond, sign * series.temp_c[at], -np.inf)
    return int(at.start + np.argmax(ranked))


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
    for hole in holes(series, lo_s, hi_s, firing.schedule.longest_gap_s):
        if above and highest_in(hole, series, hi_s) >= limit_c - guard_k:
            return hole
        if not above and lowest_in(hole, series, hi_s) <= limit_c + guard_k:
            return hole
    return None


def _extreme(series: Series, at: slice, highest: bool) -> int | None:
    if at.start >= at.stop:
        return None
    part = series.temp_c[at]
    return int(at.start + (np.argmax(part) if highest else np.argmin(part)))


def _answer(
    requirement: Reach | Ceiling | Floor,
    asked: Limit,
    series: Series,
    verdict: Verdict,
    why: str,
    *,
    index: int | None = None,
) -> Check:
    if index is None:
        return check_of(requirement, verdict, why, asked=asked, channel=series.name)
    return check_of(
        requirement,
        verdict,
        why,
        asked=asked,
        measured=float(series.temp_c[index]),
        uncertainty=float(series.expanded_k[index]),
        at_s=float(series.t_s[index]),
        channel=series.name,
    )


# ---------------------------------------------------------------- spread
def spread(
    firing: PreparedFiring, requirement: Spread, span: TimeSpan, chosen: Sequence[Series]
) -> Check:
    """Judge how far [K] the channels were apart at the worst instant of the span.

    The two thermocouples are taken as independent: U of the difference is the root of the sum of
    squares (GUM, JCGM 100:2008, 5.1.2), with the reading noise covered for the worst of all the
    instants looked at.
    """
    asked = f"{firing.words(requirement)} was asked"

    def unknown(why: str) -> Check:
        return check_of(requirement, Verdict.NOT_PROVEN, f"{why}; {asked}.")

    live = [series for series in chosen if len(series.t_s) > 1]
    if len(live) < 2 or span.lost:
        return unknown(span.lost or "a spread needs two channels with readings")
    base = max(live, key=lambda one: len(one.t_s))
    at = base.between(span.lo_s, span.hi_s)
    grid = base.t_s[at]
    if not len(grid):
        return unknown("there is no usable reading")
    rows = np.stack([_level_at(one, grid, firing.schedule.longest_gap_s) for one in live])
    known = np.isfinite(rows)
    apart = np.where(known, rows, -np.inf).max(axis=0) - np.where(known, rows, np.inf).min(axis=0)
    apart = np.where(known.sum(axis=0) >= 2, apart, -np.inf)
    worst = int(np.argmax(apart))
    if not np.isfinite(apart[worst]):
        return unknown("no two channels were read at the same time")
    hot = live[int(np.argmax(np.where(known[:, worst], rows[:, worst], -np.inf)))]
    cold = live[int(np.argmin(np.where(known[:, worst], rows[:, worst], np.inf)))]
    t_s = float(grid[worst])
    noise_k = float(np.hypot(hot.noise_k, cold.noise_k)) * worst_of_many(len(grid))
    expanded_k = float(np.linalg.norm((_u_at(hot, t_s), _u_at(cold, t_s), noise_k)))
    measured = float(apart[worst])
    verdict = conformity.met(measured, requirement.limits[0], expanded_k, requirement.decision)
    check = check_of(
        requirement, verdict, measured=measured, uncertainty=expanded_k, at_s=t_s,
        channel=cold.name,
        why=f"{hot.name} and {cold.name} were {firing.difference(measured)} apart "
        f"{firing.after(t_s)}; {asked} "
        f"({sureness(firing, expanded_k, requirement.decision)}).",
    )  # fmt: skip
    return _spread_limits(firing, check, span, chosen)


def _spread_limits(
    firing: PreparedFiring, check: Check, span: TimeSpan, chosen: Sequence[Series]
) -> Check:
    if check.verdict is not Verdict.PASS:
        return check
    for series in chosen:
        found = holes(series, span.lo_s, span.hi_s, firing.schedule.longest_gap_s)
        if found:
            return not_proven(check, f"{series.name}: {in_hole(found[0])}")
    if span.still_open:
        return not_proven(check, "kept so far, and the firing still runs")
    return check


def _level_at(series: Series, grid: np.ndarray, longest_gap_s: float) -> np.ndarray:
    if len(grid) == len(series.t_s) and np.array_equal(grid, series.t_s):
        return series.temp_c
    level = np.interp(grid, series.t_s, series.temp_c, left=np.nan, right=np.nan)
    right = np.clip(np.searchsorted(series.t_s, grid, "left"), 1, len(series.t_s) - 1)
    wide = series.t_s[right] - series.t_s[right - 1] > longest_gap_s
    return np.where(wide & (grid < series.t_s[right]), np.nan, level)


def _u_at(series: Series, t_s: float) -> float:
    return float(series.expanded_k[min(int(np.searchsorted(series.t_s, t_s)), len(series.t_s) - 1)])
