"""What a running firing is heading for, by the kiln's own past: from the record to a forecast.

The arithmetic is in ``schedule.forecast``; this module brings it the closed firings of the kiln
and says the answer in words. Studying the past is dear and the past does not change, so whoever
asks again and again keeps the history by :func:`past_of`.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from firelog.errors import FirelogError
from firelog.judge import firing as judging
from firelog.judge import measured, recorded
from firelog.judge.firing import Assessment
from firelog.record.rows import Firing
from firelog.record.store import Store
from firelog.say.durations import show_duration
from firelog.schedule.follow.deviation import lateness_s
from firelog.schedule.follow.segments import Following, follow
from firelog.schedule.forecast.finish import Estimate, KilnHistory, Outlook, forecast, study
from firelog.schedule.plan.model import Schedule
from firelog.schedule.plan.target import plan_points
from firelog.units import TemperatureUnit, iso_utc

MOST_PAST = 8  # the newest; older ones knew another kiln: elements age, burners are cleaned
ON_TIME_S = 300.0  # what a person would still call on time; common practice, no source
WORTH_SAYING_S = 90.0  # instants are shown to the minute


def past_of(store: Store, firing: Firing, most: int = MOST_PAST) -> tuple[Firing, ...]:
    """Return the newest closed firings of the same kiln, with a schedule, that ended before it."""
    closed = [
        one
        for one in store.firings()
        if one.kiln == firing.kiln
        and one.schedule_sha256
        and one.ended_us is not None
        and one.ended_us <= firing.began_us
    ]
    return tuple(sorted(closed, key=lambda one: one.began_us)[-most:])


def history_of(store: Store, past: tuple[Firing, ...]) -> KilnHistory | None:
    """Return what those firings teach that came to their end; None when none did.

    A past firing that can no longer be read teaches nothing and stops nobody.
    """
    learned = []
    for firing in past:
        try:
            found = _followed(store, firing)
        except FirelogError:
            continue
        if found is not None and found[1].runs[-1].began_s is not None:
            learned.append(found)
    return study(learned) if learned else None


def _followed(store: Store, firing: Firing) -> tuple[Schedule, Following] | None:
    schedule = recorded.schedule_of(store, firing)
    if schedule is None:
        return None
    traces = [
        measured.corrected(
            channel,
            recorded.measurement_chain(store, channel),
            store.firing_readings(firing, channel.id),
            firing.began_us,
        )
        for channel in judging.judged_channels(store, firing)
    ]
    return schedule, follow(schedule, traces)


def outlook_of(
    assessment: Assessment,
    history: KilnHistory | None = None,
    words_in: TemperatureUnit | None = None,
) -> Outlook | None:
    """Return how a running firing stands and what is to come; None for any other."""
    schedule, following = assessment.schedule, assessment.following
    if not assessment.firing.running or schedule is None or following is None:
        return None
    worded = schedule if words_in is None else replace(schedule, unit=words_in)
    return forecast(worded, following, now_s=assessment.end_s, history=history)


@dataclass(frozen=True)
class Lateness:
    """How far behind the plan's clock a firing is, or ended [s]; early is negative.

    Steps that may go as fast as the kiln can have no time of their own: what they took is not
    counted, and ``some_free`` says that there were such. ``running``: it may still catch up.
    ``given_up``: it ended before its last segment began.
    """

    late_s: float
    some_free: bool
    running: bool
    given_up: bool


def lateness(assessment: Assessment) -> Lateness | None:
    """Return how late a firing is; None without a schedule, a reading or a step with a time."""
    schedule, following = assessment.schedule, assessment.following
    if schedule is None or following is None or following.grid is None:
        return None
    until_s = _told_until_s(schedule, following, assessment.end_s)
    # The place on a ramp never goes back, so the whole way to the last instant is needed.
    t_s = np.append(np.arange(0.0, until_s, 30.0), until_s)
    late = lateness_s(schedule, following, t_s)
    known = np.flatnonzero(np.isfinite(late))
    if not len(known):
        return None
    free_s = _free_s(schedule, following, float(t_s[known[-1]]))
    running = assessment.firing.running
    return Lateness(
        float(late[known[-1]]) - free_s,
        free_s > 0,
        running,
        not running and following.runs[-1].began_s is None,
    )


def _told_until_s(schedule: Schedule, following: Following, end_s: float) -> float:
    """Return the end, or when the last segment was done: what came after is not late."""
    last = following.runs[-1]
    done_s = last.complete_s if schedule.segments[-1].is_hold else last.reached_s
    return end_s if done_s is None else min(done_s, end_s)


def _free_s(schedule: Schedule, following: Following, until_s: float) -> float:
    """Return how long the steps took, up to an instant, to which the plan gives no time."""
    seconds, _ = plan_points(schedule, following.start_c)
    total_s = 0.0
    for number, run in enumerate(following.runs):
        if run.began_s is None or seconds[number + 1] > seconds[number]:
            continue
        ended_s = until_s if run.ended_s is None else min(run.ended_s, until_s)
        total_s += max(0.0, ended_s - run.began_s)
    return total_s


# ---------------------------------------------------------------- in words
def give_or_take(u_s: float | None) -> str:
    """Return `` ± 5 min`` for the half-width [s] of an instant; nothing below a shown minute.

    A minute and a half is worth saying: common practice, no source.
    """
    if u_s is None or u_s < WORTH_SAYING_S:
        return ""
    return f" ± {show_duration(u_s)}"


def late_words(late: Lateness | None) -> str:
    """Return ``25 min behind the plan's clock`` and the like; nothing where it cannot be told."""
    if late is None:
        return ""
    how = "" if late.running else "given up " if late.given_up else "ended "
    if abs(late.late_s) < ON_TIME_S:
        words = f"{how}on time by the plan's clock"
    else:
        side = "behind" if late.late_s > 0 else "ahead of"
        words = f"{how}{show_duration(abs(late.late_s))} {side} the plan's clock"
    return f"{words}, steps without a time not counted" if late.some_free else words


