"""Freezing arrests in a cooling curve: where metal begins to freeze and where it has frozen.

Newtonian thermal analysis: without freezing the curve cools at a rate that changes smoothly with
its temperature (the baseline); while it freezes it cools more slowly. The excess over the
baseline begins at the liquidus and ends at the solidus (Ekpoom and Heine, AFS Transactions 89
(1981) 27; Stefanescu, Science and Engineering of Casting Solidification; from memory).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from scipy.signal import savgol_filter  # type: ignore[import-untyped, unused-ignore]

from firelog.errors import InputError
from firelog.readings import FloatArray
from firelog.say.numbers import show_difference
from firelog.units import TemperatureUnit

# ITS-90 defining fixed points (Preston-Thomas, Metrologia 27 (1990) 3, table 1).
FREEZING_C = {"silver": 961.78, "gold": 1064.18, "copper": 1084.62, "aluminium": 660.323}
_GRID = 4000
_LEAST_READINGS = 40
_LEAST_FALL_K = 20.0
_NARROWEST, _WIDEST = 9, 101  # points of the derivative's window
_SURROUNDINGS_C = 25.0


@dataclass(frozen=True)
class Arrest:
    """Where freezing began and ended: instants [s], temperatures [°C] and their U (k = 2) [K].

    ``solidus_c`` and ``solidus_s`` are NaN when the curve ends before the metal has frozen.
    ``plateau`` is True when it froze at one temperature, as a pure metal does; ``undercooled_k``
    [K] is how far it fell below its liquidus before it warmed up again, 0 where it did not.
    ``begins_flat`` is True when it stood still from the start, as a pure metal does, or a furnace
    that holds; an alloy that freezes over a range sinks.
    """

    liquidus_c: float
    liquidus_s: float
    solidus_c: float
    solidus_s: float
    expanded_k: float
    plateau: bool
    undercooled_k: float
    begins_flat: bool = False


def find_arrest(t_s: FloatArray, temp_c: FloatArray) -> Arrest | None:
    """Return the freezing arrest of a cooling curve, or None when nothing froze in it.

    ``t_s`` [s] rises, ``temp_c`` [°C] may have NaN; both (n,). Raises InputError for fewer than 40
    usable readings.

    Source: Newtonian thermal analysis after Ekpoom and Heine, AFS Transactions 89 (1981) 27, and
    Stefanescu, Science and Engineering of Casting Solidification, both from memory. The baseline is
    fitted here to the parts that cool fastest; the thresholds are ours and stand behind no
    standard.
    """
    usable = np.flatnonzero(np.isfinite(temp_c))
    if len(usable) < _LEAST_READINGS:
        raise InputError(
            "a cooling curve needs at least 40 usable readings to show where it freezes"
        )
    usable = usable[int(np.argmax(temp_c[usable])) :]  # it begins at its hottest
    if len(usable) < _LEAST_READINGS or np.ptp(temp_c[usable]) < _LEAST_FALL_K:
        return None
    grid_s = np.linspace(t_s[usable[0]], t_s[usable[-1]], min(_GRID, len(usable)))
    raw = np.interp(grid_s, t_s[usable], temp_c[usable])
    step_s = float(grid_s[1] - grid_s[0])
    window = _window(raw, step_s)
    smooth = savgol_filter(raw, window, 2)
    rate = savgol_filter(raw, window, 2, deriv=1, delta=step_s)
    noise_k = _noise_k(raw)
    baseline = _baseline(smooth, rate, window)
    # Share of the heat flow that freezing supplies: 0 beside the arrest, 1 where it holds still.
    share = 1.0 - rate / baseline
    freezing = _stretch(share, noise_k, step_s, baseline, window)
    if freezing is None:
        return None
    first, last = freezing
    ends = last < len(smooth) - window
    onset = _corner(grid_s, raw, _edge(share, first, window, forward=True), window)
    finish = _corner(grid_s, raw, _edge(share, last, window, forward=False), window)
    top_c, top, undercooled_k = _recalesced(smooth, rate, first, last, window)
    still_k = max(2.0, 6.0 * noise_k)
    flat = smooth[top + window // 2 : top + max(3, int(0.6 * (last - top)))]
    plateau = len(flat) > window and bool(np.ptp(flat) < still_k)
    early = smooth[top + window // 2 : top + max(3, int(0.3 * (last - top)))]
    begins_flat = len(early) > window and bool(np.ptp(early) < still_k)
    liquidus_c = top_c if undercooled_k else onset[1]
    # The onset lies somewhere between two readings.
    between = 2.0 / math.sqrt(3.0) * abs(float(baseline[first])) * step_s
    doubt = math.hypot(math.hypot(2.0 * noise_k / math.sqrt(window), onset[2]), between)
    if plateau:
        liquidus_c, doubt = float(np.median(flat)), 2.0 * noise_k / math.sqrt(len(flat))
    return Arrest(
        liquidus_c,
        onset[0],
        finish[1] if ends else math.nan,
        finish[0] if ends else math.nan,
        doubt + 0.1,
        plateau,
        undercooled_k,
        begins_flat,
    )


def _noise_k(raw: FloatArray) -> float:
    """Return the noise of a reading from its second differences, which no cooling curve has."""
    second = raw[2:] - 2.0 * raw[1:-1] + raw[:-2]
    return 1.4826 * float(np.median(np.abs(second))) / math.sqrt(6.0)


def _window(raw: FloatArray, step_s: float) -> int:
    """Return an odd window in which the slope is known to a twentieth of the usual cooling rate."""
    usual = max(float(raw[0] - raw[-1]) / (step_s * len(raw)), 1e-6)
    points = (math.sqrt(12.0) * _noise_k(raw) / (0.05 * usual * step_s)) ** (2.0 / 3.0)
    return int(min(max(points, _NARROWEST), _WIDEST, len(raw) // 8)) | 1


def _corner(
    t_s: FloatArray, temp_c: FloatArray, place: int, window: int
) -> tuple[float, float, float]:
    """Return instant and temperature where the lines before and after cross, and a U [K].

    The U is how far the corner moves when the lines are taken half as long.
    """

    def crossing(reach: int) -> tuple[float, float]:
        before = slice(max(0, place - reach), max(3, place - 1))
        after = slice(place + 1, min(len(t_s), place + 1 + reach))
        if after.stop - after.start < 3 or before.stop - before.start < 3:
            return float(t_s[place]), float(temp_c[place])
        a, b = np.polyfit(t_s[before], temp_c[before], 1), np.polyfit(t_s[after], temp_c[after], 1)
        if abs(a[0] - b[0]) < 1e-9:
            return float(t_s[place]), float(temp_c[place])
        at_s = float(np.clip((b[1] - a[1]) / (a[0] - b[0]), t_s[before.start], t_s[after.stop - 1]))
        return at_s, float(np.polyval(a, at_s))

    far, near = crossing(2 * window), crossing(window)
    return near[0], near[1], abs(far[1] - near[1])


def _baseline(temp_c: FloatArray, rate: FloatArray, window: int) -> FloatArray:
    """Return the rate without freezing, from the parts that cool fastest for their temperature.

    A straight line of T where those parts lie both above and below the freezing; through the
    surroundings' temperature where there is only one of them.
    """
    inner = np.ones(len(rate), dtype=bool)
    inner[: window // 2] = inner[-(window // 2) :] = False
    over_k = np.maximum(temp_c - _SURROUNDINGS_C, 1.0)
    speed = np.where(inner, -rate / over_k, 0.0)
    keep = speed > 0.75 * float(np.quantile(speed[inner], 0.97))
    line: FloatArray = -float(np.median(speed[keep])) * over_k
    for _ in range(20):
        wide = float(np.ptp(temp_c[keep])) > 0.5 * float(np.ptp(temp_c))
        if wide:
            slope, level = np.polyfit(temp_c[keep], rate[keep], 1)
            line = float(slope) * temp_c + float(level)
        else:
            line = -float(np.median(speed[keep])) * over_k
        new = inner & (rate < 0.88 * line)
        if new.sum() < 12 or np.array_equal(new, keep):
            break
        keep = new
    return np.asarray(np.minimum(line, -1e-6), dtype=np.float64)


def _stretch(
    share: FloatArray, noise_k: float, step_s: float, baseline: FloatArray, window: int
) -> tuple[int, int] | None:
    """Return first and last index of the longest stretch that freezes, or None."""
    rate_noise = noise_k / step_s * math.sqrt(12.0 / window**3)
    least = max(0.15, 5.0 * rate_noise / float(np.median(-baseline)))
    above = np.concatenate(([False], share > least, [False])).astype(np.int8)
    starts, ends = np.flatnonzero(np.diff(above) == 1), np.flatnonzero(np.diff(above) == -1)
    if not len(starts):
        return None
    longest = int(np.argmax(ends - starts))
    first, last = int(starts[longest]), int(ends[longest]) - 1
    if last - first < window or float(share[first : last + 1].max()) < 0.3:
        return None
    return first, last


def _edge(share: FloatArray, place: int, window: int, *, forward: bool) -> int:
    """Return where the excess crosses half of the height it reaches within one window.

    The slope's window smears a sharp onset over its width; half height is where it was.
    """
    if forward:
        ahead = share[place : place + window]
        return place + int(np.argmax(ahead >= 0.5 * ahead.max()))
    behind = share[max(0, place - window) : place + 1][::-1]
    return place - int(np.argmax(behind >= 0.5 * behind.max()))


def _recalesced(
    temp_c: FloatArray, rate: FloatArray, first: int, last: int, window: int
) -> tuple[float, int, float]:
    """Return the liquidus, its index and the undercooling before it.

    Where the metal undercools and warms up again, the top it comes back to is the liquidus.
    """
    ahead = slice(first, min(last, first + max(6 * window, (last - first) // 4)))
    warming = np.flatnonzero(rate[ahead] > 0.0)
    if not len(warming):
        return float(temp_c[first]), first, 0.0
    start = first + int(warming[0])
    top = start + int(np.argmax(temp_c[start : last + 1]))
    rise = float(temp_c[top]) - float(temp_c[max(first - window, 0) : top + 1].min())
    if rise < 1.0:
        return float(temp_c[first]), first, 0.0
    return float(temp_c[top]), top, rise


# ---------------------------------------------------------------- what it says
def correction_k(arrest: Arrest, metal: str) -> tuple[float, float]:
    """Return what to add to the probe [K] at a pure metal's freezing point, and its U (k = 2) [K].

    ``metal`` is a key of ``FREEZING_C``. Raises InputError when the curve shows no plateau, or for
    a metal without a fixed point here.

    Source: ITS-90 defining fixed points, Preston-Thomas, Metrologia 27 (1990) 3, table 1.
    """
    if metal not in FREEZING_C:
        raise InputError(
            f"{metal!r} has no fixed freezing point here; there are {', '.join(FREEZING_C)}"
        )
    if not arrest.plateau:
        raise InputError(
            f"the curve does not freeze at one temperature, so it is no pure {metal}; use cleaner "
            "metal, or more of it"
        )
    return FREEZING_C[metal] - arrest.liquidus_c, arrest.expanded_k


def against_card(
    arrest: Arrest,
    liquidus_c: tuple[float, float],
    probe_expanded_k: float,
    unit: TemperatureUnit = "C",
) -> tuple[float, float, str]:
    """Hold the liquidus found against a card's: difference [K], U (k = 2) [K] and what it says.

    ``liquidus_c`` is the lowest and highest liquidus [°C] that the card found, ``probe_expanded_k``
    the thermocouple's own U [K]. The difference is taken to the middle of the card's span, which
    counts as rectangular: half-width a is a/√3 (GUM, JCGM 100:2008, 4.3.7). Said in ``unit``.
    """
    low, high = liquidus_c
    doubt = math.hypot(math.hypot(arrest.expanded_k, probe_expanded_k), (high - low) / math.sqrt(3))
    off = arrest.liquidus_c - (low + high) / 2.0
    if abs(off) <= doubt:
        return off, doubt, "the arrest agrees with the alloy's card"
    side = "high" if off > 0 else "low"
    words = (
        f"the arrest lies {show_difference(abs(off), unit)} too {side}: the probe reads {side}, "
        "or it is another alloy; a pure metal's arrest tells which"
    )
    return off, doubt, words
