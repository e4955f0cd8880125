"""How long a mould was out of its kiln before it was poured, from the times people noted."""

from __future__ import annotations

import math

from firelog.quantity import How, Quantity, Unknown
from firelog.say.durations import show_exact_duration
from firelog.units import seconds_since


def handover(
    out_us: int | None, began_us: int, within_s: float, out_within_s: float | None = None
) -> Quantity | Unknown:
    """Return the delay [s] between kiln and pour, of two noted instants [µs UTC].

    Each is rectangular within its own half-width [s] (JCGM 100:2008, 4.3.7); U = 2 u.
    """
    if out_us is None:
        return Unknown("nobody noted when the mould left the kiln")
    if began_us < out_us:
        return Unknown("it is noted as leaving the kiln after it was poured, which cannot be")
    return noted_delay(out_us, began_us, within_s, out_within_s)


def noted_delay(
    from_us: int, to_us: int, within_s: float, from_within_s: float | None = None
) -> Quantity:
    """Return the time [s] from one noted instant to another, each sure within so much [s]."""
    first_s = within_s if from_within_s is None else from_within_s
    expanded_s = 2.0 / math.sqrt(3.0) * math.hypot(within_s, first_s)
    why = f"both times as noted, each within {show_exact_duration(within_s)}"
    if first_s != within_s:
        first, then = show_exact_duration(first_s), show_exact_duration(within_s)
        why = f"times as noted, within {first} and {then}"
    return Quantity(
        seconds_since(from_us, to_us), "s", expanded_s, How.NOTED, why,
        counted=("how far off both times were noted",),
    )  # fmt: skip
