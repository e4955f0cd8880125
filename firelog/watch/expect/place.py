"""Where a kiln is on its plan, step by step and never passing one over. Pure.

The judge lays a whole night along the schedule when it is over. Who watches must know, with
nothing but the past, what is due next: a step counts as begun only when the one before it was
done, and a kiln that leaves a hold too early stays in it, so that what was missed is seen.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Literal

import numpy as np

from firelog.schedule.plan.model import Schedule, Segment
from firelog.watch.expect.trend import Trend

ENOUGH = 0.95  # of a hold's time; the rest is the edge of its band
OPEN_DOOR_S = 1800.0  # a firing may begin with an open door: what is left again by then is no stay
AWAY_S = 480.0  # away from a hold for so long is no swing
SWING = 1.6  # of a band; controllers overshoot and burners ripple: common practice, no source
SWING_K = 25.0
FIRST_K = 60.0
TOO_SOON = 0.5  # of the time a ramp was given: whoever lights a burner may shoot over at first
RESTS, RESTS_S, RESTS_K = 0.3, 1200.0, 4.0  # of a band; no more than so many kelvin in so long
LEAVES_K = 12.0  # a hold's level is left when the next aim is nearer by so much, beyond its swing

Way = Literal["up", "down"]


@dataclass(frozen=True)
class Step:
    """One segment as far as it has come; instants in seconds since the firing began.

    ``from_c`` is where it started. A ramp is done when its aim is reached, a hold when it has
    soaked as long as asked; ``settled_s``: when a hold had come to rest. ``left_s`` and ``left``:
    since when, and to which side, a hold has been away from its level. ``lowest_c``: how
    cold a ramp that still runs has been, with its door open, say.
    """

    segment: Segment
    number: int
    from_c: float
    began_s: float
    done_s: float | None = None
    soaked_s: float = 0.0
    settled_s: float | None = None
    lowest_c: float | None = None
    left_s: float | None = None
    left: Way | None = None

    @property
    def heating(self) -> bool:
        """True for a ramp that goes up; the first one does, unless it begins far above its aim."""
        slack_k = max(FIRST_K, 3.0 * self.segment.band_k) if self.number == 0 else 0.0
        return not self.segment.is_hold and self.segment.target_c >= self.from_c - slack_k


@dataclass(frozen=True)
class Place:
    """The steps begun so far, in order. ``complete`` when the last one of the plan is done."""

    steps: tuple[Step, ...]
    complete: bool

    @property
    def now(self) -> Step:
        """The step that runs, or the last one."""
        return self.steps[-1]

    @property
    def over_s(self) -> float | None:
        """When the whole plan was done, None until then."""
        return self.now.done_s if self.complete else None


def swing_k(segment: Segment) -> float:
    """Return how far [K] a kiln that holds well may stand from a hold's aim."""
    return max(SWING * segment.band_k, SWING_K)


def place_of(schedule: Schedule, trend: Trend) -> Place | None:
    """Return where the kiln is on its plan, None before its first reading."""
    known = np.isfinite(trend.temp_c)
    if not known.any() or not schedule.segments:
        return None
    t_s, temp_c = trend.t_s[known], trend.temp_c[known]
    before_c = float(np.median(temp_c[:3]))
    steps: list[Step] = []
    at = 0
    for number, segment in enumerate(schedule.segments):
        step = Step(segment, number, before_c, float(t_s[at]))
        following = schedule.segments[number + 1 :]
        if segment.is_hold:
            step, end = _held(step, t_s, temp_c, at, following[0] if following else None)
        else:
            step, end = _ramped(step, t_s, temp_c, at)
        steps.append(step)
        if end is None:
            return Place(tuple(steps), complete=False)
        at, before_c = end, segment.target_c
    return Place(tuple(steps), complete=True)


def _ramped(step: Step, t_s: np.ndarray, temp_c: np.ndarray, at: int) -> tuple[Step, int | None]:
    aim_c, band_k = step.segment.target_c, step.segment.band_k
    there = temp_c[at:] >= aim_c - band_k if step.heating else temp_c[at:] <= aim_c + band_k
    for index in at + np.flatnonzero(there):
        if not _left_again(step, t_s, temp_c, int(index)):
            return replace(step, done_s=float(t_s[index])), int(index)
    return replace(step, lowest_c=float(temp_c[at:].min())), None


