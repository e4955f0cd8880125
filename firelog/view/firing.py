"""What the board reads from the record: the list, one firing, and what is new since a moment.

The store is opened read-only for each question and closed again, so that the board never holds
it, never writes by mistake, and notices when it is replaced. Judging a night costs up to a second;
its answer is kept for a while, longer the dearer it was.
"""

from __future__ import annotations

import threading
import time
from collections import OrderedDict
from collections.abc import Callable
from contextlib import suppress
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any, Generic, TypeVar

import numpy as np

from firelog.errors import FirelogError
from firelog.judge import firing as judging
from firelog.judge import outlook
from firelog.judge.firing import Assessment
from firelog.readings import FloatArray, Role
from firelog.record import seal as seals
from firelog.record.rows import Channel, Event, Firing, StoredVerdict
from firelog.record.seal import Seal
from firelog.record.store import Store
from firelog.schedule.forecast.finish import KilnHistory, Outlook
from firelog.schedule.plan.model import ChannelTrace
from firelog.schedule.plan.requirements import Clock
from firelog.view import thinning
from firelog.view.picture import Picture, deviation_k
from firelog.view.wording import Manner, manner

SPARK_POINTS = 56
LIST_BUDGET_S = 1.0  # one showing of the list draws and judges for so long; the rest comes later
FRESH_S = {True: 10.0, False: 30.0}  # running, closed
PAST_FRESH_S = 86_400.0  # a kiln's past firings change only when another one ends
Answer = TypeVar("Answer")
Stretch = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Entry:
    """One firing in the list; ``verdict`` is a verdict's word or None, ``spark`` 0…1 points."""

    firing: Firing
    verdict: str | None
    spark: tuple[Stretch, ...] = ()
    newest_us: int | None = None
    newest_c: float | None = None


@dataclass(frozen=True)
class Board:
    """One page of the list: the running firings (on every page), and some of the closed ones."""

    how: Manner
    running: tuple[Entry, ...]
    closed: tuple[Entry, ...]
    count: int
    page: int
    pages: int


@dataclass(frozen=True)
class View:
    """One firing's page: the picture holds traces, schedule, judgement and events."""

    firing: Firing
    picture: Picture
    kept: StoredVerdict | None
    events: tuple[Event, ...]
    newest_us: int | None
    trouble: str = ""
    seal: Seal | None = None


@dataclass(frozen=True)
class News:
    """Readings that came after a moment, ready to be appended to the lines of each channel.

    Of each channel: ``x``, ``y``, and ``off`` the target by each clock.
    """

    newest_us: int | None
    newest_c: dict[str, float | None]
    points: dict[str, dict[str, Any]] = field(default_factory=dict)


class Shelf(Generic[Answer]):
    """A few dear answers, each made by one thread and kept while it is fresh."""

    def __init__(self, most: int) -> None:
        self.most = most
        self._lock = threading.Lock()
        self._locks: dict[Any, threading.Lock] = {}
        self._kept: OrderedDict[Any, tuple[float, Answer]] = OrderedDict()

    def get(self, key: Any, fresh_s: float, make: Callable[[], Answer]) -> Answer:
        """Return the kept answer, or make it; it lasts twenty times what it cost, or longer."""
        with self._lock:
            lock = self._locks.setdefault(key, threading.Lock())
        with lock:
            found = self.peek(key)
            if found is not None:
                return found
            began = time.monotonic()
            answer = make()
            cost = time.monotonic() - began
            with self._lock:
                self._kept[key] = (time.monotonic() + max(fresh_s, 20 * cost), answer)
                while len(self._kept) > self.most:
                    old, _ = self._kept.popitem(last=False)
                    self._locks.pop(old, None)
            return answer

    def peek(self, key: Any) -> Answer | None:
        """Return the kept answer if it is still fresh."""
        with self._lock:
            until, answer = self._kept.get(key, (0.0, None))
            return answer if time.monotonic() < until else None


_views: Shelf[View] = Shelf(6)
_entries: Shelf[Entry] = Shelf(500)
_pasts: Shelf[tuple[KilnHistory | None]] = Shelf(16)


