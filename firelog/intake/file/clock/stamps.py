"""Date and time as people's loggers write them, into microseconds.

A stamp is cut into a date and a time of day; each is remembered once read, for a log has few dates
and only 86 400 seconds. Whether 03/04 is April or March is not decided here: see ``clock``.
"""

from __future__ import annotations

import re
from dataclasses import dataclass
from datetime import date
from functools import lru_cache

from firelog.intake.file.plan import DateOrder

DAY_US = 86_400_000_000
_EPOCH = date(1970, 1, 1).toordinal()
_MONTHS = {
    name: number
    for number, names in enumerate(
        (
            "jan january januar janv",
            "feb february februar fev",
            "mar march märz mär mrz mars",
            "apr april avr avril",
            "may mai",
            "jun june juni juin",
            "jul july juli juil",
            "aug august août",
            "sep sept september",
            "oct october okt oktober",
            "nov november",
            "dec december dez dezember",
        ),
        1,
    )
    for name in names.split()
}
_ISO = r"\d{4}[-/.]\d{1,2}[-/.]\d{1,2}"
_NUMERIC = r"\d{1,2}[-/.]\d{1,2}[-/.](?:\d{4}|\d{2})"
_WORDY = (
    r"\d{1,2}[-/. ]{1,2}[^\W\d]{3,9}[-/. ,]{1,2}(?:\d{4}|\d{2})"
    r"|[^\W\d]{3,9}[-. ]{1,2}\d{1,2},?[-. ]{1,2}\d{4}"
)
_DATE = rf"(?:(?:[^\W\d]{{2,9}},?\s+)?(?:{_ISO}|{_NUMERIC}|{_WORDY})|\d{{8}})"
_TIME = (
    r"(?:\d{1,2}:\d{2}(?::\d{2}(?:[.,:]\d{1,9})?)?|(?<=[T ])\d{6}(?:\.\d{1,9})?)"
    r"(?:\s*[AaPp]\.?[Mm]\.?)?"
)
_ZONE = r"(?:Z|UTC|GMT|[+-]\d{2}:?\d{2}|[+-]\d{2})"
_STAMP = re.compile(rf"(?P<date>{_DATE})(?:[T ,;_]\s*(?P<time>{_TIME})\s*(?P<zone>{_ZONE})?)?")
_ONLY_TIME = re.compile(rf"(?P<time>{_TIME})\s*(?P<zone>{_ZONE})?")
_SPAN = re.compile(
    r"(?P<sign>[-+−])?(?:(?P<days>\d{1,4})(?:\s*d(?:ays?)?,?\s*|[ .]))?"
    r"(?P<hours>\d{1,6}):(?P<minutes>\d{2})(?::(?P<seconds>\d{2})(?:[.,](?P<part>\d{1,9}))?)?"
)
_CLOCK_TEXT = re.compile(r"[0-9]{1,2}:[0-9]{2}(?::[0-9]{2}(?:[.,:][0-9]+)?)?|[0-9]{6}(?:\.[0-9]+)?")
_FINENESS = re.compile(r"\d+:\d+(?P<seconds>:\d+(?:[.,:](?P<part>\d+))?)?")


@dataclass(frozen=True)
class Stamp:
    """A stamp cut into its texts; each "" where it is not written."""

    date: str
    time: str
    zone: str


@lru_cache(maxsize=4096)
def cut(text: str) -> Stamp | None:
    """Cut a cell into date, time of day and zone; None when it is no stamp."""
    text = text.strip()
    found = _STAMP.fullmatch(text) or _ONLY_TIME.fullmatch(text)
    if not found:
        return None
    parts = found.groupdict()
    return Stamp(parts.get("date") or "", parts.get("time") or "", parts.get("zone") or "")


@lru_cache(maxsize=4096)
def date_fields(text: str) -> tuple[int, int, int, str] | None:
    """Return three numbers as written and their shape: ``ymd``, ``dmy``, or ``?`` to be decided.

    ``.`` after ``?`` marks dates with dots, which nobody writes month first.
    """
    if re.fullmatch(r"\d{8}", text):
        return int(text[:4]), int(text[4:6]), int(text[6:]), "ymd"
    if named := _with_month_name(text):
        return named
    tail = re.search(r"\d.*$", text)
    parts = re.split(r"[-/.]", tail[0]) if tail else []
    if len(parts) != 3 or not all(part.isdecimal() for part in parts):
        return None
    numbers = [int(part) for part in parts]
    if re.search(r"\d{4}[-/.]", text):
        return numbers[0], numbers[1], numbers[2], "ymd"
    return numbers[0], numbers[1], numbers[2], "?." if "." in text else "?"


