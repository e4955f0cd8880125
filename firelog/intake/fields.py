"""What one field of a line says: a number with its unit, a word for a fault, an instant.

``1e999``, ``0x10`` and ``1_000`` are not numbers. Fault words and codes become qualities; what is
neither raises :class:`InputError`, and costs its channel or its line (:func:`costs_one_channel`).
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from math import isfinite

from firelog import units
from firelog.errors import InputError
from firelog.intake.believe import NEVER_C, quality_of_word
from firelog.readings import Quality, Unit

TIME = "time"  # the column that holds the instant
SKIP = "-"  # a column that is not wanted

_NUMBER = re.compile(r"([-+]?(?:[0-9]+\.?[0-9]*|\.[0-9]+)(?:[eE][-+]?[0-9]{1,3})?)\s*(\D*)")
_DECIMAL_COMMA = re.compile(r"^([-+]?[0-9]+),([0-9]{1,2})(?![0-9])")
_EPOCH = re.compile(r"(?:[0-9]{10}(?:\.[0-9]{1,6})?|[0-9]{13}|[0-9]{16})")
_CLOCK_SET_US = (1_577_836_800_000_000, 4_102_444_800_000_000)  # 2020 to 2100
_ABSOLUTE_ZERO = {Unit.C: -273.15, Unit.F: -459.67, Unit.K: 0.0, Unit.MV: -100.0}
_BEYOND_ANY_COUPLE = {
    Unit.C: NEVER_C,
    Unit.F: units.from_celsius(NEVER_C, "F"),
    Unit.K: units.from_celsius(NEVER_C, "K"),
    Unit.MV: 100.0,
}

# A number in which a wire may have spoilt a byte: mostly digits, or digits around something else.
_DAMAGED = re.compile(
    r"[^A-Za-z#]*[0-9][^A-Za-z]*|.*[0-9].*[A-Za-z_?!&$@].*[0-9].*|[0-9.+-]+[eE].*|.*[0-9][.,][0-9]+"
)
_OTHER_UNIT = re.compile(r"[-+]?[0-9]+(?:[.,][0-9]+)? ?[A-Za-z%°µ/]{1,8}")
_FRAME = re.compile(r"0[xX][0-9A-Fa-f]+")
_LONGEST_WORD = 24
_COUNTER = re.compile(r"[0-9]{1,20}(?:\.[0-9]{1,9})?")
_CLOCK_TEXT = re.compile(r"(?:[0-9]{1,4}[-/.:T ]{1,2}){1,6}[0-9]{1,6}(?: ?[AaPp][Mm])?")


# ---------------------------------------------------------------- what a line turns into
@dataclass(frozen=True)
class Value:
    """One field: the column it belongs to and what it said; ``value`` is None without a number."""

    column: str
    value: float | None
    unit: Unit = Unit.C
    quality: Quality = Quality.OK


@dataclass(frozen=True)
class LineFault:
    """One line not understood: why, and what it said (shortened, unprintables escaped)."""

    reason: str
    raw: str


@dataclass(frozen=True)
class Scan:
    """One line understood. ``t_us`` is the source's own time in microseconds UTC, or None.

    ``unread`` holds the fields nobody could read: each cost its channel (missing) and nothing more.
    ``clock`` is what stood where the time was due, where it is no date: a count, a clock never set.
    """

    t_us: int | None
    values: tuple[Value, ...]
    unread: tuple[LineFault, ...] = ()
    clock: str = ""


# ---------------------------------------------------------------- reading a field
def read_value(column: str, field: str, default: Unit, decimal: str = "") -> Value:
    """Return what one field says; raises :class:`InputError` when it is neither number nor word.

    ``1e999``, ``0x10`` and ``1_000`` are not numbers. Words are judged as those of logger files
    are. ``decimal`` is the decimal mark; "" takes a point, and a comma before one or two digits.
    """
    word = quality_of_word(field)
    if word is not None:
        return Value(column, None, default, word)
    found = _NUMBER.fullmatch(_pointed(field, decimal))
    unit = (unit_of(found[2]) if found[2] else default) if found else None
    number = float(found[1]) if found else float("nan")
    if unit is None or not isfinite(number):
        raise InputError(f"{field[:40]!r} is not a number with a unit of temperature")
    return judged(column, number, unit)


def _pointed(field: str, decimal: str) -> str:
    if decimal == ",":
        return field.replace(".", "_").replace(",", ".")  # a point is then no part of a number
    return field if decimal else _DECIMAL_COMMA.sub(r"\1.\2", field)


def costs_one_channel(field: str) -> bool:
    """True when a field nobody can read is plainly meant: a word, another unit, a frame.

    What looks like a number with a spoilt byte condemns its line instead: on a noisy wire a
    neighbour of a bad byte is no better than the byte.
    """
    if not 0 < len(field) <= _LONGEST_WORD or not (field.replace("°", "").isascii()):
        return False
    if _OTHER_UNIT.fullmatch(field) or _FRAME.fullmatch(field):
        return True
    return not _DAMAGED.fullmatch(field)


def judged(column: str, number: float, unit: Unit) -> Value:
    """Return a finite number with the quality that its size alone gives it."""
    if number < _ABSOLUTE_ZERO[unit]:  # −9999 and its kin: codes for "nothing there"
        return Value(column, None, unit, Quality.MISSING)
    if number > _BEYOND_ANY_COUPLE[unit]:
        return Value(column, number, unit, Quality.SATURATED)
    return Value(column, number, unit)


def unit_of(text: str) -> Unit | None:
    """Return the unit that ``text`` names, mV or one of temperature, or None."""
    if text.strip().lower() in ("mv", "millivolt"):
        return Unit.MV
    known = units.temperature_unit(text.strip())
    return Unit(known) if known else None


def read_time(field: str) -> int | None:
    """Return microseconds UTC of an ISO 8601 instant with offset, or of seconds, ms, µs of epoch.

    None when the instrument's clock was plainly never set: its readings are good, its date is
    not. Raises :class:`InputError`; a time without offset is refused here, and so is a count since
    the instrument was switched on (:func:`is_no_date`).
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


def is_no_date(field: str) -> bool:
    """True for what clocks show that is no instant: a count, 0, a time of day, a local date."""
    return bool(len(field) <= 40 and (_COUNTER.fullmatch(field) or _CLOCK_TEXT.fullmatch(field)))
