"""Time in files: zones held to Python's own ``zoneinfo``, dates decided over the whole file."""

from __future__ import annotations

from collections.abc import Callable
from datetime import UTC, datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from firelog.errors import InputError
from firelog.intake.file.clock import stamps
from firelog.intake.file.clock.order import decide, runs
from firelog.intake.file.logfile import ImportOptions, examine, read, zone_or_offset
from firelog.units import datetime_to_us, parse_instant

# Zones with an hour's change, half an hour's, at midnight, in the southern autumn; zoneinfo knows.
ZONES = [
    "Europe/Lisbon",
    "America/Denver",
    "Australia/Lord_Howe",
    "America/Asuncion",
    "Asia/Beirut",
]


def local_log(path: Path, moments: list[datetime], zone: str) -> Path:
    """Write a log of wall-clock stamps, as zoneinfo shows these moments."""
    rows = [
        f"{m.astimezone(ZoneInfo(zone)):%Y-%m-%d %H:%M:%S},{20 + i % 400}.5"
        for i, m in enumerate(moments)
    ]
    path.write_text("Time,T [C]\n" + "\n".join(rows) + "\n")
    return path


def instants(path: Path, options: ImportOptions) -> list[int]:
    """Return the instants of all readings of a one-channel log, in file order."""
    found = [part.t_us for c in read(path, examine(path, options)) for part in c.parts]
    return np.concatenate(found).tolist()


def nights(zone: str, year: int = 2022) -> list[datetime]:
    """Return the instants (UTC, to the hour) at which the zone's clocks change in a year."""
    start = datetime(year, 1, 1, tzinfo=UTC)
    hours = [start + timedelta(hours=i) for i in range(366 * 24)]
    offsets = [hour.astimezone(ZoneInfo(zone)).utcoffset() for hour in hours]
    return [hours[i] for i in range(1, len(hours)) if offsets[i] != offsets[i - 1]]


