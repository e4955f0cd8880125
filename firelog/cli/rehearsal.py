"""A rehearsed night, printed: who would have been called, when and with what words."""

from __future__ import annotations

from datetime import tzinfo
from typing import Any

from rich.padding import Padding
from rich.text import Text

from firelog.cli.show import console
from firelog.say.durations import show_duration
from firelog.say.instants import show_instant
from firelog.units import iso_utc, seconds_since
from firelog.watch.rehearse.rehearsal import PlayedCall, Rehearsal


def told(played: Rehearsal) -> dict[str, Any]:
    """Return the rehearsal as the JSON object of ``firelog watch rehearse --json``."""
    return {
        "firing": played.firing,
        "calls": [
            {
                "at": iso_utc(call.at_us),
                "after_s": seconds_since(played.from_us, call.at_us),
                "to": call.person,
                "kind": call.kind,
                "priority": call.priority.word,
                "text": call.text,
                "repeat": call.repeat,
            }
            for call in played.calls
        ],
        "ready_at": None if played.ready_us is None else iso_utc(played.ready_us),
        "done_at": None if played.done_us is None else iso_utc(played.done_us),
    }


def show(played: Rehearsal, tz: tzinfo) -> None:
    """Print the night for a person: each message as it would have come."""
    out = console()
    what = f"{played.firing}: " if played.firing else ""
    hours = show_duration(seconds_since(played.from_us, played.until_us))
    out.print(Text(f"{what}{hours} from {show_instant(played.from_us, tz)}, played.", "bold"))
    for call in played.calls:
        out.print(Text.assemble("\n", (_head(played, call, tz), "bold")))
        out.print(Padding(Text(call.text), (0, 0, 0, 4)))
    alarms = sum(not call.good_news for call in played.calls)
    first = sum(not call.good_news and not call.repeat for call in played.calls)
    ready = "never" if played.ready_us is None else show_instant(played.ready_us, tz)
    out.print(f"\n{first} calls for help ({alarms} messages with repeats); ready: {ready}")
    out.print("Nothing was sent, and nobody answered. firelog is no safety device.")


def _head(played: Rehearsal, call: PlayedCall, tz: tzinfo) -> str:
    into = show_duration(abs(seconds_since(played.from_us, call.at_us)))
    side = "in" if call.at_us >= played.from_us else "before"
    again = " again" if call.repeat else ""
    at = show_instant(call.at_us, tz)
    return f"{at} ({into} {side}), {call.priority.word}, to {call.person}{again}"
