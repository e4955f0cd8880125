"""Metal that came into a melt while it stood or was out, as somebody wrote it down.

Events are free words; weight and temperature are read out of them. What cannot be read is said: the
metal's temperature is then not known until the next dip.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from firelog.record.rows import Event
from firelog.units import ZERO_C_IN_K, parse_temperature

_KINDS = ("charge", "charged", "charging", "refill", "refilled", "metal added", "topped up")
_NUMBER = r"(-?\d+(?:[.,]\d+)?)"
_WEIGHT = re.compile(_NUMBER + r"\s*(kg|kilos?|kilograms?|g|lbs?|pounds?)\b", re.IGNORECASE)
_TEMPERATURE = re.compile(_NUMBER + r"\s*(?:°|deg\w*)?\s*(C|F)\b")
_KG = {"kg": 1.0, "k": 1.0, "g": 0.001, "l": 0.45359237, "p": 0.45359237}
COLD_C = 20.0  # of a charge whose temperature nobody noted; common practice, no source


@dataclass(frozen=True)
class Charged:
    """Metal that came in at an instant [µs UTC]: its weight [kg] and temperature [°C].

    None where the words do not say it.
    """

    at_us: int
    kg: float | None
    temp_c: float | None
    text: str


def charges_of(events: Sequence[Event]) -> tuple[Charged, ...]:
    """Return the events that brought metal into the melt, in order of time.

    >>> from firelog.record.rows import Event
    >>> one = Event(1, 0, "refilled", "6.5 kg of metal at 1900 F", "", "f", None, None)
    >>> [(c.kg, round(c.temp_c)) for c in charges_of([one])]
    [(6.5, 1038)]
    """
    return tuple(
        Charged(event.t_us, _weight(event.text), _temperature(event.text), event.text)
        for event in sorted(events, key=lambda one: one.t_us)
        if event.kind.strip().lower().startswith(_KINDS)
    )


def _weight(text: str) -> float | None:
    found = _WEIGHT.search(text)
    if found is None:
        return None
    unit = found.group(2).lower()
    factor = _KG["kg"] if unit.startswith("k") else _KG[unit[0]]
    kilograms = float(found.group(1).replace(",", ".")) * factor
    return kilograms if kilograms > 0.0 else None


def _temperature(text: str) -> float | None:
    found = _TEMPERATURE.search(text)
    if found is None:
        return None
    value = float(found.group(1).replace(",", "."))
    temp_c = parse_temperature(value, "C" if found.group(2) == "C" else "F")
    return temp_c if temp_c > -ZERO_C_IN_K else None
