"""The curve a schedule aims at: the plan drawn from a start temperature, against its own clock."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray
from firelog.schedule.plan.model import Schedule

ROOM_C = 20.0  # where a plan begins when neither the schedule nor a reading says so


def plan_points(schedule: Schedule, start_c: float | None = None) -> tuple[FloatArray, FloatArray]:
    """Return the corner points of the plan: instants [s] since the start and [°C], both (n,).

    ``start_c`` [°C] is where the firing began; the schedule's own ``start`` wins, 20 °C stands in
    for neither (common practice, no source). A segment that goes as fast as the kiln can is a
    vertical step: the plan allows it no time.

    From 20 °C at 300 K/h to 320 °C takes an hour; then it holds for one.

    >>> from firelog.schedule.plan.model import Segment
    >>> up = Segment("up", 320.0, rate_k_per_h=300.0)
    >>> plan = Schedule("p", "C", (up, Segment("soak", 320.0, hold_s=3600.0)), ())
    >>> seconds, temps = plan_points(plan)
    >>> seconds.tolist(), temps.tolist()
    ([0.0, 3600.0, 7200.0], [20.0, 320.0, 320.0])
    """
    level_c = _start(schedule, start_c)
    seconds, temps = [0.0], [level_c]
    for segment in schedule.segments:
        seconds.append(seconds[-1] + segment_length_s(schedule, len(seconds) - 1, level_c))
        level_c = segment.target_c
        temps.append(level_c)
    return np.array(seconds), np.array(temps)


def segment_length_s(schedule: Schedule, number: int, from_c: float) -> float:
    """Return how long [s] the plan gives a segment begun at ``from_c`` [°C]; 0 means no limit."""
    segment = schedule.segments[number]
    if segment.hold_s is not None:
        return segment.hold_s
    if segment.within_s is not None:
        return segment.within_s
    if segment.rate_k_per_h is not None:
        return abs(segment.target_c - from_c) / segment.rate_k_per_h * 3600.0
    return 0.0


def target_c(
    schedule: Schedule, t_s: NDArray[np.float64] | float, start_c: float | None = None
) -> FloatArray:
    """Return the plan's temperature [°C] at ``t_s`` seconds since the start, same shape.

    After the plan's end its last temperature stands; at a vertical step the new one counts.

    >>> from firelog.schedule.plan.model import Segment
    >>> plan = Schedule("p", "C", (Segment("up", 320.0, rate_k_per_h=300.0),), ())
    >>> target_c(plan, np.array([0.0, 1800.0, 9000.0]))
    array([ 20., 170., 320.])
    """
    seconds, temps = plan_points(schedule, start_c)
    at = np.asarray(t_s, dtype=np.float64)
    found = np.searchsorted(seconds, at, side="right")
    left = np.clip(found - 1, 0, len(seconds) - 1)
    right = np.clip(found, 0, len(seconds) - 1)
    width = seconds[right] - seconds[left]
    part = np.divide(
        at - seconds[left], width, out=np.zeros_like(at, dtype=np.float64), where=width > 0
    )
    return np.asarray(temps[left] + np.clip(part, 0, 1) * (temps[right] - temps[left]))


def plan_length_s(schedule: Schedule, start_c: float | None = None) -> float:
    """Return how long [s] the whole plan takes, steps that are given no time not counted.

    ``start_c`` [°C] as in ``plan_points``.
    """
    return float(plan_points(schedule, start_c)[0][-1])


def _start(schedule: Schedule, start_c: float | None) -> float:
    if schedule.start_c is not None:
        return schedule.start_c
    if start_c is not None and np.isfinite(start_c):
        return float(start_c)
    return ROOM_C
