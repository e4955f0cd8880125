"""The list of firings, read from the record: running ones, and one page of the closed ones.

Drawing and judging a firing may take a second. One reading of the list spends at most
:data:`BUDGET_S` on it; what is left comes with the next reading.
"""

from __future__ import annotations

import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firelog.errors import FirelogError
from firelog.judge import firing as judging
from firelog.readings import FloatArray, Role
from firelog.record.rows import Firing, StoredVerdict
from firelog.record.store import Store
from firelog.say.reader import Reader, reader_of
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import seconds_since, us_after
from firelog.view import downsampling
from firelog.view.cache import Cache, file_identity
from firelog.view.firing import channel_trace
from firelog.watch.conditions.thermocouples import silence_limit_s

SPARK_POINTS = 56
BUDGET_S = 1.0
RUNNING_FRESH_S, CLOSED_FRESH_S = 2.0, 600.0
Stretch = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class FiringEntry:
    """One firing in the list; ``verdict`` is a verdict's word or None, ``spark`` 0…1 points."""

    firing: Firing
    verdict: str | None
    spark: tuple[Stretch, ...] = ()
    newest_us: int | None = None
    newest_c: float | None = None
    every_s: float = 0.0

    def silent_s(self, now_us: int) -> float | None:
        """Return for how long a running firing has been silent, None while it is heard."""
        if self.newest_us is None:
            return None
        ago_s = seconds_since(self.newest_us, now_us)
        return ago_s if ago_s > silence_limit_s(self.every_s) else None


@dataclass(frozen=True)
class FiringList:
    """One page of the list: the running firings (on every page), and some of the closed ones."""

    how: Reader
    running: tuple[FiringEntry, ...]
    closed: tuple[FiringEntry, ...]
    count: int
    page: int
    pages: int

    @property
    def newest_us(self) -> int | None:
        """The instant of the newest reading of any running firing [µs UTC]."""
        instants = [entry.newest_us for entry in self.running if entry.newest_us is not None]
        return max(instants, default=None)


_entries: Cache[FiringEntry] = Cache(500)


def read_firings(path: Path, unit: str | None = None, page: int = 1, size: int = 50) -> FiringList:
    """Return the running firings and page ``page`` (1: the newest) of the closed ones."""
    with Store.open(path) as store:
        firings = store.firings()
        closed = [firing for firing in firings if not firing.running]
        pages = max(1, -(-len(closed) // size))
        page = min(max(1, page), pages)
        until = time.monotonic() + BUDGET_S
        running, shown = (
            tuple(_entry(store, firing, until) for firing in some)
            for some in (
                [firing for firing in firings if firing.running],
                closed[(page - 1) * size : page * size],
            )
        )
        return FiringList(reader_of(store, unit), running, shown, len(firings), page, pages)


def _entry(store: Store, firing: Firing, until: float) -> FiringEntry:
    kept = store.verdict(firing)
    key = (*file_identity(store), firing, kept.judged_us if kept else None)
    if (known := _entries.peek(key)) is not None:
        return known
    if time.monotonic() > until:
        return FiringEntry(firing, kept.verdict if kept else None)
    fresh_s = RUNNING_FRESH_S if firing.running else CLOSED_FRESH_S
    return _entries.get(key, fresh_s, lambda: _make_entry(store, firing, kept))


def _make_entry(store: Store, firing: Firing, kept: StoredVerdict | None) -> FiringEntry:
    verdict = kept.verdict if kept else None
    try:
        if verdict is None and not firing.running and firing.schedule_sha256:
            judgement = judging.assess(store, firing).judgement
            verdict = judgement.verdict.value if judgement else None
        trace = _leading(store, firing)
    except FirelogError:
        return FiringEntry(firing, verdict)  # its own page tells what is wrong with it
    if trace is None:
        return FiringEntry(firing, verdict)
    usable = downsampling.usable(trace.t_s, trace.temp_c)
    newest_c = float(trace.temp_c[usable[-1]]) if len(usable) else None
    newest_us = us_after(firing.began_us, float(trace.t_s[-1])) if len(trace.t_s) else None
    return FiringEntry(
        firing,
        verdict,
        _spark(trace.t_s, trace.temp_c),
        newest_us,
        newest_c,
        downsampling.pace(trace.t_s),
    )


def _leading(store: Store, firing: Firing) -> ChannelTrace | None:
    """The trace the list shows: the first kiln channel, else the first there is."""
    channels = judging.judged_channels(store, firing)
    channels.sort(key=lambda channel: channel.role is not Role.KILN)
    return channel_trace(store, firing, channels[0]) if channels else None


def _spark(t_s: FloatArray, temp_c: FloatArray) -> tuple[Stretch, ...]:
    times, values = downsampling.drawn(t_s, temp_c, SPARK_POINTS)
    known = np.isfinite(values)
    if known.sum() < 2:
        return ()
    low, high = float(values[known].min()), float(values[known].max())
    span_s, span = max(float(times[-1] - times[0]), 1e-9), max(high - low, 1e-9)
    return tuple(
        tuple((round((t - times[0]) / span_s, 3), round((v - low) / span, 3)) for t, v in stretch)
        for stretch in downsampling.stretches(times, values)
    )
