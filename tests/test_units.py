"""Points on a scale, differences and rates are three different things."""

from __future__ import annotations

from datetime import datetime, timedelta, timezone
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firelog import units
from firelog.errors import InputError

# The Fahrenheit scale is defined by t/°F = 9/5 t/°C + 32 (NIST SP 811, appendix B.8); the values
# follow from it exactly, rounded to two decimals.
POINTS = [
    (900, 482.22),
    (1500, 815.56),
    (1600, 871.11),
    (1800, 982.22),
    (2250, 1232.22),
    (-40, -40),
]
# ITS-90 freezing points as NIST prints them in both scales (ITS-90 table of fixed points).
ITS90 = [(1984.32, 1084.62), (1947.52, 1064.18), (1763.20, 961.78), (787.149, 419.527)]


@pytest.mark.parametrize(("fahrenheit", "celsius"), POINTS)
def test_points_convert_by_the_definition(fahrenheit: float, celsius: float) -> None:
    """A kiln at 1600 °F is at 871.11 °C."""
    assert units.to_celsius(float(fahrenheit), "F") == pytest.approx(celsius, abs=0.005)
    assert units.parse_temperature(f"{fahrenheit} F", "C") == pytest.approx(celsius, abs=0.005)


@pytest.mark.parametrize(("fahrenheit", "celsius"), ITS90)
def test_points_agree_with_printed_fixed_points(fahrenheit: float, celsius: float) -> None:
    """NIST's two columns of the same freezing point are one temperature."""
    assert units.from_celsius(celsius, "F") == pytest.approx(fahrenheit, abs=0.006)


def test_a_tolerance_has_no_offset() -> None:
    """25 °F of tolerance is 13.89 K; adding the 32 would make it −3.9."""
    assert units.parse_difference("25 F", "C") == pytest.approx(13.8889, abs=1e-4)
    assert units.parse_difference(25, "F") == pytest.approx(13.8889, abs=1e-4)
    assert units.difference_to_k(50.0, "F") == pytest.approx(27.7778, abs=1e-4)
    assert units.difference_from_k(13.8889, "F") == pytest.approx(25, abs=1e-3)


def test_rates_are_differences_in_time() -> None:
    """100 °F an hour is 55.56 K/h, 5 K a minute is 300 K/h."""
    assert units.parse_rate("100 F/h", "C") == pytest.approx(55.5556, abs=1e-4)
    assert units.parse_rate(100, "F") == pytest.approx(55.5556, abs=1e-4)
    assert units.parse_rate("5 K/min", "C") == pytest.approx(300)
    assert units.parse_rate("300 °C/h", "F") == pytest.approx(300)
    assert units.parse_rate("0.5 K/s", "C") == pytest.approx(1800)


@pytest.mark.parametrize(
    ("text", "seconds"),
    [
        ("90 min", 5400),
        ("1 h 30 min", 5400),
        ("1h30min", 5400),
        ("1:30", 5400),
        ("0:01:30.5", 90.5),
        ("2 d", 172800),
        (45, 45),
        ("45", 45),
        ("1.5 hours", 5400),
    ],
)
def test_durations(text: object, seconds: float) -> None:
    """The ways people write how long."""
    assert units.parse_duration(text) == pytest.approx(seconds)