def _left_again(step: Step, t_s: np.ndarray, temp_c: np.ndarray, at: int) -> bool:
    """True where a kiln was at its aim far too soon, and did not stay.

    A hot kiln is opened to be loaded; a burner just lit shoots over.
    """
    rate = step.segment.rate_k_per_h
    given_s = 0.0 if rate is None else (step.segment.target_c - step.from_c) / rate * 3600.0
    soon_s = t_s[0] + max(OPEN_DOOR_S if step.number == 0 else 0.0, TOO_SOON * given_s)
    if not step.heating or t_s[at] > soon_s:
        return False
    soon = temp_c[at:][t_s[at:] <= soon_s]
    return bool(len(soon)) and bool(soon.min() < step.segment.target_c - swing_k(step.segment))


def _held(
    step: Step, t_s: np.ndarray, temp_c: np.ndarray, at: int, following: Segment | None
) -> tuple[Step, int | None]:
    """Follow a hold: what it soaked, when it was done, and when its level was left for good."""
    segment, asked_s = step.segment, step.segment.hold_s or 0.0
    wide_k = swing_k(segment)
    off_k = temp_c[at:] - segment.target_c
    inside = np.abs(off_k) <= wide_k if step.number else off_k >= -wide_k
    if following is not None and following.target_c < segment.target_c:
        inside = off_k >= -wide_k  # too warm is another matter; it soaks
    soaked_s = np.cumsum(np.where(inside, np.diff(t_s[at:], prepend=t_s[at]), 0.0))
    enough = np.flatnonzero(soaked_s >= ENOUGH * asked_s)
    done = int(at + enough[0]) if len(enough) else None
    step = replace(
        step, soaked_s=float(min(soaked_s[-1], asked_s)),
        done_s=None if done is None else float(t_s[done]),
        settled_s=_settled_s(t_s[at:], off_k, segment.band_k),
    )  # fmt: skip
    left = _left(step, t_s, temp_c, at if done is None else done, following)
    if left is not None:
        step = replace(step, left_s=float(t_s[left[0]]), left=left[1])
    if done is None:
        return step, None
    if following is None or following.is_hold:
        return step, done
    return step, None if left is None else max(done, left[0])


def _settled_s(t_s: np.ndarray, off_k: np.ndarray, band_k: float) -> float | None:
    """Return when a hold was at its aim, or moved no more: a controller counts from there."""
    up = off_k[0] < 0.0  # come to from below, or from above
    there = off_k >= -RESTS * band_k if up else off_k <= RESTS * band_k
    back = np.searchsorted(t_s, t_s - RESTS_S, "right") - 1
    lasted = t_s - t_s[np.maximum(back, 0)] >= 0.8 * RESTS_S
    there |= (back >= 0) & lasted & (np.abs(off_k - off_k[np.maximum(back, 0)]) < RESTS_K)
    first = np.flatnonzero(there)
    return float(t_s[first[0]]) if len(first) else None


def _left(
    step: Step, t_s: np.ndarray, temp_c: np.ndarray, at: int, following: Segment | None
) -> tuple[int, Way] | None:
    """Return from where on, and to which side, a hold's level has been left.

    Before it is done only what lasts until now counts; once it is done, the first absence towards
    the next aim that was no swing.
    """
    off_k = temp_c[at:] - step.segment.target_c
    limit_k = swing_k(step.segment)
    if step.done_s is None or following is None:
        for far, side in ((off_k > limit_k, "up"), (off_k < -limit_k, "down")):
            if far[-1]:
                near = np.flatnonzero(~far)
                begin = at + (int(near[-1]) + 1 if len(near) else 0)
                return begin, side  # type: ignore[return-value]
        return None
    way_k = following.target_c - step.segment.target_c
    toward_k = min(limit_k, max(step.segment.band_k, LEAVES_K, 0.3 * abs(way_k)))
    side = "up" if way_k >= 0 else "down"
    far = off_k > toward_k if side == "up" else off_k < -toward_k
    starts = np.flatnonzero(far & ~np.concatenate(([False], far[:-1])))
    ends = np.flatnonzero(far & ~np.concatenate((far[1:], [False])))
    for first, last in zip(starts, ends, strict=True):
        if t_s[at + last] - t_s[at + first] >= AWAY_S or last == len(far) - 1:
            return at + int(first), side  # type: ignore[return-value]
    return None
