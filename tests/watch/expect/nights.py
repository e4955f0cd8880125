"""Nights drawn by corner points, for what is pure in the watch: no kiln is simulated."""

from __future__ import annotations

import numpy as np

from firelog.judge.trust.doubt import Doubt
from firelog.schedule.forecast.finish import Outlook
from firelog.schedule.plan.model import ChannelTrace, Schedule
from firelog.schedule.plan.reader import parse_schedule
from firelog.watch.expect.due import due_s
from firelog.watch.expect.place import place_of
from firelog.watch.expect.trend import Trend, trend_of
from firelog.watch.facts import KilnNow, ScheduleProgress

HOUR_S = 3600.0
PLAN = """
title = "up, hold, down, stand"
unit = "C"
[[segment]]
name = "up"
to = 870
rate = 100
[[segment]]
name = "hold"
hold = "2 h"
band = 15
[[segment]]
name = "down"
to = 670
rate = 100
[[segment]]
name = "stand"
hold = "1 h"
band = 15
"""
GOOD = ((0.0, 20.0), (8.5, 870.0), (10.6, 870.0), (12.6, 670.0), (13.8, 670.0))
Corners = tuple[tuple[float, float], ...]


def plan(more: str = "") -> Schedule:
    """Return the plan, with requirements added."""
    return parse_schedule(PLAN + more)


def trace(
    corners: Corners, until_h: float, *, name: str = "top", every_s: float = 30.0
) -> ChannelTrace:
    """Return straight lines between corners (hours, °C), read every so often until an hour."""
    t_s = np.arange(0.0, until_h * HOUR_S + 1e-6, every_s)
    hours, temps = zip(*corners, strict=True)
    temp_c = np.interp(t_s / HOUR_S, hours, temps)
    temp_c = np.round(temp_c + 0.2 * np.sin(t_s), 2)  # a channel that measures flickers
    return ChannelTrace(
        name, "kiln", t_s, temp_c, np.full(len(t_s), 5.0), np.zeros(len(t_s), np.uint8)
    )


def trend(corners: Corners, until_h: float, every_s: float = 30.0) -> Trend:
    """Return what the watch believes of such a night."""
    return trend_of([trace(corners, until_h, every_s=every_s)], until_h * HOUR_S, every_s)


def at(corners: Corners, until_h: float, more: str = "", *doubts: Doubt) -> KilnNow:
    """Return the facts of such a night at an hour of it."""
    schedule, believed = plan(more), trend(corners, until_h)
    place = place_of(schedule, believed)
    assert place is not None
    course = ScheduleProgress(
        lambda: Outlook("on its way", "", 0.0, 10.0, (), 0), believed, place, None, due_s(place.now)
    )
    return KilnNow("k", "night", until_h * HOUR_S, schedule, (), course, pace_s=30.0)
