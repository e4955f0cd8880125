"""Tables one under another: a column (depth, place, sensor) tells apart rows of one instant."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from firelog.intake.file.clock.find import ClockFound, as_clock
from firelog.intake.file.clock.follow import raw_all
from firelog.intake.file.clock.settle import STAMPED
from firelog.intake.file.plan import ClockKind, Dialect
from firelog.intake.file.table import header as heading
from firelog.intake.file.table.header import Header
from firelog.intake.file.table.sample import RowSample
from firelog.readings import IntArray
from firelog.units import temperature_unit

MOST_SERIES = 200
_LEAST_ROWS = 12
_MANY_REPEATS = 0.3  # of the steps are none: rows share their instants


def find(sample: RowSample, clock: ClockFound, header: Header, dialect: Dialect) -> int | None:
    """Return the column within whose values time only goes on, None when none is needed."""
    if clock.kind is ClockKind.DAY_CLOCK:
        return None  # it falls back at every midnight
    rows = (*sample.body, *sample.deep)
    read_by = as_clock(clock)
    orders = ("dmy", "mdy", "ymd") if clock.kind in STAMPED else (None,)
    for order in orders:
        read = replace(read_by, order=order)  # type: ignore[arg-type]
        raw, good = raw_all([[row.cells[c] for row in rows] for c in clock.columns], read, dialect)
        if good.mean() > 0.9:
            break
    else:
        return None
    kept = [row for row, fine in zip(rows, good.tolist(), strict=True) if fine]
    raw = raw[good]
    steps = np.diff(raw)
    back = int((steps < 0).sum())
    one_way = back == 0 or back == int((steps != 0).sum())
    if len(raw) < _LEAST_ROWS or (one_way and (steps == 0).mean() < _MANY_REPEATS):
        return None
    for index in range(sample.width):
        if index in clock.columns or _temperature(header, index):
            continue
        keys = [row.cells[index] for row in kept]
        if 2 <= len(set(keys)) <= min(MOST_SERIES, len(keys) // 3) and _parts(keys, raw):
            return index
    return None


def _temperature(header: Header, index: int) -> bool:
    _, behind = heading.split_unit(header.names[index])
    return temperature_unit(heading.unit_of(header.units[index] or behind)) is not None


def _parts(keys: list[str], raw: IntArray) -> bool:
    """True when within every key time strictly goes on, or strictly back."""
    array = np.array(keys)
    if (array == "").any():
        return False
    directions = set()
    for key in set(keys):
        steps = np.diff(raw[array == key])
        if len(steps) and (steps > 0).all():
            directions.add(1)
        elif len(steps) and (steps < 0).all():
            directions.add(-1)
        elif len(steps):
            return False
    return len(directions) == 1
