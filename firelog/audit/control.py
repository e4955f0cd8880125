"""A quantity from firing to firing: its control chart, its trend, and how sure a share is.

Individuals and moving ranges of two, because a kiln is fired once a night: there is no subgroup.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from scipy import stats  # type: ignore[import-untyped, unused-ignore]

# For moving ranges of two (n = 2): ASTM E2587, table of control chart factors; NIST/SEMATECH
# e-Handbook of Statistical Methods, 6.3.2.
D2, D4 = 1.128, 3.267
LEAST = 8  # fewer values give limits that mean nothing; common practice


@dataclass(frozen=True)
class Chart:
    """Individuals with their limits; ``signals`` are (position, rule) in order of position."""

    values: tuple[float, ...]
    centre: float
    low: float
    high: float
    range_centre: float
    range_high: float
    signals: tuple[tuple[int, str], ...]


@dataclass(frozen=True)
class Slope:
    """A trend by the median of slopes, per month, with its 95 % interval."""

    per_month: float
    low: float
    high: float

    @property
    def clear(self) -> bool:
        """True where the interval leaves out zero."""
        return self.low > 0.0 or self.high < 0.0


def chart(values: Sequence[float]) -> Chart | None:
    """Return the control chart of values in order of time, None for fewer than eight.

    >>> chart([5.0] * 7) is None
    True
    >>> made = chart([10.0, 12.0, 10.0, 12.0, 10.0, 12.0, 10.0, 12.0])
    >>> round(made.high, 3)  # 11 + 3 · 2 / 1.128 (NIST/SEMATECH e-Handbook, 6.3.2.2)
    16.319
    """
    if len(values) < LEAST:
        return None
    x = np.asarray(values, dtype=np.float64)
    moving = float(np.mean(np.abs(np.diff(x))))
    centre, sigma = float(np.mean(x)), moving / D2
    return Chart(
        tuple(values), centre, centre - 3.0 * sigma, centre + 3.0 * sigma, moving, D4 * moving,
        tuple(signals(x, centre, sigma)),
    )  # fmt: skip


def signals(x: np.ndarray, centre: float, sigma: float) -> list[tuple[int, str]]:
    """Return where a rule speaks: the four of the Western Electric handbook (1956).

    One beyond three sigma; two of three beyond two; four of five beyond one; eight on one side.
    NIST/SEMATECH e-Handbook, 6.3.2, lists them.
    """
    rules = ((1, 1, 3.0), (2, 3, 2.0), (4, 5, 1.0), (8, 8, 0.0))
    words = {
        (1, 1): "beyond three sigma",
        (2, 3): "two of three beyond two sigma",
        (4, 5): "four of five beyond one sigma",
        (8, 8): "eight in a row on one side",
    }
    found = []
    for at in range(len(x)):
        for count, of, away in rules:
            if at + 1 < of:
                continue
            last = x[at + 1 - of : at + 1] - centre
            for side in (1.0, -1.0):
                beyond = side * last > away * sigma
                if beyond.sum() >= count and beyond[-1]:
                    found.append((at, words[count, of]))
    return found


def slope(days: Sequence[float], values: Sequence[float]) -> Slope | None:
    """Return the trend (H. Theil 1950, P. Sen 1968), None for fewer than eight values."""
    if len(values) < LEAST or len(set(days)) < 2:
        return None
    found = stats.theilslopes(values, days)
    month = 365.25 / 12.0
    return Slope(
        float(found.slope) * month, float(found.low_slope) * month, float(found.high_slope) * month
    )


def share(hits: int, of: int) -> tuple[float, float]:
    """Return the 95 % interval of a share (E. Wilson, J. Am. Statist. Assoc. 22 (1927) 209-212)."""
    found = stats.binomtest(hits, of).proportion_ci(0.95, method="wilson")
    return float(found.low), float(found.high)
