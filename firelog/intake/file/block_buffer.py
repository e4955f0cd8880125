"""Readings held back until they fill blocks, then compressed aside and stored in one go.

The reader goes on while a helper thread brings what was held back in order and compresses it; the
store is touched by the calling thread alone, in short transactions, between which a running
collector gets its turn. At most two stretches are held at a time, whatever the file's length.
"""

from __future__ import annotations

import time
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import Future, ThreadPoolExecutor
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from firelog.errors import InputError
from firelog.foundry import ChannelSpec
from firelog.intake.file.account import ChannelCount, FileReport
from firelog.intake.file.instants import SameInstant, one_each
from firelog.intake.file.plan import Part
from firelog.readings import FloatArray, IntArray, QualityArray, Trace, Unit
from firelog.record import blocks
from firelog.record.compare import Conflict, compare
from firelog.record.rows import Channel
from firelog.record.stated import keep_channel
from firelog.record.store import Store
from firelog.record.traces import SMALLEST_BLOCK

_Key = tuple[str, Unit]
MOST_READINGS = 2_000_000 // 4  # held back for whole blocks, over all channels; 8 MB
TURN_S = 0.005  # for other writers between two transactions with no reading in between


class ChannelFinder:
    """The channels of a kiln by name; a new one is made, with what the foundry states of it.

    ``known_only`` refuses a new one instead, by :class:`InputError` naming those there are.
    """

    def __init__(
        self, store: Store, kiln: str, specs: Iterable[ChannelSpec], *, known_only: bool = False
    ) -> None:
        self.store, self.kiln, self._known_only = store, kiln, known_only
        self._specs = {spec.name: spec for spec in specs if spec.kiln == kiln}
        self._known = {channel.name: channel for channel in store.channels(kiln)}
        self._settled: dict[str, Channel] = {}

    def find(self, part: Part) -> Channel:
        """Return the channel that a part of a file belongs to."""
        if part.channel not in self._settled:
            self._settled[part.channel] = self._settle(part)
        return self._settled[part.channel]

    def _settle(self, part: Part) -> Channel:
        if self._known_only and part.channel not in self._known:
            named = ", ".join(repr(name) for name in self._known) or "no channel"
            raise InputError(
                f"{part.channel!r} is no channel of {self.kiln!r}, so there is nothing to keep it "
                f'beside; there are: {named}. Say which it is: --channel "{part.channel}=..."'
            )
        spec = self._specs.get(part.channel)
        if spec is not None:
            return keep_channel(self.store, spec)
        if part.channel in self._known:
            return self._known[part.channel]
        return self.store.ensure_channel(self.kiln, part.channel, role=part.role)


@dataclass
class _PendingReadings:
    """Readings of one channel not stored yet."""

    part: Part  # the first one: name, unit and place
    count: ChannelCount
    t_us: list[IntArray] = field(default_factory=list)
    value: list[FloatArray] = field(default_factory=list)
    quality: list[QualityArray] = field(default_factory=list)
    lines: list[IntArray] = field(default_factory=list)
    held: int = 0

    def add(self, part: Part) -> None:
        """Hold one more part of the channel."""
        self.t_us.append(part.t_us)
        self.value.append(part.value)
        self.quality.append(part.quality)
        self.lines.append(part.lines)
        self.held += len(part.t_us)

    def continued(self, later: _PendingReadings) -> _PendingReadings:
        """Return what is held here and, after it, what is held there."""
        return _PendingReadings(
            self.part,
            self.count,
            self.t_us + later.t_us,
            self.value + later.value,
            self.quality + later.quality,
            self.lines + later.lines,
            self.held + later.held,
        )


@dataclass(frozen=True)
class _Prepared:
    """A stretch in order, one reading an instant, and what contradicts itself; coded as blocks."""

    part: Part
    count: ChannelCount
    given: int  # how many readings it was made from
    trace: Trace
    lines: IntArray
    twice: Sequence[Conflict]
    coded: Sequence[blocks.Block]


