"""What a firing's schedule asks of a temperature, level by level, each in the stretch it holds for.

The stretch is the judge's own (``schedule.checks.basis``), so that a limit is drawn where it was
held against the record. A step that goes as fast as the kiln can asks for its end alone.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from firelog.readings import FloatArray
from firelog.say.instants import clock
from firelog.say.numbers import show_temperature
from firelog.say.reader import Reader
from firelog.schedule.checks.basis import PreparedFiring, TimeSpan, span_of
from firelog.schedule.follow.segments import Following
from firelog.schedule.plan.model import ChannelTrace, Schedule
from firelog.schedule.plan.requirements import Ceiling, Floor, Reach, Requirement, Soak
from firelog.units import us_after
from firelog.verdict import Side


@dataclass(frozen=True)
class Level:
    """A temperature [°C] asked for from ``from_s`` to ``to_s`` [s since the firing began].

    ``side`` None: an aim, to be come to. ``name`` is the requirement's or the step's; ``channels``
    are a role or names. ``due_s`` is when it must be there, None where no time is asked.
    """

    name: str
    words: str
    temp_c: float
    side: Side | None
    from_s: float
    to_s: float
    channels: str | tuple[str, ...]
    due_s: float | None = None


@dataclass(frozen=True)
class Said:
    """How instants and temperatures are said: from when a firing began, to whom."""

    began_us: int
    how: Reader


def spans(
    schedule: Schedule, following: Following, end_s: float, *, running: bool
) -> dict[str, TimeSpan]:
    """Return the stretch of each requirement by its name, as it is judged."""
    laid = PreparedFiring(schedule, (), following, end_s, running)
    return {one.name: span_of(laid, one) for one in schedule.requirements}


def levels(
    schedule: Schedule,
    where: dict[str, TimeSpan],
    goals: Sequence[tuple[float, float, float]],
    said: Said,
    ahead_s: float,
) -> tuple[Level, ...]:
    """Return every temperature that is asked, requirements first, then ``goals`` of fast steps.

    ``goals``: from, to [s] and °C. ``ahead_s`` [s]: up to when what is still open is drawn; of a
    step that has not begun nothing is asked yet.
    """
    found = [
        Level(one.name, words, temp_c, side, span.lo_s, to_s, one.channels, due_s)
        for one in schedule.requirements
        for span in [_reaching(where[one.name], ahead_s)]
        if not (span.lost and span.still_open)
        for temp_c, side, words, to_s, due_s in _of(one, span, said)
    ]
    for from_s, to_s, temp_c in goals:
        words = f"aim {show_temperature(temp_c, said.how.unit)}"
        found.append(Level("", words, temp_c, None, from_s, to_s, schedule.follow))
    return tuple(found)


def _reaching(span: TimeSpan, ahead_s: float) -> TimeSpan:
    return replace(span, hi_s=max(span.hi_s, ahead_s)) if span.still_open else span


def _of(
    asked: Requirement, span: TimeSpan, words: Said
) -> list[tuple[float, Side, str, float, float | None]]:
    def said(side: Side, temp_c: float) -> str:
        return f"{side} {show_temperature(temp_c, words.how.unit)}"

    match asked:
        case Ceiling():
            side, temp_c = Side.AT_MOST, asked.at_most_c
            return [(temp_c, side, said(side, temp_c), span.hi_s, None)]
        case Floor():
            side, temp_c = Side.AT_LEAST, asked.at_least_c
            return [(temp_c, side, said(side, temp_c), span.hi_s, None)]
        case Soak():
            ends = [(asked.at_least_c, Side.AT_LEAST), (asked.at_most_c, Side.AT_MOST)]
            return [(c, side, said(side, c), span.hi_s, None) for c, side in ends if c is not None]
        case Reach():
            side, temp_c = asked.limits[0].side, asked.temperature_c
            if asked.within_s is None:
                return [(temp_c, side, said(side, temp_c), span.hi_s, None)]
            due_s = span.lo_s + asked.within_s
            by = clock(us_after(words.began_us, due_s), words.how)
            return [(temp_c, side, f"{said(side, temp_c)} by {by}", due_s, due_s)]
    return []


def of_trace(found: Sequence[Level], trace: ChannelTrace) -> list[Level]:
    """Return the levels that are asked of a channel."""
    return [
        one
        for one in found
        if (trace.name in one.channels if isinstance(one.channels, tuple) else False)
        or one.channels in (trace.role, trace.name)
    ]


def nearest(
    found: Sequence[Level], t_s: FloatArray, temp_c: FloatArray, otherwise_c: FloatArray
) -> tuple[FloatArray, FloatArray]:
    """Return, at each reading, measured minus the nearest that is asked [K], and which it is; (n,).

    What is still to be met (an aim, a limit that is not kept) goes before what is kept: a kiln on
    its way down is held against where it goes, not against the ceiling it left. ``otherwise_c`` is
    the next step's aim: it counts with what is kept, under the number −1.
    """
    kept_k, kept = temp_c - otherwise_c, np.full(len(t_s), -1.0)
    open_k, unmet = np.full(len(t_s), np.nan), np.full(len(t_s), -1.0)
    for number, one in enumerate(found):
        off_k = np.where((t_s >= one.from_s) & (t_s <= one.to_s), temp_c - one.temp_c, np.nan)
        met = np.zeros(len(t_s), np.bool_)
        if one.side is not None:
            met = off_k >= 0 if one.side is Side.AT_LEAST else off_k <= 0
        kept_k, kept = _closer(kept_k, kept, np.where(met, off_k, np.nan), number)
        open_k, unmet = _closer(open_k, unmet, np.where(met, np.nan, off_k), number)
    still = np.isfinite(open_k)
    return np.where(still, open_k, kept_k), np.where(still, unmet, kept)


def _closer(
    least_k: FloatArray, which: FloatArray, off_k: FloatArray, number: int
) -> tuple[FloatArray, FloatArray]:
    closer = np.isfinite(off_k) & ~(np.abs(least_k) <= np.abs(off_k))
    return np.where(closer, off_k, least_k), np.where(closer, float(number), which)


def next_step_c(schedule: Schedule, following: Following, t_s: FloatArray) -> FloatArray:
    """Return what the next step, or the last one, aims at [°C]: what is left when nothing is."""
    aim_c = np.full(len(t_s), schedule.segments[-1].target_c)
    steps = list(zip(schedule.segments, following.runs, strict=True))
    for segment, run in reversed(steps):
        if run.began_s is not None:
            aim_c = np.where(t_s < run.began_s, segment.target_c, aim_c)
    return aim_c
