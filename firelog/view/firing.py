"""One firing as it is shown: judged, with its picture, its events, and what came in since.

The store is opened read-only for each question and closed again, so that a board never holds it,
never writes by mistake, and notices when it is replaced. Judging a night costs up to a second, so
the answer is cached.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from firelog.errors import FirelogError
from firelog.judge import firing as judging
from firelog.judge import measured, outlook, recorded
from firelog.judge.firing import Assessment
from firelog.physics.thermometry.uncertainty import MeasurementChain
from firelog.readings import FloatArray
from firelog.record import coverage
from firelog.record.coverage import Coverage
from firelog.record.rows import Channel, Event, Firing, StoredVerdict
from firelog.record.store import Store
from firelog.say.reader import Reader, reader_of
from firelog.schedule.forecast.finish import KilnHistory, Outlook
from firelog.schedule.plan.model import ChannelTrace
from firelog.schedule.plan.requirements import Clock
from firelog.units import seconds_since, us_after
from firelog.view import downsampling
from firelog.view.cache import Cache, file_identity
from firelog.view.figure.deviation import distances_k
from firelog.view.picture import Picture, notes_of, picture_of
from firelog.watch.conditions.thermocouples import silence_limit_s

FRESH_S = {True: 10.0, False: 30.0}  # running, closed
PAST_FRESH_S = 86_400.0  # a kiln's past firings change only when another one ends
NOTHING_SEALED = Coverage(None, (), ())


@dataclass(frozen=True)
class FiringView:
    """One firing's page: the picture holds traces, schedule, judgement and events.

    ``silent_s``: for how long a running firing has not been heard of, None while it is. ``chains``
    are how its channels measure, by name.
    """

    firing: Firing
    picture: Picture
    kept: StoredVerdict | None
    events: tuple[Event, ...]
    newest_us: int | None
    trouble: str = ""
    seal: Coverage = NOTHING_SEALED
    silent_s: float | None = None
    chains: Mapping[str, MeasurementChain] = field(default_factory=dict)


@dataclass(frozen=True)
class NewReadings:
    """Readings that came after an instant, ready to be appended to the lines of each channel.

    Of each channel: ``x``, ``y``, and by each clock how far ``off`` the target and, where there is
    none, how ``near`` what is asked.
    """

    newest_us: int | None
    newest_c: dict[str, float | None]
    points: dict[str, dict[str, Any]] = field(default_factory=dict)


_views: Cache[FiringView] = Cache(6)
_histories: Cache[tuple[KilnHistory | None]] = Cache(16)


# ---------------------------------------------------------------- one firing
def read_firing(path: Path, name: str, unit: str | None = None) -> FiringView:
    """Return a firing, judged; raises :class:`NotFoundError` when there is none of that name."""
    with Store.open(path) as store:
        firing, how = store.firing(name), reader_of(store, unit)
        key = (*file_identity(store), firing, how)
        return _views.get(key, FRESH_S[firing.running], lambda: firing_view(store, firing, how))


def shown_firing(path: Path, name: str, unit: str | None = None) -> FiringView:
    """Return a firing as it was last shown, judged anew only when nobody has looked yet.

    Raises :class:`NotFoundError` when there is none of that name.
    """
    with Store.open(path) as store:
        firing, how = store.firing(name), reader_of(store, unit)
        known = _views.latest((*file_identity(store), firing, how))
    return known or read_firing(path, name, unit)


def firing_view(store: Store, firing: Firing, how: Reader) -> FiringView:
    """Return a firing, judged from the record as it is now."""
    trouble = ""
    try:
        assessment = judging.assess(store, firing, how.unit)
    except FirelogError as error:
        trouble, assessment = str(error), _unjudged(store, firing)
    events = tuple(store.events(firing))
    picture = picture_of(
        how,
        firing.began_us,
        assessment.traces,
        assessment.end_s,
        judged=assessment,
        notes=notes_of(events),
        outlook=_outlook(store, assessment, how),
        late=outlook.lateness(assessment),
    )
    ends = [float(trace.t_s[-1]) for trace in picture.traces if len(trace.t_s)]
    newest_us = us_after(firing.began_us, max(ends)) if ends else None
    # What a running firing has is not at rest: no seal can cover it yet.
    sealed = NOTHING_SEALED if firing.running else coverage.of_firing(store, firing)
    kept = store.verdict(firing)
    return FiringView(
        firing, picture, kept, events, newest_us, trouble, sealed, chains=assessment.chains
    )


def as_heard(view: FiringView, newest_us: int | None, now_us: int) -> FiringView:
    """Return a running firing as it stands at ``now_us``: once it is silent, without a forecast.

    ``newest_us`` is when it was last heard of. The limit is that of the night watch.
    """
    if not view.firing.running or newest_us is None:
        return view
    paces = [pace_s for pace_s in view.picture.paces_s.values() if pace_s > 0]
    ago_s = seconds_since(newest_us, now_us)
    if ago_s <= silence_limit_s(min(paces, default=0.0)):
        return view
    heard = view.picture
    to_s = seconds_since(view.firing.began_us, now_us)
    withdrawn = replace(heard, outlook=None, late=None, following=heard.laid, silent_to_s=to_s)
    return replace(view, picture=withdrawn, silent_s=ago_s)


def channel_trace(store: Store, firing: Firing, channel: Channel) -> ChannelTrace:
    """Return a channel's corrected readings of a firing."""
    readings = store.firing_readings(firing, channel.id)
    chain = recorded.measurement_chain(store, channel)
    return measured.corrected(channel, chain, readings, firing.began_us)


