"""Lays a kiln's channels on one grid of a minute or more, and says where it was calm. Pure.

What the searches that compare couples share: laid once for all of them.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np

from firelog.readings import FloatArray
from firelog.schedule.plan.model import ChannelTrace
from firelog.schedule.series import BoolArray

CALM_K_PER_H = 40.0  # common practice, no source
OVER_S = 600.0  # the stretch over which calm is told
HOT_C = 150.0  # below, a kiln that has just been lit is as uneven as it likes
_CELL_S, _MOST_CELLS = 60.0, 1500


@dataclass(frozen=True)
class Cells:
    """Channels on one grid [s]: means [°C], U [K] and where each stands still, (channels, cells).

    ``calm`` (cells,): most of the channels stand still there.
    """

    names: tuple[str, ...]
    t_s: FloatArray
    cell_s: float
    temp_c: FloatArray
    expanded_k: FloatArray
    still: BoolArray
    calm: BoolArray


def on_cells(traces: Sequence[ChannelTrace]) -> Cells | None:
    """Return channels [s, °C] on cells of a minute or more; None for fewer than two with readings.

    A cell's U is that of its first reading. Cost linear in the readings.
    """
    live = [one for one in traces if np.count_nonzero(np.isfinite(one.temp_c)) >= 2]
    if len(live) < 2:
        return None
    begin = min(float(one.t_s[0]) for one in live)
    end = max(float(one.t_s[-1]) for one in live)
    paces = [float(np.median(np.diff(one.t_s[:2000]))) for one in live]
    cell_s = max(_CELL_S, (end - begin) / _MOST_CELLS, *paces)
    t_s = np.asarray(begin + cell_s * np.arange(int((end - begin) / cell_s) + 1), dtype=np.float64)
    temp_c, u_k = (np.stack(rows) for rows in zip(*(_laid(one, t_s) for one in live), strict=True))
    half = max(1, max(1, round(OVER_S / cell_s)) // 2)
    still = np.stack([_still(row, half, cell_s) for row in temp_c])
    calm = still.sum(axis=0) > 0.6 * np.isfinite(temp_c).sum(axis=0)
    return Cells(tuple(one.name for one in live), t_s, cell_s, temp_c, u_k, still, calm)


def _laid(one: ChannelTrace, t_s: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return the mean [°C] and U [K] of each cell, NaN where there is no reading."""
    at_s, values, u_k = one.t_s, one.temp_c, one.expanded_k
    good = np.isfinite(values)
    if not good.all():
        at_s, values, u_k = at_s[good], values[good], u_k[good]
    first = np.searchsorted(at_s, t_s)
    count = np.diff(first, append=len(at_s))
    filled = count > 0
    temp_c, expanded_k = np.full(len(t_s), np.nan), np.full(len(t_s), np.nan)
    temp_c[filled] = np.add.reduceat(values, first[filled]) / count[filled]
    expanded_k[filled] = u_k[first[filled]]
    return temp_c, expanded_k


def _still(row: FloatArray, half: int, cell_s: float) -> BoolArray:
    """Return where a row [°C] moves less than the calm rate over ± so many cells."""
    still = np.zeros(len(row), dtype=np.bool_)
    if len(row) <= 2 * half:
        return still
    rate = (row[2 * half :] - row[: -2 * half]) / (2 * half * cell_s) * 3600.0
    with np.errstate(invalid="ignore"):
        still[half:-half] = np.abs(rate) < CALM_K_PER_H
    return still
