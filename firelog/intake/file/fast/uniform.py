"""Fast reader: stretches of a file whose lines all have one form, read whole as arrays.

Most of most logs is so: the same number of cells in every line, stamps of one width, plain
numbers. numpy finds the cells, cuts the stamps and reads the numbers in C. Whatever does not fit
exactly is refused here, and read cell by cell elsewhere; both ways must give the same readings.
"""

from __future__ import annotations

import re
import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firelog.intake.file.clock import stamps
from firelog.intake.file.fast import decimals
from firelog.intake.file.plan import WHITESPACE, ClockKind, FileClock, ReadPlan
from firelog.readings import FloatArray, IntArray

_NUMERIC = b"0123456789.-+eE, "
_FEW_ODD = 0.05  # above this share of odd cells, they may be numbers of another form
_MOST_ODD = 0.6  # above this share, reading cell by cell costs no more
_MOST_DATES = 64  # in one stretch; more and the dates are no runs
Bytes = NDArray[np.uint8]


@dataclass(frozen=True)
class Shape:
    """What is the same in every line: cells, which are read, how signs are made plain."""

    plan: ReadPlan
    clock: FileClock
    read: tuple[int, ...]  # columns of numbers, in file order; an elapsed clock among them
    dropped: tuple[int, ...]
    table: bytes  # makes separators and line ends commas, and the decimal sign a point


@dataclass(frozen=True)
class Uniform:
    """Rows of one form: line numbers, raw counts of the clock, values by column, the last line.

    ``odd`` holds for each column the rows whose cells are no plain numbers, and these cells' texts.
    """

    lines: IntArray
    raw: IntArray
    by_index: dict[int, FloatArray]
    columns: tuple[int, ...]
    last_line: str
    copies: NDArray[np.bool_]
    odd: list[tuple[IntArray, list[str]]]

    @property
    def values(self) -> list[FloatArray]:
        """The readings of each column of the plan, in its order."""
        return [self.by_index[index] for index in self.columns]


def shape(plan: ReadPlan) -> Shape | None:
    """Return what :func:`read_lines` needs, None when this file cannot be read so."""
    form, clock = plan.dialect, plan.clocks[0]
    wide = plan.long is None and plan.series is None
    simple = len(plan.clocks) == 1 and wide and not form.thousands and not clock.fill_down
    if not simple or form.separator == WHITESPACE:
        return None
    if clock.kind not in (ClockKind.STAMP, ClockKind.ELAPSED, ClockKind.EPOCH):
        return None
    numbers = {column.index for column in plan.columns}
    if clock.kind is not ClockKind.STAMP:
        numbers |= set(clock.columns)
    table = bytearray(range(256))
    table[ord(form.decimal)] = ord(".")
    table[ord(form.separator)] = table[ord("\n")] = ord(",")
    dropped = tuple(i for i in range(plan.width) if i not in numbers)
    return Shape(plan, clock, tuple(sorted(numbers)), dropped, bytes(table))


def read_lines(data: bytes, line: int, form: Shape) -> Uniform | None:
    """Return the rows of ``data`` (whole lines), None when they are not all of one form."""
    unquoted = None if b"\0" in data else _unquoted(data, form)
    if unquoted is None:
        return None
    data = unquoted
    width = form.plan.width
    plain = data.translate(form.table)
    signs = np.frombuffer(plain, np.uint8)
    ends: IntArray = np.flatnonzero(signs == ord(","))
    rows = data.count(b"\n")
    if len(ends) != rows * width:
        return None
    ends = ends.reshape(rows, width)
    if (np.frombuffer(data, np.uint8)[ends[:, -1]] != ord("\n")).any():
        return None
    starts = np.concatenate(([0], ends.ravel()[:-1] + 1)).reshape(rows, width)
    raw = None
    if form.clock.kind is ClockKind.STAMP:
        raw = _stamps(data, starts, ends, form.clock)
        if raw is None:
            return None
    read_ = _all_numbers(plain, signs, starts, ends, form)
    if read_ is None:
        return None
    values, odd = read_
    by_index = dict(zip(form.read, values, strict=True))
    odd_by_index = dict(zip(form.read, odd, strict=True))
    if raw is None:
        if len(odd_by_index[form.clock.columns[0]]):
            return None
        raw = counted(by_index[form.clock.columns[0]], form.clock.unit_us)
        if raw is None:
            return None
    if form.clock.floor_us and (raw < form.clock.floor_us).any():
        return None
    return Uniform(
        lines=line + np.arange(rows, dtype=np.int64),
        raw=raw,
        by_index=by_index,
        columns=tuple(column.index for column in form.plan.columns),
        last_line=data[int(starts[-1, 0]) : -1].decode("utf-8", "replace"),
        copies=copies_of(data, raw, starts[:, 0], ends[:, -1]),
        odd=[
            _texts(data, odd_by_index[column.index], starts[:, column.index], ends[:, column.index])
            for column in form.plan.columns
        ],
    )