def _unjudged(store: Store, firing: Firing) -> Assessment:
    """What can be shown of a firing that cannot be judged."""
    traces = []
    for channel in judging.judged_channels(store, firing):
        with suppress(FirelogError):
            traces.append(channel_trace(store, firing, channel))
    ended_us = firing.ended_us or firing.began_us
    ends_s = [
        seconds_since(firing.began_us, ended_us),
        *(float(t.t_s[-1]) for t in traces if len(t)),
    ]
    return Assessment(firing, None, tuple(traces), None, max(ends_s))


def _outlook(store: Store, assessment: Assessment, how: Reader) -> Outlook | None:
    """What a running firing is heading for; its kiln's past is studied once."""
    if not assessment.firing.running:
        return None
    past = outlook.past_of(store, assessment.firing)
    key = (*file_identity(store), past)
    (history,) = _histories.get(key, PAST_FRESH_S, lambda: (outlook.history_of(store, past),))
    return outlook.outlook_of(assessment, history, how.unit)


# ---------------------------------------------------------------- what came in since
def read_new_readings(path: Path, view: FiringView, after_us: int) -> NewReadings:
    """Return what each of the view's channels has read after ``after_us``."""
    picture = view.picture
    points: dict[str, dict[str, Any]] = {}
    newest_c: dict[str, float | None] = {}
    newest_us: int | None = None
    meant = {trace.name for trace in picture.followed}
    with Store.open(path) as store:
        for channel in _with_new(store, view, after_us):
            readings = store.firing_readings(view.firing, channel.id, after_us + 1)
            if not len(readings):
                continue
            chain = view.chains.get(channel.name) or recorded.measurement_chain(store, channel)
            trace = measured.corrected(channel, chain, readings, view.firing.began_us)
            newest_us = max(newest_us or 0, int(readings.t_us[-1]))
            last = float(trace.temp_c[-1])
            newest_c[channel.name] = last if np.isfinite(last) else None
            off_k, near_k = {}, {}
            if channel.name in meant:
                for clock, target in picture.targets.items():
                    off_k[clock], near_k[clock] = distances_k(picture, trace, target)
            last_s = seconds_since(view.firing.began_us, after_us)
            pace_s = picture.paces_s.get(channel.name, 0.0)
            distances = {"off": off_k, "near": near_k}
            new = _appended(picture, trace, distances, last_s, pace_s)
            points[channel.name] = new
    return NewReadings(newest_us, newest_c, points)


def _with_new(store: Store, view: FiringView, after_us: int) -> Iterator[Channel]:
    """Yield the channels that measure the firing and have been read after ``after_us``."""
    for channel in store.channels(view.firing.kiln):
        if channel.role not in judging.NOT_JUDGED and store.read_after(channel.id, after_us):
            yield channel


def _appended(
    picture: Picture,
    trace: ChannelTrace,
    distances: dict[str, dict[Clock, FloatArray]],
    last_s: float,
    pace_s: float,
) -> dict[str, Any]:
    """New readings as the lines take them, with a break where a hole lies before them."""
    t_s, temp_c = downsampling.broken(trace.t_s, trace.temp_c, last_s, pace_s)
    new: dict[str, Any] = {"x": picture.x(t_s), "y": picture.y(temp_c)}
    for name, found in distances.items():
        if found:
            new[name] = {
                against: picture.dy(downsampling.broken(trace.t_s, value, last_s, pace_s)[1])
                for against, value in found.items()
            }
    return new
