"""A logger's export into the store: bounded transactions, nothing twice, and an account of it.

All files are examined before anything of any is stored. A file is then stored in transactions of
whole blocks; between two of them a running collector gets its turn. What is in the store already
with the same value is left as it is; where the store says otherwise, all of the file is taken out
again. An import that was stopped is simply started again: what it had brought goes first.
"""

from __future__ import annotations

import glob
import hashlib
from collections.abc import Callable, Iterable, Sequence
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass, field, replace
from pathlib import Path
from typing import Any

from firelog.errors import InputError
from firelog.foundry import ChannelSpec
from firelog.intake.file import logfile
from firelog.intake.file.account import FileReport
from firelog.intake.file.block_buffer import BlockBuffer, ChannelFinder
from firelog.intake.file.instants import SameInstant
from firelog.intake.file.logfile import Chunk, Part, ReadPlan
from firelog.record import imports
from firelog.record.store import Store

Progress = Callable[[int], None]


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
    ``beside`` keeps it as a second source of its channels, whatever they say.
    """

    began_at_us: int | None = None
    same_instant: SameInstant | None = None
    options: dict[str, Any] = field(default_factory=dict)
    beside: bool = False


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
    path = Path(plan.file)
    refuse_the_store(store, path)
    report = FileReport(plan, shift_us=_shift_us(plan, wanted))
    if wanted.beside and imports.kept_beside(store, _sha256(path), report.shift_us) is not None:
        return _all_there(plan, progress, report.shift_us)
    # While one thread reads on, the other hashes, orders and compresses.
    with ThreadPoolExecutor(1, "firelog-encode") as helper:
        digest = helper.submit(_sha256, path)
        keeper = BlockBuffer(
            store,
            report,
            ChannelFinder(store, kiln, specs, known_only=wanted.beside),
            helper,
            beside=wanted.beside,
            same_instant=wanted.same_instant,
            begin=lambda: _begin(
                store, report, kiln, wanted, digest=digest.result(), now_us=now_us
            ),
        )
        try:
            for chunk in logfile.read(path, plan):
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


def _begin(
    store: Store, report: FileReport, kiln: str, wanted: Wanted, *, digest: str, now_us: int
) -> int:
    """Begin the import in the store; one of the same file that was cut short goes first."""
    for number in imports.cut_short(store, digest):
        imports.abandon(store, number)
    return imports.begin(
        store,
        imports.FILE,
        now_us=now_us,
        kiln=kiln,
        file=Path(report.plan.file).name,
        sha256=digest,
        size=report.plan.size,
        options=wanted.options,
        shift_us=report.shift_us,
        beside=wanted.beside,
    )


def _all_there(plan: ReadPlan, progress: Progress | None, shift_us: int) -> FileReport:
    """Return the account of a file that is a second source already: nothing of it is new."""
    report = rehearse(plan, progress)
    report.duplicates = sum(count.seen for count in report.channels.values())
    report.shift_us = shift_us
    for count in report.channels.values():
        count.readings = 0
    return report


def refuse_the_store(store: Store, path: Path) -> None:
    """Raise :class:`InputError` for the store itself, which is never opened as a file."""
    if path.exists() and store.path.exists() and path.samefile(store.path):
        raise InputError(f"{path}: is the store itself; name a logger's export")


def _sha256(path: Path) -> str:
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
