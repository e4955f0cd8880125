"""The account of an import: what one file came to, for the person and for ``--json``."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any

import numpy as np

from firelog.intake.file.plan import Chunk, Part, ReadPlan, Rejected
from firelog.readings import Quality
from firelog.record.compare import Conflict
from firelog.units import iso_utc

MOST_LISTED = 1_000  # conflicts kept with their values; all are counted


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
        finite, opened = part.value, 0
        if part.quality.any() or not np.isfinite(finite).all():
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
