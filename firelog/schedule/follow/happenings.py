"""Finds what happened besides the plan: late start, waiting, stalls, doors, power cuts, holes.

Read off the followed path and the grid; each happening has its stretch of time and a sentence. The
thresholds are common practice, no source: smaller things do not matter to a mould.
"""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray
from firelog.say.durations import show_duration
from firelog.say.numbers import show_difference, show_temperature
from firelog.schedule.follow.grid import Grid
from firelog.schedule.follow.path import slope_k_per_h
from firelog.schedule.follow.segments import Following
from firelog.schedule.plan.model import Happening, Schedule, Segment, SegmentRun

WAIT_S = 300.0
STALL_S = 600.0
STALL_K_PER_H = 15.0
DOOR_WITHIN_S = 90.0
DOOR_K = 25.0  # in a minute and a half: far faster than any kiln cools shut
JOIN_S = 600.0  # what is interrupted for less is one happening
BACK_K = 15.0
OVER_K = 5.0


def happenings(
    schedule: Schedule, following: Following, *, end_s: float, running: bool
) -> tuple[Happening, ...]:
    """Return what happened besides the plan, in the order of time [s since the firing began].

    Doors, stalls, waits, overshoots and holes. The thresholds (25 K within 90 s for a door, 15 K/h
    over 10 min for a stall and their like) are common practice, no source.
    """
    grid = following.grid
    if grid is None:
        return ()
    found = [
        *_late_start(schedule, following),
        *_segment_by_segment(schedule, following, grid, running),
        *_doors(schedule, grid),
        *_holes(schedule, grid, end_s),
        *_abandoned(following, running),
    ]
    return tuple(sorted(found, key=lambda one: one.from_s))


def _late_start(schedule: Schedule, following: Following) -> Iterator[Happening]:
    run = following.runs[0]
    grid = following.grid
    if run.began_s is None or grid is None:
        return
    first_s = float(grid.t_s[0])
    if run.began_s - first_s > WAIT_S:
        lasted = show_duration(run.began_s - first_s)
        yield Happening("late start", first_s, run.began_s, f"The kiln stood for {lasted} first.")


def _segment_by_segment(
    schedule: Schedule, following: Following, grid: Grid, running: bool
) -> Iterator[Happening]:
    slope, noise = slope_k_per_h(grid)
    last_s = float(grid.t_s[-1])
    for number, (segment, run) in enumerate(zip(schedule.segments, following.runs, strict=True)):
        if run.began_s is None:
            continue
        ended_s = run.ended_s if run.ended_s is not None else last_s
        if segment.is_hold:
            yield from _waited(segment.name, run, ended_s)
            yield from _overshoot(schedule, number, run, grid, ended_s)
            continue
        before_c = schedule.segments[number - 1].target_c if number else following.start_c
        sign = 1.0 if before_c is None or segment.target_c >= before_c else -1.0
        at = (grid.t_s >= run.began_s) & (grid.t_s <= ended_s) & grid.known
        slow = np.abs(slope) < STALL_K_PER_H + 2.0 * noise
        asked = segment.rate_k_per_h or np.inf
        if asked > 3.0 * STALL_K_PER_H:
            yield from _stalled(schedule, segment.name, grid, at & slow)
        yield from _went_back(schedule, segment.name, grid, at, sign)
        if run.reached_s is None and not (running and run.ended_s is None):
            yield _missed(schedule, segment, grid, at, sign)


def _waited(name: str, run: SegmentRun, ended_s: float) -> Iterator[Happening]:
    if run.complete_s is not None and ended_s - run.complete_s > WAIT_S:
        lasted = show_duration(ended_s - run.complete_s)
        yield Happening(
            "waited", run.complete_s, ended_s, f"{name!r} was complete, and went on for {lasted}."
        )


def _overshoot(
    schedule: Schedule, number: int, run: SegmentRun, grid: Grid, ended_s: float
) -> Iterator[Happening]:
    """Peak minus set point during approach and hold, as AMS 2750 counts it (from memory)."""
    segment = schedule.segments[number]
    began_s = run.began_s if run.began_s is not None else 0.0
    at = (grid.t_s >= began_s - 1800.0) & (grid.t_s <= ended_s) & grid.known
    before = schedule.segments[number - 1] if number else None
    if not at.any() or (number > 1 and before is not None and before.is_hold):
        return
    if number > 1 and schedule.segments[number - 2].target_c > segment.target_c:
        return
    peak = int(np.argmax(np.where(at, grid.high_c, -np.inf)))
    over_k = float(grid.high_c[peak]) - segment.target_c
    if over_k > max(OVER_K, segment.band_k / 2.0, 4.0 * grid.noise_k):
        shown = show_difference(over_k, schedule.unit)
        yield Happening(
            "overshoot", float(grid.t_s[peak]), float(grid.t_s[peak]),
            f"The hottest channel went {shown} over {segment.name!r}.",
        )  # fmt: skip


def _stalled(
    schedule: Schedule, name: str, grid: Grid, slow: NDArray[np.bool_]
) -> Iterator[Happening]:
    for lo_s, hi_s in _stretches(grid.t_s, slow):
        if hi_s - lo_s < STALL_S:
            continue
        level_c = float(np.nanmedian(grid.mid_c[(grid.t_s >= lo_s) & (grid.t_s <= hi_s)]))
        shown = show_temperature(level_c, schedule.unit)
        lasted = show_duration(hi_s - lo_s)
        yield Happening("stalled", lo_s, hi_s, f"{name!r} stood at {shown} for {lasted}.")