def copies_of(data: bytes, raw: IntArray, starts: IntArray, ends: IntArray) -> NDArray[np.bool_]:
    """True for lines that are the very line before; looked at where the instant is the same."""
    copies = np.zeros(len(raw), bool)
    for row in (np.flatnonzero(raw[1:] == raw[:-1]) + 1).tolist():
        here = data[int(starts[row]) : int(ends[row])]
        copies[row] = here == data[int(starts[row - 1]) : int(ends[row - 1])]
    return copies


# ---------------------------------------------------------------- numbers
def _all_numbers(
    plain: bytes, signs: Bytes, starts: IntArray, ends: IntArray, form: Shape
) -> tuple[list[FloatArray], list[IntArray]] | None:
    """Return the columns of numbers and their odd rows, None when too much of them is odd."""
    values, odd = _plain_numbers(signs, starts, ends, form)
    strange, cells = sum(map(len, odd)), len(starts) * max(len(odd), 1)
    if strange > _FEW_ODD * cells:
        numbers = _numbers(plain, signs, starts, ends, form)
        if numbers is not None:
            return numbers, [np.empty(0, np.int64)] * len(numbers)
    return None if strange > _MOST_ODD * cells else (values, odd)


def _plain_numbers(
    signs: Bytes, starts: IntArray, ends: IntArray, form: Shape
) -> tuple[list[FloatArray], list[IntArray]]:
    read = [decimals.column(signs, starts[:, i], ends[:, i]) for i in form.read]
    return [values for values, _ in read], [odd for _, odd in read]


def _texts(
    data: bytes, rows: IntArray, starts: IntArray, ends: IntArray
) -> tuple[IntArray, list[str]]:
    spans = zip(starts[rows].tolist(), ends[rows].tolist(), strict=True)
    return rows, [data[a:b].decode("utf-8", "replace").strip() for a, b in spans]


def _unquoted(data: bytes, form: Shape) -> bytes | None:
    """Return lines without quotes, None unless every quote opens or closes a whole cell."""
    if b'"' not in data:
        return data
    if b'""' in data:
        return None
    signs = np.frombuffer(data, np.uint8)
    at = np.flatnonzero(signs == ord('"'))
    if len(at) % 2 or at[-1] + 1 >= len(signs):
        return None
    edge = (signs == ord(form.plan.dialect.separator)) | (signs == ord("\n"))
    opens = (at == 0) | edge[np.maximum(at - 1, 0)]
    closes = edge[at + 1]
    if not (opens[::2].all() and closes[1::2].all()):
        return None
    return data.replace(b'"', b"")


def _numbers(
    plain: bytes, signs: Bytes, starts: IntArray, ends: IntArray, form: Shape
) -> list[FloatArray] | None:
    """Return the columns of numbers, None unless every one of their cells is a finite number."""
    if form.dropped:
        keep = np.ones(len(signs), bool)
        for column in form.dropped:
            _drop(keep, starts[:, column], ends[:, column])
        plain = signs[keep].tobytes()
    if plain.translate(None, _NUMERIC):
        return None
    with warnings.catch_warnings():
        warnings.simplefilter("error")
        try:
            found = np.fromstring(plain, np.float64, sep=",")
        except (ValueError, DeprecationWarning):  # a blank cell, or something cut in two
            return None
    rows = len(starts)
    if len(found) != rows * len(form.read) or not np.isfinite(found).all():
        return None
    return list(np.ascontiguousarray(found.reshape(rows, -1).T))


def _drop(keep: NDArray[np.bool_], starts: IntArray, ends: IntArray) -> None:
    """Strike cells and the commas behind them."""
    lengths = ends - starts + 1
    if (lengths == lengths[0]).all():
        keep[starts[:, None] + np.arange(int(lengths[0]))] = False
        return
    before = np.cumsum(lengths) - lengths
    keep[np.repeat(starts - before, lengths) + np.arange(int(lengths.sum()))] = False


