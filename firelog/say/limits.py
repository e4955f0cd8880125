"""Limits with their sense: ``at most 270 °F/h``, ``1100 °F within 15 min``."""

from __future__ import annotations

from firelog.say.checks import quantity
from firelog.units import TemperatureUnit, show_duration
from firelog.verdict import Limit, Side


def limit_words(asked: Limit, shown: TemperatureUnit) -> str:
    """Return a limit with the side on which a value is good, in the reader's unit."""
    value = quantity(asked.value, asked.unit, shown)
    if asked.within_s is None:
        return f"{asked.side} {value}"
    way = "down to " if asked.side is Side.AT_MOST else ""
    return f"{way}{value} within {show_duration(asked.within_s)}"
