"""How a check's numbers are said, the same in a terminal, on the board and in a report."""

from __future__ import annotations

from firelog.schedule.plan.model import Check
from firelog.units import (
    TemperatureUnit,
    difference_from_k,
    from_celsius,
    show_difference,
    show_duration,
    show_rate,
    show_temperature,
)


def quantity(value: float | None, unit: str, shown: TemperatureUnit) -> str:
    """Return a check's number in the reader's unit; an en dash where there is none."""
    if value is None:
        return "–"
    if unit == "C":
        digits = 1 if abs(from_celsius(value, shown)) < 100 else 0
        return show_temperature(value, shown, digits)
    if unit == "K":
        return show_difference(value, shown, 1 if difference_from_k(abs(value), shown) < 20 else 0)
    if unit == "K/h":
        return show_rate(value, shown)
    if unit == "s":
        return show_duration(value)
    if unit == "share":
        return f"{100 * value:.1f} %"
    return f"{value:g} {unit}"


def doubt(check: Check, shown: TemperatureUnit) -> str:
    """Return ``± 8 K`` style text of a check's expanded uncertainty, or nothing.

    Nothing where none can be stated, and for a duration that no hole and no limit leaves in doubt.
    """
    if not check.uncertainty:
        return ""
    return f"± {quantity(check.uncertainty, 'K' if check.unit == 'C' else check.unit, shown)}"