def _went_back(
    schedule: Schedule, name: str, grid: Grid, at: NDArray[np.bool_], sign: float
) -> Iterator[Happening]:
    """A ramp that lost more than 15 K on its way, slowly: power lost, burner out."""
    cells = np.flatnonzero(at)
    if len(cells) < 3:
        return
    level = sign * grid.mid_c[cells]
    best = np.maximum.accumulate(level)
    back = best - level
    for lo_s, hi_s in _stretches(grid.t_s[cells], back > max(BACK_K, 6.0 * grid.noise_k)):
        inside = (grid.t_s[cells] >= lo_s) & (grid.t_s[cells] <= hi_s)
        lost = show_difference(float(back[inside].max()), schedule.unit)
        word = "lost" if sign > 0 else "gained"
        yield Happening("cooled", lo_s, hi_s, f"{name!r} {word} {lost} on its way.")


def _missed(
    schedule: Schedule, segment: Segment, grid: Grid, at: NDArray[np.bool_], sign: float
) -> Happening:
    cells = np.flatnonzero(at)
    where = int(cells[int(np.argmax(sign * grid.mid_c[cells]))]) if len(cells) else 0
    shown = show_temperature(float(grid.mid_c[where]), schedule.unit)
    aim = show_temperature(segment.target_c, schedule.unit)
    began_s = float(grid.t_s[cells[0]]) if len(cells) else 0.0
    went = f"came no farther than {shown}"
    if sign * (float(grid.mid_c[where]) - segment.target_c) >= -segment.band_k:
        went = f"came to {shown} and did not stay near its aim"
    return Happening(
        "not reached", began_s, float(grid.t_s[where]),
        f"{segment.name!r} {went}; {aim} was aimed at.",
    )  # fmt: skip


def _doors(schedule: Schedule, grid: Grid) -> Iterator[Happening]:
    """A sudden drop that comes back: the door (or a blast of cold charge)."""
    known = np.flatnonzero(grid.known)
    ahead = max(1, round(DOOR_WITHIN_S / grid.cell_s))
    if len(known) <= ahead + 1:
        return
    t_s, mid_c = grid.t_s[known], grid.mid_c[known]
    drop = mid_c[:-ahead] - mid_c[ahead:]
    sudden = drop > max(DOOR_K, 8.0 * grid.noise_k)
    sudden &= t_s[ahead:] - t_s[:-ahead] <= 2.0 * max(DOOR_WITHIN_S, grid.cell_s)
    free_at = 0
    for cell in np.flatnonzero(sudden):
        if cell < free_at:
            continue
        last = int(np.searchsorted(t_s, t_s[cell] + 3600.0))
        low = int(cell + np.argmin(mid_c[cell:last]))
        level_c = float(mid_c[cell : low + 1].max())
        back = np.flatnonzero(mid_c[low:last] >= level_c - DOOR_K / 2.0)
        if not len(back):
            continue
        free_at = low + int(back[0]) + 1
        end_s, begin_s = float(t_s[free_at - 1]), float(t_s[cell])
        lost = show_difference(level_c - float(mid_c[low]), schedule.unit)
        lasted = show_duration(end_s - begin_s)
        yield Happening(
            "door", begin_s, end_s, f"A sudden drop of {lost}, made good in {lasted}: a door?"
        )


def _holes(schedule: Schedule, grid: Grid, end_s: float) -> Iterator[Happening]:
    marks = np.concatenate((grid.t_s[grid.known], [max(end_s, float(grid.t_s[-1]))]))
    if marks[0] > schedule.hole_s:
        marks = np.concatenate(([0.0], marks))
    for at in np.flatnonzero(np.diff(marks) > schedule.hole_s + grid.cell_s):
        lasted = show_duration(float(marks[at + 1] - marks[at]))
        yield Happening(
            "hole", float(marks[at]), float(marks[at + 1]), f"No usable reading for {lasted}."
        )


def _abandoned(following: Following, running: bool) -> Iterator[Happening]:
    path, grid = following.path, following.grid
    if running or path is None or grid is None:
        return
    open_runs = [run.name for run in following.runs if run.began_s is None]
    if not open_runs or following.runs[-1].began_s is not None:
        return
    ended = [run.ended_s for run in following.runs if run.ended_s is not None]
    if ended:
        names = ", ".join(repr(name) for name in open_runs)
        yield Happening(
            "abandoned", max(ended), float(grid.t_s[-1]), f"{names} never began: given up here."
        )


def _stretches(t_s: FloatArray, mask: NDArray[np.bool_]) -> Iterator[tuple[float, float]]:
    """Yield the stretches where the mask holds; those close together are one."""
    lo_s = hi_s = None
    for at_s in t_s[mask]:
        if lo_s is None or hi_s is None or at_s - hi_s > JOIN_S:
            if lo_s is not None and hi_s is not None:
                yield lo_s, hi_s
            lo_s = float(at_s)
        hi_s = float(at_s)
    if lo_s is not None and hi_s is not None:
        yield lo_s, hi_s
