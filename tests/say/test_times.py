"""Durations and instants in words, in the reader's own zone."""

from __future__ import annotations

from datetime import UTC, datetime
from zoneinfo import ZoneInfo

import pytest

from firelog.say import durations, instants
from firelog.say.reader import Reader, reader_of
from firelog.units import datetime_to_us, parse_instant

DENVER = Reader("F", ZoneInfo("America/Denver"))


def test_durations_are_as_short_as_says_enough() -> None:
    """Seconds below two minutes, minutes below an hour, then hours and minutes."""
    assert durations.show_duration(59.6) == "60 s"
    assert durations.show_duration(3599) == "1 h 00 min"
    assert durations.show_duration(11100) == "3 h 05 min"
    assert durations.show_duration(-300) == "−5 min"


@pytest.mark.parametrize(
    ("seconds", "said"),
    [(14.2, "14 s"), (194.0, "3 min 14 s"), (180.0, "3 min"), (-8.0, "−8 s"), (-0.2, "0 s")],
)
def test_around_a_pour_the_seconds_are_said(seconds, said) -> None:
    """Minutes and seconds, without hours and without a minus zero."""
    assert durations.show_exact_duration(seconds) == said


def test_times_that_are_compared_are_in_minutes() -> None:
    """What was held and what was asked stand in one unit, a tenth where it is short."""
    assert durations.show_minutes(4800.0) == "80 min"
    assert durations.show_minutes(510.0) == "8.5 min"
    assert durations.show_minutes(0.0) == "0 min"


def test_time_since_the_start() -> None:
    """Hours and minutes since the firing began, signed; None is said as asked."""
    assert durations.elapsed(11100.0) == "+3:05"
    assert durations.elapsed(-120.0) == "−0:02"
    assert durations.elapsed(None) == "never"
    assert durations.elapsed(None, never="–") == "–"


def test_an_instant_has_its_zone() -> None:
    """08:30 UTC is the second 01:30 of the night the clocks go back in Denver (IANA tz data)."""
    moment = datetime_to_us(datetime(2026, 11, 1, 8, 30, tzinfo=UTC))
    assert instants.show_instant(moment, DENVER.tz) == "2026-11-01 01:30 MST"
    assert instants.zone_words(moment, DENVER) == "MST (UTC−7)"
    assert instants.zone_words(moment, Reader()) == "UTC"
    india = Reader(tz=ZoneInfo("Asia/Kolkata"))
    assert instants.zone_words(moment, india) == "IST (UTC+5:30)"


def test_day_and_clock_are_local() -> None:
    """A night that begins on Sunday says the weekday of what comes after midnight."""
    began, later = parse_instant("2026-03-02T05:00:00Z"), parse_instant("2026-03-02T12:00:15Z")
    assert instants.day(began, DENVER) == "Sun 1 Mar 2026"
    assert instants.clock(began, DENVER, weekday_from=began) == "22:00"
    assert instants.clock(later, DENVER, weekday_from=began) == "Mon 05:00"
    assert instants.exact_clock(later, DENVER) == "05:00:15"


class Kept(dict[str, str]):
    """Settings as a store keeps them."""

    def setting(self, key: str, default: str = "") -> str:
        """Return what was set."""
        return self.get(key, default)


def test_the_reader_is_the_foundrys_unless_somebody_chooses() -> None:
    """Unit and zone come from the settings; a chosen unit wins; nonsense counts as °C and UTC."""
    ours = Kept(unit="F", timezone="America/Denver", name="Larkspur")
    assert reader_of(ours) == Reader("F", ZoneInfo("America/Denver"), "Larkspur", "lb")
    assert reader_of(ours, "C").unit == "C"
    assert reader_of(Kept(unit="F", weight="kg")).weight == "kg"
    assert reader_of(ours, "X").unit == "F"
    assert reader_of(Kept(unit="Z", timezone="Nowhere/At All")) == Reader()
