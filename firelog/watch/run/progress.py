"""From buffers to facts: where each kiln is on its schedule, and how its channels stand. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from statistics import median

import numpy as np

from firelog.schedule.follow.segments import Following, follow
from firelog.schedule.forecast.finish import KilnHistory, Outlook, forecast
from firelog.schedule.plan.model import ChannelTrace, Schedule, SegmentRun
from firelog.schedule.plan.target import plan_points
from firelog.watch.facts import ChannelNow, ScheduleProgress
from firelog.watch.run.buffer import ChannelBuffer

SPANS_S = (180, 600, 1800)
SETTLING_S = 900.0  # an even kiln takes so long into a hold; common practice, no source
HOLE_S = 60.0  # longer without a usable reading was not seen
SETTLED_S = 600.0  # and is then measured for so long


def channel_now(buffer: ChannelBuffer, now_s: float) -> ChannelNow:
    """Return how a channel stands at ``now_s``."""
    return ChannelNow(
        name=buffer.name,
        role=buffer.role,
        temp_c=buffer.now_c(now_s),
        quality=buffer.quality,
        heard_ago_s=now_s - (buffer.newest_s or 0.0),
        usable_ago_s=now_s - (buffer.usable_s or 0.0),
        every_s=buffer.every_s or 0.0,
        rose_k={span: buffer.rose_k(now_s, span) for span in SPANS_S},
        frozen=buffer.frozen,
    )


def course_of(
    schedule: Schedule,
    buffers: Sequence[ChannelBuffer],
    now_s: float,
    history: KilnHistory | None = None,
) -> ScheduleProgress:
    """Return where the firing is on its schedule; as dear as following a whole night."""
    traces = [buffer.trace() for buffer in buffers]
    following = follow(schedule, traces, end_s=now_s, running=True)
    outlook = forecast(schedule, following, now_s=now_s, history=history)
    return ScheduleProgress(
        following.runs,
        outlook,
        late_s(schedule, following, outlook),
        _settled(schedule, following, buffers, now_s),
        tuple(_unseen_s(run, traces, now_s) for run in following.runs),
    )


def _unseen_s(run: SegmentRun, traces: Sequence[ChannelTrace], now_s: float) -> float:
    """Return how much of a segment so far no channel has a usable reading for."""
    if run.began_s is None:
        return 0.0
    t_s = np.unique(np.concatenate([trace.t_s for trace in traces]))
    until_s = now_s if run.ended_s is None else run.ended_s
    inside = t_s[(t_s >= run.began_s) & (t_s <= until_s)]
    gaps = np.diff(inside, prepend=run.began_s, append=until_s)
    return float(gaps[gaps > HOLE_S].sum())


def late_s(schedule: Schedule, following: Following, outlook: Outlook) -> float | None:
    """Return by how much the next milestone will be late at the least, or None.

    Counted over the steps the plan gives time to: a ramp as fast as the kiln goes is never late.
    """
    seconds, _ = plan_points(schedule, following.start_c)
    names = [segment.name for segment in schedule.segments]
    if not outlook.estimates or outlook.estimates[0].segment not in names:
        return None
    current = names.index(outlook.estimates[0].segment)
    late, counted = 0.0, False
    for number in range(current + 1):
        run, planned_s = following.runs[number], float(seconds[number + 1] - seconds[number])
        if planned_s <= 0.0 or run.began_s is None:
            continue
        after = following.runs[number + 1].began_s if number + 1 < len(names) else None
        ended_s = outlook.estimates[0].early_s if number == current else after
        if ended_s is None:
            ended_s = run.ended_s
        if ended_s is None:
            continue
        late, counted = late + ended_s - run.began_s - planned_s, True
    return late if counted else None


def _settled(
    schedule: Schedule, following: Following, buffers: Iterable[ChannelBuffer], now_s: float
) -> dict[str, float] | None:
    """Return each kiln channel's offset from the middle of all when the hold had settled."""
    holds = [
        run.began_s
        for segment, run in zip(schedule.segments, following.runs, strict=True)
        if segment.is_hold and run.began_s is not None and run.ended_s is None
    ]
    if not holds:
        return None
    from_s = holds[-1] + SETTLING_S
    if now_s < from_s + SETTLED_S:
        return None
    means = {
        buffer.name: mean
        for buffer in buffers
        if buffer.role == "kiln" and (mean := buffer.mean_c(from_s, from_s + SETTLED_S)) is not None
    }
    if len(means) < 2:
        return None
    middle = median(means.values())
    return {name: mean - middle for name, mean in means.items()}
