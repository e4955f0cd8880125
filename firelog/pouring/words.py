"""How the numbers of a pour are said, the same in a terminal and on the board."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

from firelog.physics.metal.dips import Dip
from firelog.say.checks import quantity
from firelog.units import TemperatureUnit, show_difference

if TYPE_CHECKING:
    from firelog.pouring.checks import PourCheck


def found_words(check: PourCheck, unit: TemperatureUnit) -> str:
    """Return what was found with its U, such as ``1119 °C ± 5.4 K`` or ``3 min 14 s ± 8 s``."""
    if check.measured is None:
        return "–"
    found = _said(check.measured, check.unit, unit)
    if check.uncertainty is None:
        return f"{found} ± ?"
    return f"{found} ± {_said(check.uncertainty, 'K' if check.unit == 'C' else check.unit, unit)}"


def limits_words(check: PourCheck, unit: TemperatureUnit) -> str:
    """Return ``1093 °C to 1177 °C``, ``at least …`` or ``at most …`` in the reader's unit."""
    low = None if check.low is None else _said(check.low, check.unit, unit)
    high = None if check.high is None else _said(check.high, check.unit, unit)
    if low and high:
        return f"{low} to {high}"
    return f"at least {low}" if low else f"at most {high}" if high else "–"


def dip_words(dip: Dip, unit: TemperatureUnit) -> str:
    """Return what is to be said of a dip: settled, or how far it still had to go."""
    if dip.settled:
        return "settled"
    rest = show_difference(max(dip.climbing_k, 0.0), unit)
    return (
        f"pulled too early: it was still {rest} below where it was going "
        f"(± {show_difference(dip.fit_expanded_k, unit)}); {5.4 * dip.tau_s:.0f} s would have done"
    )


def plus_minus(expanded_k: float, unit: TemperatureUnit) -> str:
    """Return ``± 5 K`` for a U [K], or ``± ?`` where no uncertainty can be stated."""
    return f"± {show_difference(expanded_k, unit)}" if math.isfinite(expanded_k) else "± ?"


def minutes(seconds: float) -> str:
    """Return ``14 s`` or ``3 min 14 s`` for a duration [s]: at a pour the seconds matter."""
    whole = round(abs(seconds))
    sign = "−" if seconds < 0 and whole else ""
    if whole < 60:
        return f"{sign}{whole} s"
    rest = f" {whole % 60:02d} s" if whole % 60 else ""
    return f"{sign}{whole // 60} min{rest}"


def _said(value: float, unit: str, shown: TemperatureUnit) -> str:
    return minutes(value) if unit == "s" else quantity(value, unit, shown)
