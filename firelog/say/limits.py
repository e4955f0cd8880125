"""Limits with their sense: ``at most 270 °F/h``, ``1100 °F within 15 min``."""

from __future__ import annotations

from firelog.say.durations import show_duration
from firelog.say.numbers import NOTHING, quantity
from firelog.units import TemperatureUnit
from firelog.verdict import Limit, Side


def limit_words(asked: Limit, shown: TemperatureUnit) -> str:
    """Return a limit with the side on which a value is good, in the reader's unit."""
    value = quantity(asked.value, asked.unit, shown)
    if asked.within_s is None:
        return f"{asked.side} {value}"
    way = "down to " if asked.side is Side.AT_MOST else ""
    return f"{way}{value} within {show_duration(asked.within_s)}"


def range_words(
    low: float | None, high: float | None, unit: str, shown: TemperatureUnit, *, exact: bool = False
) -> str:
    """Return ``1093 °C to 1177 °C``, ``at least …`` or ``at most …`` in the reader's unit."""
    ends = [None if end is None else quantity(end, unit, shown, exact=exact) for end in (low, high)]
    match ends:
        case [str(first), str(last)]:
            return f"{first} to {last}"
        case [str(first), None]:
            return f"{Side.AT_LEAST} {first}"
        case [None, str(last)]:
            return f"{Side.AT_MOST} {last}"
    return NOTHING
