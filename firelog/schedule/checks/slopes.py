"""Rates of change of one channel: lines fitted over a moving window, and means over a crossing.

Everything that was measured counts. Only single readings or pairs that jump away from neighbours
which agree among themselves are set aside, and only where they are so close in time that no kiln
could have gone there and come back.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray
from firelog.schedule.series import BoolArray, Series, noise_k, worst_of_many

FULL_WINDOW = 0.85  # a window counts when its readings span this much of it
LONGER_WINDOW = 1.03  # readings do not come on the second
LEAST_READINGS = 3
PER_WINDOW = 60
ISOLATED_S = 180.0  # what lasts longer may be the kiln: never set aside
ISOLATED_K = 2.0
ISOLATED_NOISES = 6.0
OVERLAPPING = 4.0  # windows that overlap by less than three quarters stray on their own
AGREE = 0.25  # neighbours agree when they differ by less than this share of the jump
TYPICAL_DIGIT = 0.5  # digits of coarse readings do not average out: half of one remains


@dataclass(frozen=True)
class Slopes:
    """Rates [K/h] around instants [s] with U (k = 2) [K/h], and the temperatures covered [°C].

    All (n,). ``mean_c`` is the middle of a window, ``low_c`` and ``high_c`` the ends of its line;
    ``from_s`` and ``to_s`` [s] its first and last reading.
    """

    t_s: FloatArray
    k_per_h: FloatArray
    expanded_k_per_h: FloatArray
    mean_c: FloatArray
    low_c: FloatArray
    high_c: FloatArray
    from_s: FloatArray
    to_s: FloatArray

    def at(self, which: BoolArray) -> Slopes:
        """Return those marked, (n,)."""
        return Slopes(*(getattr(self, name)[which] for name in self.__dataclass_fields__))

    def __len__(self) -> int:
        return len(self.t_s)


NONE = Slopes(*(np.empty(0) for _ in range(8)))


def together(*found: Slopes) -> Slopes:
    """Return all of them as series."""
    names = Slopes.__dataclass_fields__
    return Slopes(*(np.concatenate([getattr(part, name) for part in found]) for name in names))


def slopes(series: Series, over_s: float, lo_s: float, hi_s: float, longest_gap_s: float) -> Slopes:
    """Fit a line [K/h] to every window of length ``over_s`` [s] that lies inside [lo, hi] [s].

    Readings are first averaged to about sixty a window. Least squares by running sums, cost linear
    in the readings. U combines what the reading noise does to a line through so many readings,
    covered for the worst of all windows, with the change of the thermocouple's own U across the
    window: a fixed error does not bend a slope. How the kiln itself bends is no error. Windows with
    a hole longer than ``longest_gap_s`` [s] are left out.

    Source: ordinary least squares and the standard error of its slope for known noise; that a
    window of 85 % counts is common practice, no source.
    """
    at = series.between(lo_s, hi_s)
    t_s, temp_c, u_k = series.t_s[at], series.temp_c[at], series.expanded_k[at]
    strays = isolated(t_s, temp_c)
    if strays.any():
        t_s, temp_c, u_k = t_s[~strays], temp_c[~strays], u_k[~strays]
    if len(t_s) < LEAST_READINGS or t_s[-1] - t_s[0] < FULL_WINDOW * over_s:
        return NONE
    digit_k = _digit_k(temp_c)
    wide = np.diff(t_s) > longest_gap_s
    broken_s = t_s[1:][wide]
    t_s, temp_c, u_k = _thinned(t_s, temp_c, u_k, over_s / PER_WINDOW)
    first = np.arange(len(t_s))
    last = np.searchsorted(t_s, t_s + LONGER_WINDOW * over_s, "right")
    fit = _fit(t_s, temp_c, first, last)
    ends = last - 1
    width_s = t_s[ends] - t_s
    broken = np.searchsorted(broken_s, t_s[ends], "right") > np.searchsorted(broken_s, t_s, "right")
    whole = (width_s >= FULL_WINDOW * over_s) & (fit.count >= LEAST_READINGS) & ~broken
    tolerance = np.abs(u_k[ends] - u_k[first]) / np.maximum(width_s, 1e-9)
    cover = worst_of_many(OVERLAPPING * (t_s[-1] - t_s[0]) / over_s)
    standard_k = float(np.hypot(_cell_noise_k(temp_c), digit_k / np.sqrt(12.0) * TYPICAL_DIGIT))
    noise = cover * standard_k / np.sqrt(fit.sxx)
    expanded = np.hypot(noise, tolerance) * 3600.0
    half_k = np.abs(fit.slope) * width_s / 2.0
    found = Slopes(
        fit.middle, fit.slope * 3600.0, expanded, fit.level, fit.level - half_k,
        fit.level + half_k, t_s, t_s[ends],
    )  # fmt: skip
    return found.at(whole)


def isolated(t_s: FloatArray, temp_c: FloatArray) -> BoolArray:
    """Mark readings [°C] that stand alone or in pairs far from neighbours that agree, (n,).

    Far is more than six standard deviations of the noise and 2 K, and four times what the two
    neighbours on either side differ from one line; within three minutes [s] (common practice, no
    source). A run of three or more is what happened, however odd it looks.
    """
    found = np.zeros(len(temp_c), dtype=np.bool_)
    if len(temp_c) < 6:
        return found
    limit = max(ISOLATED_K, ISOLATED_NOISES * noise_k(temp_c))
    jumps = np.flatnonzero(np.abs(np.diff(temp_c)) > limit) + 1
    for length in (1, 2):
        at = jumps[(jumps >= 2) & (jumps + length + 1 < len(temp_c))]
        at = at[t_s[at + length] - t_s[at - 1] <= ISOLATED_S]
        if not len(at):
            continue
        beside = np.stack([at - 2, at - 1, at + length, at + length + 1])
        x, y = t_s[beside], temp_c[beside]
        left_x, right_x = x[:2].mean(axis=0), x[2:].mean(axis=0)
        left_y, right_y = y[:2].mean(axis=0), y[2:].mean(axis=0)
        slope = (right_y - left_y) / (right_x - left_x)
        stray = np.abs(y - (left_y + slope * (x - left_x))).max(axis=0)
        odd = np.stack([at + number for number in range(length)])
        off = temp_c[odd] - (left_y + slope * (t_s[odd] - left_x))
        least = np.abs(off).min(axis=0)
        one_way = np.abs(np.sign(off).sum(axis=0)) == length
        alone = at[one_way & (least > limit) & (stray < AGREE * least)]
        for number in range(length):
            found[alone + number] = True
    return found


def _digit_k(temp_c: FloatArray) -> float:
    """Return the last digit [K]: the least step between readings, 0 where all are equal."""
    step = np.abs(np.diff(temp_c[:: max(1, len(temp_c) // 4000)]))
    step = step[step > 0]
    return float(step.min()) if len(step) else 0.0


def _cell_noise_k(temp_c: FloatArray) -> float:
    """Return the standard deviation of what is left between neighbouring means [K], robustly."""
    if len(temp_c) < 5:
        return 0.0
    second = temp_c[2:] - 2.0 * temp_c[1:-1] + temp_c[:-2]
    return float(1.4826 * np.median(np.abs(second - np.median(second))) / np.sqrt(6.0))


def _thinned(
    t_s: FloatArray, temp_c: FloatArray, u_k: FloatArray, cell_s: float
) -> tuple[FloatArray, FloatArray, FloatArray]:
    """Return means over cells of that length; cells without a reading are left out."""
    number = ((t_s - t_s[0]) / cell_s).astype(np.int64)
    starts = np.flatnonzero(np.concatenate(([True], number[1:] != number[:-1])))
    if len(starts) == len(t_s):
        return t_s, temp_c, u_k
    count = np.diff(np.concatenate((starts, [len(t_s)])))
    t_s, temp_c, u_k = (np.add.reduceat(row, starts) / count for row in (t_s, temp_c, u_k))
    return t_s, temp_c, u_k


@dataclass(frozen=True)
class _Fit:
    slope: FloatArray
    sxx: FloatArray
    middle: FloatArray
    level: FloatArray
    count: FloatArray


def _fit(
    t_s: FloatArray, temp_c: FloatArray, first: NDArray[np.int64], last: NDArray[np.int64]
) -> _Fit:
    """Least squares over t[first:last] for every window at once, by running sums.

    Times and temperatures are taken from their overall middle so that the sums keep their digits.
    """
    origin, base = (t_s[0] + t_s[-1]) / 2.0, float(np.mean(temp_c))
    x, y = t_s - origin, temp_c - base

    def total(values: FloatArray) -> FloatArray:
        summed = np.concatenate(([0.0], np.cumsum(values)))
        return np.asarray(summed[last] - summed[first])

    count = (last - first).astype(np.float64)
    mean_x, mean_y = total(x) / count, total(y) / count
    sxx = np.maximum(total(x * x) - count * mean_x**2, 1e-9)
    slope = (total(x * y) - count * mean_x * mean_y) / sxx
    return _Fit(slope, sxx, mean_x + origin, mean_y + base, count)


# ---------------------------------------------------------------- faster than a window
def crossings(
    series: Series, over_s: float, within_s: tuple[float, float], range_c: tuple[float, float],
    longest_gap_s: float,
) -> Slopes:  # fmt: skip
    """Return the mean rate [K/h] of each crossing of a range [°C] that took less than a window.

    A crossing runs from the last reading on one side to the first on the other, inside
    ``within_s`` [s]. Where it took ``over_s`` [s] or more, windows resolve it and it is left out;
    where a hole longer than ``longest_gap_s`` [s] lies in it, nothing is known of it.
    """
    at = series.between(*within_s)
    t_s, temp_c = series.t_s[at], series.calm_c(at)
    low_c, high_c = range_c
    side = np.where(temp_c < low_c, -1, np.where(temp_c > high_c, 1, 0))
    outside = np.flatnonzero(side)
    found = [NONE]
    for number in np.flatnonzero(np.diff(side[outside])):
        i, j = int(outside[number]), int(outside[number + 1])
        if np.max(np.diff(t_s[i : j + 1])) > longest_gap_s:
            continue
        up = side[j] > 0
        entry_c, exit_c = (low_c, high_c) if up else (high_c, low_c)
        enters_s = _when(t_s, temp_c, i, entry_c)
        leaves_s = _when(t_s, temp_c, j - 1, exit_c)
        if leaves_s - enters_s >= FULL_WINDOW * over_s:
            continue
        way_k, lasted_s = exit_c - entry_c, leaves_s - enters_s
        if j - i <= 2:  # nothing is known of where between the readings the limits were crossed
            way_k, lasted_s = float(temp_c[j] - temp_c[i]), float(t_s[j] - t_s[i])
        found.append(mean_rate(series, (enters_s, leaves_s), (way_k, lasted_s), (low_c, high_c)))
    return together(*found)


def _when(t_s: FloatArray, temp_c: FloatArray, i: int, level_c: float) -> float:
    share = (level_c - temp_c[i]) / (temp_c[i + 1] - temp_c[i])
    return float(t_s[i] + np.clip(share, 0.0, 1.0) * (t_s[i + 1] - t_s[i]))


def mean_rate(
    series: Series,
    span_s: tuple[float, float],
    went: tuple[float, float],
    range_c: tuple[float, float],
    doubt_s: float = 0.0,
) -> Slopes:
    """Return a mean rate as one window: it ``went`` [K] in [s]; its ends are in doubt [s].

    U is that of the two readings' noise and of the time, in parts of the rate; the tolerance of one
    thermocouple is common to both ends and changes by about 1 % of the way (common practice).
    """
    way_k, lasted_s = went
    rate = way_k / lasted_s * 3600.0
    share = np.hypot(2.0 * np.sqrt(2.0) * series.noise_k / max(abs(way_k), 1e-9), 0.01)
    share = np.hypot(share, doubt_s / lasted_s)
    row = (
        (span_s[0] + span_s[1]) / 2.0, rate, abs(rate) * share, (range_c[0] + range_c[1]) / 2.0,
        *range_c, *span_s,
    )  # fmt: skip
    found = Slopes(*(np.array([float(value)]) for value in row))
    u_k = series.expanded_k[min(int(np.searchsorted(series.t_s, span_s[0])), len(series.t_s) - 1)]
    if np.isfinite(u_k):
        return found
    return replace(found, expanded_k_per_h=np.array([np.nan]))


def whole_stretch(series: Series, within_s: tuple[float, float], doubt_s: float) -> Slopes:
    """Return the mean rate [K/h] from the first to the last reading of a stretch [s].

    ``doubt_s`` [s]: how far its ends may be off together. Nothing for fewer than two readings.
    """
    at = series.between(*within_s)
    t_s, temp_c = series.t_s[at], series.calm_c(at)
    if len(t_s) < 2:
        return NONE
    went = float(temp_c[-1] - temp_c[0]), float(t_s[-1] - t_s[0])
    ends_c = (float(temp_c.min()), float(temp_c.max()))
    return mean_rate(series, (float(t_s[0]), float(t_s[-1])), went, ends_c, doubt_s)
