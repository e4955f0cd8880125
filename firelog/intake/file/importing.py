"""A logger's export into the store: bounded transactions, nothing twice, and an account of it.

All files are examined before anything of any is stored. A file is then stored in transactions of
whole blocks; between two of them a running collector gets its turn. What is in the store already
is left as it is, so an import that was stopped is simply started again.
"""

from __future__ import annotations

import glob
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any

import numpy as np

from firelog.errors import InputError
from firelog.foundry import ChannelSpec
from firelog.intake.file import logfile
from firelog.intake.file.logfile import Chunk, Part, ReadPlan, Rejected
from firelog.readings import FloatArray, IntArray, Quality, QualityArray, Unit
from firelog.record.blocks import MAX_COUNT
from firelog.record.rows import Channel
from firelog.record.stated import keep_channel
from firelog.record.store import Store
from firelog.units import iso_utc

MOST_READINGS = 2_000_000 // 4  # held back for whole blocks, over all channels; 8 MB
TURN_S = 0.005  # for other writers between two transactions
Progress = Callable[[int], None]


@dataclass
class ChannelCount:
    """What one channel of a file came to: new finite readings, and what the file lacks."""

    name: str
    unit: str
    readings: int = 0
    missing: int = 0
    open: int = 0
    seen: int = 0
    lowest: float = float("inf")
    highest: float = float("-inf")


@dataclass
class FileReport:
    """What one file came to; ``as_json`` is the contract of ``firelog import --json``."""

    plan: ReadPlan
    rows: int = 0
    duplicates: int = 0
    out_of_order: int = 0
    first_row_us: int | None = None
    first_us: int | None = None
    last_us: int | None = None
    channels: dict[str, ChannelCount] = field(default_factory=dict)
    rejected: list[Rejected] = field(default_factory=list)
    warnings: list[str] = field(default_factory=list)

    @property
    def readings(self) -> int:
        """The finite values that were stored."""
        return sum(channel.readings for channel in self.channels.values())

    def as_json(self) -> dict[str, Any]:
        """Return the file's entry in the answer."""
        return {
            "file": self.plan.file,
            "rows": self.rows,
            "readings": self.readings,
            "channels": [
                {
                    "name": c.name,
                    "unit": c.unit,
                    "readings": c.readings,
                    "missing": c.missing,
                    "open": c.open,
                }
                for c in self.channels.values()
            ],
            "first": None if self.first_us is None else iso_utc(self.first_us),
            "last": None if self.last_us is None else iso_utc(self.last_us),
            "duplicates": self.duplicates,
            "out_of_order": self.out_of_order,
            "rejected": [{"line": r.line, "why": r.why} for r in self.rejected],
            "warnings": self.warnings,
            "skipped": [{"name": s.name, "unit": s.unit, "why": s.why} for s in self.plan.skipped],
        }

    def count(self, part: Part) -> ChannelCount:
        """Take note of what a part of the file holds, and return its channel's account."""
        known = self.channels.get(part.channel)
        if known is None:
            known = self.channels[part.channel] = ChannelCount(part.channel, part.unit.value)
        finite = part.value[np.isfinite(part.value)]
        opened = int((part.quality == Quality.OPEN).sum())
        known.open += opened
        known.missing += len(part.value) - len(finite) - opened
        known.seen += len(finite)
        if len(finite):
            known.lowest = min(known.lowest, float(finite.min()))
            known.highest = max(known.highest, float(finite.max()))
        if len(part.t_us):
            if self.first_row_us is None:
                self.first_row_us = int(part.t_us[0])
            first, last = int(part.t_us.min()), int(part.t_us.max())
            self.first_us = first if self.first_us is None else min(first, self.first_us)
            self.last_us = last if self.last_us is None else max(last, self.last_us)
        return known

    def end(self, chunk: Chunk) -> None:
        """Take over what the reader says at the end of the file."""
        self.rejected = list(chunk.rejected)
        self.out_of_order = chunk.out_of_order
        self.warnings = [*self.plan.warnings, *chunk.warnings]


def expand(names: Sequence[str]) -> list[Path]:
    """Return the files named, patterns expanded (a shell may have left them as they are)."""
    found: list[Path] = []
    for name in names:
        path = Path(name)
        if path.exists() or not glob.has_magic(name):
            found.append(path)
            continue
        matches = [Path(match) for match in sorted(glob.glob(name, recursive=True))]  # noqa: PTH207
        if not matches:
            raise InputError(f"{name}: no file fits this pattern; check the folder")
        found.extend(matches)
    return list(dict.fromkeys(found))


def examine(paths: Iterable[Path], options: logfile.ImportOptions) -> list[ReadPlan]:
    """Examine every file; raises for the first that cannot be read with certainty."""
    return [logfile.examine(path, options) for path in paths]


def rehearse(plan: ReadPlan, progress: Progress | None = None) -> FileReport:
    """Read a file to the end and store nothing; ``readings`` is what a first import would store."""
    report = FileReport(plan)
    for chunk in logfile.read(Path(plan.file), plan):
        for part in chunk.parts:
            count = report.count(part)
            count.readings = count.seen
        _advance(report, chunk, progress)
    return report


