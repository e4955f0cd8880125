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

MOST_READINGS = 2_000_000 // 4  # held back for whole blocks, over all channels; 8 MB
TURN_S = 0.005  # for other writers between two transactions with no reading in between


class ChannelFinder:
    """The channels of a kiln by name; a new one is made, with what the foundry states of it."""

    def __init__(self, store: Store, kiln: str, specs: Iterable[ChannelSpec]) -> None:
        self.store, self.kiln = store, kiln
        self._specs = {spec.name: spec for spec in specs if spec.kiln == kiln}
        self._known = {channel.name: channel for channel in store.channels(kiln)}
        self._settled: dict[str, Channel] = {}

    def find(self, part: Part) -> Channel:
        """Return the channel that a part of a file belongs to."""
        if part.channel not in self._settled:
            self._settled[part.channel] = self._settle(part)
        return self._settled[part.channel]

    def _settle(self, part: Part) -> Channel:
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


@dataclass(frozen=True)
class _Stretch:
    """Readings of one channel on their way into the store, with the lines they stand in."""

    pending: _PendingReadings
    trace: Trace
    lines: IntArray


@dataclass(frozen=True)
class _Prepared:
    """A stretch in order, one reading an instant, and what contradicts itself; coded as blocks."""

    given: _Stretch
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
    ) -> None:
        self.store, self.report, self.channels = store, report, channels
        self._helper, self._same_instant, self._begin = helper, same_instant, begin
        self._waiting: dict[tuple[str, Unit], _PendingReadings] = {}
        self._coming: Future[list[_Prepared]] | None = None

    def take(self, part: Part) -> None:
        """Hold a part back."""
        count = self.report.count(part)
        if not len(part.t_us):
            return
        key = (part.channel, part.unit)
        if key not in self._waiting:
            self._waiting[key] = _PendingReadings(part, count)
        here = self._waiting[key]
        here.t_us.append(part.t_us)
        here.value.append(part.value)
        here.quality.append(part.quality)
        here.lines.append(part.lines)
        here.held += len(part.t_us)

    def flush_whole_blocks(self) -> None:
        """Send what fills blocks on its way, once enough is waiting."""
        if sum(here.held for here in self._waiting.values()) >= MOST_READINGS:
            whole = blocks.MAX_COUNT
            self._send(lambda held: held - held % whole if held >= whole else held)

    def flush(self) -> None:
        """Store all that is left."""
        self._send(lambda held: held)
        time.sleep(TURN_S)
        self._store_what_came()

    def _send(self, whole: Callable[[int], int]) -> None:
        cutter = _Cutter()
        stretches = [
            cutter.cut(here, take) for here in self._waiting.values() if (take := whole(here.held))
        ]
        before, self._coming = self._coming, None
        if stretches:
            self._coming = self._helper.submit(_prepare, stretches, self._same_instant)
        if before is not None:
            self._store(before.result())

    def _store_what_came(self) -> None:
        before, self._coming = self._coming, None
        if before is not None:
            self._store(before.result())

    def _store(self, ready: Sequence[_Prepared]) -> None:
        if self.report.origin is None:
            self.report.origin = self._begin()
        with self.store.writing():
            for one in ready:
                self._add(one)

    def _add(self, here: _Prepared) -> None:
        """Compare with the store, and store what is new unless anything was contradicted."""
        channel, report = self.channels.find(here.given.pending.part), self.report
        trace = here.trace
        report.contradicted(here.twice)
        found = compare(self.store.connection, (channel.id, channel.name), trace, report.origin)
        report.contradicted(_with_lines(found.conflicts, trace, here.lines))
        report.duplicates += len(here.given.trace) - int(found.new.sum())
        for number, count in found.held.items():
            key = (channel.id, number)
            report.held[key] = report.held.get(key, 0) + count
        if report.conflicts or not found.new.any():
            return
        all_new = bool(found.new.all())
        new = trace if all_new else _only(trace, found.new)
        coded = here.coded if all_new else ()
        self.store.add_trace(channel.id, new, origin=report.origin, coded=coded)
        report.own_channels.add(channel.id)
        here.given.pending.count.readings += int(np.isfinite(new.value).sum())


def _only(trace: Trace, mask: NDArray[np.bool_]) -> Trace:
    return Trace(trace.t_us[mask], trace.value[mask], trace.quality[mask], trace.unit)


def _prepare(stretches: Sequence[_Stretch], same_instant: SameInstant | None) -> list[_Prepared]:
    """Order and code stretches; touches nothing but them, so that another thread may do it."""
    times = blocks.SharedTimes()
    return [_prepared(one, same_instant, times) for one in stretches]


def _prepared(
    given: _Stretch, same_instant: SameInstant | None, times: blocks.SharedTimes
) -> _Prepared:
    name = given.pending.part.channel
    trace, lines, twice = one_each(name, given.trace, given.lines, same_instant)
    coded: list[blocks.Block] = []
    if len(trace) >= SMALLEST_BLOCK and not twice:
        coded = [blocks.encode(piece, times) for piece in blocks.cut(trace)]
    return _Prepared(given, trace, lines, twice, coded)


def _with_lines(conflicts: Sequence[Conflict], trace: Trace, lines: IntArray) -> list[Conflict]:
    places = np.searchsorted(trace.t_us, [one.t_us for one in conflicts])
    return [
        replace(one, lines=(int(lines[place]),))
        for one, place in zip(conflicts, places, strict=True)
    ]


class _Cutter:
    """Cuts what is held into what goes and what stays; channels of one scan share their times."""

    def __init__(self) -> None:
        self._shared: dict[tuple[int, ...], tuple[IntArray, IntArray]] = {}

    def cut(self, here: _PendingReadings, take: int) -> _Stretch:
        """Return the first ``take`` readings, and leave the rest in ``here``."""
        t_us, rest = self._halves(here.t_us, take)
        lines, lines_rest = self._halves(here.lines, take)
        value, quality = np.concatenate(here.value), np.concatenate(here.quality)
        here.t_us, here.lines = [rest], [lines_rest]
        here.value, here.quality = [value[take:].copy()], [quality[take:].copy()]
        here.held -= take
        trace = Trace(t_us, value[:take], quality[:take], here.part.unit)
        return _Stretch(here, trace, lines)

    def _halves(self, parts: list[IntArray], take: int) -> tuple[IntArray, IntArray]:
        key = (take, *map(id, parts))
        if key not in self._shared:
            whole = np.concatenate(parts)
            self._shared[key] = whole[:take], whole[take:].copy()
        return self._shared[key]
