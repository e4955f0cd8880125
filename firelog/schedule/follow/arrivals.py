"""When a kiln was first there, and how long it was inside its band.

A kiln is there from the first moment its slowest followed channel is at the band's near edge or
beyond it, and remains there through overshoots, dips and doors; only an absence of half an hour or
more makes an earlier touch no arrival (common practice, no source). That a soak begins with the
slowest required sensor and pauses when one drops out is pyrometry practice as in AMS 2750 (from
memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray
from firelog.schedule.follow.corners import crossing
from firelog.schedule.follow.grid import Grid, running_mean

STAY_S = 600.0
ABSENT_S = 1800.0
YOUNG_ABSENT_S = 1200.0
BEYOND_K, BEYOND_BANDS = 30.0, 2.0  # farther beyond its band than this a kiln is elsewhere
LAG_S = 60.0  # a sheathed thermocouple in a kiln answers up to a minute late; common practice
SMOOTH_S = 60.0


@dataclass(frozen=True)
class Arrival:
    """When the kiln was there [s since the firing began], and how far that may be off [s].

    ``touched_s`` [s]: when it was there for the first time, before absences of half an hour.
    """

    at_s: float
    u_s: float
    touched_s: float


@dataclass(frozen=True)
class TimeInBand:
    """Time inside the band: running total [s] after each cell, (cells,)."""

    t_s: FloatArray
    running_s: FloatArray

    @property
    def total_s(self) -> float:
        """All of it."""
        return float(self.running_s[-1]) if len(self.running_s) else 0.0

    def when(self, seconds: float) -> float | None:
        """Return the instant at which so many seconds had been soaked, or None."""
        if self.total_s < seconds - 1e-6 or not len(self.running_s):
            return None
        return float(np.interp(seconds, self.running_s, self.t_s))


def near_k(band_k: float) -> float:
    """Return how far beyond its band [K] a kiln still counts as being at its aim."""
    return max(BEYOND_K, BEYOND_BANDS * band_k)


def arrival(
    grid: Grid,
    target_c: float,
    band_k: float,
    from_s: float,
    until_s: float,
    *,
    heating: bool = True,
) -> Arrival | None:
    """Return when the kiln was first there between two instants [s], or None.

    There is at or beyond the near edge of ``target_c`` [°C] ± ``band_k`` [K]. The slowest followed
    channel decides, as in AMS 2750 (from memory); where it never comes, the middle one does.
    """
    lo = max(0, int(np.searchsorted(grid.t_s, from_s - grid.cell_s / 2)))
    hi = min(len(grid.t_s), int(np.searchsorted(grid.t_s, until_s + grid.cell_s / 2)))
    if hi <= lo:
        return None
    sign = 1.0 if heating else -1.0
    low, high, noise = _smoothed(grid, lo, hi, band_k)
    slow = low if heating else -high
    near, far = sign * target_c - band_k, sign * target_c + band_k + near_k(band_k)
    if not ((slow >= near) & (slow <= far)).any():
        slow = sign * running_mean(grid.mid_c[lo:hi], 1)
    there = (slow >= near) & (slow <= far)
    if not there.any():
        return None
    short, beyond = slow < near - 3.0 * noise, slow > far
    deep = slow < near - near_k(band_k)
    number, touched = _longest_stay(grid.t_s[lo:hi], there, short | beyond, short, deep)
    touched_s = float(grid.t_s[lo + touched])
    at = lo + number
    if number == 0:
        return Arrival(float(grid.t_s[at]), grid.cell_s, touched_s)
    if not grid.known[at - 1]:
        last = np.flatnonzero(grid.known[:at])
        hole_s = float(grid.t_s[at] - grid.t_s[last[-1]]) if len(last) else 0.0
        return Arrival(float(grid.t_s[at]), max(hole_s, grid.cell_s), touched_s)
    level = near if slow[number - 1] < near else far
    known = grid.known[lo:hi]
    place = int(np.count_nonzero(known[:number]))
    # The averaged readings: a line through raw ones would reach into the hold with their noise.
    found = crossing(grid.t_s[lo:hi][known], slow[known], level, place, noise)
    u_k = grid.expanded_k if np.isfinite(grid.expanded_k) else 0.0
    u_s = np.hypot(found.u_s, LAG_S)
    if found.k_per_s:
        u_s = np.hypot(u_s, u_k / abs(found.k_per_s))
    at_s = float(np.clip(found.at_s, from_s, until_s))
    return Arrival(at_s, float(u_s), at_s if touched == number else touched_s)


def _longest_stay(
    t_s: FloatArray,
    there: NDArray[np.bool_],
    absent: NDArray[np.bool_],
    short: NDArray[np.bool_],
    deep: NDArray[np.bool_],
) -> tuple[int, int]:
    """Return the cell where the longest stay begins, and the first cell that is there at all.

    A stay is interrupted by half an hour or more of cells that are absent; in its first ten minutes
    also by twenty minutes short of it, or a deep fall: that may be a ramp that was not done yet.
    """
    cells = np.flatnonzero(there)
    width_s = np.diff(t_s)

    def summed(mask: NDArray[np.bool_]) -> FloatArray:
        return np.concatenate(([0.0], np.cumsum(np.where(mask[:-1], width_s, 0.0))))[cells]

    gone_s, short_s = summed(absent), summed(short)
    fell = np.concatenate(([0], np.cumsum(deep)))[cells]
    groups, first, count = [], 0, len(cells)
    for at in np.flatnonzero((np.diff(gone_s) > 0) | (np.diff(fell) > 0)).tolist():
        young = t_s[cells[at]] - t_s[cells[first]] < STAY_S
        odd = short_s[at + 1] - short_s[at] >= YOUNG_ABSENT_S or fell[at + 1] > fell[at]
        if gone_s[at + 1] - gone_s[at] >= ABSENT_S or (young and odd):
            groups.append((first, at + 1))
            first = at + 1
    groups.append((first, count))
    best = max(groups, key=lambda group: (group[1] - group[0], -group[0]))
    return int(cells[best[0]]), int(cells[0])


def _smoothed(grid: Grid, lo: int, hi: int, band_k: float) -> tuple[FloatArray, FloatArray, float]:
    """Return coldest and hottest averaged, and the noise left in them.

    Over a minute, and longer (ten at most) while the noise is more than a tenth of the band.
    """
    half = round(SMOOTH_S / grid.cell_s / 2)
    while (2 * half + 1) * grid.cell_s < STAY_S and _left(grid, half) > band_k / 10.0:
        half += 1
    low, high = grid.low_c[lo:hi], grid.high_c[lo:hi]
    if half < 1:
        return low, high, grid.noise_k
    return running_mean(low, half), running_mean(high, half), _left(grid, half)


def _left(grid: Grid, half: int) -> float:
    return float(grid.noise_k / np.sqrt(2 * half + 1))


def in_band_s(
    grid: Grid,
    target_c: float,
    band_k: float,
    *,
    from_s: float,
    until_s: float,
    longest_gap_s: float,
) -> TimeInBand:
    """Return the running time [s] inside the band between two instants [s]; holes do not count.

    The band is ``target_c`` [°C] ± ``band_k`` [K]; a hole is longer than ``longest_gap_s`` [s].
    That a soak pauses when a sensor drops out is pyrometry practice as in AMS 2750 (from memory).
    """
    lo = max(0, int(np.searchsorted(grid.t_s, from_s)))
    hi = min(len(grid.t_s), int(np.searchsorted(grid.t_s, until_s, "right")))
    if hi <= lo:
        return TimeInBand(np.empty(0), np.empty(0))
    low, high, noise = _smoothed(grid, lo, hi, band_k)
    if float(np.nanmedian(high - low)) > band_k:  # no band could hold couples so far apart
        low = high = running_mean(grid.mid_c[lo:hi], 1)
    inside = (low >= target_c - band_k - noise) & (high <= target_c + band_k + noise)
    t_s = grid.t_s[lo:hi]
    marks = np.concatenate(([from_s], t_s, [until_s]))
    flags = np.concatenate(([inside[0]], inside, [inside[-1]]))
    steps = np.diff(marks)
    steps = np.where(
        flags[1:] & flags[:-1] & (steps <= max(longest_gap_s, grid.cell_s)), np.maximum(steps, 0), 0
    )
    return TimeInBand(marks, np.concatenate(([0.0], np.cumsum(steps))))
