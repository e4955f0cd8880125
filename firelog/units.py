"""Temperatures, differences, rates, durations and instants: parsing and conversion, here only.

Inside firelog a temperature is °C (``_c``), a difference or tolerance is kelvin (``_k``), a rate
K/h, a duration seconds (``_s``), an instant int64 microseconds UTC (``_us``). A temperature and a
difference are converted by different functions on purpose: a tolerance of 25 °F is 13.89 K, and
whoever adds the 32 to it gets −3.9.
"""

from __future__ import annotations

import re
from datetime import UTC, datetime, tzinfo
from typing import Literal, TypeVar, overload
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from firelog.errors import InputError

TemperatureUnit = Literal["C", "F", "K"]
WeightUnit = Literal["kg", "lb"]
Number = TypeVar("Number", float, NDArray[np.float64])

ZERO_C_IN_K = 273.15  # SI Brochure, 9th edition, section 2.3.1
K_PER_F = 5.0 / 9.0
WEIGHT_UNITS: tuple[WeightUnit, ...] = ("kg", "lb")
# The pound is exact (NIST SP 811:2008, appendix B.8).
KG_PER: dict[str, float] = {
    "kg": 1.0,
    "g": 1e-3,
    "lb": 0.45359237,
    "lbs": 0.45359237,
    "oz": 0.028349523125,
}

_UNIT_NAMES: dict[str, TemperatureUnit] = {
    "c": "C",
    "°c": "C",
    "degc": "C",
    "deg c": "C",
    "celsius": "C",
    "℃": "C",
    "f": "F",
    "°f": "F",
    "degf": "F",
    "deg f": "F",
    "fahrenheit": "F",
    "℉": "F",
    "k": "K",
    "kelvin": "K",
}
_SECONDS = {
    "s": 1.0,
    "sec": 1.0,
    "second": 1.0,
    "seconds": 1.0,
    "min": 60.0,
    "mins": 60.0,
    "minute": 60.0,
    "minutes": 60.0,
    "h": 3600.0,
    "hr": 3600.0,
    "hour": 3600.0,
    "hours": 3600.0,
    "d": 86400.0,
    "day": 86400.0,
    "days": 86400.0,
}
_NUMBER = r"[-+]?(?:\d+\.?\d*|\.\d+)(?:[eE][-+]?\d+)?"
_QUANTITY = re.compile(rf"^\s*({_NUMBER})\s*(.*?)\s*$")
_DURATION_PART = re.compile(rf"\s*({_NUMBER})\s*([a-zA-Z]+)\s*")
_CLOCK = re.compile(r"^\s*(\d+):([0-5]\d)(?::([0-5]\d(?:\.\d+)?))?\s*$")


# ---------------------------------------------------------------- temperatures and differences
def temperature_unit(text: str) -> TemperatureUnit | None:
    """Return ``"C"``, ``"F"`` or ``"K"`` for a unit as people and loggers write it, else None.

    >>> [temperature_unit(said) for said in ("°F", "deg C", "[K]", "volts")]
    ['F', 'C', 'K', None]
    """
    return _UNIT_NAMES.get(text.strip().strip("[]()").strip().lower())


def to_celsius(value: Number, unit: TemperatureUnit) -> Number:
    """Convert a temperature (a point on the scale) from ``unit`` to °C.

    >>> round(to_celsius(1600.0, "F"), 2), to_celsius(273.15, "K")
    (871.11, 0.0)
    """
    if unit == "C":
        return value
    if unit == "F":
        return (value - 32.0) * K_PER_F
    return value - ZERO_C_IN_K


def from_celsius(temp_c: Number, unit: TemperatureUnit) -> Number:
    """Convert a temperature in °C to ``unit``.

    >>> from_celsius(100.0, "F")  # water boils at 212 °F
    212.0
    >>> from_celsius(0.0, "K")
    273.15
    """
    if unit == "C":
        return temp_c
    if unit == "F":
        return temp_c / K_PER_F + 32.0
    return temp_c + ZERO_C_IN_K


def difference_to_k(value: Number, unit: TemperatureUnit) -> Number:
    """Convert a temperature difference, tolerance or rate per hour from ``unit`` to kelvin.

    A tolerance of 25 °F is 13.89 K; as a point on the scale, 25 °F is −3.89 °C.

    >>> round(difference_to_k(25.0, "F"), 2)
    13.89
    >>> round(to_celsius(25.0, "F"), 2)
    -3.89
    """
    return value * K_PER_F if unit == "F" else value


def difference_from_k(value_k: Number, unit: TemperatureUnit) -> Number:
    """Convert a difference in kelvin to the degrees of ``unit``.

    >>> round(difference_from_k(15.0, "F"), 6), difference_from_k(15.0, "C")
    (27.0, 15.0)
    """
    return value_k / K_PER_F if unit == "F" else value_k


