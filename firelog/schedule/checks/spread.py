"""The spread check: how far the channels of a kiln were apart at the worst instant."""

from __future__ import annotations

from collections.abc import Sequence
from typing import NamedTuple

import numpy as np

from firelog.physics import conformity
from firelog.readings import FloatArray
from firelog.schedule.checks.basis import (
    PreparedFiring,
    TimeSpan,
    check_of,
    in_hole,
    not_proven,
    sureness,
)
from firelog.schedule.checks.peaks import CONSISTENT, SMALL_K, SMALL_SHARE
from firelog.schedule.plan.model import Check
from firelog.schedule.plan.requirements import Spread
from firelog.schedule.series import QUIET_S, Series, holes, worst_of_many
from firelog.verdict import Verdict


def spread(
    firing: PreparedFiring, requirement: Spread, span: TimeSpan, chosen: Sequence[Series]
) -> Check:
    """Judge how far [K] the channels were apart at the worst instant of the span.

    The two thermocouples are taken as independent: U of the difference is the root of the sum of
    squares (GUM, JCGM 100:2008, 5.1.2). Readings are averaged, up to three minutes, while their
    noise matters; what is left is covered for the worst of all the means looked at.
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
    far = _farthest(live, grid, firing.schedule.hole_s)
    if far is None:
        return unknown("no two channels were read at the same time")
    hot, cold, t_s, measured, noise_k = far
    expanded_k = float(np.linalg.norm((_u_at(hot, t_s), _u_at(cold, t_s), noise_k)))
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


class _Far(NamedTuple):
    """The hottest and coldest channel, when [s] and how far [K] apart, and U of the noise [K]."""

    hot: Series
    cold: Series
    t_s: float
    apart_k: float
    noise_k: float


def _farthest(live: Sequence[Series], grid: FloatArray, longest_gap_s: float) -> _Far | None:
    """Return where the channels were farthest apart: the shortest means that leave little noise.

    Unless the readings themselves show a peak that longer means would hide.
    """
    raw = _apart(live, grid, longest_gap_s, 0.0)
    if raw is None:
        return None
    best = raw
    for over_s in QUIET_S:
        u_k = float(np.hypot(_u_at(best.hot, best.t_s), _u_at(best.cold, best.t_s)))
        if best.noise_k <= max(SMALL_K, SMALL_SHARE * np.nan_to_num(u_k)):
            break
        found = _apart(live, grid, longest_gap_s, over_s)
        if found is None or raw.apart_k - found.apart_k > CONSISTENT * raw.noise_k:
            break
        best = found
    return best


def _apart(
    live: Sequence[Series], grid: FloatArray, longest_gap_s: float, over_s: float
) -> _Far | None:
    levels = [one.averaged(over_s) if over_s else (one.temp_c, 1.0) for one in live]
    rows = np.stack([
        _level_at(one, mean_c, grid, longest_gap_s)
        for one, (mean_c, _) in zip(live, levels, strict=True)
    ])  # fmt: skip
    known = np.isfinite(rows)
    highest, lowest = np.where(known, rows, -np.inf), np.where(known, rows, np.inf)
    with np.errstate(invalid="ignore"):
        apart = np.where(known.sum(axis=0) >= 2, highest.max(axis=0) - lowest.min(axis=0), -np.inf)
    worst = int(np.argmax(apart))
    if not np.isfinite(apart[worst]):
        return None
    hot, cold = int(np.argmax(highest[:, worst])), int(np.argmin(lowest[:, worst]))
    left = [live[at].noise_k / np.sqrt(levels[at][1]) for at in (hot, cold)]
    means = len(grid) / max(1.0, min(levels[at][1] for at in (hot, cold)))
    noise_k = float(np.hypot(*left)) * worst_of_many(means)
    return _Far(live[hot], live[cold], float(grid[worst]), float(apart[worst]), noise_k)


def _level_at(
    one: Series, mean_c: FloatArray, grid: FloatArray, longest_gap_s: float
) -> FloatArray:
    if len(grid) == len(one.t_s) and np.array_equal(grid, one.t_s):
        return mean_c
    level = np.interp(grid, one.t_s, mean_c, left=np.nan, right=np.nan)
    right = np.clip(np.searchsorted(one.t_s, grid, "left"), 1, len(one.t_s) - 1)
    wide = one.t_s[right] - one.t_s[right - 1] > longest_gap_s
    return np.where(wide & (grid < one.t_s[right]), np.nan, level)


def _u_at(one: Series, t_s: float) -> float:
    return float(one.expanded_k[min(int(np.searchsorted(one.t_s, t_s)), len(one.t_s) - 1)])
