"""A logger's export into the store: bounded transactions, nothing twice, and an account of it.

All files are examined before anything of any is stored. A file is then stored in transactions of
whole blocks; between two of them a running collector gets its turn. What is in the store already
with the same value is left as it is; where the store says otherwise, all of the file is taken out
again. An import that was stopped is simply started again: what it had brought goes first.
"""

from __future__ import annotations

import glob
import hashlib
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

import numpy as np

from firelog.errors import InputError
from firelog.foundry import ChannelSpec
from firelog.intake.file import logfile
from firelog.intake.file.instants import SameInstant, one_each
from firelog.intake.file.logfile import Chunk, Part, ReadPlan, Rejected
from firelog.readings import FloatArray, IntArray, Quality, QualityArray, Trace, Unit
from firelog.record import imports
from firelog.record.blocks import MAX_COUNT
from firelog.record.compare import Conflict, compare
from firelog.record.rows import Channel
from firelog.record.stated import keep_channel
from firelog.record.store import Store
from firelog.units import iso_utc

MOST_READINGS = 2_000_000 // 4  # held back for whole blocks, over all channels; 8 MB
TURN_S = 0.005  # for other writers between two transactions
MOST_LISTED = 1_000  # conflicts kept with their values; all are counted
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
    """What one file came to; ``as_json`` is the contract of ``firelog import --json``.

    ``origin`` is the import in the store, None when nothing was new. ``held`` counts the readings
    of the file that each (channel, import) of the store had already.
    """

    plan: ReadPlan
    rows: int = 0
    duplicates: int = 0
    conflicts: int = 0
    conflicting: list[Conflict] = field(default_factory=list)
    origin: int | None = None
    shift_us: int = 0
    held: dict[tuple[int, int], int] = field(default_factory=dict)
    own_channels: set[int] = field(default_factory=set)
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
            "conflicts": self.conflicts,
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

    def contradicted(self, found: Sequence[Conflict]) -> None:
        """Take note of conflicts; all are counted, the first are kept with their values."""
        self.conflicts += len(found)
        self.conflicting += found[: MOST_LISTED - len(self.conflicting)]


def conflict_rows(report: FileReport) -> list[dict[str, Any]]:
    """Return what contradicts the record, or the file itself, as JSON objects."""
    return [_conflict_row(report.plan.file, one) for one in report.conflicting]


def _conflict_row(file: str, one: Conflict) -> dict[str, Any]:
    return {
        "file": file,
        "channel": one.channel,
        "at": iso_utc(one.t_us),
        "there": None if np.isnan(one.there) else one.there,
        "there_unit": one.unit_there.value,
        "here": None if np.isnan(one.here) else one.here,
        "here_unit": one.unit_here.value,
        "import": one.origin or None,
        "between": one.between,
        "lines": list(one.lines),
    }


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


@dataclass(frozen=True)
class Wanted:
    """How a file is to be brought in, besides how it is read.

    ``began_at_us`` is when its first reading was truly taken, for a clock that was wrong;
    ``same_instant`` which of two readings at one instant counts; ``options`` the words as given.
    """

    began_at_us: int | None = None
    same_instant: SameInstant | None = None
    options: dict[str, Any] = field(default_factory=dict)


def take_in(
    store: Store,
    plan: ReadPlan,
    kiln: str,
    specs: Iterable[ChannelSpec],
    progress: Progress | None,
    *,
    now_us: int,
    wanted: Wanted | None = None,
) -> FileReport:
    """Store a file's readings as channels of ``kiln``; returns the account, the import unfinished.

    :func:`finish` keeps it, :func:`abandon` takes it out again. With conflicts in the account
    nothing of the file is in the store. ``specs`` is what the foundry file states of its channels.
    Raises :class:`InputError` when the file turns out unreadable further down, saying from which
    line; nothing of it is stored then.
    """
    wanted = wanted or Wanted()
    report = FileReport(plan, shift_us=_shift_us(plan, wanted))
    digest = sha256_of(store, Path(plan.file))
    for number in imports.cut_short(store, digest):
        imports.abandon(store, number)
    report.origin = imports.begin(
        store,
        imports.FILE,
        now_us=now_us,
        kiln=kiln,
        file=Path(plan.file).name,
        sha256=digest,
        size=plan.size,
        options=wanted.options,
        shift_us=report.shift_us,
    )
    keeper = _BlockBuffer(store, report, kiln, specs, wanted.same_instant)
    try:
        for chunk in logfile.read(Path(plan.file), plan):
            for part in chunk.parts:
                keeper.take(_shifted(part, report.shift_us))
            _advance(report, chunk, progress)
            keeper.flush_whole_blocks()
        keeper.flush()
    except BaseException:
        abandon(store, report)
        raise
    if report.conflicts:
        abandon(store, report)
    return report