def counted(value: FloatArray, unit_us: float) -> IntArray | None:
    """Return counts of a clock of plain numbers in microseconds; None for what is out of range."""
    count = np.rint(value * unit_us)
    if np.abs(count).max() >= 4.0e15:
        return None
    return count.astype(np.int64)


# ---------------------------------------------------------------- stamps
def _stamps(data: bytes, starts: IntArray, ends: IntArray, clock: FileClock) -> IntArray | None:
    """Return raw counts of stamps that all have the width of the first one."""
    signs = np.frombuffer(data, np.uint8)
    cells = []
    for column in clock.columns:
        start, end = starts[:, column], ends[:, column]
        length = int(end[0] - start[0])
        if length == 0 or (end - start != length).any():
            return None
        cells.append(signs[start[:, None] + np.arange(length)])
    return stamp_counts(cells, clock)


def stamp_counts(cells: list[Bytes], clock: FileClock) -> IntArray | None:
    """Return raw counts of stamps given as one matrix of signs for each of their cells.

    None unless all of them have the form of the first one.
    """
    texts = [bytes(cell[0]).decode("utf-8", "replace") for cell in cells]
    stamp = stamps.cut(" ".join(texts))
    if stamp is None or not stamp.date or not re.fullmatch(r"[\d:.,]+", stamp.time):
        return None
    if any(not text.isascii() or text != text.strip() for text in texts):
        return None
    # Turned, so that each place of the stamp is one contiguous row.
    places = np.ascontiguousarray(np.hstack(cells).T if len(cells) > 1 else cells[0].T)
    whole = "".join(texts)
    date_at, time_at = whole.find(stamp.date), whole.rfind(stamp.time)
    day_us = _days(places[date_at : date_at + len(stamp.date)], clock)
    clock_us = _times(places[time_at : time_at + len(stamp.time)], stamp.time)
    rest = np.ones(len(whole), bool)
    rest[date_at : date_at + len(stamp.date)] = False
    rest[time_at : time_at + len(stamp.time)] = False
    if day_us is None or clock_us is None or (places[rest] != places[rest, :1]).any():
        return None
    return day_us + clock_us - (stamps.zone_us(stamp.zone) if stamp.zone else 0)


def _days(places: Bytes, clock: FileClock) -> IntArray | None:
    """Return the days of dates in µs; they come in runs, so each is read once."""
    edges = np.zeros(1, np.int64)
    if (places != places[:, :1]).any():
        turns = np.flatnonzero((places[:, 1:] != places[:, :-1]).any(axis=0)) + 1
        if len(turns) > _MOST_DATES:
            return None
        edges = np.concatenate((edges, turns))
    days = [
        stamps.day_number(places[:, edge].tobytes().decode("ascii", "replace"), clock.order)
        for edge in edges.tolist()
    ]
    known = [day for day in days if day is not None]
    if len(known) < len(days):
        return None
    lengths = np.diff(edges, append=places.shape[1])
    return np.repeat(np.array(known, np.int64) * stamps.DAY_US, lengths)


def _times(places: Bytes, first: str) -> IntArray | None:
    """Return times of day in µs, all written like ``first``: HH:MM, HH:MM:SS, HH:MM:SS.fff."""
    groups = list(re.finditer(r"\d+", first))
    if not 2 <= len(groups) <= 4 or any(len(group[0]) != 2 for group in groups[:3]):
        return None
    digits = places - np.uint8(ord("0"))  # what lies below wraps round and is too large as well
    where = np.zeros(len(first), bool)
    for group in groups:
        where[slice(*group.span())] = True
    if (digits[where] > 9).any() or (places[~where] != places[~where, :1]).any():
        return None
    hour, minute, *second = (_whole(digits, *group.span()) for group in groups[:3])
    seconds = second[0] if second else np.zeros(len(hour), np.int32)
    if hour.max() > 23 or minute.max() > 59 or seconds.max() > 59:
        return None
    total: IntArray = (hour * 3600 + minute * 60 + seconds).astype(np.int64) * 1_000_000
    if len(groups) == 4:
        start, end = groups[3].span()
        end = min(end, start + 6)
        total += _whole(digits, start, end).astype(np.int64) * 10 ** (6 - (end - start))
    return total


def _whole(digits: Bytes, start: int, end: int) -> NDArray[np.int32]:
    """Return the numbers of at most six digits that stand in some places."""
    total: NDArray[np.int32] = digits[start].astype(np.int32)
    for place in digits[start + 1 : end]:
        total *= 10
        total += place
    return total
