"""What people write of instants, held against zoneinfo and against the calendar.

Dates and habits: ISO 8601-1:2019 for stamps with year, month, day in that order; day and month
order of countries from Unicode CLDR (short date patterns); clock changes from the IANA time zone
database through zoneinfo.
"""

from __future__ import annotations

import contextlib
from datetime import UTC, datetime, timedelta
from zoneinfo import ZoneInfo

import pytest
from hypothesis import given
from hypothesis import strategies as st

from firelog.errors import InputError
from firelog.units import datetime_to_us, us_to_datetime
from firelog.when import AHEAD, BACK, Habit, habit, understand

DENVER = ZoneInfo("America/Denver")
NOON = datetime(2026, 11, 25, 12, 0, tzinfo=DENVER)  # a Wednesday


def local(text: str, now: datetime = NOON, how: Habit | None = None, *, planned: bool = False):
    tz = now.tzinfo
    assert tz is not None
    t_us = understand(text, datetime_to_us(now), how or habit(tz), planned=planned)
    return us_to_datetime(t_us, tz).strftime("%Y-%m-%d %H:%M:%S")


@pytest.mark.parametrize(
    ("said", "meant"),
    [
        ("now", "2026-11-25 12:00:00"),
        ("11:02", "2026-11-25 11:02:00"),
        ("at 11:02:30", "2026-11-25 11:02:30"),
        ("9am", "2026-11-25 09:00:00"),
        ("9 A.M.", "2026-11-25 09:00:00"),
        ("12:30 am", "2026-11-25 00:30:00"),
        ("22:30", "2026-11-24 22:30:00"),
        ("10.15pm", "2026-11-24 22:15:00"),
        ("7h30", "2026-11-25 07:30:00"),
        ("12:04", "2026-11-25 12:04:00"),  # another clock's few minutes ahead
        ("today 6:05", "2026-11-25 06:05:00"),
        ("yesterday 20:30", "2026-11-24 20:30:00"),
        ("Yesterday at noon", "2026-11-24 12:00:00"),
        ("tomorrow 04:00", "2026-11-26 04:00:00"),
        ("sunday 20:30", "2026-11-22 20:30:00"),
        ("Wed 9:00", "2026-11-25 09:00:00"),
        ("wed 21:00", "2026-11-18 21:00:00"),
        ("11/24 6pm", "2026-11-24 18:00:00"),
        ("12/24 6pm", "2025-12-24 18:00:00"),  # this year's is still to come
        ("3/4/26 18:00", "2026-03-04 18:00:00"),
        ("14.3. 18.30", "2026-03-14 18:30:00"),
        ("14.03.2026 18:30", "2026-03-14 18:30:00"),
        ("14 Mar 18:30", "2026-03-14 18:30:00"),
        ("Mar 14th, 6:30pm", "2026-03-14 18:30:00"),
        ("14 sept 2025 18:30", "2025-09-14 18:30:00"),
        ("2026-03-14 6pm", "2026-03-14 18:00:00"),
        ("2026-03-14T18:00", "2026-03-14 18:00:00"),
        ("2026-03-14", "2026-03-14 00:00:00"),
        ("2026-11-25T18:00:00Z", "2026-11-25 11:00:00"),
        ("18:00Z", "2026-11-25 11:00:00"),
        ("17:00 +01:00", "2026-11-25 09:00:00"),
        ("10 min ago", "2026-11-25 11:50:00"),
        ("1 h 20 min ago", "2026-11-25 10:40:00"),
        ("an hour ago", "2026-11-25 11:00:00"),
    ],
)
def test_what_a_founder_in_denver_writes_is_read_on_the_foundry_s_clock(said, meant):
    """Each is the local instant that the words name, seen from Wednesday noon."""
    assert local(said) == meant


@pytest.mark.parametrize(
    "said",
    [
        *("", "soon", "ago", "-5 min ago", "14", "1402", "25:00", "14:61", "13pm", "0 am"),
        *("02/30 12:00", "32.1. 12:00", "11/24", "2026-13-01 08:00", "yesterday", "monday"),
        *("mo 12:00", "14:02 MST"),
    ],
)
def test_what_names_no_instant_is_refused_with_what_to_write(said):
    """Nothing is guessed, and the sentence shows how it is written."""
    with pytest.raises(InputError, match=r"write it like|check the year"):
        local(said)