def state_words(outlook: Outlook, late: Lateness | None) -> str:
    """Return how it stands in a word or two: on time, behind, stalled, running away ..."""
    if outlook.state in ("on its way", "soaking") and late is not None:
        if late.late_s >= ON_TIME_S:
            return "behind"
        return "ahead of time" if late.late_s <= -ON_TIME_S else "on time"
    known = {"waiting": "not begun", "falling behind": "behind", "done": "every segment has run"}
    return known.get(outlook.state, outlook.state)


def stands_on(outlook: Outlook) -> str:
    """Return what the estimates stand on, a half-sentence."""
    if outlook.state == "stalled":
        return "only if the kiln goes on at once"
    if not outlook.firings:
        return "by common practice: no past firing of this kiln is known"
    many = "one past firing" if outlook.firings == 1 else f"{outlook.firings} past firings"
    return f"from {many} of this kiln and its present pace"


def told(outlook: Outlook, firing: Firing, late: Lateness | None) -> dict[str, Any]:
    """Return the outlook as the JSON object of ``firelog judge --json``."""
    slope_u = outlook.slope_u_k_per_h
    return {
        "state": state_words(outlook, late),
        "evidence": outlook.evidence,
        "slope_k_per_h": round(outlook.slope_k_per_h, 1),
        "slope_u_k_per_h": round(slope_u, 1) if np.isfinite(slope_u) else None,
        "past_firings": outlook.firings,
        "coverage": 0.8,
        "estimates": [_estimate(estimate, firing) for estimate in outlook.estimates],
    }


def _estimate(estimate: Estimate, firing: Firing) -> dict[str, Any]:
    def instant(seconds: float) -> str:
        return iso_utc(firing.began_us + round(seconds) * 1_000_000)

    return {
        "segment": estimate.segment,
        "finish": instant(estimate.finish_s),
        "early": instant(estimate.early_s),
        "late": instant(estimate.late_s),
    }
