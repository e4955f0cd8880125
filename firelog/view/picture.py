"""What one picture is made of (traces, schedule, events), and which channels stand out in it.

Firings, heats and castings all come through :func:`picture_of`. Pure data and choices: the figure
draws it, the page, the printed report and the live update read it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field
from datetime import timedelta
from functools import cached_property

import numpy as np

from firelog.judge.firing import Assessment
from firelog.judge.outlook import Lateness
from firelog.readings import FloatArray
from firelog.record.rows import Event
from firelog.say.reader import Reader
from firelog.schedule.follow.segments import Following, follow
from firelog.schedule.forecast.finish import Outlook
from firelog.schedule.plan.model import ChannelTrace, FiringJudgement, Schedule
from firelog.schedule.plan.requirements import Clock
from firelog.units import difference_from_k, from_celsius, seconds_since, us_to_datetime
from firelog.view import downsampling
from firelog.view.target import Target, by_default

MOST_HIGHLIGHTED = 6  # channels with a colour of their own; with more, only those that decide
Note = tuple[int, str, str]  # an instant [µs UTC], its kind, its text


@dataclass(frozen=True)
class Picture:
    """What is drawn: a firing's corrected traces, schedule, judgement and events (s, kind, text).

    ``end_s`` is where the record ends, in seconds since the firing began at ``began_us``.
    ``following`` is how the traces run along the schedule (found here when nobody has it),
    ``outlook`` what a running firing is heading for.
    """

    began_us: int
    traces: tuple[ChannelTrace, ...]
    end_s: float
    schedule: Schedule | None = None
    judgement: FiringJudgement | None = None
    events: tuple[tuple[float, str, str], ...] = ()
    running: bool = False
    how: Reader = field(default_factory=Reader)
    following: Following | None = None
    outlook: Outlook | None = None
    late: Lateness | None = None

    @cached_property
    def highlighted(self) -> tuple[ChannelTrace, ...]:
        """The channels drawn clearly: all when they are few, else those that decide."""
        return highlighted(self.traces, self.judgement, self.schedule)

    @cached_property
    def followed(self) -> tuple[ChannelTrace, ...]:
        """The channels that are meant to be at the target."""
        return followed(self.traces, self.schedule)

    @cached_property
    def against(self) -> Clock:
        """The clock this firing is shown against until a reader chooses the other."""
        return by_default(self.schedule) if self.schedule else "segments"

    @cached_property
    def targets(self) -> dict[Clock, Target]:
        """What the firing aimed at by each clock, the usual one first; empty without a schedule."""
        schedule = self.schedule
        if schedule is None:
            return {}
        laid = self.following or follow(
            schedule, self.traces, end_s=self.end_s, running=self.running
        )
        other: Clock = "segments" if self.against == "clock" else "clock"
        began_c = start_c(self.followed)
        return {one: Target(schedule, laid, one, began_c) for one in (self.against, other)}

    @property
    def target(self) -> Target | None:
        """What the firing aimed at by its usual clock, or None without a schedule."""
        return self.targets.get(self.against)

    @cached_property
    def offset_s(self) -> float:
        """The UTC offset at the firing's beginning, kept for the whole axis."""
        offset = us_to_datetime(self.began_us, self.how.tz).utcoffset() or timedelta()
        return offset.total_seconds()

    def x_ms(self, t_s: FloatArray | Sequence[float]) -> list[int]:
        """Return local wall time as the milliseconds a date axis takes."""
        zero_ms = self.began_us / 1e3 + self.offset_s * 1e3
        return [round(value) for value in (np.asarray(t_s, float) * 1e3 + zero_ms).tolist()]

    def y(self, temp_c: FloatArray) -> list[float | None]:
        """Return temperatures in the reader's unit; None where there is none."""
        return _listed(from_celsius(np.asarray(temp_c, float), self.how.unit))

    def dy(self, deviation_k: FloatArray) -> list[float | None]:
        """Return differences in the reader's unit; None where there is none."""
        return _listed(difference_from_k(np.asarray(deviation_k, float), self.how.unit))


