"""How the board says numbers, times and verdicts."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import timedelta
from zoneinfo import ZoneInfo

from firelog.errors import InputError
from firelog.record.store import Store
from firelog.say.limits import limit_words
from firelog.schedule.plan.model import Check
from firelog.units import TemperatureUnit, us_to_datetime, zone


@dataclass(frozen=True)
class Manner:
    """How this foundry, or this reader, wants to see things."""

    unit: TemperatureUnit = "C"
    tz: ZoneInfo = field(default_factory=lambda: zone("UTC"))
    foundry: str = "our foundry"


def manner(store: Store, chosen_unit: str | None = None) -> Manner:
    """Return the store's settings; a unit chosen in the browser wins over the foundry's."""
    unit = chosen_unit if chosen_unit in ("C", "F") else store.setting("unit", "C")
    try:
        tz = zone(store.setting("timezone", "UTC"))
    except InputError:
        tz = zone("UTC")  # the page must open at night, whatever somebody wrote into the settings
    known: TemperatureUnit = "F" if unit == "F" else "K" if unit == "K" else "C"
    return Manner(known, tz, store.setting("name", "our foundry"))


# ---------------------------------------------------------------- numbers
def limit(check: Check, shown: TemperatureUnit) -> str:
    """Return a check's limit with its sense."""
    return limit_words(check.asked, shown)


# ---------------------------------------------------------------- times
def day(t_us: int, how: Manner) -> str:
    """Return ``Sun 1 Mar 2026`` in local time."""
    moment = us_to_datetime(t_us, how.tz)
    return f"{moment:%a} {moment.day} {moment:%b %Y}"


def clock(t_us: int, how: Manner, *, weekday_from: int | None = None) -> str:
    """Return ``08:00``; with ``weekday_from``, the weekday too when that was another day."""
    moment = us_to_datetime(t_us, how.tz)
    other = weekday_from is not None and (
        us_to_datetime(weekday_from, how.tz).date() != moment.date()
    )
    return f"{moment:%a %H:%M}" if other else f"{moment:%H:%M}"


def zone_words(t_us: int, how: Manner) -> str:
    """Return ``MST (UTC−7)``: the zone's own abbreviation and its offset at that instant."""
    moment = us_to_datetime(t_us, how.tz)
    offset = moment.utcoffset() or timedelta()
    minutes = round(offset.total_seconds() / 60)
    sign = "−" if minutes < 0 else "+"
    hours, rest = divmod(abs(minutes), 60)
    text = "UTC" if not minutes else f"UTC{sign}{hours}" + (f":{rest:02d}" if rest else "")
    name = moment.tzname() or ""
    return name if name == text else f"{name} ({text})"


def elapsed(seconds: float | None) -> str:
    """Return ``+3:05`` hours and minutes since the firing began, or ``never``."""
    if seconds is None:
        return "never"
    sign, whole = ("−" if seconds < 0 else "+"), round(abs(seconds))
    return f"{sign}{whole // 3600}:{whole % 3600 // 60:02d}"
