"""How long a mould was out of its kiln before it was poured, from the times people noted."""

from __future__ import annotations

import math

from firelog.quantity import How, Quantity, Unknown
from firelog.say.durations import show_exact_duration
from firelog.units import seconds_since


def handover(out_us: int | None, began_us: int, within_s: float) -> Quantity | Unknown:
    """Return the delay [s] between kiln and pour, of two noted instants [µs UTC].

    Each is rectangular within its half-width ``within_s`` [s] (JCGM 100:2008, 4.3.7); U = 2 u.
    """
    if out_us is None:
        return Unknown("nobody noted when the mould left the kiln")
    if began_us < out_us:
        return Unknown("it is noted as leaving the kiln after it was poured, which cannot be")
    return noted_delay(out_us, began_us, within_s)


def noted_delay(from_us: int, to_us: int, within_s: float) -> Quantity:
    """Return the time [s] from one noted instant to another, each sure within ``within_s`` [s]."""
    expanded_s = 2.0 * within_s / math.sqrt(3.0) * math.sqrt(2.0)
    why = f"both times as noted, each within {show_exact_duration(within_s)}"
    return Quantity(seconds_since(from_us, to_us), "s", expanded_s, How.NOTED, why)
