"""Instants as people write them: "14:02", "yesterday 20:30", "03/14 6pm", "10 min ago", ISO 8601.

A person at the kiln writes the clock on the wall, not a time zone. What is written is read in the
foundry's own zone and lies in the past unless its date says otherwise. Where two readings are
possible (an hour that a clock change repeats, the order of day and month, a time of day that is
still to come) nothing is guessed: the error names both, ready to be typed.
"""

from __future__ import annotations

import re
from collections.abc import Iterator
from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta, timezone, tzinfo

from firelog.errors import InputError
from firelog.units import datetime_to_us, parse_duration, us_to_datetime

# Clocks of two machines differ; a time of day so far ahead still is the present one.
AHEAD = timedelta(minutes=5)
# A time of day further back than this was more likely meant for the hours to come.
BACK = timedelta(hours=18)
FAR = timedelta(hours=12)  # what is planned: the nearer side of the clock

# Zones of countries that write the month first (IANA zone.tab for US, its lands, and PH).
_MONTH_FIRST = (
    *("America/New_York", "America/Detroit", "America/Chicago", "America/Menominee"),
    *("America/Denver", "America/Boise", "America/Phoenix", "America/Los_Angeles"),
    *("America/Anchorage", "America/Juneau", "America/Sitka", "America/Metlakatla"),
    *("America/Yakutat", "America/Nome", "America/Adak", "America/Puerto_Rico"),
    *("America/Indiana/", "America/Kentucky/", "America/North_Dakota/", "US/"),
    *("Pacific/Honolulu", "Pacific/Guam", "Asia/Manila"),
)
_DAY_FIRST_REGIONS = ("Europe/", "Africa/", "Australia/", "Atlantic/", "Antarctica/", "Indian/")

_MONTHS = (
    *("january", "february", "march", "april", "may", "june", "july", "august"),
    *("september", "october", "november", "december"),
)
_WEEKDAYS = ("monday", "tuesday", "wednesday", "thursday", "friday", "saturday", "sunday")
_NEAR = {"yesterday": -1, "today": 0, "tomorrow": 1}
_CLOCK = re.compile(
    r"(?:^|[ t])(?P<hour>\d{1,2})"
    r"(?:(?P<mark>[:h.])(?P<minute>\d{2})(?:[:.](?P<second>\d{2}(?:\.\d{1,6})?))?)?"
    r" ?(?P<half>am|pm)?(?: ?(?P<offset>z|utc|[+-]\d{2}:?\d{2}))?$"
)
_NUMERIC = re.compile(r"(\d{1,2})([/.-])(\d{1,2})(?:\2(\d{4}|\d{2}))?\.?")
_ISO_DAY = re.compile(r"(\d{4})-(\d{1,2})-(\d{1,2})")
_DAY_MONTH = re.compile(r"(\d{1,2})(?:st|nd|rd|th)?\.? ([a-z]+)\.?(?: (\d{4}))?")
_MONTH_DAY = re.compile(r"([a-z]+)\.? (\d{1,2})(?:st|nd|rd|th)?(?: (\d{4}))?")


@dataclass(frozen=True)
class Habit:
    """Where a foundry's clock hangs, and whether it writes the day before the month.

    ``day_first`` is None where neither the foundry nor its zone decides: then it is asked.
    """

    tz: tzinfo
    day_first: bool | None = None


@dataclass(frozen=True)
class _Here:
    """What was written, when by the local clock, and the habits of the place."""

    text: str
    now: datetime
    how: Habit

    @property
    def now_us(self) -> int:
        return datetime_to_us(self.now)

    def ahead(self, local: datetime) -> timedelta:
        """Return true time, not the difference of two wall clocks: one may have been put back."""
        return local.replace(tzinfo=self.how.tz).astimezone(UTC) - self.now.astimezone(UTC)


def habit(tz: tzinfo, dates: str | None = None) -> Habit:
    """Return how dates are written there: as ``dates`` says ("day-first"), else as the zone does.

    >>> from firelog.units import zone
    >>> [habit(zone(z)).day_first for z in ("America/Denver", "Europe/Lisbon", "America/Toronto")]
    [False, True, None]
    """
    if dates is not None:
        return Habit(tz, dates == "day-first")
    name = str(tz)
    if name.startswith(_MONTH_FIRST):
        return Habit(tz, False)
    return Habit(tz, True if name.startswith(_DAY_FIRST_REGIONS) else None)