class BlockBuffer:
    """Takes the parts of one file; ``begin`` begins its import when there is something to store."""

    def __init__(
        self,
        store: Store,
        report: FileReport,
        channels: ChannelFinder,
        helper: ThreadPoolExecutor,
        *,
        same_instant: SameInstant | None,
        begin: Callable[[], int],
        beside: bool = False,
    ) -> None:
        self.store, self.report, self.channels = store, report, channels
        self._beside = beside
        self._helper, self._begin = helper, begin
        self._preparer = _Preparer(same_instant)
        self._waiting: dict[_Key, _PendingReadings] = {}
        self._coming: Future[list[_Prepared]] | None = None

    def take(self, part: Part) -> None:
        """Hold a part back."""
        count = self.report.count(part)
        if not len(part.t_us):
            return
        key = (part.channel, part.unit)
        if key not in self._waiting:
            self._waiting[key] = _PendingReadings(part, count)
        self._waiting[key].add(part)

    def flush_whole_blocks(self) -> None:
        """Send what is waiting on its way, once it is enough."""
        if sum(here.held for here in self._waiting.values()) >= MOST_READINGS:
            self._send(last=False)

    def flush(self) -> None:
        """Store all that is left."""
        self._send(last=True)
        time.sleep(TURN_S)
        before, self._coming = self._coming, None
        if before is not None:
            self._store(before.result())

    def _send(self, *, last: bool) -> None:
        waiting, self._waiting = self._waiting, {}
        before = self._coming
        self._coming = self._helper.submit(self._preparer.prepare, waiting, last)
        if before is not None:
            self._store(before.result())

    def _store(self, ready: Sequence[_Prepared]) -> None:
        if not ready:
            return
        if self.report.origin is None:
            self.report.origin = self._begin()
        with self.store.writing():
            for one in ready:
                self._add(one)

    def _add(self, here: _Prepared) -> None:
        """Compare with the store, and store what is new unless anything was contradicted."""
        channel, report = self.channels.find(here.part), self.report
        trace = here.trace
        report.contradicted(here.twice)
        named = (channel.id, channel.name)
        found = compare(self.store.connection, named, trace, report.origin, beside=self._beside)
        report.contradicted(_with_lines(found.conflicts, trace, here.lines))
        report.duplicates += here.given - int(found.new.sum())
        for number, count in found.held.items():
            key = (channel.id, number)
            report.held[key] = report.held.get(key, 0) + count
        if report.conflicts or not found.new.any():
            return
        all_new = bool(found.new.all())
        new = trace if all_new else _only(trace, found.new)
        coded = here.coded if all_new else ()
        self.store.add_trace(
            channel.id, new, origin=report.origin, coded=coded, beside=self._beside
        )
        report.own_channels.add(channel.id)
        here.count.readings += int(np.isfinite(new.value).sum())


def _only(trace: Trace, mask: NDArray[np.bool_]) -> Trace:
    return Trace(trace.t_us[mask], trace.value[mask], trace.quality[mask], trace.unit)


def _with_lines(conflicts: Sequence[Conflict], trace: Trace, lines: IntArray) -> list[Conflict]:
    places = np.searchsorted(trace.t_us, [one.t_us for one in conflicts])
    return [
        replace(one, lines=(int(lines[place]),))
        for one, place in zip(conflicts, places, strict=True)
    ]


class _Preparer:
    """Cuts what is held into whole blocks, orders and codes them; used by the helper alone."""

    def __init__(self, same_instant: SameInstant | None) -> None:
        self._same_instant = same_instant
        self._rest: dict[_Key, _PendingReadings] = {}
        self._shared: dict[tuple[int, ...], tuple[IntArray, IntArray]] = {}
        self._times = blocks.SharedTimes()

    def prepare(self, waiting: dict[_Key, _PendingReadings], last: bool) -> list[_Prepared]:
        """Return what fills blocks of what came and was left before; all of it at the ``last``."""
        held = self._rest
        for key, here in waiting.items():
            held[key] = held[key].continued(here) if key in held else here
        self._rest, self._shared, self._times = {}, {}, blocks.SharedTimes()
        return [self._prepared(key, here, last=last) for key, here in held.items()]

    def _prepared(self, key: _Key, here: _PendingReadings, *, last: bool) -> _Prepared:
        whole = blocks.MAX_COUNT
        take = here.held if last or here.held < whole else here.held - here.held % whole
        trace, given_lines = self._cut(key, here, take)
        trace, lines, twice = one_each(here.part.channel, trace, given_lines, self._same_instant)
        coded: list[blocks.Block] = []
        if len(trace) >= SMALLEST_BLOCK and not twice:
            coded = [blocks.encode(piece, self._times) for piece in blocks.cut(trace)]
        return _Prepared(here.part, here.count, take, trace, lines, twice, coded)

    def _cut(self, key: _Key, here: _PendingReadings, take: int) -> tuple[Trace, IntArray]:
        """Return the first ``take`` readings with their lines, and keep the rest."""
        t_us, t_rest = self._halves(here.t_us, take)
        lines, lines_rest = self._halves(here.lines, take)
        value, quality = np.concatenate(here.value), np.concatenate(here.quality)
        if take < here.held:
            self._rest[key] = _PendingReadings(
                here.part,
                here.count,
                [t_rest],
                [value[take:].copy()],
                [quality[take:].copy()],
                [lines_rest],
                here.held - take,
            )
        return Trace(t_us, value[:take], quality[:take], here.part.unit), lines

    def _halves(self, parts: list[IntArray], take: int) -> tuple[IntArray, IntArray]:
        """Cut what channels of one scan share only once, so that they go on sharing it."""
        key = (take, *map(id, parts))
        if key not in self._shared:
            whole = np.concatenate(parts)
            self._shared[key] = whole[:take], whole[take:].copy()
        return self._shared[key]
