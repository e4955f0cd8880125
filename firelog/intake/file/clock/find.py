"""Finding the time in a file: which column, what kind, day or month first, how fine.

Every candidate must prove itself by its name, its unit and by behaving as time does. The best one
wins: one that carries its offset or says UTC, then an epoch, then local date and time, then elapsed
time, then a bare time of day.
"""

from __future__ import annotations

import re
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from datetime import tzinfo
from itertools import pairwise

from firelog.intake.file.clock import fields, stamps
from firelog.intake.file.clock.words import (
    COUNTER_NAME,
    ELAPSED_NAME,
    names_time,
    stated_zone,
    time_unit_us,
)
from firelog.intake.file.plan import ClockKind, Dialect, FileClock, ImportOptions
from firelog.intake.file.table.cells import number
from firelog.intake.file.table.header import is_other_quantity
from firelog.intake.file.table.sample import RowSample

# Magnitudes of times since 1970 that lie in the years 2000 to 2099, and the unit they are in.
_EPOCHS = tuple((946_684_800.0 * f, 4_102_444_800.0 * f, 1e6 / f) for f in (1.0, 1e3, 1e6, 1e9))
_SERIAL = (36_526.0, 73_050.0)  # days of a spreadsheet from 2000 to 2099


@dataclass(frozen=True)
class ClockFound:
    """A clock in the file, before it is known how to read it to the end.

    ``has_zone`` is True where the stamps carry offsets of their own; ``zone`` is what the heading
    states. ``score`` says how well it proved itself, ``grounds`` by what, in words.
    """

    kind: ClockKind
    columns: tuple[int, ...]
    has_zone: bool = False
    unit_us: float = 0.0  # 0: nothing says what one unit of the number is
    heading: str = ""
    zone: tzinfo | None = None
    fields: tuple[str, ...] = ()
    score: int = 0
    grounds: tuple[str, ...] = ()

    @property
    def rank(self) -> tuple[int, int, int]:
        """Smaller is better: certain instants before local ones before elapsed ones."""
        order = (
            ClockKind.STAMP,
            ClockKind.FIELDS,
            ClockKind.SERIAL,
            ClockKind.ELAPSED,
            ClockKind.ELAPSED_CLOCK,
            ClockKind.DAY_CLOCK,
        )
        if self.has_zone or self.zone is not None:
            return 0, -self.score, self.columns[0]
        if self.kind is ClockKind.EPOCH:
            return 1, -self.score, self.columns[0]
        return 2 + order.index(self.kind), -self.score, self.columns[0]


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
    found = [
        ClockFound(ClockKind.FIELDS, columns, fields=labels)
        for columns, labels in fields.find(sample, names, dialect)
    ]
    taken = {column for clock in found for column in clock.columns}
    for index, kind in enumerate(kinds):
        if index in taken:
            continue
        if kind == "stamp":
            found.append(ClockFound(ClockKind.STAMP, (index,), _zoned(sample, index)))
        elif kind == "date":
            beside = _time_beside(kinds, index, taken)
            columns = (index,) if beside is None else (index, beside)
            taken.update(columns)
            found.append(ClockFound(ClockKind.STAMP, columns, _zoned(sample, columns[-1])))
    for index, kind in enumerate(kinds):
        if index in taken or any(index in clock.columns for clock in found):
            continue
        if kind in ("time", "span"):
            found.append(_bare_clock(sample, index, names, kind, options))
        elif kind == "number":
            named = index in _named(options, names)
            clock = _counting(sample, index, names, units, dialect, named=named)
            if clock:
                found.append(clock)
    found = [replace(c, heading=_heading(names, c.columns), zone=_zone(c, names)) for c in found]
    return sorted(found, key=lambda clock: clock.rank)


def _named(options: ImportOptions, names: Sequence[str]) -> set[int]:
    """Return the columns that ``--time`` names: those may count without being called so."""
    return {i for i, name in enumerate(names) if name in options.time} | {
        i for i in range(len(names)) if f"column {i + 1}" in options.time
    }


