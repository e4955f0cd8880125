"""The temperature a kiln is believed to have, minute by minute, and how it moves.

Pure. Cells are a minute wide, or as wide as the logger's step, so that a slow logger is no
different from a fast one; a single wrong reading is taken out by its two neighbours.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np

from firelog.readings import FloatArray
from firelog.schedule.plan.model import ChannelTrace

CELL_S = 60.0
MOST_CELLS = 3000
LEVEL_S = 150.0  # the present level is the middle of so long


@dataclass(frozen=True)
class Trend:
    """Cells of ``cell_s``: ``t_s`` their ends [s since the firing began], ``temp_c`` or NaN."""

    t_s: FloatArray
    temp_c: FloatArray
    cell_s: float

    @cached_property
    def level_c(self) -> float:
        """The present level [°C], NaN when nothing is known just now."""
        return self._level(len(self.t_s))

    @cached_property
    def start_c(self) -> float:
        """Where it began [°C], NaN without a reading."""
        known = self.temp_c[np.isfinite(self.temp_c)]
        return float(known[0]) if len(known) else float("nan")

    def level_at(self, t_s: float) -> float:
        """Return the level [°C] at an instant [s since the firing began]."""
        return self._level(int(np.searchsorted(self.t_s, t_s, "right")))

    def gained_k(self, over_s: float) -> float | None:
        """Return by how much it rose in the last ``over_s`` [s]; None where that is unknown."""
        if not len(self.t_s) or self.t_s[-1] - self.t_s[0] < over_s:
            return None
        gained = self.level_c - self.level_at(float(self.t_s[-1]) - over_s)
        return float(gained) if np.isfinite(gained) else None

    def fell_k(self, over_s: float) -> float:
        """Return how far it is below its highest of the last ``over_s`` [s]; 0 where unknown."""
        part = self.last(over_s)
        fell = float(np.max(part) - self.level_c) if len(part) else 0.0
        return fell if np.isfinite(fell) else 0.0

    def last(self, over_s: float) -> FloatArray:
        """Return the known cells [°C] of the last ``over_s`` [s]."""
        if not len(self.t_s):
            return self.temp_c
        part = self.temp_c[self.t_s > self.t_s[-1] - over_s - 1e-6]
        return np.asarray(part[np.isfinite(part)])

    def swings_k(self, over_s: float, about_c: float) -> tuple[int, float]:
        """Return how often it crossed a level [°C] in ``over_s`` [s], and half its range [K].

        A crossing counts once it is 8 K beyond: common practice, no source.
        """
        part = self.last(over_s) - about_c
        side = np.sign(part[np.abs(part) > 8.0])
        crossed = int(np.count_nonzero(np.diff(side)))
        return crossed, float(np.ptp(part)) / 2.0 if len(part) else 0.0

    def _level(self, end: int) -> float:
        cells = max(1, round(LEVEL_S / self.cell_s))
        part = self.temp_c[max(0, end - cells) : end]
        part = part[np.isfinite(part)]
        return float(np.median(part)) if len(part) else float("nan")


def trend_of(traces: Sequence[ChannelTrace], now_s: float, every_s: float) -> Trend:
    """Return the middle of what is believed of several channels, up to ``now_s`` [s]."""
    first_s = min((float(one.t_s[0]) for one in traces if len(one)), default=now_s)
    cell_s = max(CELL_S, every_s, (now_s - first_s) / MOST_CELLS)
    count = max(0, int((now_s - first_s) // cell_s) + 1)
    ends_s = first_s + cell_s * (np.arange(count) + 1.0)
    if not traces or not count:
        return Trend(np.empty(0), np.empty(0), cell_s)
    rows = np.stack([_cells(one, first_s, cell_s, count) for one in traces])
    known = np.isfinite(rows).any(axis=0)
    temp_c = np.full(count, np.nan)
    temp_c[known] = np.nanmedian(rows[:, known], axis=0)
    return Trend(np.minimum(ends_s, now_s), _lone_out(temp_c), cell_s)


def _cells(trace: ChannelTrace, first_s: float, cell_s: float, count: int) -> FloatArray:
    good = np.isfinite(trace.temp_c)
    number = ((trace.t_s[good] - first_s) / cell_s).astype(np.int64)
    inside = (number >= 0) & (number < count)
    number, temp_c = number[inside], trace.temp_c[good][inside]
    total = np.bincount(number, weights=temp_c, minlength=count)
    many = np.bincount(number, minlength=count)
    return np.asarray(np.where(many > 0, total / np.maximum(many, 1), np.nan), dtype=np.float64)


def _lone_out(temp_c: FloatArray) -> FloatArray:
    """Return the cells with each replaced by the middle of itself and its two neighbours."""
    if len(temp_c) < 3:
        return temp_c
    around = np.stack([temp_c[:-2], temp_c[1:-1], temp_c[2:]])
    whole = np.isfinite(around).all(axis=0)
    calm = temp_c.copy()
    calm[1:-1][whole] = np.median(around[:, whole], axis=0)
    return calm