# ---------------------------------------------------------------- parsing
def parse_temperature(value: object, default: TemperatureUnit) -> float:
    """Read a temperature, a number in ``default`` or a string such as ``"1600 F"``, into °C.

    Raises :class:`InputError` for anything that is not a temperature above absolute zero.

    >>> parse_temperature("212 F", "C"), parse_temperature(870, "C")
    (100.0, 870.0)
    >>> parse_temperature("-300 C", "C")
    Traceback (most recent call last):
        ...
    firelog.errors.InputError: '-300 C' lies below absolute zero; write a temperature like 870
    """
    number, unit = _number_and_unit(value, default, what="temperature", example='"870 C"')
    temp_c = to_celsius(number, unit)
    if temp_c < -ZERO_C_IN_K - 1e-9:
        raise InputError(f"{value!r} lies below absolute zero; write a temperature like 870")
    return temp_c


def parse_difference(value: object, default: TemperatureUnit) -> float:
    """Read a difference or tolerance, a number in ``default`` or ``"25 F"``, into kelvin.

    >>> parse_difference("18 F", "C"), parse_difference(18, "C")
    (10.0, 18.0)
    """
    number, unit = _number_and_unit(value, default, what="temperature difference", example='"15 K"')
    return difference_to_k(number, unit)


def parse_rate(value: object, default: TemperatureUnit) -> float:
    """Read a rate, a number in degrees per hour or a string such as ``"5 K/min"``, into K/h.

    >>> parse_rate("5 K/min", "C"), round(parse_rate("540 F/h", "C"), 6), parse_rate(300, "C")
    (300.0, 300.0, 300.0)
    >>> parse_rate("300 K", "C")
    Traceback (most recent call last):
        ...
    firelog.errors.InputError: '300 K' has no time in it; write a rate like "300 K/h"
    """
    if isinstance(value, str) and "/" in value:
        degrees, per = value.rsplit("/", 1)
        seconds = _SECONDS.get(per.strip().lower())
        if seconds is None:
            raise InputError(f'{value!r} is not a rate; write it like "300 K/h" or "5 C/min"')
        return parse_difference(degrees, default) * 3600.0 / seconds
    number, unit = _number_and_unit(value, default, what="rate", example='"300 K/h"')
    if isinstance(value, str) and not _bare(value):
        raise InputError(f'{value!r} has no time in it; write a rate like "300 K/h"')
    return difference_to_k(number, unit)


def parse_duration(value: object) -> float:
    """Read a duration into seconds: ``"90 min"``, ``"1 h 30 min"``, ``"1:30:00"``, or seconds.

    Raises :class:`InputError` when it is negative or not a duration.

    >>> [parse_duration(said) for said in ("90 min", "1 h 30 min", "1:30:00", 5400)]
    [5400.0, 5400.0, 5400.0, 5400.0]
    >>> parse_duration("soon")
    Traceback (most recent call last):
        ...
    firelog.errors.InputError: 'soon' is not a duration; write it like "90 min" or "1 h 30 min"
    """
    seconds = _duration(value)
    if seconds is None:
        raise InputError(f'{value!r} is not a duration; write it like "90 min" or "1 h 30 min"')
    if not 0 <= seconds < 1e9:
        raise InputError(f'{value!r} is not a possible duration; write it like "90 min"')
    return seconds


def parse_weight(value: object, default: WeightUnit) -> float:
    """Read a weight into kilograms: ``12`` in the default unit, ``"26.5 lb"``, ``"900 g"``.

    Raises :class:`InputError` when it is no weight or not above nought.

    >>> parse_weight("26.5 lb", "kg"), parse_weight(12, "kg")
    (12.020197805, 12.0)
    >>> parse_weight("12 stone", "kg")
    Traceback (most recent call last):
        ...
    firelog.errors.InputError: '12 stone' is no weight; write kilograms, or "26 lb"
    """
    found = _QUANTITY.match(value) if isinstance(value, str) else None
    if isinstance(value, int | float) and not isinstance(value, bool):
        number, named = float(value), str(default)
    elif found:
        number, named = float(found[1]), found[2].strip().casefold() or default
    else:
        number, named = np.nan, "kg"
    weight_kg = number * KG_PER.get(named, np.nan)
    if not 0.0 < weight_kg < np.inf:
        raise InputError(f'{value!r} is no weight; write kilograms, or "26 lb"')
    return round(weight_kg, 12)


def _duration(value: object) -> float | None:
    if isinstance(value, bool):
        return None
    if isinstance(value, int | float):
        return float(value)
    if not isinstance(value, str):
        return None
    if clock := _CLOCK.match(value):
        hours, minutes, seconds = clock.groups()
        return int(hours) * 3600.0 + int(minutes) * 60.0 + float(seconds or 0)
    if _bare(value):
        return float(value)
    total, at = 0.0, 0
    while at < len(value):
        part = _DURATION_PART.match(value, at)
        if not part or part[2].lower() not in _SECONDS:
            return None
        total += float(part[1]) * _SECONDS[part[2].lower()]
        at = part.end()
    return total if at else None


