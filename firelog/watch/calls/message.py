"""The words of a call as it goes out: what is now, since when, what to do. Pure."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import tzinfo

from firelog.alarm import AlarmState
from firelog.record.rows import Call, StoredAlarm
from firelog.say.durations import show_duration
from firelog.say.instants import show_instant
from firelog.units import seconds_since

CAUTION = "firelog switches nothing and is no safety device."
HELD_S = 90.0  # a call that comes later than this says how late it is


@dataclass(frozen=True)
class Attempt:
    """A call about to be tried: which of the alarm's calls it is, from 1 on, and when."""

    call: Call
    number: int
    now_us: int


def compose(alarm: StoredAlarm, attempt: Attempt, tz: tzinfo) -> tuple[str, str]:
    """Return title and body of a call as things stand when it is tried.

    The same alarm and number twice is the same call delivered twice, and can be seen to be.
    """
    call, now_us = attempt.call, attempt.now_us
    over = alarm.state is AlarmState.RETURNED
    again = attempt.number > 1
    where = f"{alarm.kiln}: " if alarm.kiln else ""
    title = f"{where}{alarm.kind}{', over' if over else ', still' if again else ''}"
    lasted_s = seconds_since(alarm.began_us, now_us)
    ago = f", {show_duration(lasted_s)} ago" if lasted_s >= 60.0 else ""
    lines = [alarm.text, f"Since {show_instant(alarm.began_us, tz)}{ago}."]
    held_s = seconds_since(call.made_us, now_us)
    if held_s > HELD_S:
        late = show_duration(held_s)
        lines.append(
            f"This call was due {late} ago and could not be delivered until now; "
            + ("it is over meanwhile." if over else "it still holds.")
        )
    elif over:
        lines.append("It is over; nobody has said yet that they saw it.")
    lines += [f"What to do: {alarm.remedy}", f"Alarm {alarm.id}, call {attempt.number}. {CAUTION}"]
    return title, "\n".join(lines)
