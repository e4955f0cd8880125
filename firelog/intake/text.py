"""Text lines from a serial port: bytes to lines, a line to one scan of readings.

Pure: nothing here opens anything. A line that cannot be read is data (:class:`LineFault`), not an
exception, and one doubtful field condemns its whole line: on a noisy wire a neighbour of a bad
byte is no better than the byte.

Two formats: ``values``, fields in a fixed order with the columns named in the foundry file, and
``pairs``, ``name=value``. Either may carry a time. Fields are parted by comma, semicolon, tab or
spaces.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite

from firelog import units
from firelog.errors import InputError
from firelog.readings import Quality, Unit

MAX_LINE_BYTES = 4096
TIME = "time"  # the column that holds the instant
SKIP = "-"  # a column that is not wanted

_NUMBER = re.compile(r"([-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]{1,3})?)\s*(\D*)")
_DECIMAL_COMMA = re.compile(r"^([-+]?[0-9]+),([0-9]{1,2})(?![0-9])")
_EPOCH = re.compile(r"(?:[0-9]{10}(?:\.[0-9]{1,6})?|[0-9]{13}|[0-9]{16})")
_SPACED_MARK = re.compile(r"\s*(=)\s*|\s*(:)\s+")
_CLOCK_SET_US = (1_577_836_800_000_000, 4_102_444_800_000_000)  # 2020 to 2100
_ABSOLUTE_ZERO = {Unit.C: -273.15, Unit.F: -459.67, Unit.K: 0.0, Unit.MV: -100.0}
_BEYOND_ANY_COUPLE = {Unit.C: 2400.0, Unit.F: 4352.0, Unit.K: 2673.15, Unit.MV: 100.0}

# What instruments say instead of a number; common practice, no source.
_WORDS = {
    **dict.fromkeys(("open", "oc", "o.c.", "nc", "n/c", "burnout", "broken"), Quality.OPEN),
    **dict.fromkeys(("fault", "fail", "err", "error", "disconnected"), Quality.OPEN),
    **dict.fromkeys(("short", "shorted", "short gnd", "short vcc", "scg", "scv"), Quality.SHORTED),
    **dict.fromkeys(
        ("ol", "+ol", "-ol", "over", "under", "ovf", "ovr", "ovrng"), Quality.SATURATED
    ),
    **dict.fromkeys(("", "nan", "null", "none", "n/a", "na", "?"), Quality.MISSING),
}


# ---------------------------------------------------------------- what a line turns into
@dataclass(frozen=True)
class Value:
    """One field: the column it belongs to and what it said; ``value`` is None without a number."""

    column: str
    value: float | None
    unit: Unit = Unit.C
    quality: Quality = Quality.OK


@dataclass(frozen=True)
class Scan:
    """One line understood. ``t_us`` is the source's own time in microseconds UTC, or None."""

    t_us: int | None
    values: tuple[Value, ...]


@dataclass(frozen=True)
class LineFault:
    """One line not understood: why, and what it said (shortened, unprintables escaped)."""

    reason: str
    raw: str


class Layout(StrEnum):
    """How the fields of a line are told apart."""

    VALUES = "values"
    PAIRS = "pairs"


@dataclass(frozen=True)
class LineFormat:
    """How to read the lines of one source.

    ``columns`` names the fields of ``values`` in order: ``time`` is the instant, ``-`` is left
    out; without a ``time`` column a line may still begin with one. For ``pairs`` the columns are
    the names wanted, and an empty tuple takes all. ``unit`` is that of fields which carry none.
    """

    layout: Layout = Layout.VALUES
    columns: tuple[str, ...] = ()
    unit: Unit = Unit.C

    def __post_init__(self) -> None:
        named = [column for column in self.columns if column != SKIP]
        if len(set(named)) != len(named):
            raise InputError(f"columns {list(self.columns)}: a name stands twice; rename one")
        if self.layout == Layout.VALUES and not [c for c in named if c != TIME]:
            raise InputError('a line of values needs its columns named, like columns = ["kiln"]')


# ---------------------------------------------------------------- bytes to lines
class LineBuffer:
    r"""Collects bytes as they come and gives back whole lines, without their ends.

    A line ends at ``\n`` or ``\r``; empty lines are nothing. What is longer than ``limit`` bytes
    is thrown away to the next line end. ``cut`` starts in that state: whoever connects in the
    middle of a line cannot tell its rest (``71.2``) from a whole one (``871.2``).

    ``skipped_bytes`` and ``skipped_lines`` count what was thrown away.
    """

    def __init__(self, *, cut: bool = False, limit: int = MAX_LINE_BYTES) -> None:
        self._rest = bytearray()
        self.limit = limit
        self._skipping = cut
        self.skipped_bytes = 0
        self.skipped_lines = 0

    def feed(self, data: bytes) -> list[bytes]:
        """Take ``data`` and return the lines that are now complete."""
        *ended, rest = data.replace(b"\r", b"\n").split(b"\n")
        lines = [line for part in ended if (line := self._end(part))]
        self._take(rest)
        return lines

    def _end(self, part: bytes) -> bytes | None:
        self._take(part)
        line, self._rest = bytes(self._rest), bytearray()
        if self._skipping:
            self._skipping = False
            self.skipped_lines += 1
            return None
        return line

    def _take(self, part: bytes) -> None:
        if self._skipping:
            self.skipped_bytes += len(part)
        elif len(self._rest) + len(part) > self.limit:
            self.skipped_bytes += len(self._rest) + len(part)
            self._rest.clear()
            self._skipping = True
        else:
            self._rest += part


