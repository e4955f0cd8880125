"""What a column's name and its numbers say for and against its being a temperature.

A name may be sure (``Kiln temp``, ``TC 3``), weak (``Door`` is a place of a thermocouple and a
switch) or against it (``O2``). Numbers behave like a temperature when they start near the room or
near the other couples, climb well above, and move by steps small against their range. All of this
is common practice, no source.
"""

from __future__ import annotations

import re
from collections.abc import Sequence

import numpy as np

from firelog.readings import FloatArray, median
from firelog.units import TemperatureUnit, temperature_unit, to_celsius

SET_POINT = re.compile(
    r"(?i)set[\s_-]?p(?:oin)?t|setpoint|(?:^|[\W_\d])sp(?:$|[\W_\d])|(?:^|[\W_])(?:sv|wsp|target|"
    r"limit|alarm|threshold|trip|preset)(?:$|[\W_\d])|soll|sollwert|consigne|consigna|設定"
)
DIFFERENCE = re.compile(
    r"(?i)delta|Δ|(?:^|[\W_])(?:dt|rate|slope|rise|diff(?:erence)?|deviation|spread|gradient|"
    r"std(?:ev|\.? ?dev)?|sigma|s\.?d\.?|offset|tolerance|hysteresis|band|uncertainty|correction|"
    r"residual|roc)(?:$|[\W_\d])|^U(?:$|[ _(])|k ?= ?2\b|±|/\s*(?:min|h|s)\b|std\.? ?dev"
)
OTHER = re.compile(
    r"(?i)humid|press|batter|volt|amp(?:s|ere)|current|watt|duty|flow|oxygen|heat ?flux|status|"
    r"state|alarm|error|flag|segment|program|cycle|comment|note|user|serial|latitude|longitude|"
    r"speed|veloc|weight|mass|relay|signal|rssi|湿度|電圧|potencia|leistung|puissance|draft|draught|"
    r"height|depth|level|volume|rain|wind|radiation|conc|smoke|"
    r"(?:^|[\W_])(?:rh|hrr\w*|hf\d*|hfg|mlr|o2\w*|co2?\w?|ch4|nox?|rpm|step|kw|pct|percent|mode|hg\d*|"
    r"vel\w*|v\d+|od\d*|ph|do|year|month|day|age|lot|batch|id)(?:$|[\W_])|%"
)
WEAK_OTHER = re.compile(
    r"(?i)power|output|valve|damper|door|burner|(?:^|[\W_])(?:fan|gas|out|air|fuel)(?:$|[\W_])"
)
_TEMPERATURE = re.compile(
    r"(?i)temp|thermo|pyro|pirom|(?:^|[\W_\d])(?:tc|t/c|rtd|pt100|pt1000|pv|prt)(?:$|[\W_\d])|"
    r"^tc|tc\d*$|(?:^|[\W_])t[_ -]?(?:\d|in|out|up|low|upper|lower|mid|amb|gas|wall|max|min|s|b|c|"
    r"ref)\w*(?:$|[\W_])|温度"
)
_PLACE = re.compile(
    r"(?i)kiln|furnace|oven|muffle|retort|mou?ld|shell|flask|core|crucible|melt|metal|ambient|"
    r"room|chamber|hearth|crown|arch|flue|stack|chimney|shelf|wall|bath|ofen|four|horno|炉"
)
_STRANGE_TC = re.compile(r"(?i)(?:^|[\W_])tc\w*\s*(?:co2?|o2|%)(?:$|[\W_])")
_ROOM_C = (3.0, 48.0)
_NEAR_K = 15.0
_CLIMB_K = 25.0
_STEP = 0.12  # the usual step as a share of the whole range


def called_temperature(name: str) -> bool:
    """True when a name speaks of a temperature, a thermocouple, or a place of one."""
    if OTHER.search(name) or _STRANGE_TC.search(name):
        return False
    if _TEMPERATURE.search(name):
        return True
    return bool(_PLACE.search(name)) and not WEAK_OTHER.search(name)


def begin_together(columns: Sequence[FloatArray]) -> bool:
    """True when columns of numbers all begin near each other, as couples in a cold kiln do."""
    starts = [median(v[np.isfinite(v)][:3]) for v in columns if np.isfinite(v).any()]
    apart = max(1.5 * _NEAR_K, 0.25 * max(map(abs, starts), default=0.0))
    return bool(starts) and max(starts) - min(starts) <= apart


def usual_start(
    columns: Sequence[FloatArray], units: Sequence[str], default: TemperatureUnit | None
) -> float | None:
    """Return where the sure temperatures of a file begin, in °C; None when there are none."""
    starts = []
    for values, text in zip(columns, units, strict=True):
        unit = temperature_unit(text) or default
        good = values[np.isfinite(values)][:5]
        if unit and len(good):
            starts.append(median(to_celsius(good, unit)))
    return median(np.array(starts)) if starts else None


def behaves(temp_c: FloatArray, start_c: float | None, *, strictly: bool = False) -> bool:
    """True when numbers in °C do what a thermocouple's do in a firing.

    ``start_c`` is where the sure temperatures of the same file begin. ``strictly`` asks for more
    than a percentage or a voltage could show, for names that may be something else.
    """
    good = temp_c[np.isfinite(temp_c)]
    if len(good) < 3:
        return False
    first, low, high = median(good[:3]), float(good.min()), float(good.max())
    near = start_c is not None and abs(first - start_c) <= _NEAR_K
    room = _ROOM_C[0] <= first <= _ROOM_C[1]
    if not (near or (start_c is None and room)):
        return False
    if low < min(first, start_c if start_c is not None else first) - _NEAR_K or high > 2400.0:
        return False
    climbs = high - first >= _CLIMB_K
    smooth = median(np.abs(np.diff(good))) <= _STEP * max(high - low, 1e-9)
    if strictly:
        return climbs and smooth and high > 110.0
    return climbs and smooth
