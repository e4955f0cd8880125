"""A buffer per channel for the watch: a thinned trace of the firing, and how it looks now.

Readings are averaged into cells of some seconds, so that a day of sixteen channels stays small
and its cost flat. Instants are seconds since the firing began; what is *usable* follows the
quality that intake gave.
"""

from __future__ import annotations

from array import array
from bisect import bisect_left

import numpy as np

from firelog.readings import FloatArray, Quality, QualityArray
from firelog.schedule.plan.model import ChannelTrace

CELL_S = 5.0
MOST_CELLS = 17_280  # a day of 5 s; longer nights get wider cells
NOW_S = 30.0  # the present temperature is the mean of so long
LATELY_S, LATELY = 600.0, 8  # over so long, and so many readings, flickering is told


class ChannelBuffer:
    """One channel's memory; cells in order of time, the newest still open."""

    def __init__(self, name: str, role: str) -> None:
        self.name, self.role = name, role
        self.quality = Quality.OK
        self.newest_s: float | None = None
        self.usable_s: float | None = None
        self.every_s: float | None = None
        self.expanded_k = 5.0
        self._cell_s = CELL_S
        self._t, self._sum, self._count = array("d"), array("d"), array("d")
        self._bad_share = 0.0

    # ------------------------------------------------------------ writing
    def add(self, t_s: float, temp_c: float, quality: int) -> None:
        """Enter one reading; NaN or a quality other than ok says that there was no usable one."""
        if self.newest_s is not None:
            if t_s <= self.newest_s:
                return
            step_s = min(t_s - self.newest_s, 600.0)
            usual_s = step_s if self.every_s is None else self.every_s
            self.every_s = usual_s + 0.1 * (min(step_s, 4 * usual_s) - usual_s)
        self.newest_s, self.quality = t_s, Quality(quality)
        bad = quality != Quality.OK or temp_c != temp_c  # noqa: PLR0124  (NaN)
        weight = min(1.0 / LATELY, (self.every_s or 1.0) / LATELY_S)
        self._bad_share += weight * (float(bad) - self._bad_share)
        if bad:
            return
        self.usable_s = t_s
        if self._t and t_s < self._t[-1] + self._cell_s:
            self._sum[-1] += temp_c
            self._count[-1] += 1
            return
        self._t.append(t_s)
        self._sum.append(temp_c)
        self._count.append(1)
        if len(self._t) > MOST_CELLS:
            self._widen()

    def add_all(self, t_s: FloatArray, temp_c: FloatArray, quality: QualityArray) -> None:
        """Enter readings in order of time."""
        for entry in zip(t_s.tolist(), temp_c.tolist(), quality.tolist(), strict=True):
            self.add(*entry)

    def rewind(self, t_s: float) -> None:
        """Forget what is dated from an instant on: the clock was set back to it."""
        keep = bisect_left(self._t, t_s)
        for column in (self._t, self._sum, self._count):
            del column[keep:]
        self.newest_s = t_s - 1e-6
        self.usable_s = self._t[-1] if keep else None

    def _widen(self) -> None:
        self._cell_s *= 2.0
        self._t = array("d", self._t[::2])
        for name in ("_sum", "_count"):
            column: array[float] = getattr(self, name)
            odd = column[1::2] + array("d", [0.0] * (len(column) % 2))
            pairs = zip(column[::2], odd, strict=True)
            setattr(self, name, array("d", [a + b for a, b in pairs]))

    # ------------------------------------------------------------ reading
    def mean_c(self, from_s: float, to_s: float) -> float | None:
        """Return the mean of the usable readings in a stretch, or None where there are none."""
        lo, hi = bisect_left(self._t, from_s), bisect_left(self._t, to_s)
        count = sum(self._count[lo:hi])
        return sum(self._sum[lo:hi]) / count if count else None

    def now_c(self, now_s: float) -> float | None:
        """Return the present temperature: the mean of the last half minute, or the last cell."""
        if self.usable_s is None or now_s - self.usable_s > max(NOW_S, 5.0 * (self.every_s or 1.0)):
            return None
        near = self.mean_c(now_s - NOW_S, now_s + 1.0)
        return near if near is not None else self._sum[-1] / self._count[-1]

    def rose_k(self, now_s: float, over_s: float) -> float | None:
        """Return by how much it has risen since ``over_s`` ago; None when either end is missing."""
        now_c = self.now_c(now_s)
        half_s = max(15.0, 0.05 * over_s, 1.5 * (self.every_s or 0.0))
        then_c = self.mean_c(now_s - over_s - half_s, now_s - over_s + half_s)
        return None if now_c is None or then_c is None else now_c - then_c

    @property
    def bad_share(self) -> float:
        """How much of what was said of late was no temperature [0 to 1], newest weighing most."""
        return self._bad_share

    def trace(self) -> ChannelTrace:
        """Return the thin trace, ready to be followed."""
        count = np.array(self._count)
        temp_c = np.array(self._sum) / count if len(count) else np.empty(0)
        # A cell stands for the middle of what it holds.
        t_s = np.array(self._t) + np.where(count > 1, self._cell_s / 2.0, 0.0)
        return ChannelTrace(
            self.name,
            self.role,
            t_s,
            temp_c,
            np.full(len(temp_c), self.expanded_k),
            np.zeros(len(temp_c), np.uint8),
        )