@pytest.mark.parametrize(
    ("read", "value"),
    [
        (lambda v: units.parse_temperature(v, "C"), "hot"),
        (lambda v: units.parse_temperature(v, "C"), "870 X"),
        (lambda v: units.parse_temperature(v, "C"), True),
        (lambda v: units.parse_temperature(v, "C"), None),
        (lambda v: units.parse_temperature(v, "C"), "-300 C"),
        (lambda v: units.parse_temperature(v, "C"), float("nan")),
        (lambda v: units.parse_temperature(v, "C"), float("inf")),
        (lambda v: units.parse_temperature(v, "C"), "1e999"),
        (lambda v: units.parse_difference(v, "C"), "15 K/h"),
        (lambda v: units.parse_rate(v, "C"), "300 K"),
        (lambda v: units.parse_rate(v, "C"), "300 K/fortnight"),
        (units.parse_duration, "-5 min"),
        (units.parse_duration, -1),
        (units.parse_duration, "5 parsec"),
        (units.parse_duration, ""),
        (units.parse_duration, float("nan")),
        (units.parse_duration, True),
        (units.parse_instant, "yesterday"),
        (units.parse_instant, "2026-03-01T08:00:00"),
        (units.parse_instant, "9999-12-31T23:59:59-10:00"),
        (units.zone, "Middle/Earth"),
        (units.zone, "../../etc/passwd"),
    ],
)
def test_what_is_not_a_quantity_is_refused(read: object, value: object) -> None:
    """A wrong quantity is one sentence, never a plausible number."""
    with pytest.raises(InputError) as caught:
        read(value)  # type: ignore[operator]
    assert len(str(caught.value)) > 20


def test_instants_are_exact_to_the_microsecond() -> None:
    """No float stands between a time stamp and the store."""
    assert units.parse_instant("2026-03-01T08:00:00Z") == 1_772_352_000_000_000
    assert units.parse_instant("2026-03-01T08:00:00.000001Z") == 1_772_352_000_000_001
    assert units.parse_instant("2026-03-01T01:00:00-07:00") == 1_772_352_000_000_000
    assert units.iso_utc(1_772_352_000_000_001) == "2026-03-01T08:00:00.000001Z"
    assert units.iso_utc(1_772_352_000_500_000) == "2026-03-01T08:00:00.5Z"
    assert units.iso_utc(-1) == "1969-12-31T23:59:59.999999Z"


def test_local_stamps_use_the_zone_rules() -> None:
    """In Denver 08:00 is 15:00 UTC in winter and 14:00 in summer (IANA tz database)."""
    denver = ZoneInfo("America/Denver")
    assert units.iso_utc(units.parse_instant("2026-01-10T08:00", denver)) == "2026-01-10T15:00:00Z"
    assert units.iso_utc(units.parse_instant("2026-07-10T08:00", denver)) == "2026-07-10T14:00:00Z"


@given(st.integers(-(2**55), 2**56))
@settings(derandomize=True)
def test_instants_round_trip(t_us: int) -> None:
    """Written and read again, an instant is the same microsecond."""
    assert units.parse_instant(units.iso_utc(t_us)) == t_us


@given(st.floats(-273.15, 3000), st.sampled_from(["C", "F", "K"]))
@settings(derandomize=True)
def test_temperatures_round_trip(temp_c: float, unit: units.TemperatureUnit) -> None:
    """There and back changes nothing that a thermocouple could see."""
    assert units.to_celsius(units.from_celsius(temp_c, unit), unit) == pytest.approx(
        temp_c, abs=1e-9
    )


def test_arrays_convert_like_numbers() -> None:
    """The same function serves a reading and a whole firing, NaN staying NaN."""
    array = np.array([32.0, 212.0, np.nan])
    np.testing.assert_allclose(units.to_celsius(array, "F"), [0.0, 100.0, np.nan])


def test_seconds_since_and_back() -> None:
    """Seconds since an instant, of one or many, and the instant so many seconds after it."""
    assert units.seconds_since(1_000_000, 3_500_000) == 2.5
    many = units.seconds_since(1_000_000, np.array([1_000_000, 0], dtype=np.int64))
    np.testing.assert_array_equal(many, [0.0, -1.0])
    assert units.us_after(1_000_000, 2.5) == 3_500_000


def test_datetimes_of_any_offset_become_utc() -> None:
    """An aware datetime is an instant, whatever its offset."""
    there = datetime(2026, 3, 1, 10, 0, tzinfo=timezone(timedelta(hours=2)))
    assert units.iso_utc(units.datetime_to_us(there)) == "2026-03-01T08:00:00Z"
