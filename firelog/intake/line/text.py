"""Text lines from a serial port: bytes to lines, a line to one scan of readings.

Pure: nothing here opens anything. A line that cannot be read is data (:class:`LineFault`), not an
exception. A field that is plainly meant and not known (a word, another unit) costs its channel;
one that looks like a spoilt number condemns its line: on a noisy wire a neighbour of a bad byte is
no better than the byte.

Four layouts: ``values``, fields in a fixed order with the columns named in the foundry file;
``pairs``, ``name=value``; ``json``, one object a line; ``pattern``, a regular expression of the
user's with named groups. Each may carry a time. Fields are parted by comma, semicolon, tab or
spaces. A field is a number with or without unit, a fault word, or the hexadecimal frame of an
amplifier chip.
"""

from __future__ import annotations

import dataclasses
import json
import re
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from enum import StrEnum
from math import isfinite, isnan
from typing import Any

import regex

from firelog.errors import InputError
from firelog.intake.fields import (
    SKIP,
    TIME,
    LineFault,
    Scan,
    Value,
    costs_one_channel,
    is_no_date,
    judged,
    read_time,
    read_value,
    unit_of,
)
from firelog.intake.line import chips
from firelog.readings import Quality, Unit

MAX_LINE_BYTES = 4096
COLD = " cold junction"  # added to a channel's name, names that of the chip beside it
CHIP_DIGITS = {"max31855": 8, "max6675": 4, "max31856": 12}
_MOST_PATTERN_CHARS = 500  # a user's pattern may take time that grows wildly with the line,
_PATTERN_S = 0.05  # so it has this long for one, and other sources go on meanwhile
_SPACED_MARK = re.compile(r"\s*(=)\s*|\s*(:)\s+")
_BLANKS = re.compile(r",?\s+")
_NEXT_NAME = re.compile(r",\s*(?=[^\s\d,;=:][^\s,;=:]*[=:])")
_SENSOR = re.compile(r"\w[\w .:/#-]{0,31}", re.ASCII)
_HEX = re.compile(r"(?:0[xX])?([0-9A-Fa-f]+)")


class Layout(StrEnum):
    """How the fields of a line are told apart."""

    VALUES = "values"
    PAIRS = "pairs"
    JSON = "json"
    PATTERN = "pattern"


@dataclass(frozen=True)
class LineFormat:
    """How to read the lines of one source.

    ``columns`` names the fields of ``values`` in order: ``time`` is the instant, ``-`` is left
    out; without a ``time`` column a line may still begin with one. For the other layouts the
    columns are the names wanted, and an empty tuple takes all (``json`` must be told: an object
    has more numbers than temperatures). ``unit`` is that of fields which carry none; ``units``
    gives single columns another. With
    ``chip`` a field is that chip's frame. ``pattern`` is searched in each line. ``time`` is the
    name under which a named field carries the instant. ``decimal`` is the decimal mark ("": a
    point, or a comma where that cannot part fields). ``id`` is the field that says which sensor a
    line is of: channels are then called by what it says.
    """

    layout: Layout = Layout.VALUES
    columns: tuple[str, ...] = ()
    unit: Unit = Unit.C
    chip: str = ""
    pattern: regex.Pattern[str] | None = None
    units: Mapping[str, Unit] = dataclasses.field(default_factory=dict)
    time: str = TIME
    decimal: str = ""
    id: str = ""

    def __post_init__(self) -> None:
        if self.decimal not in ("", ".", ","):
            raise InputError(f'decimal = {self.decimal!r}; write "," or "."')
        named = [column for column in self.columns if column != SKIP]
        if len(set(named)) != len(named):
            raise InputError(f"columns {list(self.columns)}: a name stands twice; rename one")
        told = [column for column in named if column not in (TIME, self.id)]
        if self.id and self.layout is Layout.VALUES and self.id not in named:
            raise InputError(f"id = {self.id!r} is none of the columns {list(self.columns)}")
        if self.layout in (Layout.VALUES, Layout.JSON) and not told:
            raise InputError(
                f"a line of {self.layout.value} needs its columns named, "
                'like columns = ["kiln top"]'
            )
        if self.chip and self.chip not in CHIP_DIGITS:
            raise InputError(f"chip {self.chip!r} is unknown; known: {', '.join(CHIP_DIGITS)}")
        if self.layout == Layout.PATTERN:
            groups = set(self.pattern.groupindex if self.pattern else ()) - {self.time, self.id}
            if not groups or not set(told) <= groups:
                raise InputError(
                    "a pattern needs a named group for each column, like "
                    r"pattern = 'T1=(?P<kiln>[-+.0-9]+)'"
                )


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
        return _READERS[form.layout](text, form)
    except InputError as problem:
        return _fault(str(problem), line)


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


