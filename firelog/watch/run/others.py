"""What the store says of a kiln beside its running firing: its past, its pace, its neighbours."""

from __future__ import annotations

from collections.abc import Mapping
from math import inf

import numpy as np

from firelog.errors import FirelogError
from firelog.judge import firing as judging
from firelog.judge import measured, outlook, place, recorded
from firelog.judge.trust import installed
from firelog.readings import Role
from firelog.record.rows import Firing
from firelog.record.store import Store
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import seconds_since
from firelog.verdict import Verdict
from firelog.watch.expect.due import habits_of
from firelog.watch.expect.place import Place, place_of
from firelog.watch.expect.trend import trend_of
from firelog.watch.facts import Completion, IdleKiln
from firelog.watch.run.progress import KilnPast

NEAR_S = 7200.0
HALF_HOUR_S = 1800.0
OLD_S = 1200.0  # what a kiln said longer ago says nothing of now


def past_of(store: Store, firing: Firing) -> KilnPast:
    """Return what the kiln's closed firings before this one teach."""
    earlier = outlook.past_of(store, firing)
    same = [one for one in earlier if one.schedule_sha256 == firing.schedule_sha256]
    places = [found for one in same if (found := _place(store, one)) is not None]
    return KilnPast(
        outlook.history_of(store, earlier), habits_of(places), installed.past_of(store, firing)
    )


def _place(store: Store, firing: Firing) -> Place | None:
    try:
        schedule = recorded.schedule_of(store, firing)
        traces = place.kiln_traces(store, firing)
    except FirelogError:
        return None  # what can no longer be read teaches nothing
    if schedule is None or not traces or firing.ended_us is None:
        return None
    paces = [float(np.median(np.diff(one.t_s))) for one in traces if len(one) > 1]
    end_s = seconds_since(firing.began_us, firing.ended_us)
    found = place_of(schedule, trend_of(traces, end_s, min(paces, default=0.0)))
    return found if found is not None and found.complete else None


def pace_s(store: Store, kiln: str, at_us: int) -> float:
    """Return how far apart [s] a kiln's readings were in the two hours before an instant."""
    paces = []
    for channel in store.channels(kiln):
        t_us = store.readings(channel.id, at_us - round(NEAR_S * 1e6), at_us).t_us
        if len(t_us) > 2:
            paces.append(float(np.median(np.diff(t_us))) / 1e6)
    return min(paces, default=0.0)


def near_traces(store: Store, kiln: str, now_us: int, since_us: int) -> tuple[ChannelTrace, ...]:
    """Return a kiln's last two hours, corrected, in seconds since ``since_us``."""
    found = []
    for channel in store.channels(kiln):
        if channel.role is not Role.KILN:
            continue
        new = store.readings(channel.id, now_us - round(NEAR_S * 1e6), now_us)
        if len(new) > 2:
            chain = recorded.measurement_chain(store, channel)
            found.append(measured.corrected(channel, chain, new, since_us))
    return tuple(found)


def idle_kilns(
    store: Store, near: Mapping[str, tuple[ChannelTrace, ...]], now_us: int, since_us: int
) -> tuple[IdleKiln, ...]:
    """Return how the kilns without a firing stand, of which something was heard of late."""
    found = []
    now_s = seconds_since(since_us, now_us)
    for kiln, traces in near.items():
        newest_s = max((float(one.t_s[-1]) for one in traces), default=-inf)
        if now_s - newest_s > OLD_S:
            continue
        pace = min(float(np.median(np.diff(one.t_s))) for one in traces)
        trend = trend_of(traces, newest_s, pace)
        gained_k = trend.gained_k(HALF_HOUR_S)
        ended = [one.ended_us for one in store.firings(kiln) if one.ended_us is not None]
        since_s = seconds_since(max(ended), now_us) if ended else inf
        if np.isfinite(trend.level_c) and gained_k is not None:
            found.append(IdleKiln(kiln, trend.level_c, gained_k, since_s))
    return tuple(found)


def completion_of(store: Store, firing: Firing) -> Completion | None:
    """Return the judge's word on a firing whose every step is done; None where there is none."""
    judgement = judging.assess(store, firing).judgement
    if judgement is None:
        return None
    named = {
        verdict: tuple(one.requirement for one in judgement.checks if one.verdict is verdict)
        for verdict in Verdict
    }
    return Completion(judgement.verdict, named[Verdict.FAIL], named[Verdict.NOT_PROVEN])
