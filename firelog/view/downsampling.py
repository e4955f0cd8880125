"""Draw fewer points than were read, without losing a peak, and keep holes as holes.

A night at one reading a second is 43 200 points; a screen has a thousand columns. Each column
keeps its lowest and its highest reading, so that a spike or a door opened for ten seconds is
still seen. Between two readings farther apart than the record's own pace nothing is drawn.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray, IntArray

PACES_TO_A_HOLE = 4.0  # a reading late by less than this is not a hole
MOST_HOLES = 200  # in one drawn line; the longest are kept


def usable(t_s: FloatArray, value: FloatArray) -> IntArray:
    """Return the positions of the readings that can be drawn."""
    return np.flatnonzero(np.isfinite(t_s) & np.isfinite(value))


def hole_starts(t_s: FloatArray, kept: IntArray, most: int = MOST_HOLES) -> IntArray:
    """Return the positions in ``kept`` after which a hole begins, at most ``most`` of them.

    A hole is where unusable readings lie between two usable ones, or where they are farther
    apart than :data:`PACES_TO_A_HOLE` times the usual pace. With too many, the longest count.
    """
    if len(kept) < 2:
        return np.empty(0, dtype=np.int64)
    steps = np.diff(t_s[kept])
    late = steps > PACES_TO_A_HOLE * max(pace(t_s), 1e-9)
    found = np.flatnonzero((np.diff(kept) > 1) | late)
    if len(found) > most:
        longest = np.argsort(steps[found], kind="stable")[-most:]
        found = np.sort(found[longest])
    return found


def broken(
    t_s: FloatArray, value: FloatArray, last_s: float, pace_s: float
) -> tuple[FloatArray, FloatArray]:
    """Return new readings to append to a line that ends at ``last_s``, NaN before each hole."""
    steps = np.diff(np.append(last_s, t_s))
    late = np.flatnonzero(steps > PACES_TO_A_HOLE * pace_s) if pace_s > 0 else np.empty(0, int)
    before = np.append(last_s, t_s)[late]
    return np.insert(t_s, late, before), np.insert(value, late, np.nan)


def pace(t_s: FloatArray) -> float:
    """Return the usual seconds between two readings, 0 where there are not two."""
    return float(np.median(np.diff(t_s))) if len(t_s) > 1 else 0.0


def envelope(t_s: FloatArray, points: int, value: FloatArray) -> IntArray:
    """Return positions of at most ``points`` readings: each bin's lowest and highest, and ends.

    Bins are equal in time. The ends count for no bin: they may lie outside what is looked at, and
    must not stand for what is inside. With no more than ``points`` readings all are returned.
    """
    count = len(t_s)
    if count <= points or count < 3:
        return np.arange(count)
    bins = max(1, (points - 2) // 2)
    within, between = value[1:-1], t_s[1:-1]
    edges = np.linspace(between[0], between[-1], bins + 1)[:-1]
    starts = np.unique(np.searchsorted(between, edges, side="left"))
    lowest = _first_at(within, starts, np.minimum.reduceat(within, starts)) + 1
    highest = _first_at(within, starts, np.maximum.reduceat(within, starts)) + 1
    return np.unique(np.concatenate(([0], lowest, highest, [count - 1])))


def _first_at(value: FloatArray, starts: IntArray, extreme: FloatArray) -> IntArray:
    """Return, of each bin, the position of the first value that is its extreme."""
    lengths = np.diff(np.append(starts, len(value)))
    hits = np.flatnonzero(value == np.repeat(extreme, lengths))
    return hits[np.searchsorted(hits, starts)]


def drawn(
    t_s: FloatArray, value: FloatArray, points: int
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Return instants and values to draw: an envelope of each stretch, NaN values at holes.

    The NaN stands at the last reading before its hole. Holes take up to :data:`MOST_HOLES` or an
    eighth of ``points``, and never more than five points each beyond ``points``.
    """
    kept = usable(t_s, value)
    breaks = hole_starts(t_s, kept, min(MOST_HOLES, max(1, points // 8)))
    stretches = np.split(kept, breaks + 1) if len(kept) else []
    times, values = [], []
    for number, stretch in enumerate(stretches):
        share = max(4, int(points * len(stretch) / len(kept)))
        chosen = stretch[envelope(t_s[stretch], share, value[stretch])]
        times.append(t_s[chosen])
        values.append(value[chosen])
        if number < len(stretches) - 1:
            times.append(t_s[chosen[-1:]])
            values.append(np.array([np.nan]))
    if not times:
        return np.empty(0), np.empty(0)
    return np.concatenate(times), np.concatenate(values)


def holes(t_s: FloatArray, value: FloatArray, longest_s: float) -> list[tuple[float, float]]:
    """Return the stretches longer than ``longest_s`` between two usable readings."""
    kept = usable(t_s, value)
    times = t_s[kept]
    return [
        (float(times[at]), float(times[at + 1]))
        for at in np.flatnonzero(np.diff(times) > longest_s)
    ]


def stretches(t_s: FloatArray, value: FloatArray) -> list[list[tuple[float, float]]]:
    """Return a drawn line's stretches between its NaNs, as pairs."""
    ends = np.flatnonzero(np.isnan(value))
    found = []
    for times, values in zip(np.split(t_s, ends), np.split(value, ends), strict=True):
        solid = np.isfinite(values)
        if solid.any():
            found.append(list(zip(times[solid].tolist(), values[solid].tolist(), strict=True)))
    return found