def _values(text: str, form: LineFormat) -> Scan:
    columns, fields = form.columns, fields_of(text, form.decimal)
    if len(fields) > len(columns):
        fields = _joined(fields)
        if len(fields) > len(columns) and not fields[-1]:
            fields.pop()  # many instruments end each field with the separator, the last one too
    if len(fields) == len(columns) + 1 and TIME not in columns and _is_instant(fields[0]):
        columns = (TIME, *columns)
    if len(fields) != len(columns):
        comma = not form.decimal and "," in text and len(fields) == 2 * len(columns)
        advice = '; is the comma a decimal mark? Then write decimal = ","' if comma else ""
        raise InputError(f"{len(fields)} fields where {len(columns)} are named{advice}")
    return _scan(zip(columns, fields, strict=True), form)


def _is_instant(field: str) -> bool:
    """True for an instant; nobody has named this field, so a count or a local time is none."""
    try:
        read_time(field)
    except InputError:
        if ":" in field:
            raise  # it is meant as one: say what is wrong with it
        return False
    return True


def _pairs(text: str, form: LineFormat) -> Scan:
    named: list[tuple[str, str]] = []
    for field in pairs_of(text, form.decimal):
        name, mark, content = field.partition("=" if "=" in field else ":")
        name = form.time if name.strip().lower() == form.time.lower() else name.strip()
        if not mark or not name:
            raise InputError(f"{field[:40]!r} is not name=value")
        named.append((name, content.strip()))
    return _scan(_wanted(named, form), form)


def _json(text: str, form: LineFormat) -> Scan:
    return _scan(_wanted(json_fields(text), form), form)


def json_fields(text: str) -> list[tuple[str, Any]]:
    """Return names and contents of one JSON object; raises :class:`InputError`."""
    try:
        said = json.loads(text, object_pairs_hook=_once, parse_constant=_constant)
        named = _flat(said) if isinstance(said, dict) else None
    except (ValueError, RecursionError) as problem:
        raise InputError(f"is not JSON ({str(problem)[:60]})") from problem
    if named is None:
        raise InputError("is JSON, but not one object")
    return named


def _pattern(text: str, form: LineFormat) -> Scan:
    assert form.pattern is not None
    if len(text) > _MOST_PATTERN_CHARS:
        raise InputError(f"longer than {_MOST_PATTERN_CHARS} characters")
    try:
        found = form.pattern.search(text, timeout=_PATTERN_S, concurrent=True)
    except TimeoutError as problem:
        raise InputError(
            "the pattern takes too long on it; write it without repeats inside repeats"
        ) from problem
    if found is None:
        raise InputError("the pattern is not in it")
    groups = [(name, (content or "").strip()) for name, content in found.groupdict().items()]
    return _scan(_wanted(groups, form), form)


_READERS = {
    Layout.VALUES: _values,
    Layout.PAIRS: _pairs,
    Layout.JSON: _json,
    Layout.PATTERN: _pattern,
}


# ---------------------------------------------------------------- named fields to a scan
def _wanted(named: Iterable[tuple[str, Any]], form: LineFormat) -> list[tuple[str, Any]]:
    kept = [
        (TIME if name == form.time else name, content)
        for name, content in named
        if name in (form.time, form.id) or not form.columns or name in form.columns
    ]
    names = [name for name, _ in kept]
    if len(set(names)) != len(names):
        raise InputError("a name stands twice")
    if not set(names) - {TIME, form.id}:
        raise InputError("none of the named columns is in it")
    return kept


def _scan(named: Iterable[tuple[str, Any]], form: LineFormat) -> Scan:
    said = list(named)
    t_us, clock = _time(said)
    sensor = _sensor(said, form)
    readings = [one for one in said if one[0] not in (TIME, SKIP, form.id)]
    values: list[Value] = []
    unread: list[LineFault] = []
    for column, content in readings:
        channel = f"{sensor} {column}" if sensor and len(readings) > 1 else sensor or column
        try:
            values += _read(column, channel, content, form)
        except InputError as problem:
            if form.chip or not costs_one_channel(str(content)):
                raise
            values.append(Value(channel, None, form.units.get(column, form.unit), Quality.MISSING))
            unread.append(LineFault(f"{channel}: {problem}", str(content)))
    if unread and (2 * len(unread) > len(values) or all(v.value is None for v in values)):
        raise InputError(unread[0].reason)
    return Scan(t_us, tuple(values), tuple(unread), clock)


