"""Hold a firing against its schedule: every requirement becomes a check with its evidence."""

from __future__ import annotations

from collections.abc import Sequence

from firelog.schedule.checks.basis import (
    PreparedFiring,
    check_of,
    not_proven,
    other_readings,
    span_of,
)
from firelog.schedule.follow.happenings import happenings
from firelog.schedule.follow.segments import Following, follow_series
from firelog.schedule.kinds import kind_of
from firelog.schedule.plan.model import ChannelTrace, Check, FiringJudgement, Schedule
from firelog.schedule.plan.requirements import Requirement
from firelog.schedule.series import Series, choose, prepare
from firelog.verdict import Verdict, worst


def judge(
    schedule: Schedule,
    traces: Sequence[ChannelTrace],
    *,
    end_s: float | None = None,
    running: bool = False,
    end_noted: bool = True,
) -> FiringJudgement:
    """Judge a firing by its schedule.

    ``traces``: corrected channels, seconds since the firing began. ``end_s`` [s]: its end (now,
    while it runs); None takes the last reading. A running firing passes or fails only what is
    already settled; the rest is not proven yet. So it is with one whose end nobody noted
    (``end_noted`` False) where the log stops before the schedule was done. A schedule without
    requirements proves nothing.
    """
    return judge_followed(
        followed(schedule, traces, end_s=end_s, running=running, end_noted=end_noted)
    )


def followed(
    schedule: Schedule,
    traces: Sequence[ChannelTrace],
    *,
    end_s: float | None,
    running: bool,
    end_noted: bool,
) -> PreparedFiring:
    """Return the firing laid along its segments, ready to be judged (and forecast, and drawn).

    ``end_s`` [s since the firing began] as in ``judge``.
    """
    series = tuple(prepare(trace) for trace in traces)
    if end_s is None:
        end_s = max((float(trace.t_s[-1]) for trace in traces if len(trace)), default=0.0)
    following = follow_series(schedule, series, end_s=end_s, running=running or not end_noted)
    stopped = not running and not end_noted and _is_unfinished(schedule, following)
    if not running and not end_noted and not stopped:
        following = follow_series(schedule, series, end_s=end_s)
    return PreparedFiring(schedule, series, following, end_s, running, stopped)


def _is_unfinished(schedule: Schedule, following: Following) -> bool:
    """True when the schedule was not done at the end of the record; a last cooling may be open."""
    last, run = schedule.segments[-1], following.runs[-1]
    if run.began_s is None:
        return True
    if last.is_hold:
        if run.ended_s is not None or following.grid is None:
            return False
        return float(following.grid.t_s[-1]) - run.began_s < (last.hold_s or 0.0)
    before_c = following.start_c if len(schedule.segments) < 2 else schedule.segments[-2].target_c
    heats = before_c is None or last.target_c >= before_c
    return heats and run.reached_s is None and run.ended_s is None


def judge_followed(firing: PreparedFiring) -> FiringJudgement:
    """Judge a firing that has been laid along its segments already."""
    schedule, following = firing.schedule, firing.following
    checks = tuple(check(firing, requirement) for requirement in schedule.requirements)
    return FiringJudgement(
        verdict=worst(check.verdict for check in checks),
        segments=following.runs,
        checks=checks,
        remarks=(*following.remarks, *_remarks(schedule, firing.series)),
        happenings=happenings(schedule, following, end_s=firing.end_s, running=firing.running),
    )


def check(firing: PreparedFiring, requirement: Requirement) -> Check:
    """Judge one requirement: the channels it names, over the stretch it names."""
    chosen = choose(firing.series, requirement.channels)
    if isinstance(requirement.channels, tuple):
        missing = set(requirement.channels) - {series.name for series in chosen}
        if missing:
            return _nobody(requirement, f"{', '.join(sorted(missing))} was not recorded")
    if not chosen:
        return _nobody(requirement, f"no channel {requirement.channels!r} was recorded")
    hold = kind_of(requirement).judge
    span = span_of(firing, requirement)
    found = hold(firing, requirement, span, chosen)
    if span.lost and found.verdict is Verdict.NOT_PROVEN:
        asked = firing.words(requirement)
        return check_of(requirement, Verdict.NOT_PROVEN, f"{span.lost}; {asked} was asked.")
    for other in other_readings(firing, requirement):
        differs = hold(firing, requirement, other, chosen)
        if differs.verdict is not found.verdict:
            why = f"{requirement.segment!r} may have begun {firing.after(other.lo_s)} already"
            why += ", for the kiln was there"
            if other.lo_s >= span.lo_s:
                why = f"{requirement.segment!r} may have gone on until {firing.after(other.hi_s)}"
                why += ", for the kiln left its band only then"
            return found if found.verdict is Verdict.NOT_PROVEN else not_proven(found, why)
    return found


def _nobody(requirement: Requirement, why: str) -> Check:
    return check_of(requirement, Verdict.NOT_PROVEN, f"{why}, so nothing can be told.")


def _remarks(schedule: Schedule, series: Sequence[Series]) -> tuple[str, ...]:
    """Say what was assumed, what was set aside, and when nothing was asked."""
    found: list[str] = []
    groups: dict[str, list[str]] = {}
    for one in series:
        if one.assumed:
            groups.setdefault(one.assumed, []).append(one.name)
    for assumed, names in groups.items():
        found.append(f"{', '.join(names)}: {assumed}")
    for one in series:
        if one.spikes:
            found.append(f"{one.name}: {one.spikes} lone spike(s) set aside")
    if not schedule.requirements:
        found.append("the schedule requires nothing, so nothing is proven")
    return tuple(found)
