"""Fastest reader: lines laid out alike, read as the columns of one matrix of signs.

While a kiln stays between 100 and 999 °C, the lines of its log differ in nothing but digits: each
sign stands in the same place. Such lines need no search for cells; place by place, their digits
make the numbers. A stretch may hold a few layouts (99.9 beside 100.2); what is laid out in another
way is left to ``uniform``, and both must give the same readings.

The numbers are exact for the reason that ``decimals`` gives.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firelog.intake.file.fast.decimals import MOST_DIGITS
from firelog.intake.file.fast.uniform import (
    Bytes,
    Shape,
    Uniform,
    copies_of,
    counted,
    read_lines,
    stamp_counts,
)
from firelog.intake.file.plan import ClockKind
from firelog.readings import FloatArray, IntArray

FEWEST_LINES = 128  # of one layout; fewer are not worth a matrix of their own
_LEAST_SHARE = 0.2  # of the lines of one length must be laid out as their first is
_MOST_LAYOUTS = 8  # looked at in one stretch
_ABREAST = 32  # lines compared side by side
_NEWLINE, _NINE, _ZERO = b"\n90"
_SHORT = 7  # so many digits still fit 32 bits as signs
_PLAIN = re.compile(rb"([-+]?)(\d*)(?:\.(\d*))?")


@dataclass(frozen=True)
class _Number:
    """A plain number's place in a line: where its digits stand, its decimals, its sign."""

    digits: tuple[int, ...]
    decimals: int
    negative: bool


@dataclass(frozen=True)
class _Layout:
    """One line taken apart: where its numbers stand, and the spans of the cells of its stamp."""

    numbers: dict[int, _Number]
    stamp: list[tuple[int, int]]


def read(data: bytes, line: int, form: Shape) -> Uniform | None:
    """Return the rows of ``data`` (whole lines), None when they are not all plain."""
    if b"\0" in data or not data:
        return None
    signs = np.frombuffer(data, np.uint8)
    ends = np.flatnonzero(signs == _NEWLINE)
    rows = _Rows(data, line, form, ends)
    rest = [left for group in _by_length(signs, ends) for left in rows.take(*group)]
    if rest and not rows.take_others(np.sort(np.concatenate(rest))):
        return None
    if form.clock.floor_us and (rows.raw < form.clock.floor_us).any():
        return None
    return rows.found()


def _by_length(signs: Bytes, ends: IntArray) -> Iterator[tuple[IntArray | None, Bytes]]:
    """Yield the lines of each length as a matrix with their numbers, None where it is all."""
    lengths = np.diff(ends, prepend=-1)
    if (lengths == lengths[0]).all():
        yield None, signs.reshape(len(ends), -1)
        return
    starts = ends - lengths + 1
    for length in np.flatnonzero(np.bincount(lengths)).tolist():
        rows = np.flatnonzero(lengths == length)
        yield rows, signs[starts[rows, None] + np.arange(length)]


class _Rows:
    """The rows of one stretch, filled in layout by layout."""

    def __init__(self, data: bytes, line: int, form: Shape, ends: IntArray) -> None:
        self.data, self.line, self.form, self.ends = data, line, form, ends
        self.raw = np.empty(len(ends), np.int64)
        self.values = {i: np.empty(len(ends)) for i in form.read}
        nothing: tuple[IntArray, list[str]] = (np.empty(0, np.int64), [])
        self.odd = [nothing] * len(form.plan.columns)

    def take(self, rows: IntArray | None, grid: Bytes) -> Iterator[IntArray]:
        """Read lines of one length; yields the numbers of those that are left over."""
        for _ in range(_MOST_LAYOUTS):
            if len(grid) < FEWEST_LINES:
                break
            layout = _layout(grid[0].tobytes(), self.form)
            like = _like_the_first(grid)
            if like is None:
                if layout is not None and self._fill(rows, grid, layout):
                    return
                break
            if like.sum() < _LEAST_SHARE * len(grid):
                break  # every line is laid out in its own way
            where = np.arange(len(grid)) if rows is None else rows
            here, rows = where[like], where[~like]
            taken = layout is not None and len(here) >= FEWEST_LINES
            if not taken or layout is None or not self._fill(here, grid[like], layout):
                yield here
            grid = grid[~like]
        if len(grid):
            yield np.arange(len(grid)) if rows is None else rows

    def _fill(self, rows: IntArray | None, grid: Bytes, layout: _Layout) -> bool:
        where = slice(None) if rows is None else rows
        clock = self.form.clock
        raw = None
        if clock.kind is ClockKind.STAMP:
            raw = stamp_counts([grid[:, a:b] for a, b in layout.stamp], clock)
            if raw is None:
                return False
        for index, number in layout.numbers.items():
            value = _numbers(grid, number)
            if raw is None and index == clock.columns[0]:
                raw = counted(value, clock.unit_us)
                if raw is None:
                    return False
            self.values[index][where] = value
        if raw is None:
            return False
        self.raw[where] = raw
        return True

    def take_others(self, rows: IntArray) -> bool:
        """Read lines of any form by their cells; False when one of them is no such row."""
        starts = np.concatenate(([0], self.ends[:-1] + 1))
        if len(rows) == len(self.ends):
            data = self.data
        else:
            spans = zip(starts[rows].tolist(), self.ends[rows].tolist(), strict=True)
            data = b"".join([self.data[a : b + 1] for a, b in spans])
        found = read_lines(data, self.line, self.form)
        if found is None:
            return False
        self.raw[rows] = found.raw
        for index, value in found.by_index.items():
            self.values[index][rows] = value
        self.odd = [(rows[places], texts) for places, texts in found.odd]
        return True

    def found(self) -> Uniform:
        """Return all rows."""
        starts = np.concatenate(([0], self.ends[:-1] + 1))
        return Uniform(
            lines=self.line + np.arange(len(self.ends), dtype=np.int64),
            raw=self.raw,
            by_index=self.values,
            columns=tuple(column.index for column in self.form.plan.columns),
            last_line=self.data[int(starts[-1]) : -1].decode("utf-8", "replace"),
            copies=copies_of(self.data, self.raw, starts, self.ends),
            odd=self.odd,
        )