def _time(said: Iterable[tuple[str, Any]]) -> tuple[int | None, str]:
    """Return the line's instant, and what its clock shows where that is none."""
    field = next((str(content) for name, content in said if name == TIME and content), "")
    if not field:
        shown = any(name == TIME and content == 0 for name, content in said)
        return None, "0" if shown else ""
    try:
        t_us = read_time(field)
    except InputError:
        if not is_no_date(field):
            raise
        t_us = None
    return t_us, "" if t_us is not None else field


def _sensor(said: Iterable[tuple[str, Any]], form: LineFormat) -> str:
    """Return which sensor a line is of, where the format has a field for that."""
    if not form.id:
        return ""
    for name, content in said:
        if name == form.id and isinstance(content, str | int) and _SENSOR.fullmatch(str(content)):
            return str(content)
    raise InputError(f"the field {form.id!r} does not say which sensor it is")


def _read(column: str, channel: str, content: Any, form: LineFormat) -> tuple[Value, ...]:
    if form.chip:
        return read_frame(channel, str(content), form.chip)
    unit = form.units.get(column, form.unit)
    if content is None:
        return (Value(channel, None, unit, Quality.MISSING),)
    if isinstance(content, bool | list | dict):
        raise InputError(f"{str(content)[:40]!r} is not a number")
    if isinstance(content, float):
        if not isfinite(content):  # 1e999 is
            raise InputError("it is no finite number")
        return (judged(channel, content, unit),)
    return (read_value(channel, str(content), unit, form.decimal),)


def read_frame(column: str, field: str, chip: str) -> tuple[Value, ...]:
    """Return what a chip's frame in hexadecimal says: its temperature and, if known, its own.

    The temperature is the chip's figure as received; a linear chip's is corrected elsewhere.
    Raises :class:`InputError` when the field is no frame of that chip.
    """
    found = _HEX.fullmatch(field)
    if not found or len(found[1]) != CHIP_DIGITS[chip]:
        raise InputError(f"{field[:40]!r} is not {CHIP_DIGITS[chip]} hexadecimal digits")
    if chip == "max31856":
        said = chips.max31856(bytes.fromhex(found[1]))
    else:
        said = chips.CHIPS[chip](int(found[1], 16))
    value = None if isnan(said.value) else said.value
    quality = said.quality if value is not None or said.quality else Quality.SUSPECT
    cold = said.cold_junction_c
    hot = Value(column, value, Unit.C, quality)
    return (hot,) if isnan(cold) else (hot, Value(column + COLD, cold))


# ---------------------------------------------------------------- JSON
def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    made = dict(pairs)
    if len(made) != len(pairs):
        raise ValueError("a name stands twice")
    return made


def _constant(word: str) -> str:
    """Hand on NaN and the infinities, which JSON does not have, as the words they are."""
    return word


def _flat(said: Mapping[str, Any], prefix: str = "") -> list[tuple[str, Any]]:
    """Name what is inside an object by dots: ``{"t": {"kiln": 1}}`` holds ``t.kiln``."""
    flat: list[tuple[str, Any]] = []
    for name, content in said.items():
        if isinstance(content, dict):
            flat += _flat(content, f"{prefix}{name}.")
        else:
            flat.append((prefix + name, content))
    return flat


# ---------------------------------------------------------------- fields
def fields_of(text: str, decimal: str = "") -> list[str]:
    """Return the fields of a line, parted by the strongest separator that is in it.

    With a decimal comma only a comma before a blank parts fields.
    """
    for separator in ("\t", ";") if decimal == "," else ("\t", ";", ","):
        if separator in text:
            return [part.strip().strip('"') for part in text.split(separator)]
    return _BLANKS.split(text) if decimal == "," else text.split()


def pairs_of(text: str, decimal: str = "") -> list[str]:
    """Return the ``name=value`` fields of a line, blanks around the mark taken out."""
    close = _SPACED_MARK.sub(r"\1\2", text)
    if decimal == ",":
        close = _NEXT_NAME.sub(";", close)  # the comma before a name is no decimal mark
    return [field for field in _joined(fields_of(close, decimal)) if field]


def _joined(fields: list[str]) -> list[str]:
    """Put a unit that a space parted from its number (``871.2 C``) back behind it."""
    joined: list[str] = []
    for field in fields:
        if joined and unit_of(field) is not None:
            joined[-1] += f" {field}"
        else:
            joined.append(field)
    return joined
