"""Stretches of time as arrays of (from, to) seconds: runs of a mask, sums, common parts."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray

BoolArray = NDArray[np.bool_]
NOTHING: FloatArray = np.empty((0, 2))


def runs_of_steps(t_s: FloatArray, step_counts: BoolArray) -> FloatArray:
    """Return the stretches [s] made of the steps t[i]→t[i+1] that count, shape (n, 2)."""
    if not len(step_counts):
        return NOTHING
    edges = np.diff(np.concatenate(([0], step_counts.view(np.int8), [0])))
    return np.column_stack((t_s[np.flatnonzero(edges == 1)], t_s[np.flatnonzero(edges == -1)]))


def clip(stretches: FloatArray, lo_s: float, hi_s: float) -> FloatArray:
    """Return the parts of the stretches (n, 2) [s] inside [lo_s, hi_s] [s]."""
    cut = np.clip(stretches, lo_s, hi_s)
    return np.asarray(cut[cut[:, 1] > cut[:, 0]])


def join(stretches: FloatArray) -> FloatArray:
    """Return the union of the stretches (n, 2) [s], touching ones merged, in time order.

    >>> join(np.array([[0.0, 60.0], [60.0, 90.0], [200.0, 230.0]]))
    array([[  0.,  90.],
           [200., 230.]])
    """
    return _where_at_least(stretches, 1)


def common(groups: Sequence[FloatArray]) -> FloatArray:
    """Return the stretches (n, 2) [s] that every group covers (each group free of overlaps).

    >>> common([np.array([[0.0, 60.0]]), np.array([[30.0, 90.0]])])
    array([[30., 60.]])
    """
    if len(groups) == 1:
        return groups[0]
    return _where_at_least(np.concatenate(groups), len(groups))


def _where_at_least(stretches: FloatArray, times: int) -> FloatArray:
    if not len(stretches):
        return NOTHING
    count = len(stretches)
    at = np.concatenate((stretches[:, 0], stretches[:, 1]))
    step = np.concatenate((np.ones(count), -np.ones(count)))
    order = np.lexsort((-step, at))  # where one ends and another begins, they touch
    depth = np.cumsum(step[order])
    inside = depth >= times
    edges = np.diff(np.concatenate(([0], inside.view(np.int8))))
    begins = at[order][edges == 1]
    ends = at[order][edges == -1]
    found = np.column_stack((begins, ends))
    return np.asarray(found[found[:, 1] > found[:, 0]])


def total_s(stretches: FloatArray) -> float:
    """Return the summed length [s] of the stretches (n, 2)."""
    return float(np.sum(stretches[:, 1] - stretches[:, 0])) if len(stretches) else 0.0


def longest(stretches: FloatArray) -> tuple[float, float] | None:
    """Return the longest of the stretches (n, 2) [s], or None when there is none."""
    if not len(stretches):
        return None
    at = int(np.argmax(stretches[:, 1] - stretches[:, 0]))
    return float(stretches[at, 0]), float(stretches[at, 1])


def when_filled(stretches: FloatArray, seconds: float) -> float | None:
    """Return the instant [s] at which the summed length first comes to ``seconds``, or None.

    >>> when_filled(np.array([[0.0, 60.0], [100.0, 200.0]]), 90.0)
    130.0
    """
    if not len(stretches):
        return None
    lengths = stretches[:, 1] - stretches[:, 0]
    filled = np.cumsum(lengths)
    at = int(np.searchsorted(filled, seconds - 1e-9))
    if at >= len(filled):
        return None
    before = float(filled[at] - lengths[at])
    return float(stretches[at, 0]) + seconds - before
