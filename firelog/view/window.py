"""The stretch of a picture that somebody looks at closely."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firelog.readings import FloatArray
from firelog.say.durations import show_duration, show_exact_duration


@dataclass(frozen=True)
class Window:
    """From ``from_s`` to ``to_s`` [s since the beginning], drawn in ``columns`` equal columns."""

    from_s: float
    to_s: float
    columns: int

    @property
    def points(self) -> int:
        """How many points a line may have: the lowest and the highest of each column, the ends."""
        return 2 * self.columns + 2

    def cut(self, t_s: FloatArray, value: FloatArray) -> tuple[FloatArray, FloatArray]:
        """Return the readings inside, and one on either side for the line to come from."""
        inside = self.places(t_s)
        kept = slice(max(0, inside.start - 1), min(len(t_s), inside.stop + 1))
        return t_s[kept], value[kept]

    def places(self, t_s: FloatArray) -> slice:
        """Return the slice of the readings inside, both ends included."""
        low, high = np.searchsorted(t_s, self.from_s), np.searchsorted(t_s, self.to_s, "right")
        return slice(int(low), int(high))

    def words(self, most: int) -> str:
        """Say what is drawn of ``most`` readings of one channel."""
        if most <= self.points:
            return "every reading is drawn"
        each_s = (self.to_s - self.from_s) / self.columns
        each = show_duration(each_s) if each_s >= 3600.0 else show_exact_duration(each_s)
        return f"the lowest and the highest reading of every {each} are drawn"
