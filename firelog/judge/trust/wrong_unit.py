"""Finds numbers in another unit than the record says: °F under a °C heading, or °C under °F.

Read in the wrong scale a trace is 1.8·t + 32 (or its inverse) of the truth throughout, from the
cold start on. That is held against what the schedule says of start and holds, against a neighbour,
and against the kiln's earlier firings. Pure; limits are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from itertools import combinations
from typing import NamedTuple

import numpy as np

from firelog.judge.trust.cells import Cells
from firelog.judge.trust.doubt import Doubt, Kind
from firelog.readings import FloatArray
from firelog.say.numbers import show_temperature
from firelog.schedule.plan.model import ChannelTrace, Schedule, Segment
from firelog.units import TemperatureUnit

START_OFF_K = 9.0  # a room is 15 to 25 °C, of whatever the plan says of its start
START_FAR_K = 20.0
LEVEL_SHARE = 0.04
FAR_SHARE = 0.2  # and the hold must miss what was aimed at by this share
APART_SHARE = 0.03
RANGE_K = 150.0
FREEZING_C = 3.0  # a kiln that starts colder stands outdoors in winter, or is read in °F


class PastLevels(NamedTuple):
    """Where a kiln's earlier firings began and how hot they came, medians [°C]."""

    start_c: float
    highest_c: float


Scale = Callable[[float], float]
_SCALES: tuple[tuple[str, Scale], ...] = (
    ("°F numbers under a °C heading", lambda true_c: 1.8 * true_c + 32.0),
    ("°C numbers under a °F heading", lambda true_c: (true_c - 32.0) / 1.8),
)


def wrong_unit(
    traces: Sequence[ChannelTrace],
    grid: Cells | None,
    schedule: Schedule | None,
    past: Callable[[], PastLevels | None] = lambda: None,
    unit: TemperatureUnit = "C",
) -> list[Doubt]:
    """Return the channels [s, °C] whose numbers look like those of another unit.

    ``grid`` holds them laid side by side, None for fewer than two. ``past`` is asked only where
    the start is that of another unit. Sentences in ``unit``.
    """
    live = [one for one in traces if np.count_nonzero(np.isfinite(one.temp_c)) >= 3]
    found = [
        Doubt(trace.name, trace.role, Kind.UNIT, -np.inf, np.inf, why)
        for trace in live
        if (why := _against_plan(trace, schedule, past, unit))
    ]
    if len(found) < len(live):
        found = []  # one heading serves the whole file; a corner may be warm or cold by itself
    named = {one.channel for one in found}
    beside = [] if grid is None else _against_neighbours(grid, traces[0].role)
    return found + [one for one in beside if one.channel not in named]


def _against_plan(
    trace: ChannelTrace,
    schedule: Schedule | None,
    past: Callable[[], PastLevels | None],
    unit: TemperatureUnit,
) -> str:
    good = np.isfinite(trace.temp_c)
    temp_c = trace.temp_c[good]
    if len(temp_c) < 3:
        return ""
    start_c = float(np.median(temp_c[:3]))
    planned_c = None if schedule is None else schedule.start_c
    levels: list[float] | None = None
    aims = [] if schedule is None else [one.target_c for one in schedule.segments if one.is_hold]
    for words, scale in _SCALES:
        starts = planned_c is not None and _is_start(start_c, planned_c, scale)
        if planned_c is not None and not starts:
            continue  # it began where it should have, or somewhere else altogether
        if not starts and not _room(start_c, scale):
            continue  # whatever it holds at
        levels = _levels(trace.t_s[good], temp_c) if levels is None else levels
        holds = _are_holds(levels, aims, scale)
        if planned_c is None and (known := past()) is not None:
            # without a planned start, the kiln's past must say both how it starts and how it ends
            highest_c = float(temp_c.max())
            starts = _is_start(start_c, known.start_c, scale)
            holds = holds or abs(highest_c - scale(known.highest_c)) < LEVEL_SHARE * highest_c
            if not (starts and holds):
                continue
        if starts or (holds and _room(start_c, scale)):
            shown = show_temperature(start_c, unit)
            return (
                f"{trace.name} begins at {shown}"
                + (" and holds" if holds else "")
                + f" as {words} would: say the unit when the file is imported, or the true start "
                "in the schedule; not believed"
            )
    return ""


def _is_start(start_c: float, planned_c: float, scale: Scale) -> bool:
    off_k = abs(scale(planned_c) - planned_c)
    return (
        off_k > START_FAR_K
        and abs(start_c - scale(planned_c)) <= min(START_OFF_K, 0.3 * off_k)
        and abs(start_c - planned_c) > START_FAR_K
    )


def _room(start_c: float, scale: Scale) -> bool:
    """Return whether a start [°C] is a room read in the other scale."""
    return scale(12.0) <= start_c <= scale(32.0)


def _levels(t_s: FloatArray, temp_c: FloatArray) -> list[float]:
    """Return where the trace stayed longest: its commonest levels [°C], twenty minutes or more."""
    if len(t_s) < 10:
        return []
    low_c = float(temp_c.min()) - 5.0
    lasting_s = np.minimum(np.diff(t_s, append=t_s[-1]), 900.0)
    spent_s = np.bincount(((temp_c - low_c) / 10.0).astype(np.int64), weights=lasting_s)
    edges = low_c + 10.0 * np.flatnonzero(spent_s > 1200.0)
    return [float(edge + 5.0) for edge in edges if edge > 60.0]


