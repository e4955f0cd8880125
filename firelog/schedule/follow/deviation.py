"""How late a firing is, at each instant, by how far it has come on its plan."""

from __future__ import annotations

import numpy as np

from firelog.readings import FloatArray
from firelog.schedule.follow.segments import Following
from firelog.schedule.plan.model import Schedule
from firelog.schedule.plan.target import plan_points


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