@pytest.mark.parametrize("zone", ZONES)
@pytest.mark.parametrize("step_s", [60, 600])
@pytest.mark.parametrize("newest_first", [False, True])
def test_both_nights_against_zoneinfo(
    tmp_path: Path, zone: str, step_s: int, *, newest_first: bool
) -> None:
    """Local stamps written by zoneinfo through each change of a year come back as the instants."""
    changes = nights(zone)
    assert len(changes) == 2
    for night in changes:
        begin = night - timedelta(hours=5)
        moments = [begin + timedelta(seconds=step_s * i) for i in range(10 * 3600 // step_s)]
        if newest_first:
            moments.reverse()
        path = local_log(tmp_path / "log.csv", moments, zone)
        found = instants(path, ImportOptions(tz=ZoneInfo(zone)))
        assert found == [datetime_to_us(moment) for moment in moments]


@pytest.mark.parametrize("minutes", [-59, -30, 1, 30])
def test_file_that_begins_in_the_repeated_hour(tmp_path: Path, minutes: int) -> None:
    """A log that starts inside the hour that comes twice is placed in the right pass."""
    night = datetime(2026, 10, 25, 1, tzinfo=UTC)  # Lisbon goes back at 01:00 UTC (zoneinfo)
    moments = [night + timedelta(minutes=minutes + 5 * i) for i in range(60)]
    path = local_log(tmp_path / "log.csv", moments, "Europe/Lisbon")
    found = instants(path, ImportOptions(tz=ZoneInfo("Europe/Lisbon")))
    assert found == [datetime_to_us(moment) for moment in moments]


def test_file_inside_the_repeated_hour_is_refused(tmp_path: Path) -> None:
    """A log wholly inside the repeated hour may be either pass: it is refused, naming --tz."""
    night = datetime(2026, 10, 25, 1, tzinfo=UTC)
    moments = [night + timedelta(minutes=5 + i) for i in range(20)]
    path = local_log(tmp_path / "log.csv", moments, "Europe/Lisbon")
    with pytest.raises(InputError, match=r"which pass.*--tz"):
        examine(path, ImportOptions(tz=ZoneInfo("Europe/Lisbon")))
    assert instants(path, ImportOptions(tz=zone_or_offset("+00:00"))) == [
        datetime_to_us(m) for m in moments
    ]


def test_clock_that_never_changes_is_noticed_in_autumn(tmp_path: Path) -> None:
    """A log that runs through the repeated hour once was kept by a clock that stays put."""
    begin = datetime(2026, 10, 24, 23, tzinfo=UTC)
    moments = [begin + timedelta(minutes=10 * i) for i in range(40)]
    path = local_log(tmp_path / "log.csv", moments, "Etc/GMT-1")  # an hour ahead, always
    with pytest.raises(InputError, match="did not follow Europe/Lisbon"):
        instants(path, ImportOptions(tz=ZoneInfo("Europe/Lisbon")))


def test_hole_over_the_change_is_no_contradiction(tmp_path: Path) -> None:
    """A log with a gap of hours over the autumn change is read as the zone says."""
    night = datetime(2026, 10, 25, 1, tzinfo=UTC)
    moments = [night + timedelta(minutes=m) for m in (-240, -200, -160, 180, 220)]
    path = local_log(tmp_path / "log.csv", moments, "Europe/Lisbon")
    assert instants(path, ImportOptions(tz=ZoneInfo("Europe/Lisbon"))) == [
        datetime_to_us(moment) for moment in moments
    ]


def test_date_order_is_decided_by_the_last_row(tmp_path: Path) -> None:
    """The only date that decides may stand thousands of lines below the sample."""
    day = datetime(2026, 2, 1, tzinfo=UTC)
    moments = [day + timedelta(minutes=4 * i) for i in range(13 * 360 - 100)]
    rows = [f"{m:%d/%m/%Y %H:%M:%S},20.5" for m in moments]
    path = tmp_path / "log.csv"
    path.write_text("Time,T [C]\n" + "\n".join(rows) + "\n")
    assert instants(path, ImportOptions(tz=UTC)) == [datetime_to_us(moment) for moment in moments]


@pytest.mark.parametrize(
    ("dates", "order"),
    [
        (["13/02/2026"], "dmy"),
        (["02/13/2026"], "mdy"),
        (["01/02/26", "31/02/26"], InputError),
        (["05/05/2026"], "dmy"),
        (["01.02.2026"], "dmy"),
        (["2026-01-02"], None),
        (["3 Feb 2026"], None),
        (["26/02/28", "26/03/01"], "ymd"),
        (["03/04/2026"], InputError),
    ],
)
def test_date_orders(dates: list[str], order: object) -> None:
    """A number above 12 decides; equal numbers need no decision; nothing else is guessed."""
    found = runs((date, time) for date in dates for time in ("00:00:10", "23:59:50"))
    if order is InputError:
        with pytest.raises(InputError):
            decide(found, "log.csv")
    else:
        assert decide(found, "log.csv") == order


FORMATS: list[tuple[str, Callable[[datetime], str]]] = [
    ("iso", lambda m: m.isoformat()),
    ("iso Z", lambda m: f"{m:%Y-%m-%dT%H:%M:%S.%f}Z"),
    ("compact", lambda m: f"{m:%Y%m%dT%H%M%S}.{m.microsecond:06d}+0000"),
    ("words", lambda m: f"{m:%a, %d %b %Y %H:%M:%S.%f} UTC"),
    ("twelve", lambda m: f"{m:%Y/%m/%d %I:%M:%S.%f %p}"),
]


@settings(max_examples=200, deadline=None)
@given(
    st.datetimes(datetime(1999, 1, 1), datetime(2099, 12, 31), timezones=st.just(UTC)),  # noqa: DTZ001
    st.sampled_from(FORMATS),
)
def test_stamps_against_datetime(
    moment: datetime, form: tuple[str, Callable[[datetime], str]]
) -> None:
    """Whatever ``datetime`` writes is read back to the microsecond."""
    stamp = stamps.cut(form[1](moment))
    assert stamp is not None
    day, clock = stamps.day_number(stamp.date, None), stamps.time_of_day_us(stamp.time)
    assert day is not None
    assert clock is not None
    offset = stamps.zone_us(stamp.zone) if stamp.zone else 0
    assert day * stamps.DAY_US + clock - offset == datetime_to_us(moment)


@pytest.mark.parametrize(
    "text",
    [
        "2026-02-30",
        "2026-13-01",
        "31/04/2026 08:00",
        "25:00",
        "12:60",
        "13:00 PM",
        "0:30 AM",
        "24:00:01",
    ],
)
def test_impossible_stamps_are_no_times(text: str) -> None:
    """Days and hours that do not exist are not bent into ones that do."""
    stamp = stamps.cut(text)
    day = stamps.day_number(stamp.date, "dmy") if stamp and stamp.date else 0
    clock = stamps.time_of_day_us(stamp.time) if stamp and stamp.time else 0
    assert stamp is None or day is None or clock is None


@pytest.mark.parametrize(
    ("text", "seconds"),
    [("100:00:05", 360_005), ("-0:30", -1800), ("1 02:00:00", 93_600), ("2d 01:00:00", 176_400)],
)
def test_elapsed_clocks(text: str, seconds: float) -> None:
    """Elapsed clocks may pass a day, count days, and stand before zero."""
    assert stamps.span_us(text) == seconds * 1_000_000


def test_time_of_day_or_elapsed_is_asked(tmp_path: Path) -> None:
    """A first 08:15:00 that does not fit --start may be either: --times is asked for."""
    path = tmp_path / "log.csv"
    path.write_text("Time,T [C]\n08:15:00,20\n08:15:10,21\n")
    start = parse_instant("2026-03-01T07:00:00Z")
    with pytest.raises(InputError, match=r"--times clock or --times elapsed"):
        examine(path, ImportOptions(start_us=start))
    as_clock = instants(path, ImportOptions(start_us=start, times="clock"))
    as_elapsed = instants(path, ImportOptions(start_us=start, times="elapsed"))
    assert as_clock == [start, start + 10_000_000]
    assert as_elapsed == [start + 29_700_000_000, start + 29_710_000_000]


def test_hundreds_of_rows_to_a_minute_stamp(tmp_path: Path) -> None:
    """Ten rows a second under stamps of a minute: 600 rows are spread over each minute."""
    path = tmp_path / "log.csv"
    rows = [f"2026-03-01T08:{i // 600:02d}Z,{20 + i % 50}.{i % 10}" for i in range(150, 600 * 8)]
    path.write_text("Time,T [C]\n" + "\n".join(rows) + "\n")
    found = instants(path, ImportOptions())
    start = parse_instant("2026-03-01T08:00:00Z")
    assert found == [start + 100_000 * i for i in range(150, 600 * 8)]


def test_start_without_need_is_mentioned(tmp_path: Path) -> None:
    """A start for times that carry dates changes nothing, and that is said."""
    path = tmp_path / "log.csv"
    path.write_text("Time,T [C]\n2026-03-01T08:00:00Z,20.5\n")
    plan = examine(path, ImportOptions(start_us=0))
    assert any("--start is not used" in warning for warning in plan.warnings)
