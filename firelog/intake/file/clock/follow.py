"""Following a clock through a file: cells to microseconds UTC, row after row.

First every row's cells become a raw count (wall clock, epoch or elapsed), then the counts are
resolved in file order: zone and repeated hours, midnight, and rows that share one coarse stamp.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from firelog.errors import InputError
from firelog.intake.file.clock import fields, stamps
from firelog.intake.file.clock.zones import WallClock
from firelog.intake.file.plan import ClockKind, DateOrder, Dialect, FileClock
from firelog.intake.file.table.cells import number
from firelog.readings import IntArray

Mask = NDArray[np.bool_]
LATEST_US = 4_102_444_800_000_000  # 2100-01-01
_HOUR_US = 3_600_000_000
_SET_BACK_US, _SET_BACK_ROWS = 120_000_000, 5  # less, or fewer, is a hiccup of a logger
_SERIAL_1970 = 25_569.0
_WALL = (ClockKind.STAMP, ClockKind.FIELDS, ClockKind.SERIAL)


def raw_us(cells: Sequence[str], clock: FileClock, dialect: Dialect) -> int | None:
    """Return the raw count of one row's time cells in microseconds; None when unreadable."""
    raw = _raw_us(cells, clock, dialect)
    return None if raw is None or (clock.floor_us and raw < clock.floor_us) else raw


def _raw_us(cells: Sequence[str], clock: FileClock, dialect: Dialect) -> int | None:
    if clock.kind is ClockKind.STAMP:
        return _stamp(cells, clock.order)
    if clock.kind is ClockKind.FIELDS:
        return fields.instant_us(cells, clock.fields, dialect)
    if clock.kind is ClockKind.DAY_CLOCK:
        stamp = stamps.cut(cells[0])
        return stamps.time_of_day_us(stamp.time) if stamp and not stamp.date else None
    if clock.kind is ClockKind.ELAPSED_CLOCK:
        span = stamps.span_us(cells[0])
        minutes = span is not None and clock.fields == ("mm:ss",) and cells[0].count(":") == 1
        return span // 60 if span is not None and minutes else span
    value = number(cells[0], dialect.decimal, dialect.thousands)
    if clock.kind is ClockKind.SERIAL:
        return _serial(value)
    if value is None or not abs(value) * clock.unit_us < LATEST_US:
        return None
    return round(value * clock.unit_us)


def raw_all(
    columns: Sequence[Sequence[str]], clock: FileClock, dialect: Dialect
) -> tuple[IntArray, Mask]:
    """Return raw counts of many rows, given the clock's columns, and which of them are readable."""
    read = [raw_us(cells, clock, dialect) for cells in zip(*columns, strict=True)]
    good = np.array([value is not None for value in read], bool)
    return np.array([value or 0 for value in read], np.int64), good


def _stamp(cells: Sequence[str], order: DateOrder | None) -> int | None:
    text = f"{cells[0]} {cells[1]}" if len(cells) == 2 else cells[0]
    stamp = stamps.cut(text)
    if stamp is None or not stamp.date:
        return None
    day = stamps.day_number(stamp.date, order)
    clock = stamps.time_of_day_us(stamp.time) if stamp.time else 0
    if day is None or clock is None or (not stamp.time and len(cells) == 2):
        return None
    offset = stamps.zone_us(stamp.zone) if stamp.zone else 0
    return day * stamps.DAY_US + clock - offset


def _serial(days: float | None) -> int | None:
    """Days since the end of 1899, as spreadsheets count; to the second, as fine as they are."""
    if days is None or not _SERIAL_1970 <= days < _SERIAL_1970 + LATEST_US / stamps.DAY_US:
        return None
    return round((days - _SERIAL_1970) * 86_400) * 1_000_000


def _minutes(t_us: IntArray) -> list[int]:
    """Return the minutes that instants [µs UTC] fall into."""
    minutes = t_us // 60_000_000
    return [int(one) for one in minutes[np.flatnonzero(np.diff(minutes, prepend=-1))]]