# ---------------------------------------------------------------- put together
def picture_of(
    how: Reader,
    began_us: int,
    traces: Iterable[ChannelTrace],
    end_s: float,
    *,
    judged: Assessment | None = None,
    notes: Iterable[Note] = (),
    outlook: Outlook | None = None,
    late: Lateness | None = None,
) -> Picture:
    """Put a picture together: the only place that makes one.

    ``judged``: the firing that the traces belong to, with its schedule and judgement. ``notes``
    are drawn as events.
    """
    return Picture(
        began_us=began_us,
        traces=tuple(traces),
        end_s=end_s,
        schedule=judged.schedule if judged else None,
        judgement=judged.judgement if judged else None,
        events=tuple((seconds_since(began_us, t_us), kind, text) for t_us, kind, text in notes),
        running=judged is not None and judged.firing.running,
        how=how,
        following=judged.following if judged else None,
        outlook=outlook,
        late=late,
    )


def notes_of(events: Iterable[Event]) -> list[Note]:
    """Return what was noted in the record as a picture takes it."""
    return [(event.t_us, event.kind, event.text) for event in events]


# ---------------------------------------------------------------- which channels
def followed(traces: Sequence[ChannelTrace], schedule: Schedule | None) -> tuple[ChannelTrace, ...]:
    """Return the channels the schedule is followed by (role or names), or all if there are none."""
    follow = schedule.follow if schedule else "kiln"
    if isinstance(follow, tuple):
        found = tuple(trace for trace in traces if trace.name in follow)
    else:
        found = tuple(trace for trace in traces if trace.role == follow)
        found = found or tuple(trace for trace in traces if trace.name == follow)
    return found or tuple(traces)


def highlighted(
    traces: Sequence[ChannelTrace], judgement: FiringJudgement | None, schedule: Schedule | None
) -> tuple[ChannelTrace, ...]:
    """Return all of up to six channels; of more, the (at most three) that decide, worst first."""
    by_name = {trace.name: trace for trace in traces}
    checks = sorted(judgement.checks, key=lambda c: c.verdict.rank) if judgement else []
    decided = [by_name[check.channel] for check in checks if check.channel in by_name]
    order = list(dict.fromkeys(t.name for t in [*decided, *followed(traces, schedule), *traces]))
    if len(traces) <= MOST_HIGHLIGHTED:
        return tuple(by_name[name] for name in order)
    most = max(1, min(3, len({trace.name for trace in decided})))
    return tuple(by_name[name] for name in order[:most])


def start_c(traces: Sequence[ChannelTrace]) -> float | None:
    """Return the first usable temperature of the first channel that has one."""
    for trace in traces:
        usable = trace.temp_c[np.isfinite(trace.temp_c)]
        if len(usable):
            return float(usable[0])
    return None


def deviation_k(trace: ChannelTrace, target: Target) -> FloatArray:
    """Return measured minus target at each reading, NaN where either is missing."""
    return np.asarray(trace.temp_c - target.at(trace.t_s))


def begun_segments(picture: Picture) -> list[tuple[int, str, float, float]]:
    """Return the segments that began: number, name, from and to in seconds."""
    runs = picture.judgement.segments if picture.judgement else ()
    found = []
    for number, run in enumerate(runs, 1):
        if run.began_s is not None:
            ended_s = picture.end_s if run.ended_s is None else run.ended_s
            found.append((number, run.name, run.began_s, max(ended_s, run.began_s)))
    return found


def span_s(picture: Picture) -> float:
    """Return how many seconds the picture shows: the record, and the plan ahead while it runs."""
    ends_s = [picture.end_s, 1.0]
    if picture.target and picture.running:
        ends_s += picture.target.ahead(picture.end_s)[0][-1:].tolist()
    if picture.outlook:
        ends_s += [estimate.late_s for estimate in picture.outlook.estimates[-1:]]
    return max(ends_s)


def hole_spans(picture: Picture) -> list[tuple[float, float]]:
    """Return the stretches in which no followed channel had a usable reading, ends included."""
    longest_s = picture.schedule.longest_gap_s if picture.schedule else 300.0
    times = [t.t_s[np.isfinite(t.temp_c)] for t in picture.followed]
    known = np.unique(np.concatenate(times)) if times else np.empty(0)
    ends = [0.0] if picture.running else [0.0, picture.end_s]
    known = np.unique(np.concatenate([known, ends]))
    return downsampling.holes(known, np.zeros(len(known)), longest_s)


def _listed(values: FloatArray) -> list[float | None]:
    return [None if v != v else round(v, 2) for v in values.tolist()]  # noqa: PLR0124
