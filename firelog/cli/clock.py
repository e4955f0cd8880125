"""The one place where commands ask what time it is."""

from __future__ import annotations

import time
from datetime import tzinfo

from firelog.foundry import FoundryFile
from firelog.say.instants import show_instant
from firelog.units import zone
from firelog.when import habit, understand


def now_us() -> int:
    """Return the present instant in microseconds UTC."""
    return time.time_ns() // 1000


def instant_or_now(text: str | None, foundry: FoundryFile, *, planned: bool = False) -> int:
    """Return the instant that a person wrote on the foundry's clock, or now."""
    return instant_there(text, foundry, zone(foundry.timezone), planned=planned)


def instant_there(
    text: str | None, foundry: FoundryFile, tz: tzinfo, *, planned: bool = False
) -> int:
    """Return the instant that a person wrote on a clock of that zone, or now."""
    now = now_us()
    if text is None:
        return now
    return understand(text, now, habit(tz, foundry.dates), planned=planned)


def on_the_clock(t_us: int, foundry: FoundryFile) -> str:
    """Return an instant as the foundry's own clock shows it: what was understood is said again."""
    return show_instant(t_us, zone(foundry.timezone), seconds=t_us % 60_000_000 != 0)
