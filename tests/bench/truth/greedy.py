"""The peer: a follower that takes the first threshold it meets, one segment after the other.

This is how a simple logger would do it, and what the global optimum is measured against.
"""

from __future__ import annotations

import numpy as np

from firelog.schedule.follow.grid import Grid
from firelog.schedule.plan.model import Schedule, SegmentRun

OUT_FOR_S = 900.0
MOVED_K = 5.0


def walk(schedule: Schedule, grid: Grid) -> tuple[SegmentRun, ...]:
    """Return the segments as the first thresholds give them."""
    known = np.isfinite(grid.low_c)
    rows = t_s, low_c, _ = grid.t_s[known], grid.low_c[known], grid.high_c[known]
    runs: list[SegmentRun] = []
    at = 0
    level_c = float(low_c[0])
    for number, segment in enumerate(schedule.segments):
        if at >= len(t_s):
            runs.append(SegmentRun(segment.name, None, None, 0.0, None))
            continue
        if segment.is_hold:
            run, at = _hold(schedule, number, rows, at)
        else:
            run, at = _ramp(segment, rows, at, level_c)
        runs.append(run)
        level_c = segment.target_c
    return tuple(runs)


def _ramp(segment, rows, at, level_c):
    t_s, low_c, high_c = rows
    if segment.target_c >= level_c:
        there = low_c[at:] >= segment.target_c - segment.band_k
    else:
        there = high_c[at:] <= segment.target_c + segment.band_k
    begin = at
    moved = np.flatnonzero(np.abs(low_c[at:] - low_c[at]) > MOVED_K)
    begin = at + int(moved[0]) if len(moved) else len(t_s)
    if begin >= len(t_s):
        return SegmentRun(segment.name, None, None, 0.0, None), len(t_s)
    if not there.any():
        return SegmentRun(segment.name, float(t_s[begin]), None, 0.0, None), len(t_s)
    at += int(np.argmax(there))
    reached = float(t_s[at])
    return SegmentRun(segment.name, float(t_s[min(begin, at)]), reached, 0.0, reached), at


def _hold(schedule, number, rows, at):
    t_s, low_c, high_c = rows
    segment = schedule.segments[number]
    hold_s = segment.hold_s or 0.0
    inside = low_c >= segment.target_c - segment.band_k
    inside &= high_c <= segment.target_c + segment.band_k
    end = len(t_s) - 1
    for one in np.flatnonzero(~inside[at:]) + at:
        back = np.flatnonzero(inside[one:])
        if not len(back) or t_s[one + back[0]] - t_s[one] > OUT_FOR_S:
            end = max(at, int(one) - 1)
            break
    joined = inside[at:end] & inside[at + 1 : end + 1]
    steps = np.diff(t_s[at : end + 1])
    soaked = np.cumsum(np.where(joined & (steps <= schedule.longest_gap_s), steps, 0.0))
    total = float(soaked[-1]) if len(soaked) else 0.0
    done = int(np.searchsorted(soaked, hold_s)) if total >= hold_s else -1
    run = SegmentRun(
        segment.name,
        float(t_s[at]),
        float(t_s[at]),
        total,
        float(t_s[end]),
        complete_s=float(t_s[at + done + 1]) if done >= 0 else None,
    )
    return run, end
