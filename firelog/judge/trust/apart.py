"""Finds couples of one kiln that contradict each other: one of them reads wrong, or leaves. Pure.

Kilns are uneven, so a difference alone says little. Couples contradict each other where, with the
kiln calm, they stand farther apart than both uncertainties and an uneven kiln explain, or farther
than this kiln ever showed; and where one leaves its neighbours during a hold. With two couples
nobody can say which of them is wrong; among more, the one that is far from every other.

Limits without a source beside them are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from itertools import combinations

import numpy as np

from firelog.judge.trust.cells import HOT_C, Cells
from firelog.judge.trust.doubt import Doubt, Kind, between
from firelog.readings import FloatArray
from firelog.say.numbers import show_difference
from firelog.units import TemperatureUnit

UNEVEN_K = 28.0  # ± 14 °C, class 5 of AMS2750, end to end (as printed in vendors' tables)
BEYOND_HABIT_K = 15.0  # what another load may change
LEAVES_K = 20.0  # from where it settled in the same hold; errors of the couple do not enter
LASTING_S = 600.0
SETTLED_S = 900.0

Pair = tuple[str, str]
Past = Callable[[], Mapping[Pair, tuple[float, float]]]


def apart(
    grid: Cells | None, role: str, past: Past = dict, unit: TemperatureUnit = "C"
) -> list[Doubt]:
    """Return the channels of one role, on cells, that contradict each other, for the whole firing.

    ``past`` returns how far [K] each pair of channels (by name, sorted: first minus second) has
    stood apart in earlier firings of the kiln, lowest and highest; it is asked only when needed.
    Sentences in ``unit``.
    """
    if grid is None:
        return []
    known: Mapping[Pair, tuple[float, float]] | None = None
    against: dict[str, dict[str, tuple[str, float, float, float]]] = {n: {} for n in grid.names}
    compared: dict[str, set[str]] = {n: set() for n in grid.names}
    for i, j in combinations(range(len(grid.names)), 2):
        pair = (grid.names[i], grid.names[j])
        apart_k = grid.temp_c[i] - grid.temp_c[j]
        if np.isfinite(apart_k).sum() * grid.cell_s < LASTING_S:
            continue
        compared[pair[0]].add(pair[1])
        compared[pair[1]].add(pair[0])
        usable = _usable_cells(grid, apart_k)
        if known is None and float(np.max(np.abs(apart_k[usable]), initial=0.0)) > BEYOND_HABIT_K:
            known = past()
        found = _far(grid, (i, j), apart_k, _habit(known or {}, pair))
        if found is None:
            found = _leaves(grid, (i, j), apart_k)
        if found is not None:
            against[pair[0]][pair[1]] = found
            against[pair[1]][pair[0]] = found
    return _doubts(grid, role, against, compared, unit)


def _habit(known: Mapping[Pair, tuple[float, float]], pair: Pair) -> tuple[float, float] | None:
    """Return how far apart [K] a pair was used to stand, as first minus second."""
    if pair in known:
        return known[pair]
    turned = known.get((pair[1], pair[0]))
    return None if turned is None else (-turned[1], -turned[0])


def _doubts(
    grid: Cells,
    role: str,
    against: Mapping[str, Mapping[str, tuple[str, float, float, float]]],
    compared: Mapping[str, set[str]],
    unit: TemperatureUnit,
) -> list[Doubt]:
    """Return a doubt for each channel that agrees with no other."""
    alone = [n for n in grid.names if compared[n] and compared[n] <= set(against[n])]
    found = []
    for name in alone:
        near = min(against[name], key=lambda other: abs(against[name][other][1]))
        what, apart_k, from_s, to_s = against[name][near]
        both = name if len(compared[name]) > 1 and near not in alone else ""
        first, second = sorted((name, near))
        gap = show_difference(abs(apart_k), unit)
        why = (
            f"{name} and {near} stand" if both else f"{first} and {second} stand"
        ) + f" {gap} apart {between(from_s, to_s)}, {what}: "
        why += (
            f"{name} is not believed"
            if both
            else "one of the two reads wrong, and the record does not say which"
        )
        found.append(Doubt(name, role, Kind.APART, float(grid.t_s[0]), np.inf, why, (near,)))
    return found


def _usable_cells(grid: Cells, apart_k: FloatArray) -> np.ndarray:
    hot = np.nanmin(np.where(np.isfinite(grid.temp_c), grid.temp_c, np.inf), axis=0) > HOT_C
    return np.asarray(grid.calm & hot & np.isfinite(apart_k))


def _far(
    grid: Cells, both: tuple[int, int], apart_k: FloatArray, habit: tuple[float, float] | None
) -> tuple[str, float, float, float] | None:
    """Return what a pair is beyond, how far apart [K], from and to [s]; None where all is well."""
    i, j = both
    if habit is not None:
        low, high = habit
        beyond = (apart_k > high + BEYOND_HABIT_K) | (apart_k < low - BEYOND_HABIT_K)
        beyond &= np.abs(apart_k) > BEYOND_HABIT_K
        what = "farther than this kiln ever showed"
    else:
        u_k = np.hypot(np.hypot(grid.expanded_k[i], grid.expanded_k[j]), UNEVEN_K)
        beyond = np.abs(apart_k) > np.where(np.isfinite(u_k), u_k, UNEVEN_K)
        what = "farther than their uncertainties and an uneven kiln explain"
    return _lasting(grid, apart_k, beyond & _usable_cells(grid, apart_k), what)


def _lasting(
    grid: Cells, apart_k: FloatArray, where: np.ndarray, what: str
) -> tuple[str, float, float, float] | None:
    cells = np.flatnonzero(where)
    if len(cells) * grid.cell_s < LASTING_S:
        return None
    middle = float(np.median(apart_k[cells]))
    return what, middle, float(grid.t_s[cells[0]]), float(grid.t_s[cells[-1]])


def _leaves(
    grid: Cells, both: tuple[int, int], apart_k: FloatArray
) -> tuple[str, float, float, float] | None:
    """Return how one leaves the other while at least one of them holds still."""
    i, j = both
    still = (grid.still[i] | grid.still[j]) & np.isfinite(apart_k)
    if not still.any() or float(np.ptp(apart_k[still])) <= LEAVES_K:
        return None  # however it is cut into holds
    edges = np.flatnonzero(np.diff(np.concatenate(([0], still.astype(np.int8), [0]))))
    for first, last in zip(edges[::2], edges[1::2], strict=True):
        if (last - first) * grid.cell_s < SETTLED_S + LASTING_S:
            continue
        part = apart_k[first:last]
        begin = max(1, round(SETTLED_S / grid.cell_s))
        was_k = float(np.median(part[:begin]))
        # What comes together as the kiln soaks through is no contradiction.
        nearer = (np.abs(part) <= abs(was_k)) & (part * was_k >= 0.0)
        moved = (np.abs(part - was_k) > LEAVES_K) & ~nearer
        where = np.zeros(len(apart_k), dtype=bool)
        where[first:last] = moved
        hot = np.nanmin(grid.temp_c[:, first:last]) > HOT_C
        if hot and (found := _lasting(grid, apart_k, where, _LEFT)) is not None:
            return found
    return None


_LEFT = "having left each other in the same hold"
