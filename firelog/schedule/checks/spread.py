"""The spread check: how far the channels of a kiln were apart at the worst instant."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from firelog.physics import conformity
from firelog.schedule.checks.basis import (
    PreparedFiring,
    TimeSpan,
    check_of,
    in_hole,
    not_proven,
    sureness,
)
from firelog.schedule.plan.model import Check
from firelog.schedule.plan.requirements import Spread
from firelog.schedule.series import Series, holes, worst_of_many
from firelog.verdict import Verdict


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

    live = [one for one in chosen if len(one.t_s) > 1]
    if len(live) < 2 or span.lost:
        return unknown(span.lost or "a spread needs two channels with readings")
    base = max(live, key=lambda one: len(one.t_s))
    at = base.between(span.lo_s, span.hi_s)
    grid = base.t_s[at]
    if not len(grid):
        return unknown("there is no usable reading")
    rows = np.stack([_level_at(one, grid, firing.schedule.hole_s) for one in live])
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
    for one in chosen:
        found = holes(one, *span.with_holes_s, firing.schedule.hole_s)
        if found:
            return not_proven(check, f"{one.name}: {in_hole(found[0])}")
    if span.still_open:
        return not_proven(check, f"kept so far, and {firing.more_to_come}")
    return check


def _level_at(one: Series, grid: np.ndarray, longest_gap_s: float) -> np.ndarray:
    if len(grid) == len(one.t_s) and np.array_equal(grid, one.t_s):
        return one.temp_c
    level = np.interp(grid, one.t_s, one.temp_c, left=np.nan, right=np.nan)
    right = np.clip(np.searchsorted(one.t_s, grid, "left"), 1, len(one.t_s) - 1)
    wide = one.t_s[right] - one.t_s[right - 1] > longest_gap_s
    return np.where(wide & (grid < one.t_s[right]), np.nan, level)


def _u_at(one: Series, t_s: float) -> float:
    return float(one.expanded_k[min(int(np.searchsorted(one.t_s, t_s)), len(one.t_s) - 1)])
