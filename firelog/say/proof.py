"""What would prove a requirement that is not proven, as a sentence for whoever measures next."""

from __future__ import annotations

import math

from firelog.say.durations import show_duration
from firelog.say.numbers import quantity
from firelog.units import TemperatureUnit
from firelog.verdict import Limit, Side


def proof_words(
    measured: float | None, expanded: float | None, asked: Limit, shown: TemperatureUnit
) -> str:
    """Return what a pass and what a settled answer would need; nothing where that is not known.

    ``measured`` and its U ``expanded`` (k = 2) are in the limit's unit, of a temperature in kelvin.
    Guarded decision (JCGM 106:2012): a limit is met where it is kept by more than U.

    >>> proof_words(860.0, 7.0, Limit(855.0, "C", Side.AT_LEAST), "C")
    'A pass needs at least 862 °C with this doubt, or this reading with a doubt below 5.0 K.'
    >>> proof_words(852.0, 7.0, Limit(855.0, "C", Side.AT_LEAST), "C")
    'A pass needs at least 862 °C with this doubt; with a doubt below 3.0 K it would be a fail.'
    """
    if measured is None or expanded is None or not math.isfinite(measured * expanded):
        return ""
    off = measured - asked.value if asked.side is Side.AT_LEAST else asked.value - measured
    if abs(off) > expanded or expanded == 0.0 or asked.value == 0.0:
        return ""  # another thing than the doubt of this number holds the answer back
    away = expanded if asked.side is Side.AT_LEAST else -expanded
    need = f"{asked.side} {quantity(asked.value + away, asked.unit, shown)}"
    small = quantity(abs(off), "K" if asked.unit == "C" else asked.unit, shown)
    if asked.within_s is not None:
        need += f" within {show_duration(asked.within_s)}"
    said = f"A pass needs {need} with this doubt"
    if off > 0.0:
        return f"{said}, or this reading with a doubt below {small}."
    return f"{said}; with a doubt below {small} it would be a fail." if off < 0.0 else f"{said}."
