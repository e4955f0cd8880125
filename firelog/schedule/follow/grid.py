"""The followed channels on one even time grid: coldest, hottest and middle of them per cell.

Following needs a few thousand cells, not every reading of a night; a cell holds the mean of its
readings. A cell without a reading next to it is a hole and stays NaN.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firelog.readings import FloatArray
from firelog.schedule.series import Series

MOST_CELLS = 6000
DEAD_SHARE = 0.2  # a channel that moved less than this share of what the others did is dead
MOVED_K = 100.0
CALM_K = 0.7
CALM_S = 180.0


@dataclass(frozen=True)
class Grid:
    """Cell middles [s], their width [s], and [°C]: coldest, hottest, median channel, NaN in holes.

    All (cells,). ``noise_k`` [K] is the reading noise left in a cell (standard deviation),
    ``expanded_k`` [K] the middle of the channels' U (k = 2), NaN where none is defined; ``dead``
    names channels that did not follow the others.
    """

    t_s: FloatArray
    cell_s: float
    low_c: FloatArray
    high_c: FloatArray
    mid_c: FloatArray
    noise_k: float
    expanded_k: float
    dead: tuple[str, ...] = ()

    @property
    def known(self) -> np.ndarray:
        """True where there are readings."""
        return np.isfinite(self.mid_c)


def on_grid(chosen: Sequence[Series], longest_gap_s: float) -> Grid:
    """Return the channels on one grid [s, °C]; each must have at least one reading.

    Nothing is drawn across a hole longer than ``longest_gap_s`` [s]. A channel that moved less than
    a fifth of what the others did counts as dead (common practice, no source).
    """
    first = min(float(series.t_s[0]) for series in chosen)
    last = max(float(series.t_s[-1]) for series in chosen)
    steps = [
        float(np.median(np.diff(series.t_s[:2000]))) for series in chosen if len(series.t_s) > 1
    ]
    finest = max(min(steps, default=1.0), 1e-3)
    cell_s = max(finest, (last - first) / MOST_CELLS)
    count = int((last - first) / cell_s + 0.5) + 1
    t_s = np.asarray(first + cell_s * np.arange(count), dtype=np.float64)
    chosen, dead = _living(chosen)
    rows = np.stack([_cells(series, t_s, cell_s, longest_gap_s) for series in chosen])
    blank = np.isnan(rows)
    every = blank.all(axis=0)
    # Noise would push the extremes of several channels apart.
    calm = [calmed(row, cell_s) for row in rows] if len(rows) > 1 else rows
    low = np.where(blank, np.inf, calm).min(axis=0)
    high = np.where(blank, -np.inf, calm).max(axis=0)
    mid = rows[0] if len(rows) == 1 else _median(rows, blank)
    for row in (low, high, mid):
        row[every] = np.nan
    return Grid(t_s, cell_s, low, high, mid, _noise(mid), _middle_u(chosen), dead)


def calmed(row: FloatArray, cell_s: float) -> FloatArray:
    """Return a channel [°C] (cells,) averaged till little noise is left, over 180 s at most.

    0.7 K is little: common practice, no source.
    """
    noise_k, half = _noise(row), 0
    while noise_k / np.sqrt(2 * half + 1) > CALM_K and (2 * half + 3) * cell_s <= CALM_S:
        half += 1
    return running_mean(row, half) if half else row


def running_mean(values: FloatArray, half: int) -> FloatArray:
    """Return the mean over ``half`` cells on either side, in the unit given [any], (cells,).

    Holes (NaN) are left out and left as they are.
    """
    known = np.isfinite(values)
    total = np.concatenate(([0.0], np.cumsum(np.where(known, values, 0.0))))
    count = np.concatenate(([0], np.cumsum(known)))
    at = np.arange(len(values))
    lo, hi = np.maximum(at - half, 0), np.minimum(at + half + 1, len(values))
    counted = np.maximum(count[hi] - count[lo], 1)
    return np.where(known, (total[hi] - total[lo]) / counted, np.nan)


def _middle_u(chosen: Sequence[Series]) -> float:
    every = np.array(
        [
            float(np.median(series.expanded_k[:: max(1, len(series.t_s) // 500)]))
            for series in chosen
        ]
    )
    return float(np.median(every))


def _living(chosen: Sequence[Series]) -> tuple[Sequence[Series], tuple[str, ...]]:
    if len(chosen) < 3:
        return chosen, ()
    moved = np.array([float(np.ptp(series.temp_c)) for series in chosen])
    usual = float(np.median(moved))
    if usual < MOVED_K:
        return chosen, ()
    alive = [
        one for one, range_k in zip(chosen, moved, strict=True) if range_k >= DEAD_SHARE * usual
    ]
    names = {one.name for one in alive}
    return alive, tuple(series.name for series in chosen if series.name not in names)


def _cells(series: Series, t_s: FloatArray, cell_s: float, longest_gap_s: float) -> FloatArray:
    """Return cell means; cells between two near readings are filled in between, holes are not."""
    number = np.rint((series.t_s - t_s[0]) / cell_s).astype(np.int64)
    number = np.clip(number, 0, len(t_s) - 1)
    count = np.bincount(number, minlength=len(t_s))
    total = np.bincount(number, weights=series.temp_c, minlength=len(t_s))
    filled = count > 0
    level = np.full(len(t_s), np.nan)
    level[filled] = total[filled] / count[filled]
    if filled.all() or len(series.t_s) < 2:
        return level
    at = np.flatnonzero(filled)
    blank = np.flatnonzero(~filled)
    right = np.searchsorted(at, blank)
    inner = (right > 0) & (right < len(at))
    left_at, right_at = at[np.maximum(right - 1, 0)], at[np.minimum(right, len(at) - 1)]
    near = inner & ((right_at - left_at) * cell_s <= longest_gap_s)
    level[blank[near]] = np.interp(blank[near], at, level[at])
    return level


def _median(rows: FloatArray, blank: np.ndarray) -> FloatArray:
    ordered = np.sort(np.where(blank, np.inf, rows), axis=0)
    live = np.maximum(len(rows) - blank.sum(axis=0), 1)
    columns = np.arange(rows.shape[1])
    return np.asarray((ordered[(live - 1) // 2, columns] + ordered[live // 2, columns]) / 2.0)


def _noise(mid_c: FloatArray) -> float:
    second = mid_c[2:] - 2 * mid_c[1:-1] + mid_c[:-2]
    second = second[np.isfinite(second)]
    return float(1.4826 * np.median(np.abs(second)) / np.sqrt(6.0)) if len(second) else 0.0
