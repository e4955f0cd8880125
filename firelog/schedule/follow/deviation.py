"""How far a firing is from what was aimed at: against the plan's clock, and step by step.

Against the clock a kiln that began an hour late is wrong all night; against the segments as they
really ran each step is seen for itself. Both are shown, for they answer different questions: how
late are we, and how well was each step done.
"""

from __future__ import annotations

import numpy as np

from firelog.readings import FloatArray
from firelog.schedule.follow.segments import Following, followed_target
from firelog.schedule.plan.model import Schedule
from firelog.schedule.plan.target import plan_length_s, plan_points, target_c


def against_clock_k(
    schedule: Schedule, t_s: FloatArray, temp_c: FloatArray, start_c: float | None = None
) -> FloatArray:
    """Return temp − plan [K] at ``t_s``, the plan drawn from the firing's start; NaN after it."""
    aim_c = target_c(schedule, t_s, start_c)
    return np.where(t_s <= plan_length_s(schedule, start_c), temp_c - aim_c, np.nan)


def against_segments_k(
    schedule: Schedule, following: Following, t_s: FloatArray, temp_c: FloatArray
) -> FloatArray:
    """Return temp − target [K] of the segment that really ran; NaN where nothing was asked."""
    return np.asarray(temp_c - followed_target(schedule, following, t_s))


def lateness_s(schedule: Schedule, following: Following, t_s: FloatArray) -> FloatArray:
    """Return how late the firing is at each instant [s]: time gone minus time by the plan.

    The place in the plan is, on a ramp, how far the temperature has come, never going back; in a
    hold, how long it has soaked, at most its length. Negative means early; NaN before the start and
    where a ramp is given no time. Same shape as ``t_s``.
    """
    late = np.full(len(t_s), np.nan)
    grid = following.grid
    if grid is None:
        return late
    seconds, temps = plan_points(schedule, following.start_c)
    mid_c = np.interp(t_s, grid.t_s[grid.known], grid.mid_c[grid.known])
    for number, run in enumerate(following.runs):
        if run.began_s is None:
            continue
        later = [r.began_s for r in following.runs[number + 1 :] if r.began_s is not None]
        until_s = later[0] if later else np.inf
        at = (t_s >= run.began_s) & (t_s < until_s)
        if not at.any():
            continue
        length_s = seconds[number + 1] - seconds[number]
        if schedule.segments[number].is_hold:
            done_s = np.minimum(t_s[at] - run.began_s, length_s)
        elif length_s > 0:
            way_k = temps[number + 1] - temps[number]
            share = np.clip((mid_c[at] - temps[number]) / way_k, 0.0, 1.0)
            if run.reached_s is not None:
                share = np.where(t_s[at] >= run.reached_s, 1.0, share)
            done_s = np.maximum.accumulate(share) * length_s
        else:
            done_s = np.where(
                (run.reached_s is not None) & (t_s[at] >= (run.reached_s or 0.0)), 0.0, np.nan
            )
        late[at] = t_s[at] - seconds[number] - done_s
    return late


def area_deviation(t_s: FloatArray, temp_c: FloatArray, aim_c: FloatArray) -> FloatArray:
    """Return by how many per cent the area under the curve departs from the target's, so far.

    d = 100 · |∫T dt − ∫T_aim dt| / ∫T_aim dt with T in °C, trapezoids, from the first instant;
    the first value is 0. This is the measure by which EN 1363-1:2012, 5.1.2 bounds a fire test's
    furnace (the clause from memory).
    """
    step_s = np.diff(t_s)
    area = np.concatenate(([0.0], np.cumsum(step_s * (temp_c[1:] + temp_c[:-1]) / 2.0)))
    aimed = np.concatenate(([0.0], np.cumsum(step_s * (aim_c[1:] + aim_c[:-1]) / 2.0)))
    apart = 100.0 * np.abs(area - aimed)
    return np.asarray(np.divide(apart, aimed, out=np.zeros_like(apart), where=aimed > 0))
