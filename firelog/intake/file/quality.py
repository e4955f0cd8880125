"""What the numbers in a temperature column say about themselves: codes, open circuits, last gasps.

Loggers write numbers for "nothing there". They are looked for in temperature columns only (1372 s
is a fine elapsed time), and only where the column's other values are far away: a freezer really
is at −99. All of this is common practice, no source, but the ranges: IEC 60584-1:2013 ends type B
at 1820 °C, and no thermocouple of that standard reaches 3000 °C.
"""

from __future__ import annotations

import numpy as np

from firelog.readings import FloatArray, Quality, QualityArray, Unit
from firelog.units import ZERO_C_IN_K, to_celsius

MISSING_CODES = np.array(
    (
        *(-99.0, -99.9, -99.99, -199.0, -200.0, -999.0, -999.9, -999.99, -9999.0, -9999.9),
        *(-9999.99, -99999.0, -32768.0, -32767.0, -3276.8, -327.68, -6999.0, -7999.0),
    )
)
OVER_CODES = np.array(
    [9999.0, 9999.9, 9999.99, 99999.0, 32767.0, 32768.0, 65535.0, 6553.5, 3276.7, 7999.0]
)
_FAR = 20.0  # a code stands at least this far from anything measured
_TOP_OF_B_C = 1820.0
_NEVER_C = 3000.0
_STEADY_ROWS = 3
_JUMP = 200.0  # more between two rows than any kiln or melt can do
_LAST_ROWS = 5


def codes(value: FloatArray, unit: Unit) -> QualityArray:
    """Return the quality of each number by its value alone; NaN is missing."""
    result = np.zeros(len(value), np.uint8)
    with np.errstate(invalid="ignore"):
        temp_c = to_celsius(value, unit.value)  # type: ignore[arg-type]
        result[temp_c > _NEVER_C] = Quality.SATURATED
        result[(temp_c < -ZERO_C_IN_K + 1e-6) | np.isnan(value)] = Quality.MISSING
        if _suspicious(value, unit):
            _mark_codes(result, value, unit)
        hot = (temp_c > _TOP_OF_B_C) & (result == Quality.OK)
        if hot.any():
            result[hot & _steady(value)] = Quality.OPEN
    return result


def _suspicious(value: FloatArray, unit: Unit) -> bool:
    """A cheap look first: codes are very low, very high, or the fill of a kelvin column."""
    low, high = np.nanmin(value, initial=0.0), np.nanmax(value, initial=0.0)
    return bool(low <= -99.0 or high >= 3276.7 or (unit is Unit.K and (value == ZERO_C_IN_K).any()))


def _mark_codes(result: QualityArray, value: FloatArray, unit: Unit) -> None:
    for quality, numbers in ((Quality.MISSING, MISSING_CODES), (Quality.SATURATED, OVER_CODES)):
        for code in numbers:
            same = value == code
            if same.any() and not ((np.abs(value - code) < _FAR) & ~same & ~is_code(value)).any():
                result[same] = quality
    fill = value == ZERO_C_IN_K
    if unit is Unit.K and fill.any() and not ((np.abs(value - ZERO_C_IN_K) < 5.0) & ~fill).any():
        result[fill] = Quality.MISSING


def is_code(value: FloatArray) -> np.typing.NDArray[np.bool_]:
    """True for the numbers that loggers write for nothing, whether they mean it or not."""
    return np.isin(value, MISSING_CODES) | np.isin(value, OVER_CODES)


def _steady(value: FloatArray) -> np.typing.NDArray[np.bool_]:
    """True where a value stands unchanged for :data:`_STEADY_ROWS` rows or more."""
    same = np.concatenate(([False], value[1:] == value[:-1], [False]))
    edges = np.flatnonzero(~same)
    runs = np.repeat(np.diff(edges), np.diff(edges))
    return np.asarray(runs >= _STEADY_ROWS)


def mark_last_gasp(
    value: FloatArray, quality: QualityArray, error: np.typing.NDArray[np.bool_]
) -> None:
    """Mark as spikes the wild values just before a column turns into error words.

    A dying couple jumps away from what it showed, then the logger's sum fails: the jump was never
    a temperature. ``error`` is True where the logger wrote a word; ``quality`` is changed in place.
    """
    calm = np.zeros(len(value), bool)  # like the row before it, so fit to be jumped away from
    calm[1:] = np.abs(np.diff(value)) <= _JUMP
    for first in (np.flatnonzero(error[1:] & ~error[:-1]) + 1).tolist():
        for row in range(first - 1, max(first - 1 - _LAST_ROWS, 0), -1):
            if quality[row] != Quality.OK or np.isnan(value[row - 1]):
                break
            if abs(value[row] - value[row - 1]) > _JUMP:
                if calm[row - 1]:
                    spikes = quality[row:first]
                    spikes[spikes == Quality.OK] = Quality.SPIKE
                break