def _bare(text: str) -> bool:
    return re.fullmatch(rf"\s*{_NUMBER}\s*", text) is not None


def _number_and_unit(
    value: object, default: TemperatureUnit, *, what: str, example: str
) -> tuple[float, TemperatureUnit]:
    if isinstance(value, int | float) and not isinstance(value, bool):
        number, unit = float(value), default
    else:
        found = _QUANTITY.match(value) if isinstance(value, str) else None
        named = temperature_unit(found[2]) if found and found[2] else default
        if not found or named is None:
            raise InputError(f"{value!r} is not a {what}; write a number or {example}")
        number, unit = float(found[1]), named
    if not np.isfinite(number):
        raise InputError(f"{value!r} is not a finite {what}; write a number or {example}")
    return number, unit


# ---------------------------------------------------------------- instants
def zone(name: str) -> ZoneInfo:
    """Return the IANA time zone ``name``; raises :class:`InputError` when there is none.

    >>> zone("America/Denver").key
    'America/Denver'
    >>> zone("Mountain")
    Traceback (most recent call last):
        ...
    firelog.errors.InputError: there is no time zone 'Mountain'; use a name like Europe/Lisbon or
    America/Denver
    """
    try:
        return ZoneInfo(name)
    except (KeyError, ValueError, OSError) as error:
        raise InputError(
            f"there is no time zone {name!r}; use a name like Europe/Lisbon or America/Denver"
        ) from error


def parse_instant(text: str, tz: tzinfo | None = None) -> int:
    """Read an ISO 8601 instant into microseconds UTC.

    A stamp without offset is taken in ``tz``; without ``tz`` it is refused, because a log that is
    an hour off proves nothing. Raises :class:`InputError`.

    >>> parse_instant("1970-01-01T00:00:01.5Z")
    1500000
    >>> iso_utc(parse_instant("2026-03-01 01:00", zone("America/Denver")))
    '2026-03-01T08:00:00Z'
    >>> parse_instant("2026-03-01 01:00")
    Traceback (most recent call last):
        ...
    firelog.errors.InputError: '2026-03-01 01:00' has no time zone; add Z or an offset
    like -07:00, or name --tz
    """
    try:
        moment = datetime.fromisoformat(text.strip())
    except ValueError as error:
        raise InputError(
            f"{text!r} is not a time; write it like 2026-03-01T08:00:00Z (year-month-day)"
        ) from error
    if moment.tzinfo is None:
        if tz is None:
            raise InputError(
                f"{text!r} has no time zone; add Z or an offset like -07:00, or name --tz"
            )
        moment = moment.replace(tzinfo=tz)
    try:
        return datetime_to_us(moment)
    except OverflowError as error:  # the offset leads out of the years 1 to 9999
        raise InputError(f"{text!r} is no possible time; check the year") from error


def datetime_to_us(moment: datetime) -> int:
    """Return microseconds since 1970 UTC of an aware datetime, exactly (no float on the way)."""
    since = moment.astimezone(UTC) - datetime(1970, 1, 1, tzinfo=UTC)
    return (since.days * 86400 + since.seconds) * 1_000_000 + since.microseconds


@overload
def seconds_since(began_us: int, t_us: int) -> float: ...
@overload
def seconds_since(began_us: int, t_us: NDArray[np.int64]) -> NDArray[np.float64]: ...
def seconds_since(began_us: int, t_us: int | NDArray[np.int64]) -> float | NDArray[np.float64]:
    """Return the seconds from one instant to another (or to many), both in µs UTC."""
    return (t_us - began_us) / 1e6


def us_after(began_us: int, seconds: float) -> int:
    """Return the instant [µs UTC] so many seconds after another."""
    return began_us + round(seconds * 1e6)


def us_to_datetime(t_us: int, tz: tzinfo = UTC) -> datetime:
    """Return the aware datetime of an instant in microseconds UTC.

    >>> us_to_datetime(1_500_000).isoformat()
    '1970-01-01T00:00:01.500000+00:00'
    """
    seconds, micros = divmod(int(t_us), 1_000_000)
    return datetime.fromtimestamp(seconds, UTC).replace(microsecond=micros).astimezone(tz)


def iso_utc(t_us: int) -> str:
    """Return the instant as ISO 8601 in UTC with ``Z``; fractions only where there are any.

    >>> iso_utc(0), iso_utc(1_250_000)
    ('1970-01-01T00:00:00Z', '1970-01-01T00:00:01.25Z')
    """
    text = us_to_datetime(t_us).replace(tzinfo=None).isoformat()
    return (text.rstrip("0") if "." in text else text) + "Z"
