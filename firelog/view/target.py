"""The target line of a firing, by each of its two clocks: what its trace is held against.

Both lines come from ``firelog.schedule``, so that board and verdict cannot part: against the plan's
clock the plan is drawn once from the firing's start (how late are we); against the segments each
step's target begins when the step really began (how well was each step done). A step that may go
as fast as the kiln can has a goal but no target, and so no deviation.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firelog.readings import FloatArray
from firelog.schedule.follow.segments import Following, followed_target
from firelog.schedule.plan.model import Schedule
from firelog.schedule.plan.requirements import Clock, Track
from firelog.schedule.plan.target import plan_length_s, plan_points, segment_length_s, target_c

BESIDE_S = 1e-3  # on either side of a corner: a date axis has milliseconds


@dataclass(frozen=True)
class Target:
    """The target ``against`` one of the two clocks; ``start_c`` is where the plan begins."""

    schedule: Schedule
    following: Following
    against: Clock
    start_c: float | None

    def at(self, t_s: FloatArray) -> FloatArray:
        """Return the target at instants [°C], NaN where there is none."""
        if self.against == "segments":
            return followed_target(self.schedule, self.following, t_s)
        aim_c = target_c(self.schedule, t_s, self.start_c)
        return np.where(t_s <= plan_length_s(self.schedule, self.start_c), aim_c, np.nan)

    def line(self, end_s: float) -> tuple[FloatArray, FloatArray]:
        """Return the target as a line from the start to ``end_s``; NaN values where it breaks."""
        at_s = np.concatenate([[end_s], self._corners_s()])
        beside_s = np.unique(np.concatenate([at_s - BESIDE_S, at_s, at_s + BESIDE_S]))
        t_s = beside_s[(beside_s >= 0.0) & (beside_s <= end_s)]
        aim_c = self.at(t_s)
        asked = np.isfinite(aim_c)
        kept = asked | np.concatenate([[False], asked[:-1]])  # one NaN ends a stretch
        return t_s[kept], aim_c[kept]

    def _corners_s(self) -> FloatArray:
        if self.against == "clock":
            return plan_points(self.schedule, self.start_c)[0]
        found = []
        for run, length_s in zip(self.following.runs, self._lengths_s(), strict=True):
            if run.began_s is not None:
                found += [run.began_s, run.began_s + length_s]
            if run.ended_s is not None:
                found.append(run.ended_s)
        return np.array(found)

    def _lengths_s(self) -> list[float]:
        level_c = float(plan_points(self.schedule, self.following.start_c)[1][0])
        lengths = []
        for number, segment in enumerate(self.schedule.segments):
            lengths.append(segment_length_s(self.schedule, number, level_c))
            level_c = segment.target_c
        return lengths

    def goals(self, end_s: float) -> list[tuple[float, float, float]]:
        """Return the levels that were aimed at without a time: from, to (s) and °C."""
        if self.against == "clock":
            return []
        return [
            (run.began_s, max(end_s, run.began_s) if run.ended_s is None else run.ended_s, aim_c)
            for run, length_s, aim_c in zip(
                self.following.runs,
                self._lengths_s(),
                [segment.target_c for segment in self.schedule.segments],
                strict=True,
            )
            if run.began_s is not None and length_s <= 0
        ]

    def bands(self, end_s: float) -> list[tuple[float, float, float]]:
        """Return how close to the target counts as there: from, to (s) and ± K, step by step."""
        allowed = [segment.band_k for segment in self.schedule.segments]
        if self.against == "clock":
            seconds, _ = plan_points(self.schedule, self.start_c)
            steps = zip(seconds[:-1].tolist(), seconds[1:].tolist(), allowed, strict=True)
            return [(a, min(b, end_s), k) for a, b, k in steps if a < min(b, end_s)]
        return [
            (run.began_s, end_s if run.ended_s is None else run.ended_s, band_k)
            for run, band_k in zip(self.following.runs, allowed, strict=True)
            if run.began_s is not None
        ]

    def ahead(self, end_s: float) -> tuple[FloatArray, FloatArray]:
        """Return the plan from ``end_s`` on: from the segment that is under way, if followed."""
        if self.against == "clock":
            return _after(*plan_points(self.schedule, self.start_c), end_s)
        level_c = float(plan_points(self.schedule, self.following.start_c)[1][0])
        seconds: list[float] = []
        temps: list[float] = []
        steps = zip(self.schedule.segments, self.following.runs, self._lengths_s(), strict=True)
        for segment, run, length_s in steps:
            if seconds or run.ended_s is None:
                if not seconds:
                    seconds = [end_s if run.began_s is None else run.began_s]
                    temps = [segment.target_c if segment.is_hold else level_c]
                seconds.append(max(seconds[-1] + length_s, end_s))
                temps.append(segment.target_c)
            level_c = segment.target_c
        return _after(np.array(seconds), np.array(temps), end_s)


def by_default(schedule: Schedule) -> Clock:
    """Return the clock a schedule is usually held against: the plan's where it requires that."""
    asked = (
        requirement.against
        for requirement in schedule.requirements
        if isinstance(requirement, Track)
    )
    return "clock" if "clock" in asked else "segments"


def _after(t_s: FloatArray, temp_c: FloatArray, end_s: float) -> tuple[FloatArray, FloatArray]:
    """Return the part of a line after ``end_s``, beginning there."""
    later = t_s > end_s
    if not later.any():
        return np.empty(0), np.empty(0)
    first = float(np.interp(end_s, t_s, temp_c))
    return np.append(end_s, t_s[later]), np.append(first, temp_c[later])