def _are_holds(levels: Sequence[float], aims: Sequence[float], scale: Scale) -> bool:
    """Return whether most levels [°C] are aims [°C] in the other scale, and none an aim itself."""
    if not levels or not aims:
        return False
    fit = sum(
        any(abs(one - scale(a)) < max(LEVEL_SHARE * one, 12.0) for a in aims) for one in levels
    )
    plain = any(abs(one - a) < FAR_SHARE / 2.0 * a for one in levels for a in aims)
    return fit >= 0.6 * len(levels) and not plain


def _against_neighbours(grid: Cells, role: str) -> list[Doubt]:
    """Return both channels of a pair of which one is 1.8 times the other and 32 throughout."""
    for i, j in combinations(range(len(grid.names)), 2):
        for high, low in ((i, j), (j, i)):
            seen, base = grid.temp_c[high], grid.temp_c[low]
            both = np.isfinite(seen) & np.isfinite(base)
            if both.sum() < 20 or float(np.ptp(base[both])) < RANGE_K:
                continue
            off_k = np.abs(seen[both] - (1.8 * base[both] + 32.0))
            if float(np.quantile(off_k / np.maximum(seen[both], 100.0), 0.8)) < APART_SHARE:
                names = (grid.names[high], grid.names[low])
                why = (
                    f"{names[0]} is 1.8 times {names[1]} and 32 throughout: one of the two is in "
                    "another unit than its heading says; not believed"
                )
                return [Doubt(name, role, Kind.UNIT, -np.inf, np.inf, why) for name in names]
    return []


# ---------------------------------------------------------------- while it runs
RATE_S, RATE_SHARE = 1800.0, 0.14  # a ramp seen for so long, and how near 1.8 times its rate
HELD_S = 600.0
WARM_C = 60.0  # a kiln still warm from the day before


def misread(trace: ChannelTrace, schedule: Schedule, unit: TemperatureUnit = "C") -> Doubt | None:
    """Return a doubt about a running trace [s, °C] whose numbers look like another unit's.

    It must begin as a room, or as the first aim, would in that unit, and then climb at 1.8 times
    (or 1/1.8 of) the rate asked, or stand where an aim of the plan would. Sentences in ``unit``.
    """
    good = np.isfinite(trace.temp_c)
    t_s, temp_c = trace.t_s[good], trace.temp_c[good]
    if len(temp_c) < 6 or not schedule.segments:
        return None
    start_c, first = float(np.median(temp_c[:3])), schedule.segments[0]
    for words, scale in _SCALES:
        factor = (scale(100.0) - scale(0.0)) / 100.0
        hot = first.target_c > 300.0 and abs(start_c / scale(first.target_c) - 1.0) < 0.06
        if not hot and not scale(2.0) <= start_c <= scale(WARM_C):
            continue
        if not hot and 2.0 <= start_c <= 38.0:
            continue  # a room in this unit as well
        aims = [one.target_c for one in schedule.segments if one.is_hold]
        own = _stands_at(t_s, temp_c, aims)
        seen = _climbs(t_s, temp_c, first, start_c, factor) or (hot and factor > 1.0)
        if not own and (seen or _stands(t_s, temp_c, aims, scale)):
            begin = show_temperature(start_c, unit)
            now = show_temperature(float(np.median(temp_c[-3:])), unit)
            why = f"{trace.name} looks like {words}: it began at {begin} and now reads {now}"
            return Doubt(trace.name, trace.role, Kind.UNIT, -np.inf, np.inf, why)
    return None


def _climbs(
    t_s: FloatArray, temp_c: FloatArray, first: Segment, start_c: float, factor: float
) -> bool:
    """True where the first ramp goes at ``factor`` times the rate asked, all along."""
    rate = first.rate_k_per_h
    if rate is None or first.target_c < start_c:
        return False
    moved = np.flatnonzero(np.abs(temp_c - start_c) > 0.1 * abs(first.target_c - start_c))
    if not len(moved):
        return False
    begin = int(moved[0])
    until = int(np.searchsorted(t_s, t_s[begin] + RATE_S, "right")) - 1
    if t_s[until] - t_s[begin] < 0.9 * RATE_S:
        return False
    half = (begin + until) // 2
    rates = [
        float(temp_c[b] - temp_c[a]) / float(t_s[b] - t_s[a]) * 3600.0
        for a, b in ((begin, half), (half, until))
        if t_s[b] > t_s[a]
    ]
    return bool(rates) and all(abs(one / (factor * rate) - 1.0) < RATE_SHARE for one in rates)


def _stands_at(t_s: FloatArray, temp_c: FloatArray, aims: Sequence[float]) -> bool:
    """True where the trace has stayed at an aim of the plan as it is written."""
    levels = _levels(t_s, temp_c)
    return any(abs(one - aim) < max(0.04 * aim, 10.0) for one in levels for aim in aims)


def _stands(t_s: FloatArray, temp_c: FloatArray, aims: Sequence[float], scale: Scale) -> bool:
    """True where it stands at an aim of the plan in the other scale, and at none in its own."""
    recent = temp_c[t_s > t_s[-1] - HELD_S]
    if len(recent) < 2 or float(np.ptp(recent)) > 20.0 or t_s[-1] - t_s[0] < HELD_S:
        return False
    level_c = float(np.median(recent))
    near = [abs(level_c - scale(aim)) < max(LEVEL_SHARE * level_c, 8.0) for aim in aims]
    own = [abs(level_c - aim) < max(0.06 * aim, 20.0) for aim in aims]
    return level_c > 45.0 and any(near) and not any(own)