def test_a_time_of_day_still_to_come_is_asked_about():
    """14:02 at noon is either in two hours or 22 hours ago."""
    with pytest.raises(InputError, match='"yesterday 14:02", else "today 14:02"'):
        local("14:02")
    assert local("14:02", planned=True) == "2026-11-25 14:02:00"
    assert local("01:00", NOON.replace(hour=23), planned=True) == "2026-11-26 01:00:00"


def test_a_morning_s_time_typed_in_the_evening_is_asked_about():
    """10:15 at 22:20 is twelve hours ago or five minutes; 10:15am, 22:15 and at 10:20 are plain."""
    evening = NOON.replace(hour=22, minute=20)
    with pytest.raises(InputError, match=r'"10:15am" or "10:15pm"'):
        local("10:15", evening)
    assert local("10:15am", evening) == "2026-11-25 10:15:00"
    assert local("22:15", evening) == "2026-11-25 22:15:00"
    assert local("09:15", evening) == "2026-11-25 09:15:00"
    assert local("10:15", NOON) == "2026-11-25 10:15:00"


@pytest.mark.parametrize(
    ("zone", "meant"),
    [("America/Denver", "03-04"), ("Europe/Lisbon", "04-03"), ("Australia/Sydney", "04-03")],
)
def test_the_order_of_day_and_month_is_that_of_the_zone_s_country(zone, meant):
    """03/04 is 4 March in the United States and 3 April in Portugal and Australia."""
    assert local("03/04 12:00", NOON.astimezone(ZoneInfo(zone)))[5:10] == meant


def test_where_the_zone_does_not_decide_the_order_it_is_asked():
    """Canada writes both: the sentence names both days, and the foundry file can decide."""
    toronto = NOON.astimezone(ZoneInfo("America/Toronto"))
    with pytest.raises(InputError, match='"2026-03-04 12:00" or "2026-04-03 12:00"'):
        local("03/04 12:00", toronto)
    assert local("03/14 12:00", toronto)[5:10] == "03-14"  # only one of them exists
    stated = habit(ZoneInfo("America/Toronto"), "day-first")
    assert local("03/04 12:00", toronto, stated)[5:10] == "04-03"


def test_an_hour_that_came_twice_is_asked_about_with_both_offsets():
    """1 November 2026, 01:30 in Denver was at −06:00 and again at −07:00."""
    with pytest.raises(InputError) as asked:
        local("2026-11-01 01:30")
    for offset in ("-06:00", "-07:00"):
        assert f'"2026-11-01 01:30{offset}"' in str(asked.value)
        assert local(f"2026-11-01 01:30{offset}")


def test_in_the_night_of_the_change_the_hour_that_was_is_meant():
    """At 01:10 for the first time, 01:05 cannot be the second one, still to come."""
    first = datetime(2026, 11, 1, 7, 10, tzinfo=UTC)
    now_us = datetime_to_us(first)
    t_us = understand("01:05", now_us, habit(DENVER))
    assert us_to_datetime(t_us) == first - timedelta(minutes=5)


def test_an_hour_that_never_was_is_refused():
    """8 March 2026, 02:30 in Denver: clocks went from 2 to 3."""
    with pytest.raises(InputError, match="never was"):
        local("2026-03-08 02:30")


def test_the_29th_of_february_is_the_last_that_was():
    """From November 2026 the last leap day is that of 2024; from 1903 that of 1896."""
    assert local("feb 29 12:00") == "2024-02-29 12:00:00"
    early = datetime(1903, 1, 1, tzinfo=UTC)
    assert local("feb 29 12:00", early) == "1896-02-29 12:00:00"


@given(
    now=st.integers(946_684_800, 2_208_988_800),
    minutes=st.integers(0, 24 * 60 - 1),
    zone=st.sampled_from(["America/Denver", "Europe/Lisbon", "Australia/Lord_Howe", "UTC"]),
)
def test_a_time_of_day_is_the_wall_clock_s_and_never_far(now, minutes, zone):
    """Whatever the day: the answer shows that clock time and lies between 18 h ago and 5 min on."""
    tz = ZoneInfo(zone)
    now_us = now * 1_000_000
    said = f"{minutes // 60:02d}:{minutes % 60:02d}"
    try:
        t_us = understand(said, now_us, habit(tz))
    except InputError:
        return
    assert us_to_datetime(t_us, tz).strftime("%H:%M") == said
    assert -BACK <= timedelta(microseconds=t_us - now_us) <= AHEAD


@given(st.text(max_size=30))
def test_no_text_is_worse_than_a_sentence(text):
    """Anything at all is either an instant or an InputError."""
    with contextlib.suppress(InputError):
        assert isinstance(understand(text, datetime_to_us(NOON), habit(DENVER)), int)