def understand(text: str, now_us: int, how: Habit, *, planned: bool = False) -> int:
    """Return the instant [µs UTC] that a person wrote, seen from ``now_us``.

    A time of day alone is the latest that was; with ``planned``, the nearest that was or will be.

    Raises :class:`InputError` where it is not understood or can be read in two ways.

    >>> from firelog.units import iso_utc, zone
    >>> denver, now = habit(zone("America/Denver")), 1_772_402_400_000_000  # Sun 1 March, 15:00
    >>> iso_utc(now)
    '2026-03-01T22:00:00Z'
    >>> for said in ("14:02", "yesterday 20:30", "02/14 6pm", "10 min ago", "sat 7.15pm"):
    ...     print(said, iso_utc(understand(said, now, denver)))
    14:02 2026-03-01T21:02:00Z
    yesterday 20:30 2026-03-01T03:30:00Z
    02/14 6pm 2026-02-15T01:00:00Z
    10 min ago 2026-03-01T21:50:00Z
    sat 7.15pm 2026-03-01T02:15:00Z
    """
    said = _plain(text)
    if said in ("now", "just now"):
        return now_us
    if said.endswith(" ago"):
        return now_us - round(_lapse(said.removesuffix(" ago"), text) * 1e6)
    iso = _iso(text.strip())
    if iso is not None:
        if iso.tzinfo is not None:
            return _us(iso, text)
        return _at(iso, _Here(text, us_to_datetime(now_us, how.tz), how))
    clock, day = _clock(said, text)
    if clock.tzinfo is not None:
        how = Habit(clock.tzinfo, how.day_first)
        clock = clock.replace(tzinfo=None)
    here = _Here(text, us_to_datetime(now_us, how.tz), how)
    if not day:
        found = _nearest(clock, here, planned)
        _not_the_other_half(said, found, here)
        return _at(found, here)
    return _at(datetime.combine(_day(day, clock, here), clock), here)


def _plain(text: str) -> str:
    said = re.sub(r"[,\s]+", " ", text.strip().lower()).removeprefix("at ")
    said = re.sub(r"\b([ap])\. ?m\.?(?= |$)", r"\1m", said).replace("o'clock", "").strip()
    return re.sub(r"\bnoon$", "12:00", said)


def _lapse(said: str, text: str) -> float:
    try:
        return parse_duration(re.sub(r"^(an?|one) ", "1 ", said).replace(" and ", " "))
    except InputError as error:
        raise InputError(f'{text!r} is not a time; write it like "10 min ago" or 14:02') from error


def _iso(text: str) -> datetime | None:
    if not re.match(r"\d{4}-?\d{2}-?\d{2}(\D|$)", text):
        return None
    try:
        return datetime.fromisoformat(text)
    except ValueError:
        return None


# ---------------------------------------------------------------- time of day
def _clock(said: str, text: str) -> tuple[time, str]:
    """Return the time of day at the end of what was said, and the words before it."""
    found = _CLOCK.search(said)
    bare = found is not None and found["mark"] is None and found["half"] is None
    if found is None or bare:
        raise _unknown(text, "it names no time of day" if _names_day(said) else None)
    hour, minute = int(found["hour"]), int(found["minute"] or 0)
    if found["half"]:
        if not 1 <= hour <= 12:
            raise _unknown(text, f"there is no {hour} {found['half']}")
        hour = hour % 12 + (12 if found["half"] == "pm" else 0)
    second, _, part = (found["second"] or "0").partition(".")
    try:
        clock = time(hour, minute, int(second), int(f"{part:0<6}"), _offset(found["offset"]))
    except ValueError as error:
        raise _unknown(text, "there is no such time of day") from error
    return clock, said[: found.start()].strip().removesuffix(" at")


def _offset(said: str | None) -> tzinfo | None:
    if said is None:
        return None
    if said in ("z", "utc"):
        return UTC
    sign = -1 if said[0] == "-" else 1
    return timezone(sign * timedelta(hours=int(said[1:3]), minutes=int(said[-2:])))


def _nearest(clock: time, here: _Here, planned: bool) -> datetime:
    """Return the time of day nearest to now that was (or is planned); asks where that is far."""
    days = (here.now.date() + timedelta(days=offset) for offset in (-1, 0, 1))
    moments = [datetime.combine(day, clock) for day in days]
    most = FAR if planned else AHEAD
    near = [moment for moment in moments if -BACK <= here.ahead(moment) <= most]
    if not near:
        raise InputError(
            f"{here.text!r} is still to come today (it is {here.now:%H:%M}); if you mean the day "
            f'before, write "yesterday {clock:%H:%M}", else "today {clock:%H:%M}"'
        )
    return min(near, key=lambda moment: abs(here.ahead(moment)))


def _not_the_other_half(said: str, found: datetime, here: _Here) -> None:
    """Ask where "10:15" lies in the morning, and the evening of that name is nearer to now."""
    if not re.match(r"([1-9]|1[0-2])[:h.]", said) or re.search(r"[ap]m$|z$|utc$|[+-]\d", said):
        return  # with a leading zero, past twelve, or said with am, pm or an offset
    near = here.ahead(found)
    others = [here.ahead(found + timedelta(hours=12 * sign)) for sign in (-1, 1)]
    if any(-BACK <= other <= AHEAD and abs(other) < abs(near) for other in others):
        both = (found, found + timedelta(hours=12))
        first, second = (f'"{one:%I:%M%p}"'.lower() for one in both)
        raise InputError(f"{here.text!r} can be morning or evening; write {first} or {second}")