# ---------------------------------------------------------------- line to scan
def read_line(line: bytes, form: LineFormat) -> Scan | LineFault:
    """Return what ``line`` says in ``form``; never raises."""
    text = _decode(line)
    if text is None:
        return _fault("bytes that are not text", line)
    try:
        scan = _values(text, form) if form.layout == Layout.VALUES else _pairs(text, form)
    except InputError as problem:
        return _fault(str(problem), line)
    return scan


def _decode(line: bytes) -> str | None:
    try:
        text = line.decode("utf-8")
    except UnicodeDecodeError:
        text = line.decode("latin-1")  # the degree sign of many instruments
        if any(0x80 <= ord(char) < 0xA0 for char in text):
            return None
    text = text.strip()
    return text if text.replace("\t", " ").isprintable() else None


def _fault(reason: str, line: bytes) -> LineFault:
    return LineFault(reason, repr(line[:120])[2:-1])


def _fields(text: str) -> list[str]:
    for separator in ("\t", ";", ","):
        if separator in text:
            return [part.strip().strip('"') for part in text.split(separator)]
    return text.split()


def _values(text: str, form: LineFormat) -> Scan:
    columns, fields = form.columns, _fields(text)
    if len(fields) > len(columns):
        fields = _joined(fields)
        if len(fields) > len(columns) and not fields[-1]:
            fields.pop()  # many instruments end each field with the separator, the last one too
    if len(fields) == len(columns) + 1 and TIME not in columns:
        columns = (TIME, *columns)
    if len(fields) != len(columns):
        raise InputError(f"{len(fields)} fields where {len(columns)} are named")
    t_us, values = None, []
    for column, field in zip(columns, fields, strict=True):
        if column == TIME:
            t_us = read_time(field)
        elif column != SKIP:
            values.append(read_value(column, field, form.unit))
    return Scan(t_us, tuple(values))


def _pairs(text: str, form: LineFormat) -> Scan:
    t_us, values, seen = None, [], set()
    for field in _joined(_fields(_SPACED_MARK.sub(r"\1\2", text))):
        if not field:
            continue
        name, mark, content = field.partition("=" if "=" in field else ":")
        name, content = name.strip(), content.strip()
        if not mark or not name:
            raise InputError(f"{field[:40]!r} is not name=value")
        if name in seen:
            raise InputError(f"{name[:40]!r} stands twice")
        seen.add(name)
        if name.lower() == TIME:
            t_us = read_time(content)
        elif not form.columns or name in form.columns:
            values.append(read_value(name, content, form.unit))
    if not values:
        raise InputError("none of the named columns is in it")
    return Scan(t_us, tuple(values))


def _joined(fields: list[str]) -> list[str]:
    """Put a unit that a space parted from its number (``871.2 C``) back behind it."""
    joined: list[str] = []
    for field in fields:
        if joined and _unit(field) is not None:
            joined[-1] += f" {field}"
        else:
            joined.append(field)
    return joined


def read_value(column: str, field: str, default: Unit) -> Value:
    """Return what one field says; raises :class:`InputError` when it is neither number nor word.

    ``nan``, ``inf``, ``1e999``, ``0x10`` and ``1_000`` are not numbers; ``nan`` is a word by which
    instruments say that they have none.
    """
    word = _WORDS.get(field.lower().strip("*<> ")) if len(field) < 16 else None
    if word is None and field.strip("-") == "":
        word = Quality.MISSING
    if word is not None:
        return Value(column, None, default, word)
    found = _NUMBER.fullmatch(_DECIMAL_COMMA.sub(r"\1.\2", field))
    unit = (_unit(found[2]) if found[2] else default) if found else None
    number = float(found[1]) if found else float("nan")
    if unit is None or not isfinite(number):
        raise InputError(f"{field[:40]!r} is not a number with a unit of temperature")
    return judged(column, number, unit)


def judged(column: str, number: float, unit: Unit) -> Value:
    """Return a finite number with the quality that its size alone gives it."""
    if number < _ABSOLUTE_ZERO[unit]:  # −9999 and its kin: codes for "nothing there"
        return Value(column, None, unit, Quality.MISSING)
    if number > _BEYOND_ANY_COUPLE[unit]:  # above type C's range, the hottest couple made
        return Value(column, number, unit, Quality.SATURATED)
    return Value(column, number, unit)


def _unit(text: str) -> Unit | None:
    if text.strip().lower() in ("mv", "millivolt"):
        return Unit.MV
    known = units.temperature_unit(text.strip())
    return Unit(known) if known else None


def read_time(field: str) -> int | None:
    """Return microseconds UTC of an ISO 8601 instant with offset, or of seconds, ms, µs of epoch.

    None when the instrument's clock was plainly never set: its readings are good, its date is
    not. Raises :class:`InputError`; a time without offset is refused, and so is a count since the
    instrument was switched on (name that column ``-``).
    """
    if _EPOCH.fullmatch(field):
        whole, _, fraction = field.partition(".")
        t_us = int(whole) * 10 ** (16 - len(whole)) + int((fraction + "000000")[:6])
    elif len(field) > 40 or not field.isascii():
        raise InputError(f"{field[:40]!r} is not a time")
    else:
        try:
            t_us = units.parse_instant(field)
        except OverflowError as problem:
            raise InputError(f"{field!r} is not a time of this age") from problem
    return t_us if _CLOCK_SET_US[0] <= t_us < _CLOCK_SET_US[1] else None
