"""What unit may bare numbers of a port be in? Asked, with what the numbers themselves say.

Pure. Nothing is assumed: 21 °C and 21 °F are both seen in workshops, and a kiln at 1600 °F reads
like one at 1600 °C. Limits are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Literal, get_args

from firelog.units import TemperatureUnit, to_celsius

_ROOM_C = (2.0, 45.0)  # a couple at rest
_POSSIBLE_C = (-40.0, 1420.0)  # a couple in a workshop, a kiln or bronze
_Fit = Literal["a room", "heat", "impossible"]


def ask(values: Sequence[float]) -> str:
    """Return the question for numbers whose unit nobody has said, with the evidence and a proposal.

    >>> ask([21.5, 22.0]).split(". ")[1]
    'If one of them is cold now, it is C'
    """
    low, high = min(values), max(values)
    words, fits = [], dict[TemperatureUnit, _Fit]()
    for unit in get_args(TemperatureUnit):
        low_c, high_c = float(to_celsius(low, unit)), float(to_celsius(high, unit))
        fits[unit] = _fit(low_c, high_c)
        words.append(f"as {unit} {_said(fits[unit], low_c, high_c)}")
    return (
        f"Nothing in the lines says what {low:g} to {high:g} are in: {'; '.join(words)}. "
        f"{_proposal(fits)} Listen again with --unit C, --unit F or --unit K."
    )


def _fit(low_c: float, high_c: float) -> _Fit:
    if low_c < _POSSIBLE_C[0] or high_c > _POSSIBLE_C[1]:
        return "impossible"
    return "a room" if _ROOM_C[0] <= low_c <= _ROOM_C[1] else "heat"


def _said(fit: _Fit, low_c: float, high_c: float) -> str:
    span = f"{low_c:.0f} to {high_c:.0f} °C" if round(low_c) != round(high_c) else f"{low_c:.0f} °C"
    if fit == "impossible":
        return f"they cannot be: {span}"
    return f"they are {span}{', the coldest a room' if fit == 'a room' else ''}"


def _proposal(fits: dict[TemperatureUnit, _Fit]) -> str:
    possible = [unit for unit, fit in fits.items() if fit != "impossible"]
    rooms = [unit for unit, fit in fits.items() if fit == "a room"]
    if len(possible) == 1:
        return f"So it must be {possible[0]}."
    if len(rooms) == 1:
        return f"If one of them is cold now, it is {rooms[0]}."
    return "The numbers alone cannot tell; look at the instrument's display."
