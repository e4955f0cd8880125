"""Rows as arrays, before they become readings, and stretches of them joined."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np

from firelog.intake.file.clock.follow import Mask
from firelog.readings import FloatArray, IntArray, Quality, QualityArray

ERROR_WORD = 255  # a cell that was neither blank nor a number; becomes missing, never stored


@dataclass
class RowArrays:
    """Accepted rows: line numbers, raw counts of each clock with their masks, cells as arrays.

    A column's quality is None where every cell was a plain number. ``names`` and ``units`` are
    those of the channel, row by row, in long tables. ``copies`` is True for lines that are the very
    line before, looked at where the instant is the same too. ``bytes_read`` is how far the file
    was read.
    """

    lines: IntArray
    raws: list[IntArray]
    good: list[Mask]
    values: list[FloatArray]
    qualities: list[QualityArray | None]
    names: list[str] = field(default_factory=list)
    units: list[str] = field(default_factory=list)
    copies: Mask | None = None
    bytes_read: int = 0

    def __len__(self) -> int:
        return len(self.lines)


def join(tables: Sequence[RowArrays]) -> RowArrays:
    """Return stretches of one file as one table; at least one must be given."""
    if len(tables) == 1:
        return tables[0]
    return RowArrays(
        lines=np.concatenate([t.lines for t in tables]),
        raws=[np.concatenate(parts) for parts in zip(*(t.raws for t in tables), strict=True)],
        good=[np.concatenate(parts) for parts in zip(*(t.good for t in tables), strict=True)],
        values=[np.concatenate(parts) for parts in zip(*(t.values for t in tables), strict=True)],
        qualities=[_qualities(tables, index) for index in range(len(tables[0].values))],
        names=[name for t in tables for name in t.names],
        units=[unit for t in tables for unit in t.units],
        copies=np.concatenate([_copies(t) for t in tables]),
        bytes_read=max(t.bytes_read for t in tables),
    )


def _copies(table: RowArrays) -> Mask:
    return np.zeros(len(table), bool) if table.copies is None else table.copies


def _qualities(tables: Sequence[RowArrays], index: int) -> QualityArray | None:
    if all(table.qualities[index] is None for table in tables):
        return None
    parts = []
    for table in tables:
        judged = table.qualities[index]
        parts.append(np.full(len(table), Quality.OK, np.uint8) if judged is None else judged)
    return np.concatenate(parts)