def _with_month_name(text: str) -> tuple[int, int, int, str] | None:
    words = re.findall(r"[^\W\d]+|\d+", text)
    months = [_MONTHS[w.lower()] for w in words if w.lower() in _MONTHS]
    numbers = [int(w) for w in words if w.isdigit()]
    if len(months) != 1 or len(numbers) != 2:
        return None
    return numbers[0], months[0], numbers[1], "dmy"


@lru_cache(maxsize=4096)
def day_number(text: str, order: DateOrder | None) -> int | None:
    """Return days since 1970-01-01 of a date written in ``order``; None when there is no such day.

    A two-digit year is of this century up to 69, as POSIX ``strptime`` has it.
    """
    fields = date_fields(text)
    if fields is None:
        return None
    a, b, c, shape = fields
    if shape == "ymd" or (shape.startswith("?") and order == "ymd"):
        year, month, day = a, b, c
    elif shape == "dmy" or order == "dmy":
        year, month, day = c, b, a
    elif order == "mdy":
        year, month, day = c, a, b
    else:
        return None
    if year < 100:
        year += 2000 if year < 69 else 1900
    try:
        return date(year, month, day).toordinal() - _EPOCH
    except ValueError:
        return None


@lru_cache(maxsize=100_000)
def time_of_day_us(text: str) -> int | None:
    """Return microseconds since midnight; ``24:00`` is the end of the day, 12-hour clocks are read.

    None when it is no time of day.
    """
    half = re.search(r"([AaPp])\.?[Mm]\.?$", text)
    digits = text[: half.start()].strip() if half else text
    fields = _clock_fields(digits)
    if fields is None:
        return None
    hours, minutes, seconds, micros = fields
    if half:
        if not 1 <= hours <= 12:
            return None
        hours = hours % 12 + (12 if half[1] in "Pp" else 0)
    if minutes > 59 or seconds > 60 or hours > 24:
        return None
    if hours == 24 and (minutes or seconds or micros):
        return None
    return ((hours * 60 + minutes) * 60 + seconds) * 1_000_000 + micros


def _clock_fields(text: str) -> tuple[int, int, int, int] | None:
    if not _CLOCK_TEXT.fullmatch(text):
        return None
    if ":" not in text:
        whole, _, part = text.partition(".")
        return int(whole[:2]), int(whole[2:4]), int(whole[4:]), _micros(part)
    pieces = re.split(r"[:.,]", text)
    seconds = int(pieces[2]) if len(pieces) > 2 else 0
    return int(pieces[0]), int(pieces[1]), seconds, _micros(pieces[3] if len(pieces) > 3 else "")


def _micros(part: str) -> int:
    return int((part + "000000")[:6])


@lru_cache(maxsize=1024)
def zone_us(text: str) -> int:
    """Return the offset from UTC of ``Z``, ``UTC`` or ``+01:00`` in microseconds."""
    if text in ("Z", "UTC", "GMT"):
        return 0
    digits = text[1:].replace(":", "")
    minutes = int(digits[:2]) * 60 + int(digits[2:4] or 0)
    return (-1 if text[0] == "-" else 1) * minutes * 60_000_000


@lru_cache(maxsize=100_000)
def span_us(text: str) -> int | None:
    """Return an elapsed ``HH:MM:SS`` in microseconds; hours may pass 24, a sign may stand first."""
    found = _SPAN.fullmatch(text.strip())
    if not found or int(found["minutes"]) > 59 or int(found["seconds"] or 0) > 59:
        return None
    hours = int(found["days"] or 0) * 24 + int(found["hours"])
    seconds = (hours * 60 + int(found["minutes"])) * 60 + int(found["seconds"] or 0)
    micros = seconds * 1_000_000 + _micros(found["part"] or "")
    return -micros if found["sign"] in ("-", "−") else micros


def resolution_us(time: str) -> int:
    """Return the step of the last digit written: a minute, a second, or a part of one."""
    found = _FINENESS.match(time)
    if found and not found["seconds"]:
        return 60_000_000
    part = (found["part"] if found else "") or ""
    return int(10 ** max(6 - len(part), 0))