def store_file(
    store: Store,
    plan: ReadPlan,
    kiln: str,
    specs: Iterable[ChannelSpec] = (),
    progress: Progress | None = None,
) -> FileReport:
    """Store a file's readings as channels of ``kiln``; returns the account.

    ``specs`` is what the foundry file states of its channels. Raises :class:`InputError` when the
    file turns out unreadable further down, saying from which line; what came before it is stored.
    """
    report = FileReport(plan)
    keeper = _BlockBuffer(store, report, kiln, specs)
    try:
        for chunk in logfile.read(Path(plan.file), plan):
            for part in chunk.parts:
                keeper.take(part)
            _advance(report, chunk, progress)
            keeper.flush_whole_blocks()
    except InputError as error:
        if not keeper.stored:
            raise
        raise InputError(f"{error}. The rows before it are stored") from error
    keeper.flush()
    return report


def _advance(report: FileReport, chunk: Chunk, progress: Progress | None) -> None:
    report.rows += chunk.rows
    if chunk.bytes_read and progress is not None:
        progress(chunk.bytes_read)
    if not chunk.rows:
        report.end(chunk)


@dataclass
class _PendingReadings:
    """Readings of one channel not stored yet."""

    part: Part  # the first one: name, unit and place
    count: ChannelCount
    t_us: list[IntArray] = field(default_factory=list)
    value: list[FloatArray] = field(default_factory=list)
    quality: list[QualityArray] = field(default_factory=list)
    held: int = 0


class _BlockBuffer:
    """Holds readings back until they fill blocks, then stores them in one short transaction."""

    def __init__(
        self, store: Store, report: FileReport, kiln: str, specs: Iterable[ChannelSpec]
    ) -> None:
        self.store, self.report, self.kiln = store, report, kiln
        self.specs = {spec.name: spec for spec in specs if spec.kiln == kiln}
        self.known = {channel.name: channel for channel in store.channels(kiln)}
        self.settled: dict[str, Channel] = {}
        self.waiting: dict[tuple[str, Unit], _PendingReadings] = {}
        self.stored = False

    def take(self, part: Part) -> None:
        """Hold a part back."""
        count = self.report.count(part)
        if not len(part.t_us):
            return
        key = (part.channel, part.unit)
        if key not in self.waiting:
            self.waiting[key] = _PendingReadings(part, count)
        here = self.waiting[key]
        here.t_us.append(part.t_us)
        here.value.append(part.value)
        here.quality.append(part.quality)
        here.held += len(part.t_us)

    def flush_whole_blocks(self) -> None:
        """Store what fills blocks, once enough is waiting."""
        if sum(here.held for here in self.waiting.values()) < MOST_READINGS:
            return
        self._flush(lambda held: held - held % MAX_COUNT if held >= MAX_COUNT else held)
        time.sleep(TURN_S)

    def flush(self) -> None:
        """Store all that is left."""
        self._flush(lambda held: held)

    def _flush(self, whole: Callable[[int], int]) -> None:
        ready = []
        for here in self.waiting.values():
            if take := whole(here.held):
                ready.append((here, *_cut(here, take)))
        if not ready:
            return
        with self.store.writing():
            for here, t_us, value, quality in ready:
                self._add(here, t_us, value, quality)
        self.stored = True

    def _add(
        self, here: _PendingReadings, t_us: IntArray, value: FloatArray, quality: QualityArray
    ) -> None:
        channel, unit = self._channel(here.part), here.part.unit
        finite = np.isfinite(value)
        usable = None if finite.all() else self._finite_new(channel.id, t_us, finite)
        new = self.store.add_readings(channel.id, t_us, value, quality, unit)
        here.count.readings += new if usable is None else usable
        self.report.duplicates += len(t_us) - new

    def _finite_new(self, channel_id: int, t_us: IntArray, finite: Any) -> int:
        """Return how many finite readings are new: of two at one instant the first stays."""
        unique, first = np.unique(t_us, return_index=True)
        span = self.store.reading_span(channel_id)
        fresh = np.ones(len(unique), bool)
        if span is not None and span[0] <= unique[-1] and span[1] >= unique[0]:
            there = self.store.readings(channel_id, int(unique[0]), int(unique[-1])).t_us
            fresh = ~np.isin(unique, there)
        return int(finite[first][fresh].sum())

    def _channel(self, part: Part) -> Channel:
        """Return the channel of the store; made when new, and then with what is known of it."""
        if part.channel in self.settled:
            return self.settled[part.channel]
        self.settled[part.channel] = self._settle(part)
        return self.settled[part.channel]

    def _settle(self, part: Part) -> Channel:
        spec = self.specs.get(part.channel)
        if spec is not None:
            return keep_channel(self.store, spec)
        if part.channel in self.known:
            return self.known[part.channel]
        return self.store.ensure_channel(self.kiln, part.channel, role=part.role)


def _cut(here: _PendingReadings, take: int) -> tuple[IntArray, FloatArray, QualityArray]:
    t_us = np.concatenate(here.t_us)
    value = np.concatenate(here.value)
    quality = np.concatenate(here.quality)
    here.t_us, here.value, here.quality = [t_us[take:]], [value[take:]], [quality[take:]]
    here.held -= take
    return t_us[:take], value[:take], quality[:take]
