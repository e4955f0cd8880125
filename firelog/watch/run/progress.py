"""From buffers to facts: which couples are believed, where the kiln is on its plan. Pure."""

from __future__ import annotations

from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

from firelog.judge.trust.believable import NO_PAST, Past
from firelog.judge.trust.doubt import Doubt
from firelog.schedule.follow.segments import follow
from firelog.schedule.forecast.finish import KilnHistory, Outlook, forecast
from firelog.schedule.plan.model import ChannelTrace, Schedule
from firelog.watch.diagnosis import believed, doubts_now
from firelog.watch.expect.due import NO_HABITS, Habits, aim_now_c, due_s, late_s, usually_slow
from firelog.watch.expect.place import place_of
from firelog.watch.expect.trend import trend_of
from firelog.watch.facts import ChannelNow, ScheduleProgress
from firelog.watch.run.buffer import ChannelBuffer

SPANS_S = (180, 600, 1800)
KILN = "kiln"


@dataclass(frozen=True)
class KilnPast:
    """What is known of a kiln's other nights: forecast, how long steps took, how couples stand."""

    history: KilnHistory | None = None
    habits: Habits = NO_HABITS
    trust: Past = field(default_factory=lambda: NO_PAST)


NOTHING = KilnPast()


def channel_now(buffer: ChannelBuffer, now_s: float, doubts: Iterable[Doubt] = ()) -> ChannelNow:
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
        doubt=next((doubt for doubt in doubts if doubt.channel == buffer.name), None),
        bad_share=buffer.bad_share,
    )


def doubts_of(
    schedule: Schedule | None,
    buffers: Sequence[ChannelBuffer],
    neighbours: Mapping[str, Sequence[ChannelTrace]],
    past: KilnPast = NOTHING,
    before: Sequence[Doubt] = (),
) -> tuple[Doubt, ...]:
    """Return what is not to be believed now of a kiln's own couples."""
    traces = [buffer.trace() for buffer in buffers if buffer.role == KILN]
    return doubts_now(traces, schedule, neighbours, past.trust, before=before)


def course_of(
    schedule: Schedule,
    buffers: Sequence[ChannelBuffer],
    now_s: float,
    past: KilnPast = NOTHING,
    *,
    doubts: Sequence[Doubt] = (),
    aim_c: float | None = None,
) -> ScheduleProgress:
    """Return where the firing is on its schedule.

    ``aim_c`` is what the plan asked at the last look [°C]: it tells which of two couples that
    contradict each other is followed.
    """
    traces = believed([buffer.trace() for buffer in buffers], doubts, aim_c)

    def foretell() -> Outlook:
        following = follow(schedule, traces, end_s=now_s, running=True)
        return forecast(schedule, following, now_s=now_s, history=past.history)

    trend = trend_of(_leading(schedule, traces), now_s, _pace_s(buffers))
    place = place_of(schedule, trend)
    if place is None:
        return ScheduleProgress(foretell, trend, None)
    return ScheduleProgress(
        foretell,
        trend,
        place,
        late_s(place, trend.level_c, now_s),
        due_s(place.now, past.habits),
        usually_slow(place.now, past.habits),
    )


def aim_of(course: ScheduleProgress | None, now_s: float) -> float | None:
    """Return what the plan asks now [°C], by the last look."""
    if course is None or course.place is None:
        return None
    return aim_now_c(course.place, now_s)


def _leading(schedule: Schedule, traces: Sequence[ChannelTrace]) -> list[ChannelTrace]:
    follow_by = schedule.follow
    named = [
        one
        for one in traces
        if (one.role == follow_by if isinstance(follow_by, str) else one.name in follow_by)
    ]
    return named or [one for one in traces if one.role == KILN]


def _pace_s(buffers: Sequence[ChannelBuffer]) -> float:
    return min((one.every_s for one in buffers if one.every_s), default=0.0)
