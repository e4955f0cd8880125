"""The one place where commands ask what time it is."""

from __future__ import annotations

import time

from firelog.units import parse_instant, zone


def now_us() -> int:
    """Return the present instant in microseconds UTC."""
    return time.time_ns() // 1000


def instant_or_now(text: str | None, timezone: str) -> int:
    """Return the instant written in ``text`` (local stamps in ``timezone``), or now."""
    return now_us() if text is None else parse_instant(text, zone(timezone))
