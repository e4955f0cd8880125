"""When a hold really ended: the bend in the trace from which the next ramp goes."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from firelog.readings import FloatArray
from firelog.schedule.follow.arrivals import LAG_S
from firelog.schedule.follow.corners import bend
from firelog.schedule.follow.grid import Grid
from firelog.schedule.follow.path import Stretch

LEAST_BEND_CELLS = 6
STRAY_K = 15.0
SWING_K = 4.0
SLOPE_LOOK_S = 120.0
MOST_BACK_S = 3 * 3600.0
DRIFT_OVER_S, DRIFT_K_PER_H = 3600.0, 10.0


@dataclass(frozen=True)
class Departure:
    """When something was left for the next [s], how far that may be off [s], None if unknown."""

    at_s: float
    u_s: float | None


def edge(grid: Grid, go: Stretch) -> Departure:
    """Return the path's own boundary [s], with the range [s] in which it costs about the same."""
    at = min(go.lo, len(grid.t_s) - 1)
    doubt = (go.lo_late - go.lo_early) * grid.cell_s / 2.0
    return Departure(float(grid.t_s[at]), float(np.hypot(max(grid.cell_s, doubt), LAG_S)))


def turn(grid: Grid, stay: Stretch, go: Stretch, level_c: float) -> Departure:
    """Return where the record turns from staying to going [s], near the path's own boundary.

    The path sees the going only at the edge of the band. How far that edge is from the level
    ``level_c`` [°C], by the slope there, says how far back to look for the bend: at most three
    hours (common practice, no source).
    """
    t_s, count = grid.t_s, len(grid.t_s)
    at = min(go.lo, count - 1)
    at += int(np.argmax(grid.known[at:]))  # a boundary inside a hole: the first reading after it
    level, back = _way_back(grid, stay, at, level_c)
    grid = _undrifted(grid, Stretch(stay.lo, at - back, 0, 0), at)
    level, back = _way_back(grid, stay, at, level_c)
    mid_c = grid.mid_c
    left = max(stay.lo, at - 2 * back)
    right = min(count, at + max(3, back // 3))
    sign = 1.0 if float(mid_c[at]) >= level else -1.0
    # What strays the other way (a door before heating, an overshoot before cooling) is no bend.
    astray_k = max(STRAY_K, 5.0 * grid.noise_k)
    known = np.isfinite(mid_c[left:right]) & ~(sign * (mid_c[left:right] - level) < -astray_k)
    if known.sum() < LEAST_BEND_CELLS:
        return edge(grid, go)
    x, y = t_s[left:right][known], mid_c[left:right][known]
    found = bend(x, y, sign)
    if found.k_per_s == 0.0:
        return edge(grid, go)
    u_s = float(np.hypot(np.hypot(found.u_s, grid.cell_s / 2.0), LAG_S))
    seen = t_s[left:right][np.isfinite(mid_c[left:right])]
    leave = Departure(found.at_s, max(u_s, _hole_at(seen, found.at_s, grid.cell_s)))
    hole = _hole_before(grid, stay.lo, at)
    return leave if hole is None else _beside_hole(grid, hole, leave, sign * (mid_c - level))


def _way_back(grid: Grid, stay: Stretch, at: int, level_c: float) -> tuple[float, int]:
    """Return the level of a stay [°C], and how many cells the going took from it to cell ``at``."""
    level = _level(grid, stay.lo, stay.hi, level_c)
    back = _cells_since(grid, at, level)
    level = _level(grid, stay.lo, at - back, level)  # once more, without the going itself
    return level, _cells_since(grid, at, level)


def _undrifted(grid: Grid, stay: Stretch, at: int) -> Grid:
    """Return the grid with a stay's drift towards where the kiln goes next taken off, as a line.

    From the middles of the two halves of its last hour, as seen from cell ``at``; a stay that
    drifts less than 10 K/h counts as level: common practice, no source.
    """
    lo = max(stay.lo, stay.hi - round(DRIFT_OVER_S / grid.cell_s))
    halves = np.array_split(np.arange(lo, max(stay.hi, lo)), 2)
    known = [half[grid.known[half]] for half in halves]
    if min(len(half) for half in known) < LEAST_BEND_CELLS:
        return grid
    (early_s, late_s), (early_c, late_c) = (
        [float(np.median(row[half])) for half in known] for row in (grid.t_s, grid.mid_c)
    )
    drift = (late_c - early_c) / (late_s - early_s)
    if late_s - early_s < DRIFT_OVER_S / 4.0 or abs(drift) * 3600.0 < DRIFT_K_PER_H:
        return grid
    ahead = grid.mid_c[at : at + (stay.hi - lo)]
    if (float(np.nanmedian(ahead)) - late_c) * drift <= 0.0:
        return grid
    return replace(grid, mid_c=grid.mid_c - drift * (grid.t_s - grid.t_s[at]))


def last_leaving(
    grid: Grid, stay: tuple[float, Departure], dwell: Stretch, later: Stretch
) -> Departure:
    """Return when a level was truly left [s]: after a last swing the other way, if there was one.

    ``stay`` is from when [s] the kiln was there, and the bend that looked like its leaving. A peak
    before a cooling (a dip before a heating) belongs to the stay: it ends where the trace last
    crosses its level on the way out.
    """
    there_s, left = stay
    lo = int(np.searchsorted(grid.t_s, there_s))
    at = int(np.searchsorted(grid.t_s, left.at_s))
    end = min(later.hi, len(grid.t_s) - 1)
    if at - lo < LEAST_BEND_CELLS or end <= at:
        return left
    level = float(np.nanmedian(grid.mid_c[lo:at])) if grid.known[lo:at].any() else np.nan
    ahead = grid.mid_c[at : end + 1]
    known = np.flatnonzero(np.isfinite(ahead))
    if not len(known) or not np.isfinite(level):
        return left
    go = 1.0 if float(ahead[known[-1]]) >= level else -1.0
    behind = np.flatnonzero(-go * (ahead - level) > max(SWING_K, 5.0 * grid.noise_k))
    if not len(behind):
        return left
    back = at + int(behind[-1])
    crossed = np.flatnonzero(go * (grid.mid_c[back : end + 1] - level) >= 0.0)
    if not len(crossed):
        return left
    u_s = float(np.hypot(grid.cell_s, LAG_S))
    return Departure(float(grid.t_s[back + int(crossed[0])]), u_s)


def _beside_hole(
    grid: Grid, hole: tuple[int, int, int], leave: Departure, away_k: FloatArray
) -> Departure:
    """Return a turning point with what a hole before the path's boundary does to it."""
    before, after, at = hole
    lo_s, hi_s = float(grid.t_s[before]), float(grid.t_s[after])
    near_k = max(2.0, 4.0 * grid.noise_k)
    if away_k[before] <= near_k < np.nanmin(away_k[after : at + 1]):
        # At its level when the readings stopped, gone from then on: it turned in the hole.
        at_s = float(np.clip(leave.at_s, lo_s, hi_s))
        return Departure(at_s, max(at_s - lo_s, hi_s - at_s) + LAG_S)
    if hi_s > leave.at_s:
        # The line behind the hole was drawn back across it: anywhere up to its end is possible.
        return Departure(leave.at_s, max(leave.u_s or 0.0, hi_s - leave.at_s))
    return leave


def _cells_since(grid: Grid, at: int, level_c: float) -> int:
    """Return how many cells the record took to come from the level to cell ``at``, at its slope."""
    half = max(5, round(SLOPE_LOOK_S / grid.cell_s))
    lo, hi = max(0, at - half), min(len(grid.t_s), at + half + 1)
    known = np.flatnonzero(grid.known[lo:hi]) + lo
    if len(known) < 2:
        return half
    first, last = known[0], known[-1]
    per_cell = abs(float(grid.mid_c[last] - grid.mid_c[first])) / (last - first)
    away_k = abs(float(grid.mid_c[min(known, key=lambda cell: abs(cell - at))]) - level_c)
    cells = away_k / max(per_cell, 1e-6)
    return int(np.clip(cells, 4, max(4, MOST_BACK_S / grid.cell_s)))


def _level(grid: Grid, lo: int, hi: int, level_c: float) -> float:
    """Return the level of the last half of a stay, or ``level_c`` where it is too short."""
    inner = grid.mid_c[max(lo, hi - max(LEAST_BEND_CELLS, (hi - lo) // 2)) : max(hi, lo)]
    inner = inner[np.isfinite(inner)]
    return float(np.median(inner)) if len(inner) >= 3 else level_c


def _hole_before(grid: Grid, lo: int, at: int) -> tuple[int, int, int] | None:
    """Return the cells on either side of the last hole before ``at``, and ``at``; None without."""
    known = np.flatnonzero(grid.known[lo : at + 1]) + lo
    wide = np.flatnonzero(np.diff(known) > 1)
    return (int(known[wide[-1]]), int(known[wide[-1] + 1]), at) if len(wide) else None


def _hole_at(t_s: FloatArray, at_s: float, cell_s: float) -> float:
    """Return half the width of the hole around an instant, 0 when there is none."""
    right = int(np.searchsorted(t_s, at_s))
    if not 0 < right < len(t_s):
        return 0.0
    width = float(t_s[right] - t_s[right - 1])
    return width if width > 1.5 * cell_s else 0.0
