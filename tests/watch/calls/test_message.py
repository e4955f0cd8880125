"""The words of a call as somebody gets it: what is now, how late it is, whether it still holds."""

from __future__ import annotations

from dataclasses import replace
from zoneinfo import ZoneInfo

from firelog.alarm import AlarmState, Priority
from firelog.record.rows import Call, StoredAlarm
from firelog.watch.calls.message import Attempt, compose

T0 = 1_772_352_000_000_000  # 2026-03-01T08:00:00Z
MINUTE_US = 60 * 10**6
LISBON = ZoneInfo("Europe/Lisbon")
ALARM = StoredAlarm(
    12, "k/cold", "falling", "north kiln", "night", Priority.HIGH,
    "north kiln falls: 40 K down.", "Look at the kiln.", AlarmState.UNACKNOWLEDGED, True,
    T0, T0, None, None,
)  # fmt: skip
CALL = Call(3, 12, "Ines", "mailto 1", "first", "", "", T0, T0)


def said(alarm: StoredAlarm = ALARM, number: int = 1, after_min: float = 0.0) -> tuple[str, str]:
    """Return title and body of a try some minutes after the call was due."""
    return compose(alarm, Attempt(CALL, number, T0 + round(after_min * MINUTE_US)), LISBON)


def test_a_first_call_says_what_is_since_when_and_what_to_do() -> None:
    """Title, the alarm's words, since when, the remedy, and its number to tell twins by."""
    title, body = said()
    assert title == "north kiln: falling"
    assert "Since 2026-03-01 08:00 WET" in body
    assert "What to do: Look at the kiln." in body
    assert "Alarm 12, call 1." in body
    assert "could not be delivered" not in body


def test_a_call_that_was_held_back_says_its_age_and_that_it_still_holds() -> None:
    """Forty minutes late."""
    _, body = said(after_min=40.0)
    assert "due 40 min ago and could not be delivered until now; it still holds." in body


def test_a_call_whose_cause_is_over_says_so() -> None:
    """It stood, nobody could be reached, it went: that is what the person reads."""
    title, body = said(replace(ALARM, state=AlarmState.RETURNED), after_min=40.0)
    assert title == "north kiln: falling, over"
    assert "it is over meanwhile" in body


def test_the_same_call_twice_can_be_seen_to_be_the_same() -> None:
    """A crash between sending and noting sends it again: the same alarm and number; a reminder
    has the next number."""
    assert said()[1].splitlines()[-1] == said(after_min=0.5)[1].splitlines()[-1]
    title, body = said(number=2, after_min=1.0)
    assert title.endswith("still")
    assert "Alarm 12, call 2." in body
