"""Lets a hold last until the kiln truly leaves it, where the path had given it up too soon.

The path through the record pays for every hour out of the band, so it gives a long power cut, a dip
near the end or a slow drift to the next move. A kiln that comes back to its aim had not left it,
and one that only drifts has not begun to move. Thresholds: common practice, no source.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from firelog.schedule.follow.grid import Grid
from firelog.schedule.follow.path import NEIGHBOUR, Aim, Alignment, Stretch, slope_k_per_h

BACK_S = 300.0  # so long at its aim again, and it had not left
AWAY_S = 3 * 3600.0  # what comes back later is another firing
DRIFT_SHARE = 0.5  # slower than this part of the move that follows, it only drifts
DRIFT_S = 300.0
STEEP_QUANTILE = 0.75
SHARP_SHARE = 0.75  # slower than this part of the move till out of the band: no sharp end


def held_on(grid: Grid, chain: tuple[Aim, ...], path: Alignment) -> Alignment:
    """Return the path with each dwell extended to where the kiln last was, or drifted, at its aim.

    Only into the move that follows, and never past where it comes to the next aim.
    """
    moves, dwells, after = list(path.moves), list(path.dwells), path.after
    for number, aim in enumerate(chain):
        stay = dwells[number]
        last = number + 1 == len(chain)
        going = after if last else moves[number + 1]
        if stay.hi == stay.lo or going.hi - going.lo < 2 or not aim.holds:
            continue
        if not last and abs(chain[number + 1].target_c - aim.target_c) <= (
            aim.band_k + chain[number + 1].band_k
        ):
            continue  # being at the one is being at the other
        next_c = None if last else chain[number + 1].target_c
        until = _held_until(grid, aim, going, next_c)
        if until <= going.lo:
            continue
        dwells[number] = replace(stay, hi=until)
        going = Stretch(until, going.hi, max(going.lo_early, until), max(going.lo_late, until))
        if last:
            after = going
        else:
            moves[number + 1] = going
    return replace(path, moves=tuple(moves), dwells=tuple(dwells), after=after)


def _held_until(grid: Grid, aim: Aim, going: Stretch, next_c: float | None) -> int:
    """Return the first cell after the stay, ``going.lo`` where it ended there."""
    back = going.lo + _came_back(grid, aim, going)
    rest = Stretch(back, going.hi, back, back)
    return back + _drifted(grid, aim, rest, next_c)


def _came_back(grid: Grid, aim: Aim, going: Stretch) -> int:
    """Return after how many cells of the move the kiln was last inside its band."""
    mid_c = grid.mid_c[going.lo : going.hi]
    inside = np.abs(mid_c - aim.target_c) <= aim.band_k
    out = np.flatnonzero(np.isfinite(mid_c) & ~inside)
    if not len(out):
        return 0
    cells = np.flatnonzero(inside)
    again = cells[cells > out[0]]
    near = again[np.diff(again, prepend=out[0]) * grid.cell_s <= AWAY_S]
    if len(near) < len(again):  # nothing after the first long absence counts
        again = again[: int(np.argmax(np.diff(again, prepend=out[0]) * grid.cell_s > AWAY_S))]
    if len(again) * grid.cell_s < BACK_S:
        return 0
    return int(again[-1]) + 1


def _drifted(grid: Grid, aim: Aim, going: Stretch, next_c: float | None) -> int:
    """Return for how many cells the kiln only drifted before it went at the move's own pace."""
    mid_c, slope = grid.mid_c[going.lo : going.hi], slope_k_per_h(grid)[0][going.lo : going.hi]
    known = np.flatnonzero(np.isfinite(mid_c))
    if len(known) < 2:
        return 0
    end_c = float(mid_c[known[-1]]) if next_c is None else next_c
    sign = 1.0 if end_c >= aim.target_c else -1.0
    steep = float(np.quantile(sign * slope[known], STEEP_QUANTILE))
    room_k = NEIGHBOUR * abs(end_c - aim.target_c)
    moving = (sign * slope > DRIFT_SHARE * steep) | (np.abs(mid_c - aim.target_c) > room_k)
    moving &= np.isfinite(mid_c)
    if steep <= 0.0 or not moving.any():
        return 0
    drifted = int(np.argmax(moving))
    return drifted if drifted * grid.cell_s >= DRIFT_S else 0


def gone_s(grid: Grid, aim: Aim, left_s: float, later: Stretch) -> float | None:
    """Return when, on the way on, a kiln was last inside its band or short of it [s].

    None where its leaving ``left_s`` [s] was sharp: from there on it went at the pace of the whole
    move. A person who turns a knob leaves no sharp end, and a soak may be said to have lasted until
    the band was left.
    """
    lo = int(np.searchsorted(grid.t_s, left_s))
    mid_c, t_s = grid.mid_c[lo : later.hi + 1], grid.t_s[lo : later.hi + 1]
    known = np.flatnonzero(np.isfinite(mid_c))
    if len(known) < 2:
        return None
    sign = 1.0 if float(mid_c[known[-1]]) >= aim.target_c else -1.0
    inside = known[sign * (mid_c[known] - aim.target_c) <= aim.band_k]
    if not len(inside) or inside[-1] == known[0]:
        return None
    last, first = int(inside[-1]), int(known[0])
    pace = sign * float(mid_c[last] - mid_c[first]) / float(t_s[last] - t_s[first]) * 3600.0
    moves = sign * slope_k_per_h(grid)[0][lo : later.hi + 1][known]
    if pace >= SHARP_SHARE * float(np.quantile(moves, STEEP_QUANTILE)):
        return None
    return float(t_s[last])
