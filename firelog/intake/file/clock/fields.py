"""Date and time spread over columns of numbers: year, month, day, hour ... or day of the year.

``LABELS`` says what one column may be called; :func:`find` returns which columns make up a time,
:func:`instant_us` reads one row of them.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from datetime import date
from math import isfinite

from firelog.intake.file.plan import Dialect
from firelog.intake.file.table.cells import number
from firelog.intake.file.table.sample import RowSample

_EPOCH = date(1970, 1, 1).toordinal()
_DAY_US = 86_400_000_000
LABELS = {
    "year": "year yr yyyy y jahr año annee année 年",
    "month": "month mon mo m monat mes mois 月",
    "day": "day dd d dy dom tag dia día jour 日",
    "doy": "doy jday julian jul yday ydoy dayofyear julianday jd tagdesjahres",
    "hour": "hour hours hr hh h stunde hora heure 時",
    "minute": "minute minutes min mm mi mn minuten minuto 分",
    "second": "second seconds sec ss s se sekunde segundo 秒",
    "hhmm": "hhmm hrmn hourmin timehhmm hhmmutc",
}
_SHAPES = (
    ("year", "month", "day", "hour", "minute", "second"),
    ("year", "month", "day", "hour", "minute"),
    ("year", "month", "day", "hhmm"),
    ("year", "month", "day", "hour"),
    ("year", "doy", "hhmm"),
    ("year", "doy", "hour", "minute", "second"),
    ("year", "doy", "hour", "minute"),
    ("year", "doy", "hour"),
)
_LIMITS = {
    "year": (1970, 2099),
    "month": (1, 12),
    "day": (1, 31),
    "doy": (1, 366),
    "hour": (0, 24),
    "minute": (0, 59),
    "second": (0, 61),
    "hhmm": (0, 2400),
}
_SIX = _SHAPES[0]
_DATE = re.compile(r"(?:19|20)\d{2}(?:0[1-9]|1[0-2])(?:0[1-9]|[12]\d|3[01])")
_DIGITS = re.compile(_DATE.pattern + r"(?:[01]\d|2[0-4])[0-5]\d(?:[0-5]\d)?")


def find(
    sample: RowSample, names: Sequence[str], dialect: Dialect
) -> list[tuple[tuple[int, ...], tuple[str, ...]]]:
    """Return the columns of a time in fields and what each holds; empty when there is none."""
    bare = [_bare(name) for name in names]
    for shape in _SHAPES:
        places = _places(bare, shape)
        if places and _in_range(sample, places, shape, dialect):
            return [(places, shape)]
    if not any(names) and sample.width > 6 and _in_range(sample, range(6), _SIX, dialect):
        return [(tuple(range(6)), _SIX)]
    return _compact(sample, bare, dialect)


def _bare(name: str) -> str:
    return re.sub(r"[\W_]+", "", re.sub(r"[\[(].*?[\])]", "", name.strip().lower()))


def _places(bare: Sequence[str], shape: Sequence[str]) -> tuple[int, ...] | None:
    places: list[int] = []
    for label in shape:
        allowed = LABELS[label].split()
        fits = [i for i, name in enumerate(bare) if name in allowed and i not in places]
        if not fits:
            return None
        after = [i for i in fits if not places or i == places[-1] + 1]
        places.append((after or fits)[0])
    return tuple(places)


def _compact(
    sample: RowSample, bare: Sequence[str], dialect: Dialect
) -> list[tuple[tuple[int, ...], tuple[str, ...]]]:
    """Look for 20260314232030 in one column, or 20260314 beside 2320."""
    for index in range(sample.width):
        if sample.share(index, lambda cell: bool(_DIGITS.fullmatch(cell))) > 0.9:
            return [((index,), ("digits",))]
    clocks = [i for i, name in enumerate(bare) if name in LABELS["hhmm"].split()]
    dates = [
        i
        for i in range(sample.width)
        if sample.share(i, lambda cell: bool(_DATE.fullmatch(cell))) > 0.9
    ]
    if len(clocks) == 1 and len(dates) == 1 and _in_range(sample, clocks, ("hhmm",), dialect):
        return [((dates[0], clocks[0]), ("date", "hhmm"))]
    return []


def _in_range(
    sample: RowSample, places: Sequence[int], shape: Sequence[str], dialect: Dialect
) -> bool:
    for place, label in zip(places, shape, strict=True):
        low, high = _LIMITS[label]
        for cell in sample.column(place):
            value = number(cell, dialect.decimal)
            if value is None or not low <= value <= high or (label != "second" and value % 1):
                return False
            if label == "hhmm" and value % 100 > 59:
                return False
    return bool(sample.body)


def instant_us(cells: Sequence[str], labels: Sequence[str], dialect: Dialect) -> int | None:
    """Return microseconds since 1970 of one row's fields; None when they are no time."""
    if labels == ("digits",):
        return _from_digits(cells[0])
    if labels[0] == "date":
        if not _DATE.fullmatch(cells[0]):
            return None
        cells = (cells[0][:4], cells[0][4:6], cells[0][6:], *cells[1:])
        labels = ("year", "month", "day", *labels[1:])
    read = [number(cell, dialect.decimal) for cell in cells]
    if any(value is None or not isfinite(value) for value in read):
        return None
    held = {label: value or 0.0 for label, value in zip(labels or _SIX, read, strict=False)}
    if any(value % 1 for label, value in held.items() if label != "second"):
        return None
    return _instant(held)


def _from_digits(text: str) -> int | None:
    if not _DIGITS.fullmatch(text):
        return None
    parts = [float(text[:4]), *(float(text[i : i + 2]) for i in range(4, len(text), 2))]
    return _instant(dict(zip(_SIX, parts, strict=False)))


def _instant(held: dict[str, float]) -> int | None:
    hour, minute = held.get("hour", 0.0), held.get("minute", 0.0)
    if "hhmm" in held:
        hour, minute = divmod(held["hhmm"], 100)
    second = held.get("second", 0.0)
    if not (0 <= hour <= 24 and 0 <= minute <= 59 and 0 <= second < 61):
        return None
    try:
        if "doy" in held:
            day = date(int(held["year"]), 1, 1).toordinal() + int(held["doy"]) - 1
        else:
            day = date(int(held["year"]), int(held["month"]), int(held["day"])).toordinal()
    except ValueError:
        return None
    return (day - _EPOCH) * _DAY_US + int(hour * 60 + minute) * 60_000_000 + round(second * 1e6)