# ---------------------------------------------------------------- layouts
def _like_the_first(grid: Bytes) -> NDArray[np.bool_] | None:
    """Return which lines have digits where the first has them, and else its signs; None: all."""
    first = grid[0]
    low, high = _ends(grid)
    digit = (first >= _ZERO) & (first <= _NINE)
    same = np.where(digit, (low >= _ZERO) & (high <= _NINE), low == high)
    if same.all():
        return None
    like = np.ones(len(grid), bool)
    for place in np.flatnonzero(~same).tolist():
        column = grid[:, place]
        like &= (column - np.uint8(_ZERO) <= 9) if digit[place] else (column == first[place])
    return like


def _ends(grid: Bytes) -> tuple[Bytes, Bytes]:
    """Return the least and the greatest sign of each place; many lines at a time are quicker."""
    rows, width = grid.shape
    even = rows - rows % _ABREAST
    if not even or not grid.flags.c_contiguous:
        return grid.min(axis=0), grid.max(axis=0)
    wide = grid[:even].reshape(-1, _ABREAST * width)
    low, high = (
        np.vstack((end.reshape(_ABREAST, width), grid[even:]))
        for end in (wide.min(axis=0), wide.max(axis=0))
    )
    return low.min(axis=0), high.max(axis=0)


def _layout(line: bytes, form: Shape) -> _Layout | None:
    """Take one line apart; None when a cell that is read holds no plain number or stamp."""
    cells = line[:-1].split(form.plan.dialect.separator.encode())
    if len(cells) != form.plan.width:
        return None
    spans, at = [], 0
    for cell in cells:
        span = _bare(cell, at)
        if span is None:
            return None
        spans.append(span)
        at += len(cell) + 1
    numbers = {}
    for index in form.read:
        start, end = spans[index]
        number = _number(line[start:end], start, form.plan.dialect.decimal.encode())
        if number is None:
            return None
        numbers[index] = number
    stamped = form.clock.kind is ClockKind.STAMP
    return _Layout(numbers, [spans[c] for c in form.clock.columns] if stamped else [])


def _bare(cell: bytes, at: int) -> tuple[int, int] | None:
    """Return where a cell's content stands, without quotes around it; None for other quotes."""
    if b'"' not in cell:
        return at, at + len(cell)
    if len(cell) < 2 or cell[:1] != b'"' or cell[-1:] != b'"' or b'"' in cell[1:-1]:
        return None
    return at + 1, at + len(cell) - 1


def _number(cell: bytes, at: int, decimal: bytes) -> _Number | None:
    found = _PLAIN.fullmatch(cell.replace(decimal, b".") if decimal in cell else cell)
    if found is None or (decimal != b"." and b"." in cell):
        return None
    sign, whole, behind = found[1], found[2], found[3] or b""
    if not 1 <= len(whole) + len(behind) <= MOST_DIGITS:
        return None
    first = at + len(sign)
    places = [*range(first, first + len(whole))]
    after = first + len(whole) + 1
    places += range(after, after + len(behind))
    return _Number(tuple(places), len(behind), sign == b"-")


def _numbers(grid: Bytes, number: _Number) -> FloatArray:
    """Return the numbers that stand in the same places of all lines."""
    wide = np.int32 if len(number.digits) <= _SHORT else np.int64
    total: NDArray[np.signedinteger] = grid[:, number.digits[0]].astype(wide)
    for place in number.digits[1:]:
        total *= 10
        total += grid[:, place]
    total -= wide(_ZERO * int("1" * len(number.digits)))
    value = np.asarray(total / 10.0**number.decimals, np.float64)
    return np.negative(value, out=value) if number.negative else value
