"""Finding the time in a file: which column, what kind, day or month first, how fine.

The best clock wins: one that carries its offset or says UTC, then an epoch, then local date and
time, then elapsed time, then a bare time of day.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise

from firelog.intake.file.clock import stamps
from firelog.intake.file.plan import ClockKind, Dialect, FileClock, ImportOptions
from firelog.intake.file.table.cells import number
from firelog.intake.file.table.sample import RowSample

TIME_NAME = re.compile(
    r"(?i)(?:^|[\W_])(?:time|date|datetime|timestamp|stamp|elapsed|clock|zeit|datum|uhrzeit|"
    r"heure|hora|fecha|seconds?|secs?|minutes?|mins?|hours?|runtime|duration|epoch|utc|"
    r"日時|時刻|時間|日付)(?:$|[\W_\d])|(?:time|date|stamp|日時|時刻)(?:$|[\W_])|^[tsh]$"
)
COUNTER_NAME = re.compile(
    r"(?i)^(?:#|no\.?|nr\.?|n|num|number|record|rec|index|idx|id|scan|sample|row|count|counter|"
    r"line|entry|番号)(?:$|[\W_])"
)
_UTC_NAME = re.compile(r"(?i)(?:^|[\W_])(?:utc|gmt|zulu)(?:$|[\W_])")
_ELAPSED_NAME = re.compile(
    r"(?i)elapsed|duration|run ?time|relative|since|test ?time|process ?time"
)
_FIELD_NAMES = (
    "year yr yyyy y jahr 年",
    "month mon mo m monat 月",
    "day dd d tag 日",
    "hour hours hr hh h stunde 時",
    "minute minutes min mm mi minuten 分",
    "second seconds sec ss s sekunde 秒",
)
_UNITS_US = {
    "ms": 1e3,
    "msec": 1e3,
    "millis": 1e3,
    "milliseconds": 1e3,
    "us": 1.0,
    "µs": 1.0,
    **dict.fromkeys(("s", "sec", "secs", "second", "seconds", "sek", "秒"), 1e6),
    **dict.fromkeys(("min", "mins", "minute", "minutes", "分"), 60e6),
    **dict.fromkeys(("h", "hr", "hrs", "hour", "hours", "std"), 3600e6),
    **dict.fromkeys(("d", "day", "days"), 86_400e6),
}
# Magnitudes of times since 1970 that lie in the years 2000 to 2099, and the unit they are in.
_EPOCHS = tuple((946_684_800.0 * f, 4_102_444_800.0 * f, 1e6 / f) for f in (1.0, 1e3, 1e6, 1e9))


@dataclass(frozen=True)
class ClockFound:
    """A clock in the file, before it is known how to read it to the end."""

    kind: ClockKind
    columns: tuple[int, ...]
    has_zone: bool = False
    unit_us: float = 0.0  # 0: nothing says what one unit of the number is
    heading: str = ""

    @property
    def rank(self) -> tuple[int, int]:
        """Smaller is better: certain instants before local ones before elapsed ones."""
        order = (
            ClockKind.STAMP,
            ClockKind.FIELDS,
            ClockKind.ELAPSED,
            ClockKind.ELAPSED_CLOCK,
            ClockKind.DAY_CLOCK,
        )
        if self.has_zone:
            return 0, self.columns[0]
        if self.kind is ClockKind.EPOCH:
            return 1, self.columns[0]
        return 2 + order.index(self.kind), self.columns[0]


def find(
    sample: RowSample,
    names: Sequence[str],
    units: Sequence[str],
    dialect: Dialect,
    options: ImportOptions,
) -> list[ClockFound]:
    """Return every clock in the sample, best first."""
    kinds = [_texture(sample, index) for index in range(sample.width)]
    if "date" in kinds:
        kinds = [
            "time" if kind == "number" and sample.share(i, _compact_time) == 1.0 else kind
            for i, kind in enumerate(kinds)
        ]
    found = _fields(sample, names, dialect)
    taken = {column for clock in found for column in clock.columns}
    for index, kind in enumerate(kinds):
        if index in taken:
            continue
        if kind == "stamp":
            found.append(ClockFound(ClockKind.STAMP, (index,), _zoned(sample, index, names), 0.0))
        elif kind == "date":
            beside = _time_beside(kinds, index, taken)
            columns = (index,) if beside is None else (index, beside)
            taken.update(columns)
            found.append(
                ClockFound(ClockKind.STAMP, columns, _zoned(sample, columns[-1], names), 0.0)
            )
    for index, kind in enumerate(kinds):
        if index in taken or any(index in clock.columns for clock in found):
            continue
        if kind in ("time", "span"):
            found.append(_bare_clock(sample, index, names, kind, options))
        elif kind == "number" and (clock := _counting(sample, index, names, units, dialect)):
            found.append(clock)
    named = [
        ClockFound(c.kind, c.columns, c.has_zone, c.unit_us, _heading(names, c.columns))
        for c in found
    ]
    return sorted(named, key=lambda clock: clock.rank)


def _heading(names: Sequence[str], columns: Sequence[int]) -> str:
    return " + ".join(n for n in (names[column] for column in columns) if n) or (
        f"column {columns[0] + 1}"
    )


def _texture(sample: RowSample, index: int) -> str:
    """Say what the column is made of: stamp, date, time, span, number, or nothing of these."""
    cells = sample.column(index)[:400]
    if not cells:
        return ""
    tests: tuple[tuple[str, Callable[[str], bool]], ...] = (
        ("number", lambda cell: number(cell) is not None and not _compact_date(cell)),
        ("stamp", lambda cell: bool((s := stamps.cut(cell)) and s.date and s.time)),
        ("date", lambda cell: bool((s := stamps.cut(cell)) and s.date and not s.time)),
        ("time", lambda cell: bool((s := stamps.cut(cell)) and not s.date)),
        ("span", lambda cell: stamps.span_us(cell) is not None),
    )
    for name, test in tests:
        # Few things but stamps look like stamps: a third is enough to call the rest damaged.
        least = 0.3 if name in ("stamp", "date") else 0.6
        if sum(1 for cell in cells if test(cell)) >= least * len(cells):
            return name
    return ""


def _compact_date(cell: str) -> bool:
    stamp = stamps.cut(cell)
    return bool(stamp and stamp.date and 1990 <= int(cell[:4]) <= 2099) and (
        stamps.day_number(cell, None) is not None
    )


def _compact_time(cell: str) -> bool:
    return bool(re.fullmatch(r"[0-9]{6}", cell)) and stamps.time_of_day_us(cell) is not None


def _zoned(sample: RowSample, index: int, names: Sequence[str]) -> bool:
    read = [stamp for cell in sample.column(index) if (stamp := stamps.cut(cell))]
    return 2 * sum(1 for stamp in read if stamp.zone) > len(read) or bool(
        _UTC_NAME.search(names[index])
    )


def _time_beside(kinds: Sequence[str], index: int, taken: set[int]) -> int | None:
    order: list[int] = [index + 1, index - 1, *range(index + 2, len(kinds))]
    for place in order:
        if 0 <= place < len(kinds) and kinds[place] in ("time", "span") and place not in taken:
            return place
    return None


def _bare_clock(
    sample: RowSample, index: int, names: Sequence[str], kind: str, options: ImportOptions
) -> ClockFound:
    """A column of HH:MM:SS: elapsed when it is called so, starts near zero or passes 24 h."""
    spans = [span for cell in sample.column(index) if (span := stamps.span_us(cell)) is not None]
    near_zero = bool(spans) and abs(spans[0]) <= 60_000_000
    elapsed = (
        kind == "span"
        or near_zero
        or (bool(spans) and max(spans) > stamps.DAY_US)
        or bool(_ELAPSED_NAME.search(names[index]))
    )
    if options.times:
        elapsed = options.times == "elapsed"
    kind_ = ClockKind.ELAPSED_CLOCK if elapsed and spans else ClockKind.DAY_CLOCK
    return ClockFound(kind_, (index,))


def _counting(
    sample: RowSample, index: int, names: Sequence[str], units: Sequence[str], dialect: Dialect
) -> ClockFound | None:
    """An epoch or elapsed time: a column of numbers that says so, or that counts as time does."""
    read = [number(cell, dialect.decimal, dialect.thousands) for cell in sample.column(index)]
    values = [value for value in read if value is not None]
    if len(values) < 1:
        return None
    for low, high, unit_us in _EPOCHS:
        if low <= min(values) and max(values) < high:
            return ClockFound(ClockKind.EPOCH, (index,), unit_us=unit_us)
    name = names[index]
    if COUNTER_NAME.search(name):
        return None
    unit_us = time_unit_us(units[index]) or time_unit_us(name)
    steps = [b - a for a, b in pairwise(values)]
    rising = sum(1 for step in steps if step >= 0)
    one_way = max(rising, len(steps) - rising)
    monotonic = bool(steps) and one_way >= 0.95 * len(steps)
    in_brackets = re.search(r"[\[(]([^\])]*)[\])]\s*$", name)
    stated = time_unit_us(units[index]) or (time_unit_us(in_brackets[1]) if in_brackets else 0)
    called = bool(TIME_NAME.search(name)) or stated > 0
    nameless = not any(names) and index == 0 and monotonic and len(values) > 2
    if not ((called and 2 * one_way >= len(steps)) or nameless):
        return None
    return ClockFound(ClockKind.ELAPSED, (index,), unit_us=unit_us)


def time_unit_us(text: str) -> float:
    """Return the length of the time unit named in ``text`` in microseconds, 0 when none is."""
    bare = text.strip().strip("[]()").strip().lower().rstrip(".")
    if bare in _UNITS_US:
        return _UNITS_US[bare]
    if found := re.search(r"[\[(/,_ ]\s*([a-zµ秒分]+)\.?\s*[\])]?$", bare):
        return _UNITS_US.get(found[1], 0.0)
    if found := re.match(r"(seconds|minutes|hours|secs|mins)\b", bare):
        return _UNITS_US[found[1]]
    return 0.0


def _fields(sample: RowSample, names: Sequence[str], dialect: Dialect) -> list[ClockFound]:
    """Date and time spread over columns of numbers, found by their names or by their ranges."""
    lower = [re.sub(r"[\W_]+$", "", name.strip().lower()) for name in names]
    places: list[int] = []
    for allowed in _FIELD_NAMES:
        fits = [i for i, name in enumerate(lower) if name in allowed.split() and i not in places]
        if not fits:
            break
        after = [i for i in fits if not places or i == places[-1] + 1]
        places.append((after or fits)[0])
    if len(places) >= 5 and _field_ranges(sample, places, dialect):
        return [ClockFound(ClockKind.FIELDS, tuple(places))]
    if not any(names) and sample.width > 6 and _field_ranges(sample, range(6), dialect):
        return [ClockFound(ClockKind.FIELDS, tuple(range(6)))]
    return []


def _field_ranges(sample: RowSample, places: Sequence[int], dialect: Dialect) -> bool:
    limits = ((1970, 2099), (1, 12), (1, 31), (0, 24), (0, 59), (0, 61))
    for place, (low, high) in zip(places, limits, strict=False):
        for cell in sample.column(place):
            value = number(cell, dialect.decimal)
            if value is None or not low <= value <= high or (high < 60 and value % 1):
                return False
    return bool(sample.body)


def as_clock(found: ClockFound) -> FileClock:
    """Return the found clock with everything else still at its default."""
    return FileClock(found.kind, found.columns, unit_us=found.unit_us or 1e6)