def _zone(clock: ClockFound, names: Sequence[str]) -> tzinfo | None:
    if clock.has_zone or clock.kind in (ClockKind.EPOCH, ClockKind.ELAPSED):
        return None
    stated = [zone for c in clock.columns if (zone := stated_zone(names[c])) is not None]
    return stated[0] if stated else None


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


def _zoned(sample: RowSample, index: int) -> bool:
    read = [stamp for cell in sample.column(index) if (stamp := stamps.cut(cell))]
    return 2 * sum(1 for stamp in read if stamp.zone) > len(read)


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
        or bool(ELAPSED_NAME.search(names[index]))
    )
    if options.times:
        elapsed = options.times == "elapsed"
    kind_ = ClockKind.ELAPSED_CLOCK if elapsed and spans else ClockKind.DAY_CLOCK
    return ClockFound(kind_, (index,))


def _counting(
    sample: RowSample,
    index: int,
    names: Sequence[str],
    units: Sequence[str],
    dialect: Dialect,
    *,
    named: bool,
) -> ClockFound | None:
    """An epoch or elapsed time: a column of numbers that says so and that counts as time does."""
    read = [number(cell, dialect.decimal, dialect.thousands) for cell in sample.column(index)]
    values = [value for value in read if value is not None]
    if len(values) < 1:
        return None
    for low, high, unit_us in _EPOCHS:
        set_ = sum(1 for value in values if low <= value < high)
        unset = sum(1 for value in values if 0 <= value < low / 10)  # not set when it was started
        if set_ + unset == len(values) and set_ >= 0.5 * len(values):
            return ClockFound(ClockKind.EPOCH, (index,), unit_us=unit_us)
    name = names[index]
    stated = time_unit_us(units[index]) or time_unit_us(name)
    if not named and (COUNTER_NAME.search(name) or is_other_quantity(name, units[index])):
        return None
    called = max(names_time(name), 2 if stated else 0, 2 if named else 0)
    steps = [b - a for a, b in pairwise(values)]
    rising = sum(1 for step in steps if step >= 0)
    one_way = max(rising, len(steps) - rising)
    if _is_serial(name, values, sample.column(index), stated):
        return ClockFound(ClockKind.SERIAL, (index,), score=called, grounds=(f"name {called}",))
    nameless = not any(names) and index == 0 and len(values) > 2 and one_way >= 0.95 * len(steps)
    if not ((called and 2 * one_way >= len(steps)) or nameless):
        return None
    only_unit = not names_time(_without_unit(name)) and not named and not units[index]
    if called and only_unit and sum(1 for step in steps if step) < 0.9 * len(steps):
        return None  # a day or an hour of something, for it does not move with every row
    steady = bool(steps) and one_way >= 0.95 * len(steps) and any(steps)
    points = (called, 2 if stated else 0, 1 if steady else 0)
    grounds = tuple(
        f"{what} {n}" for what, n in zip(("name", "unit", "steady"), points, strict=True)
    )
    return ClockFound(
        ClockKind.ELAPSED, (index,), unit_us=stated, score=sum(points), grounds=grounds
    )


def _without_unit(name: str) -> str:
    return "" if time_unit_us(re.sub(r"\W", "", name)) else name


def _is_serial(name: str, values: Sequence[float], cells: Sequence[str], stated: float) -> bool:
    """True for a spreadsheet's days since 1900: a column of dates in the number format."""
    inside = all(_SERIAL[0] <= value < _SERIAL[1] for value in values)
    return (
        inside and not stated and names_time(name) > 0 and any("." in c or "," in c for c in cells)
    )


def as_clock(found: ClockFound) -> FileClock:
    """Return the found clock with everything else still at its default."""
    return FileClock(found.kind, found.columns, unit_us=found.unit_us or 1e6, fields=found.fields)