class ClockReader:
    """Resolves one clock through a file; feed it the readable rows, in file order."""

    def __init__(self, clock: FileClock) -> None:
        self.clock = clock
        self.out_of_order = 0
        self.spread = 0
        self.steps_back = self.rows = self.farthest_back_us = 0
        self._wall = (
            WallClock(clock.zone, newest_first=clock.newest_first, first_fold=clock.first_fold)
            if clock.zone is not None and clock.kind in _WALL
            else None
        )
        self._first: int | None = None
        self._last_raw: int | None = None
        self._days = 0
        self._last_stamp: int | None = None
        self._place = 0
        self._edge: int | None = None
        self.set_back: tuple[int, float] | None = None  # the line, and by how much [s]
        self._latest: int | None = None
        self._minutes: set[int] = set()

    @property
    def torn(self) -> bool:
        """True when rows are days behind others, or the time goes to and fro: it is read wrongly.

        A few minutes written twice are not.
        """
        return self.farthest_back_us > stamps.DAY_US or self.steps_back > 0.05 * self.rows

    def resolve(self, raw: IntArray, same: Mask, lines: IntArray) -> IntArray:
        """Return UTC of raw counts; ``same`` marks rows equal to the row before in every value.

        ``lines`` are the rows' line numbers, for errors. Raises :class:`InputError` for times that
        cannot be: a clock that starts again half-way, an hour that the zone never had, a year
        outside 1970 to 2099.
        """
        if not len(raw):
            return raw
        t_us = self._place_on_axis(raw, lines)
        if int(t_us.min()) < 0 or int(t_us.max()) >= LATEST_US:
            raise InputError("the times lie outside 1970 to 2099; look at how they are read")
        self._count_disorder(t_us)
        self._watch_for_set_back(t_us, lines)
        return self._spread(t_us, same)

    # ------------------------------------------------------------ raw counts onto the UTC axis
    def _place_on_axis(self, raw: IntArray, lines: IntArray) -> IntArray:
        if self._wall is not None:
            return self._wall.to_utc(raw)
        if self.clock.kind in (*_WALL, ClockKind.EPOCH):
            return raw
        if self._first is None:
            self._first = int(raw[0])
        if self.clock.kind is not ClockKind.ELAPSED:
            raw = self._past_midnight(raw)
        self._no_restart(raw, lines)
        self._last_raw = int(raw[-1])
        zero = self._first if self.clock.kind is ClockKind.DAY_CLOCK else 0
        return raw - zero + self.clock.start_us

    def _past_midnight(self, raw: IntArray) -> IntArray:
        """Add a day each time a clock of 24 hours falls back to the morning."""
        before = np.empty_like(raw)
        before[1:] = raw[:-1]
        before[0] = raw[0] if self._last_raw is None else self._last_raw - self._days
        wraps = (before - raw > stamps.DAY_US // 2) & (before >= stamps.DAY_US - _HOUR_US)
        wraps &= before <= stamps.DAY_US
        if self.clock.kind is ClockKind.DAY_CLOCK:
            wraps = before - raw > stamps.DAY_US // 2
        days = self._days + np.cumsum(wraps) * stamps.DAY_US
        self._days = int(days[-1])
        return raw + days

    def _no_restart(self, raw: IntArray, lines: IntArray) -> None:
        if self.clock.newest_first or self._first is None:
            return
        before = np.empty_like(raw)
        before[1:] = raw[:-1]
        before[0] = self._first if self._last_raw is None else self._last_raw
        again = np.flatnonzero((raw <= self._first) & (before > self._first))
        if len(again):
            raise InputError(
                f"line {lines[again[0]]}: the elapsed time starts again, so the file holds two "
                "runs; split it there and import each part with its own --start"
            )

    def _count_disorder(self, t_us: IntArray) -> None:
        sign = -1 if self.clock.newest_first else 1
        forward = sign * t_us
        self.rows += len(t_us)
        if (self._edge is None or forward[0] >= self._edge) and (forward[1:] > forward[:-1]).all():
            self._edge = int(forward[-1])
            return
        edge = np.maximum.accumulate(forward)
        before = np.empty_like(edge)
        before[1:] = edge[:-1]
        before[0] = forward[0] if self._edge is None else self._edge
        edge = np.maximum(edge, before[0])
        self.out_of_order += int((forward < np.maximum(before, before[0])).sum())
        self.steps_back += int((np.diff(forward) < 0).sum())
        self.farthest_back_us = max(self.farthest_back_us, int((edge - forward).max()))
        self._edge = int(edge[-1])

    def _watch_for_set_back(self, t_us: IntArray, lines: IntArray) -> None:
        """Note where the clock goes back for good, over time that is written already.

        Rows that fall on instants already written are told by the store as duplicates or conflicts;
        rows that fall between them would be mixed among what came before.
        """
        sign = -1 if self.clock.newest_first else 1
        steps = sign * np.diff(t_us, prepend=t_us[0] if self._latest is None else self._latest)
        self._latest = int(t_us[-1])
        since = 0
        for at in np.flatnonzero(steps < -_SET_BACK_US).tolist():
            self._minutes.update(_minutes(t_us[since:at]))
            since = at
            after = t_us[at : at + _SET_BACK_ROWS]
            pace_us = int(np.median(steps[steps > 0])) if (steps > 0).any() else 0
            phase = (int(after[0]) - int(t_us[0])) % pace_us if pace_us else 0
            between = min(phase, pace_us - phase) > 0.02 * pace_us
            if (
                between
                and len(after) == _SET_BACK_ROWS
                and self._minutes.issuperset(_minutes(after))
            ):
                self.set_back = self.set_back or (int(lines[at]), -int(steps[at]) / 1e6)
        self._minutes.update(_minutes(t_us[since:]))

    # ------------------------------------------------------------ rows that share a coarse stamp
    def _spread(self, t_us: IntArray, same: Mask) -> IntArray:
        new = np.empty(len(t_us), bool)
        new[1:] = t_us[1:] != t_us[:-1]
        new[0] = t_us[0] != self._last_stamp
        first = self._last_stamp is None
        repeats = self.clock.repeats
        if repeats == 1 and new.all():
            self._last_stamp, self._place = int(t_us[-1]), 0
            return t_us
        moves = np.where(new, 0, 1 if repeats > 1 else ~same).astype(np.int64)
        counted = np.cumsum(moves)
        starts = np.maximum.accumulate(np.where(new, np.arange(len(t_us)), -1))
        place = counted - np.where(starts >= 0, counted[np.maximum(starts, 0)], -self._place)
        if first and self.clock.first_run < repeats:
            place[: int(np.argmax(new[1:]) + 1) if new[1:].any() else len(place)] += (
                repeats - self.clock.first_run
            )
        self._last_stamp, self._place = int(t_us[-1]), int(place[-1])
        self.spread += int((moves > 0).sum())
        return t_us + self._offsets(place)

    def _offsets(self, place: IntArray) -> IntArray:
        """Where in its step the n-th row of one stamp lies; never as far as the next stamp."""
        # Stamps to the microsecond leave no room within a step: a millisecond is as good as none.
        step, repeats = max(self.clock.step_us, 1000), self.clock.repeats
        if self.clock.newest_first and repeats > 1:
            place = np.maximum(repeats - 1 - place, 0)
        late = np.maximum(place - repeats + 1, 0)
        even = np.minimum(place, repeats - 1) * step // repeats
        return np.asarray(even + (step * late) // (repeats * (late + 1)), np.int64)
