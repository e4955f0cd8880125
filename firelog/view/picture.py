"""What one picture is made of (traces, schedule, events), and which channels stand out in it.

Firings, heats and castings all come through :func:`picture_of`. Pure data and choices: the figure
draws it, the page, the printed report and the live update read it.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta, tzinfo
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from firelog.judge.firing import Assessment
from firelog.judge.outlook import Lateness
from firelog.readings import FloatArray, IntArray
from firelog.record.rows import Event
from firelog.say.reader import Reader
from firelog.schedule.checks.basis import TimeSpan
from firelog.schedule.follow.segments import Following, follow
from firelog.schedule.forecast.finish import Outlook
from firelog.schedule.plan.model import ChannelTrace, FiringJudgement, Schedule
from firelog.schedule.plan.requirements import Clock
from firelog.units import (
    datetime_to_us,
    difference_from_k,
    from_celsius,
    seconds_since,
    us_to_datetime,
)
from firelog.view import asked, downsampling
from firelog.view.aside import Aside, set_aside, without_aside
from firelog.view.asked import Level
from firelog.view.target import Target, by_default
from firelog.view.window import Window

MOST_HIGHLIGHTED = 6  # channels with a colour of their own; with more, only those that decide
_STEP_K = 5.0  # a line that steps farther from one reading to the next is broken there
Note = tuple[int, str, str]  # an instant [µs UTC], its kind, its text


@dataclass(frozen=True)
class Picture:
    """What is drawn: a firing's corrected traces, schedule, judgement and events (s, kind, text).

    ``end_s`` is where the record ends, in seconds since the firing began at ``began_us``.
    ``following`` is how the traces run along the schedule (found here when nobody has it),
    ``outlook`` what a running firing is heading for. ``window`` is the stretch somebody looks at
    closely; lines are then drawn there alone, as finely as its columns ask. ``silent_to_s`` is up
    to when a running firing has not been heard of, None while it is.
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
    window: Window | None = None
    silent_to_s: float | None = None

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
    def laid(self) -> Following | None:
        """How the traces ran along the segments; None without a schedule."""
        if self.schedule is None:
            return None
        return self.following or follow(
            self.schedule, self.traces, end_s=self.end_s, running=self.running
        )

    @cached_property
    def targets(self) -> dict[Clock, Target]:
        """What the firing aimed at by each clock, the usual one first; empty without a schedule."""
        schedule, laid = self.schedule, self.laid
        if schedule is None or laid is None:
            return {}
        other: Clock = "segments" if self.against == "clock" else "clock"
        began_c = start_c(self.followed)
        return {one: Target(schedule, laid, one, began_c) for one in (self.against, other)}

    @property
    def target(self) -> Target | None:
        """What the firing aimed at by its usual clock, or None without a schedule."""
        return self.targets.get(self.against)

    @cached_property
    def spans(self) -> dict[str, TimeSpan]:
        """The stretch that each requirement was held against, by its name."""
        if self.schedule is None or self.laid is None:
            return {}
        return asked.spans(self.schedule, self.laid, self.end_s, running=self.running)

    @cached_property
    def levels(self) -> tuple[Level, ...]:
        """Every temperature that is asked, each in its stretch."""
        if self.schedule is None:
            return ()
        goals = self.targets["segments"].goals(self.end_s)
        ahead_s = span_s(self) if self.running else self.end_s
        said = asked.Said(self.began_us, self.how)
        return asked.levels(self.schedule, self.spans, goals, said, ahead_s)

    @cached_property
    def aside(self) -> dict[str, Aside]:
        """What was read and set aside, by channel: never part of a line."""
        return {
            trace.name: found for trace in self.traces if (found := set_aside(trace)) is not None
        }

    @cached_property
    def believed(self) -> tuple[ChannelTrace, ...]:
        """The traces as lines show them: NaN where a reading was set aside."""
        return tuple(without_aside(trace, self.aside.get(trace.name)) for trace in self.traces)

    def as_believed(self, trace: ChannelTrace) -> ChannelTrace:
        """Return a trace of this picture as its line shows it."""
        return self.believed[[one.name for one in self.traces].index(trace.name)]

    def off_asked_k(self, trace: ChannelTrace) -> FloatArray:
        """Return measured minus the nearest temperature that is asked at each reading [K].

        NaN where another one becomes the nearest: no line leads from one to the other.
        """
        if self.schedule is None or self.laid is None:
            return np.full(len(trace), np.nan)
        left_c = asked.next_step_c(self.schedule, self.laid, trace.t_s)
        mine = asked.of_trace(self.levels, trace)
        off_k, which = asked.nearest(mine, trace.t_s, trace.temp_c, left_c)
        turned = np.flatnonzero(np.diff(which)) + 1
        off_k[turned] = np.where(_far(off_k, turned), np.nan, off_k[turned])
        return off_k

    def within(self, window: Window) -> Picture:
        """Return the same picture looked at closely; what is known of it is not found anew."""
        seen = replace(self, window=window, following=self.laid)
        known = [
            *("aside", "believed", "distances", "followed", "highlighted", "levels"),
            *("paces_s", "spans", "targets"),
        ]
        seen.__dict__.update({name: getattr(self, name) for name in known})
        return seen

    def drawn(
        self, t_s: FloatArray, value: FloatArray, points: int
    ) -> tuple[FloatArray, FloatArray]:
        """Return what a line of at most ``points`` shows; in the window, if there is one."""
        if self.window is None:
            return downsampling.drawn(t_s, value, points)
        return downsampling.drawn(*self.window.cut(t_s, value), self.window.points)

    @cached_property
    def distances(self) -> dict[tuple[str, Clock], tuple[FloatArray, FloatArray]]:
        """How far channels were off, by name and clock: kept by who finds it (``deviation``)."""
        return {}

    @cached_property
    def paces_s(self) -> dict[str, float]:
        """The usual seconds between two readings, by channel."""
        return {trace.name: downsampling.pace(trace.t_s) for trace in self.traces}

    @cached_property
    def offset_s(self) -> float:
        """The UTC offset at the firing's beginning, kept for the whole axis."""
        offset = us_to_datetime(self.began_us, self.how.tz).utcoffset() or timedelta()
        return offset.total_seconds()

    @cached_property
    def clock_change(self) -> tuple[float, float] | None:
        """When the foundry's clocks were changed meanwhile, and by how much [s]; or None."""
        return clock_change(self.began_us, span_s(self), self.how.tz)

    def x(self, t_s: FloatArray | Sequence[float]) -> list[str]:
        """Return local wall time as ISO 8601 without offset, to the millisecond.

        A number would be taken for an instant and moved into the zone of whoever looks.
        """
        zero_us = self.began_us + self.offset_s * 1e6
        at_ms = np.rint((np.asarray(t_s, float) * 1e6 + zero_us) / 1e3).astype(np.int64)
        if (at_ms % 1000 == 0).all():
            return list(np.datetime_as_string((at_ms // 1000).astype("datetime64[s]")).tolist())
        return list(np.datetime_as_string(at_ms.astype("datetime64[ms]")).tolist())

    def seconds(self, x: str) -> float:
        """Return the seconds since the beginning of an instant as :meth:`x` writes it.

        Raises ValueError for anything else.
        """
        wall = datetime.fromisoformat(x).replace(tzinfo=UTC)
        return seconds_since(self.began_us, datetime_to_us(wall)) - self.offset_s

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


def _far(off_k: FloatArray, places: IntArray) -> NDArray[np.bool_]:
    return np.abs(off_k[places] - off_k[places - 1]) > _STEP_K


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
    ends_s = [picture.end_s, 1.0, picture.silent_to_s or 0.0]
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
    found = downsampling.holes(known, np.zeros(len(known)), longest_s)
    if picture.silent_to_s is not None:
        found.append((float(known[-1]), picture.silent_to_s))
    return found


def clock_change(began_us: int, length_s: float, tz: tzinfo) -> tuple[float, float] | None:
    """Return the seconds after which a zone's offset first changes, and by how much [s]."""

    def offset_s(at_s: float) -> float:
        moment = us_to_datetime(began_us + round(at_s * 1e6), tz)
        return (moment.utcoffset() or timedelta()).total_seconds()

    days = np.append(np.arange(0.0, length_s, 86_400.0), length_s)
    first = offset_s(0.0)
    late = next((day for day in days.tolist() if offset_s(day) != first), None)
    if late is None:
        return None
    early = max(0.0, late - 86_400.0)
    while late - early > 1.0:
        middle = (early + late) / 2.0
        early, late = (middle, late) if offset_s(middle) == first else (early, middle)
    # Clocks are changed at a whole minute of universal time.
    at_s = seconds_since(began_us, round((began_us + late * 1e6) / 60e6) * 60_000_000)
    return at_s, offset_s(late) - first


def _listed(values: FloatArray) -> list[float | None]:
    return [None if v != v else round(v, 2) for v in values.tolist()]  # noqa: PLR0124
