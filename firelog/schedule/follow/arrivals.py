"""When a temperature was reached (inside its band and staying), and how long it was held.

A band is entered when the slowest followed channel is inside and the fastest not beyond, and when
they stay for ten minutes (or to the dwell's end). That a soak begins with the slowest required
sensor and pauses when one drops out is pyrometry practice as in AMS 2750 (from memory).
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray
from firelog.schedule.follow.corners import crossing
from firelog.schedule.follow.grid import Grid, running_mean

STAY_S = 600.0
LAG_S = 60.0  # a sheathed thermocouple in a kiln answers up to a minute late; common practice
SMOOTH_S = 60.0
MAY_STRAY = 0.05  # share of the ten minutes that may be outside by noise


@dataclass(frozen=True)
class Arrival:
    """When the band was entered [s since the firing began], and how far that may be off [s]."""

    at_s: float
    u_s: float


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


def arrival(
    grid: Grid, target_c: float, band_k: float, from_s: float, until_s: float
) -> Arrival | None:
    """Return when the band was entered to stay between two instants [s], or None.

    The band is ``target_c`` [°C] ± ``band_k`` [K]. The slowest followed channel decides, as in AMS
    2750 (from memory); ten minutes for staying are common practice, no source.
    """
    lo = max(0, int(np.searchsorted(grid.t_s, from_s - grid.cell_s / 2)))
    hi = min(len(grid.t_s), int(np.searchsorted(grid.t_s, until_s + grid.cell_s / 2)))
    if hi <= lo:
        return None
    low, high, noise = _smoothed(grid, lo, hi, band_k)
    bottom, top = target_c - band_k, target_c + band_k
    inside = (low >= bottom) & (high <= top)
    if not inside.any():
        return None
    loose = 3.0 * noise
    out = ~((low >= bottom - loose) & (high <= top + loose)) & np.isfinite(low)
    number = _first_to_stay(inside, out, max(1, round(STAY_S / grid.cell_s)))
    at = lo + number
    if number == 0:
        return Arrival(float(grid.t_s[at]), grid.cell_s)
    if not grid.known[at - 1]:
        last = np.flatnonzero(grid.known[:at])
        hole_s = float(grid.t_s[at] - grid.t_s[last[-1]]) if len(last) else 0.0
        return Arrival(float(grid.t_s[at]), max(hole_s, grid.cell_s))
    rising = low[number - 1] < bottom
    edge, level = (grid.low_c, bottom) if rising else (grid.high_c, top)
    known = grid.known[lo:hi]
    place = int(np.count_nonzero(known[:number]))
    found = crossing(grid.t_s[lo:hi][known], edge[lo:hi][known], level, place, grid.noise_k)
    u_k = grid.expanded_k if np.isfinite(grid.expanded_k) else 0.0
    u_s = np.hypot(found.u_s, LAG_S)
    if found.k_per_s:
        u_s = np.hypot(u_s, u_k / abs(found.k_per_s))
    return Arrival(float(np.clip(found.at_s, from_s, until_s)), float(u_s))


def _first_to_stay(inside: NDArray[np.bool_], out: NDArray[np.bool_], cells: int) -> int:
    strays = np.concatenate(([0], np.cumsum(out)))
    ends = np.minimum(np.arange(len(out)) + cells, len(out))
    share = (strays[ends] - strays[:-1]) / np.maximum(ends - np.arange(len(out)), 1)
    whole = ends - np.arange(len(out)) >= min(cells, len(out) // 2)
    staying = np.flatnonzero(inside & whole & (share <= MAY_STRAY))
    if len(staying):
        return int(staying[0])
    return int(np.argmin(np.where(inside & whole, share, np.where(inside, 2.0, 3.0))))


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
    inside = (low >= target_c - band_k - noise) & (high <= target_c + band_k + noise)
    t_s = grid.t_s[lo:hi]
    marks = np.concatenate(([from_s], t_s, [until_s]))
    flags = np.concatenate(([inside[0]], inside, [inside[-1]]))
    steps = np.diff(marks)
    steps = np.where(
        flags[1:] & flags[:-1] & (steps <= max(longest_gap_s, grid.cell_s)), np.maximum(steps, 0), 0
    )
    return TimeInBand(marks, np.concatenate(([0.0], np.cumsum(steps))))