# ---------------------------------------------------------------- day
def _names_day(said: str) -> bool:
    word = re.match(r"[a-z]*", said)
    named = word is not None and (word[0] in _NEAR or _named(word[0], _WEEKDAYS) is not None)
    return named or bool(re.match(r"\d{1,4}[/.-]\d{1,2}", said))


def _day(said: str, clock: time, here: _Here) -> date:
    today = here.now.date()
    if said in _NEAR:
        return today + timedelta(days=_NEAR[said])
    weekday = _named(said, _WEEKDAYS)
    if weekday is not None:
        back = (today.weekday() - weekday) % 7
        if back == 0 and here.ahead(datetime.combine(today, clock)) > AHEAD:
            back = 7
        return today - timedelta(days=back)
    possible = sorted(set(_dates(said, clock, here)))
    if len(possible) > 1:
        first, second = (f'"{day} {clock:%H:%M}"' for day in possible[:2])
        raise InputError(
            f"{here.text!r} can be read as {first} or {second}; write it so, or say in the foundry "
            'file what stands first: dates = "day-first" or "month-first"'
        )
    if not possible:
        raise _unknown(here.text, f"there is no day {said!r}")
    return possible[0]


def _named(said: str, names: tuple[str, ...]) -> int | None:
    """Return which of the names is meant by itself or by its first three letters or more."""
    if len(said) < 3:
        return None
    return next((i for i, name in enumerate(names) if name.startswith(said)), None)


def _dates(said: str, clock: time, here: _Here) -> Iterator[date]:
    """Yield every day that the words can mean."""
    if found := _ISO_DAY.fullmatch(said):
        yield from _real(int(found[1]), int(found[2]), int(found[3]))
    elif found := _NUMERIC.fullmatch(said):
        first, second = int(found[1]), int(found[3])
        day_first = True if found[2] == "." else here.how.day_first
        if day_first is not False:
            yield from _in_year(found[4], (second, first), clock, here)
        if day_first is not True:
            yield from _in_year(found[4], (first, second), clock, here)
    elif found := _DAY_MONTH.fullmatch(said):
        yield from _in_year(found[3], (_month(found[2]), int(found[1])), clock, here)
    elif found := _MONTH_DAY.fullmatch(said):
        yield from _in_year(found[3], (_month(found[1]), int(found[2])), clock, here)


def _month(said: str) -> int:
    index = _named(said, _MONTHS)
    return 0 if index is None else index + 1  # no calendar has a month 0: no such day


def _in_year(
    year: str | None, month_day: tuple[int, int], clock: time, here: _Here
) -> Iterator[date]:
    """Yield the day of that year; without one, the latest such day that is not to come."""
    if year is not None:
        yield from _real(int(year) + (2000 if len(year) == 2 else 0), *month_day)
        return
    for back in range(9):  # the 29th of February comes every four years, once after eight
        for found in _real(here.now.year - back, *month_day):
            if here.ahead(datetime.combine(found, clock)) <= AHEAD:
                yield found
                return


def _real(year: int, month: int, day: int) -> Iterator[date]:
    try:
        yield date(year, month, day)
    except ValueError:
        return


# ---------------------------------------------------------------- local time to UTC
def _at(local: datetime, here: _Here) -> int:
    """Return the instant of a local time, asking where clocks were changed."""
    text, tz = here.text, here.how.tz
    both = [local.replace(tzinfo=tz, fold=fold) for fold in (0, 1)]
    first, second = (_us(moment, text) for moment in both)
    if first == second:
        return first
    if us_to_datetime(first, tz).replace(tzinfo=None, fold=0) != local:
        raise InputError(
            f"{text!r} never was: clocks were put forward over it ({tz}); "
            "look again at which hour it was"
        )
    if first <= here.now_us + AHEAD // timedelta(microseconds=1) < second:
        return first  # the second time that this hour comes round is still ahead
    offsets = " or ".join(f'"{moment.isoformat(" ", "minutes")}"' for moment in both)
    raise InputError(f"{text!r} came twice, as clocks were put back; write {offsets}")


def _us(moment: datetime, text: str) -> int:
    try:
        return datetime_to_us(moment)
    except OverflowError as error:  # the offset leads out of the years 1 to 9999
        raise InputError(f"{text!r} is no possible time; check the year") from error


def _unknown(text: str, why: str | None = None) -> InputError:
    reason = f": {why}" if why else ""
    return InputError(
        f"{text!r} is not a time{reason}; write it like 14:02, yesterday 20:30, 10 min ago or "
        "2026-03-01 08:00"
    )
