"""Quiet hours and escalation in the two nights in which the clocks change."""

from __future__ import annotations

from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from firelog.alarm import AlarmState, Priority
from firelog.record.rows import Call, StoredAlarm
from firelog.units import us_to_datetime
from firelog.watch.calls.calling import next_calls
from firelog.watch.plan import Person, WatchPlan, Way

LISBON = ZoneInfo("Europe/Lisbon")
INES = Person("Ines", (Way("mailto 1", "mailto://nowhere"),), quiet=(22 * 60, 6 * 60 + 30))
TOMAS = Person("Tomás", (Way("mailto 1", "mailto://nowhere"),))
# The last Sundays of March and October (Directive 2000/84/EC), each from the evening before.
EVENINGS = [
    datetime(2026, 3, 28, 22, 30, tzinfo=LISBON),
    datetime(2026, 10, 24, 22, 30, tzinfo=LISBON),
]


def alarm(priority: Priority, at: datetime) -> StoredAlarm:
    """Return an alarm called out at an instant."""
    t_us = round(at.timestamp()) * 10**6
    return StoredAlarm(
        1, "k/x", "behind plan", "k", "night", priority, "text", "remedy",
        AlarmState.UNACKNOWLEDGED, True, t_us, t_us, None, None,
    )  # fmt: skip


def first_call(one: StoredAlarm, plan: WatchPlan, made: list[Call], step_s: int = 60) -> int:
    """Return when the next call is made [µs UTC], looking once a minute as the rounds do."""
    t_us = made[-1].made_us if made else one.began_us
    for _ in range(24 * 60):
        local = us_to_datetime(t_us, LISBON)
        if next_calls([one], made, plan, t_us, local.hour * 60 + local.minute):
            return t_us
        t_us += step_s * 10**6
    raise AssertionError("nobody was called within a day")


@pytest.mark.parametrize("evening", EVENINGS)
def test_quiet_hours_end_by_the_clock_on_the_wall(evening: datetime) -> None:
    """What can wait is told at 06:30 local time, after 7 hours in spring and 9 in autumn."""
    at_us = first_call(alarm(Priority.MEDIUM, evening), WatchPlan((INES,)), [])
    local = us_to_datetime(at_us, LISBON)
    assert (local.hour, local.minute) == (6, 30)
    hours = (at_us / 1e6 - evening.timestamp()) / 3600.0
    assert hours == (7.0 if evening.month == 3 else 9.0)


@pytest.mark.parametrize("evening", EVENINGS)
def test_escalation_counts_minutes_that_pass(evening: datetime) -> None:
    """Called ten minutes before the change, the next person is called ten minutes later."""
    change = datetime(evening.year, evening.month, evening.day, 23, 55, tzinfo=LISBON)
    change = change + timedelta(hours=1)
    one = alarm(Priority.HIGH, change)
    first = Call(1, 1, "Ines", "mailto 1", "first", "", "", one.began_us, one.began_us)
    at_us = first_call(one, WatchPlan((INES, TOMAS)), [first])
    assert (at_us - one.began_us) / 1e6 == 600.0
