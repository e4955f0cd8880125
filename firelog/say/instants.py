"""Instants in words, in the reader's own time zone."""

from __future__ import annotations

from datetime import timedelta, tzinfo

from firelog.say.reader import Reader
from firelog.units import us_to_datetime


def show_instant(t_us: int, tz: tzinfo, *, seconds: bool = False) -> str:
    """Return local date and clock time with the zone's own abbreviation."""
    pattern = "%Y-%m-%d %H:%M:%S %Z" if seconds else "%Y-%m-%d %H:%M %Z"
    return us_to_datetime(t_us, tz).strftime(pattern)


def day(t_us: int, how: Reader) -> str:
    """Return ``Sun 1 Mar 2026`` in local time."""
    moment = us_to_datetime(t_us, how.tz)
    return f"{moment:%a} {moment.day} {moment:%b %Y}"


def clock(t_us: int, how: Reader, *, weekday_from: int | None = None) -> str:
    """Return ``08:00``; with ``weekday_from``, the weekday too when that was another day."""
    moment = us_to_datetime(t_us, how.tz)
    other = weekday_from is not None and (
        us_to_datetime(weekday_from, how.tz).date() != moment.date()
    )
    return f"{moment:%a %H:%M}" if other else f"{moment:%H:%M}"


def exact_clock(t_us: int, how: Reader) -> str:
    """Return ``08:00:15``: at a pour the seconds matter."""
    return f"{us_to_datetime(t_us, how.tz):%H:%M:%S}"


def zone_words(t_us: int, how: Reader) -> str:
    """Return ``MST (UTC−7)``: the zone's own abbreviation and its offset at that instant."""
    moment = us_to_datetime(t_us, how.tz)
    offset = moment.utcoffset() or timedelta()
    minutes = round(offset.total_seconds() / 60)
    sign = "−" if minutes < 0 else "+"
    hours, rest = divmod(abs(minutes), 60)
    text = "UTC" if not minutes else f"UTC{sign}{hours}" + (f":{rest:02d}" if rest else "")
    name = moment.tzname() or ""
    return name if name == text else f"{name} ({text})"
