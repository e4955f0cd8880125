"""What a firing was aiming at, minute by minute: the line its trace is held against.

By the clock, the plan is drawn once from the firing's start. By segments, each step's plan begins
when the step really began, which is how a kiln with a hand on the valve is run; a step that may
go as fast as the kiln can has a goal but no target, and so no deviation.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firelog.readings import FloatArray
from firelog.schedule.model import Judgement, Schedule, SegmentRun, Track
from firelog.schedule.target import plan_points, segment_length_s


@dataclass(frozen=True)
class Target:
    """Corner points of the target: seconds, °C; NaN where there is none.

    ``ahead`` is the plan from the end of the record on, ``goals`` the levels aimed at without a
    time: (from, to, °C).
    """

    t_s: FloatArray
    temp_c: FloatArray
    ahead_t_s: FloatArray
    ahead_c: FloatArray
    goals: tuple[tuple[float, float, float], ...] = ()

    def at(self, t_s: FloatArray) -> FloatArray:
        """Return the target at instants, NaN where there is none; at a step the new one counts."""
        if not len(self.t_s):
            return np.full(len(t_s), np.nan)
        right = np.searchsorted(self.t_s, t_s, side="right")
        inside = (right > 0) & ((right < len(self.t_s)) | (t_s <= self.t_s[-1]))
        left = np.clip(right - 1, 0, len(self.t_s) - 1)
        right = np.clip(right, 0, len(self.t_s) - 1)
        width = self.t_s[right] - self.t_s[left]
        part = np.divide(t_s - self.t_s[left], width, out=np.zeros(len(t_s)), where=width > 0)
        rise = np.where(width > 0, self.temp_c[right] - self.temp_c[left], 0.0)
        return np.where(inside, self.temp_c[left] + part * rise, np.nan)


def target_of(
    schedule: Schedule, judgement: Judgement | None, start_c: float | None, end_s: float
) -> Target:
    """Return the target of a firing whose record ends at ``end_s``."""
    by_clock = any(
        isinstance(one, Track) and one.against == "clock" for one in schedule.requirements
    )
    if by_clock or judgement is None or not judgement.segments:
        return _by_clock(schedule, start_c, end_s)
    return _by_segments(schedule, judgement.segments, start_c, end_s)


def _by_clock(schedule: Schedule, start_c: float | None, end_s: float) -> Target:
    t_s, temp_c = plan_points(schedule, start_c)
    return Target(t_s, temp_c, *_after(t_s, temp_c, end_s))


def _by_segments(
    schedule: Schedule, runs: Sequence[SegmentRun], start_c: float | None, end_s: float
) -> Target:
    seconds: list[float] = []
    temps: list[float] = []
    goals: list[tuple[float, float, float]] = []
    level = float(plan_points(schedule, start_c)[1][0])
    for number, (segment, run) in enumerate(zip(schedule.segments, runs, strict=False)):
        if run.began_s is None:
            break
        at = run.ended_s if run.ended_s is not None else max(end_s, run.began_s)
        length_s = segment_length_s(schedule, number, level)
        if segment.is_hold:
            corners = [(run.began_s, segment.target_c), (at, segment.target_c)]
        elif length_s <= 0:
            corners = [(run.began_s, np.nan), (at, np.nan)]
            goals.append((run.began_s, at, segment.target_c))
        else:
            corners = _ramp(run.began_s, at, level, segment.target_c, length_s)
        if seconds and run.began_s > seconds[-1]:
            corners = [(seconds[-1], np.nan), (run.began_s, np.nan), *corners]  # the kiln waits
        seconds += [corner[0] for corner in corners]
        temps += [corner[1] for corner in corners]
        level = segment.target_c
        if run.ended_s is None:
            break
    ahead = _ahead(schedule, runs, start_c, end_s)
    return Target(np.array(seconds), np.array(temps), *ahead, tuple(goals))


def _ramp(
    began_s: float, ended_s: float, from_c: float, to_c: float, length_s: float
) -> list[tuple[float, float]]:
    planned_s = began_s + length_s
    if ended_s <= planned_s:
        reached = from_c + (to_c - from_c) * (ended_s - began_s) / length_s
        return [(began_s, from_c), (ended_s, reached)]
    return [(began_s, from_c), (planned_s, to_c), (ended_s, to_c)]


def _ahead(
    schedule: Schedule, runs: Sequence[SegmentRun], start_c: float | None, end_s: float
) -> tuple[FloatArray, FloatArray]:
    """The plan from the segment that is under way on, from its own beginning."""
    level = float(plan_points(schedule, start_c)[1][0])
    at: float | None = None
    seconds: list[float] = []
    temps: list[float] = []
    for number, segment in enumerate(schedule.segments):
        run = runs[number] if number < len(runs) else None
        if at is None and run is not None and run.ended_s is not None:
            level = segment.target_c
            continue
        if at is None:
            at = run.began_s if run is not None and run.began_s is not None else end_s
            seconds, temps = [at], [segment.target_c if segment.is_hold else level]
        at = max(at + segment_length_s(schedule, number, level), end_s)
        level = segment.target_c
        seconds.append(at)
        temps.append(level)
    return _after(np.array(seconds), np.array(temps), end_s)


def _after(t_s: FloatArray, temp_c: FloatArray, end_s: float) -> tuple[FloatArray, FloatArray]:
    """Return the part of a line after ``end_s``, beginning there."""
    later = t_s > end_s
    if not later.any():
        return np.empty(0), np.empty(0)
    first = float(np.interp(end_s, t_s, temp_c))
    return np.append(end_s, t_s[later]), np.append(first, temp_c[later])