# ---------------------------------------------------------------- the list
def read_board(path: Path, unit: str | None = None, page: int = 1, size: int = 50) -> Board:
    """Return the running firings and page ``page`` (1: the newest) of the closed ones."""
    with Store.open(path) as store:
        firings = store.firings()
        closed = [firing for firing in firings if not firing.running]
        pages = max(1, -(-len(closed) // size))
        page = min(max(1, page), pages)
        until = time.monotonic() + LIST_BUDGET_S
        running, shown = (
            tuple(_entry(store, firing, until) for firing in some)
            for some in (
                [firing for firing in firings if firing.running],
                closed[(page - 1) * size : page * size],
            )
        )
        return Board(manner(store, unit), running, shown, len(firings), page, pages)


def _entry(store: Store, firing: Firing, until: float) -> Entry:
    kept = store.verdict(firing)
    key = (*_identity(store), firing, kept.judged_us if kept else None)
    if (known := _entries.peek(key)) is not None:
        return known
    if time.monotonic() > until:
        return Entry(firing, kept.verdict if kept else None)
    fresh_s = 2.0 if firing.running else 600.0
    return _entries.get(key, fresh_s, lambda: _make_entry(store, firing, kept))


def _make_entry(store: Store, firing: Firing, kept: StoredVerdict | None) -> Entry:
    verdict = kept.verdict if kept else None
    try:
        if verdict is None and not firing.running and firing.schedule_sha256:
            judgement = judging.assess(store, firing).judgement
            verdict = judgement.verdict.value if judgement else None
        trace = _leading(store, firing)
    except FirelogError:
        return Entry(firing, verdict)  # its own page tells what is wrong with it
    if trace is None:
        return Entry(firing, verdict)
    usable = thinning.usable(trace.t_s, trace.temp_c)
    newest_c = float(trace.temp_c[usable[-1]]) if len(usable) else None
    newest_us = firing.began_us + round(float(trace.t_s[-1]) * 1e6) if len(trace.t_s) else None
    return Entry(firing, verdict, _spark(trace.t_s, trace.temp_c), newest_us, newest_c)


def _leading(store: Store, firing: Firing) -> ChannelTrace | None:
    """The trace the list shows: the first kiln channel, else the first there is."""
    channels = judging.judged_channels(store, firing)
    channels.sort(key=lambda channel: channel.role is not Role.KILN)
    return _trace(store, firing, channels[0]) if channels else None


def _trace(store: Store, firing: Firing, channel: Channel) -> ChannelTrace:
    readings = store.readings(channel.id, firing.began_us, firing.ended_us)
    chain = judging.measurement_chain(store, channel)
    return judging.corrected(channel, chain, readings, firing.began_us)


def _readable_traces(store: Store, firing: Firing) -> tuple[ChannelTrace, ...]:
    """What can be drawn of a firing that cannot be judged."""
    found = []
    for channel in judging.judged_channels(store, firing):
        with suppress(FirelogError):
            found.append(_trace(store, firing, channel))
    return tuple(found)


def _spark(t_s: FloatArray, temp_c: FloatArray) -> tuple[Stretch, ...]:
    times, values = thinning.drawn(t_s, temp_c, SPARK_POINTS)
    known = np.isfinite(values)
    if known.sum() < 2:
        return ()
    low, high = float(values[known].min()), float(values[known].max())
    span_s, span = max(float(times[-1] - times[0]), 1e-9), max(high - low, 1e-9)
    return tuple(
        tuple((round((t - times[0]) / span_s, 3), round((v - low) / span, 3)) for t, v in stretch)
        for stretch in thinning.stretches(times, values)
    )


# ---------------------------------------------------------------- one firing
def read_view(path: Path, name: str, unit: str | None = None) -> View:
    """Return the page of a firing, judged; raises :class:`StoreError` when there is none."""
    with Store.open(path) as store:
        firing, how = store.firing(name), manner(store, unit)
        key = (*_identity(store), firing, how)
        return _views.get(key, FRESH_S[firing.running], lambda: _make_view(store, firing, how))


def _make_view(store: Store, firing: Firing, how: Manner) -> View:
    trouble = ""
    try:
        assessment = judging.assess(store, firing, how.unit)
    except FirelogError as error:
        trouble, assessment = str(error), _unjudged(store, firing)
    traces = assessment.traces
    events = tuple(store.events(firing))
    marks = tuple(((e.t_us - firing.began_us) / 1e6, e.kind, e.text) for e in events)
    picture = Picture(
        began_us=firing.began_us,
        traces=traces,
        end_s=assessment.end_s,
        schedule=assessment.schedule,
        judgement=assessment.judgement,
        events=marks,
        running=firing.running,
        how=how,
        following=assessment.following,
        outlook=_outlook(store, assessment, how),
        late=outlook.lateness(assessment),
    )
    ends = [float(trace.t_s[-1]) for trace in traces if len(trace.t_s)]
    newest_us = firing.began_us + round(max(ends) * 1e6) if ends else None
    found = seals.seals(store, firing)
    sealed = found[-1] if found else None
    return View(firing, picture, store.verdict(firing), events, newest_us, trouble, sealed)


def _unjudged(store: Store, firing: Firing) -> Assessment:
    """What can be shown of a firing that cannot be judged."""
    traces = _readable_traces(store, firing)
    ended_us = firing.ended_us or firing.began_us
    ends_s = [(ended_us - firing.began_us) / 1e6, *(float(t.t_s[-1]) for t in traces if len(t))]
    return Assessment(firing, None, traces, None, max(ends_s))


def _outlook(store: Store, assessment: Assessment, how: Manner) -> Outlook | None:
    """What a running firing is heading for; its kiln's past is studied once."""
    if not assessment.firing.running:
        return None
    past = outlook.past_of(store, assessment.firing)
    key = (*_identity(store), past)
    (history,) = _pasts.get(key, PAST_FRESH_S, lambda: (outlook.history_of(store, past),))
    return outlook.outlook_of(assessment, history, how.unit)


def read_news(path: Path, view: View, after_us: int) -> News:
    """Return what each of the view's channels has read after ``after_us``."""
    picture = view.picture
    points: dict[str, dict[str, Any]] = {}
    newest_c: dict[str, float | None] = {}
    newest_us: int | None = None
    meant = {trace.name for trace in picture.followed}
    with Store.open(path) as store:
        for channel in store.channels(view.firing.kiln):
            if channel.role in judging.NOT_JUDGED:
                continue
            readings = store.readings(channel.id, after_us + 1, view.firing.ended_us)
            if not len(readings):
                continue
            chain = judging.measurement_chain(store, channel)
            trace = judging.corrected(channel, chain, readings, view.firing.began_us)
            newest_us = max(newest_us or 0, int(readings.t_us[-1]))
            last = float(trace.temp_c[-1])
            newest_c[channel.name] = last if np.isfinite(last) else None
            off_k = {}
            if channel.name in meant:
                off_k = {one: deviation_k(trace, t) for one, t in picture.targets.items()}
            paces = [thinning.pace(one.t_s) for one in picture.traces if one.name == channel.name]
            last_s = (after_us - view.firing.began_us) / 1e6
            new = _appended(picture, trace, off_k, last_s, paces[0] if paces else 0.0)
            points[channel.name] = new
    return News(newest_us, newest_c, points)


def _appended(
    picture: Picture,
    trace: ChannelTrace,
    off_k: dict[Clock, FloatArray],
    last_s: float,
    pace_s: float,
) -> dict[str, Any]:
    """New readings as the lines take them, with a break where a hole lies before them."""
    t_s, temp_c = thinning.broken(trace.t_s, trace.temp_c, last_s, pace_s)
    new: dict[str, Any] = {"x": picture.x_ms(t_s), "y": picture.y(temp_c)}
    if off_k:
        new["off"] = {
            against: picture.dy(thinning.broken(trace.t_s, value, last_s, pace_s)[1])
            for against, value in off_k.items()
        }
    return new


def _identity(store: Store) -> tuple[str, int, int]:
    """Which file this is: one put in its place by the same name is another (stat opens nothing)."""
    stat = store.path.stat()
    return str(store.path), stat.st_dev, stat.st_ino