def sha256_of(store: Store, path: Path) -> str:
    """Return the SHA-256 of a file's bytes; the store itself is refused, and never opened so."""
    if path.exists() and store.path.exists() and path.samefile(store.path):
        raise InputError(f"{path}: is the store itself; name a logger's export")
    with path.open("rb") as handle:
        return hashlib.file_digest(handle, "sha256").hexdigest()


def finish(store: Store, report: FileReport, now_us: int) -> None:
    """End an import: with its counts, or without a trace when the store had all of it already."""
    if report.origin is None:
        return
    if not report.own_channels:
        abandon(store, report)
        return
    held: dict[str, int] = {}
    for (_, number), count in report.held.items():
        held[str(number)] = held.get(str(number), 0) + count
    counts = {
        "rows": report.rows,
        "readings": report.readings,
        "duplicates": report.duplicates,
        "rejected": len(report.rejected),
        "channels": sorted(report.channels),
        "held": {number: count for number, count in held.items() if number != "0"},
    }
    imports.finish(store, report.origin, counts, now_us=now_us)


def abandon(store: Store, report: FileReport) -> None:
    """Take out what was stored of a file that is not brought in after all."""
    if report.origin is not None:
        imports.abandon(store, report.origin)
    report.origin = None
    report.own_channels.clear()
    for count in report.channels.values():
        count.readings = 0


def _shift_us(plan: ReadPlan, wanted: Wanted) -> int:
    if wanted.began_at_us is None:
        return 0
    first_us = rehearse(plan).first_us
    return 0 if first_us is None else wanted.began_at_us - first_us


def _shifted(part: Part, shift_us: int) -> Part:
    return replace(part, t_us=part.t_us + shift_us) if shift_us else part


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
    lines: list[IntArray] = field(default_factory=list)
    held: int = 0


class _BlockBuffer:
    """Holds readings back until they fill blocks, then stores them in one short transaction."""

    def __init__(
        self,
        store: Store,
        report: FileReport,
        kiln: str,
        specs: Iterable[ChannelSpec],
        same_instant: SameInstant | None,
    ) -> None:
        self.store, self.report, self.kiln = store, report, kiln
        self.same_instant = same_instant
        self.specs = {spec.name: spec for spec in specs if spec.kiln == kiln}
        self.known = {channel.name: channel for channel in store.channels(kiln)}
        self.settled: dict[str, Channel] = {}
        self.waiting: dict[tuple[str, Unit], _PendingReadings] = {}

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
        here.lines.append(part.lines)
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
            for here, trace, lines in ready:
                self._add(here, trace, lines)

    def _add(self, here: _PendingReadings, whole: Trace, all_lines: IntArray) -> None:
        """Compare with the store, and store what is new unless anything was contradicted."""
        channel, report = self._channel(here.part), self.report
        trace, lines, twice = one_each(channel.name, whole, all_lines, self.same_instant)
        report.contradicted(twice)
        found = compare(self.store.connection, (channel.id, channel.name), trace, report.origin)
        report.contradicted(_with_lines(found.conflicts, trace, lines))
        report.duplicates += len(whole) - int(found.new.sum())
        for number, count in found.held.items():
            key = (channel.id, number)
            report.held[key] = report.held.get(key, 0) + count
        if report.conflicts or not found.new.any():
            return
        value = trace.value[found.new]
        self.store.add_readings(
            channel.id,
            trace.t_us[found.new],
            value,
            trace.quality[found.new],
            trace.unit,
            origin=report.origin,
        )
        report.own_channels.add(channel.id)
        here.count.readings += int(np.isfinite(value).sum())

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


def _with_lines(conflicts: Sequence[Conflict], trace: Trace, lines: IntArray) -> list[Conflict]:
    places = np.searchsorted(trace.t_us, [one.t_us for one in conflicts])
    return [
        replace(one, lines=(int(lines[place]),))
        for one, place in zip(conflicts, places, strict=True)
    ]


def _cut(here: _PendingReadings, take: int) -> tuple[Trace, IntArray]:
    t_us = np.concatenate(here.t_us)
    value = np.concatenate(here.value)
    quality = np.concatenate(here.quality)
    lines = np.concatenate(here.lines)
    here.t_us, here.value, here.quality = [t_us[take:]], [value[take:]], [quality[take:]]
    here.lines = [lines[take:]]
    here.held -= take
    return Trace(t_us[:take], value[:take], quality[:take], here.part.unit), lines[:take]
