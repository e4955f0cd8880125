"""How the numbers of a pour are said, the same in a terminal and on the board."""

from __future__ import annotations

from firelog.physics.metal.dips import Dip
from firelog.pouring.checks import PourCheck
from firelog.say.limits import range_words
from firelog.say.numbers import plus_minus, show_difference, with_doubt
from firelog.units import TemperatureUnit


def found_words(check: PourCheck, unit: TemperatureUnit) -> str:
    """Return what was found with its U, such as ``1119 °C ± 5.4 K`` or ``3 min 14 s ± 8 s``."""
    return with_doubt(check, unit, exact=True)


def limits_words(check: PourCheck, unit: TemperatureUnit) -> str:
    """Return ``1093 °C to 1177 °C``, ``at least …`` or ``at most …`` in the reader's unit."""
    return range_words(check.low, check.high, check.unit, unit, exact=True)


def dip_words(dip: Dip, unit: TemperatureUnit) -> str:
    """Return what is to be said of a dip: settled, or how far it still had to go."""
    if dip.settled:
        return "settled"
    rest = show_difference(max(dip.climbing_k, 0.0), unit)
    return (
        f"pulled too early: it was still {rest} below where it was going "
        f"({plus_minus(dip.fit_expanded_k, 'K', unit)}); {5.4 * dip.tau_s:.0f} s would have done"
    )
