"""A function on evenly spaced cells, evaluated at the speed of memory.

Thermocouples are read backwards: the emf is known and the temperature wanted, and the published
inverse polynomials are off by up to 0.06 K. Here the exact inverse is sampled once into cells of
equal width in emf, a parabola in each, and looked up. Blocks are small enough for a core's second
cache, and nothing but plain array passes is needed.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np

from firelog.readings import FloatArray, IntArray

CELLS = 32768
BLOCK = 65536
# Adding 1.5·2**52 to a double leaves its nearest integer in the low bits of the mantissa.
# That turns rounding and conversion to an index into two vector additions, and it is defined for
# NaN, infinities and any size, which a cast to integer is not.
_ROUNDER = 1.5 * 2.0**52
_ROUNDER_BITS: IntArray = np.array(_ROUNDER).view(np.int64)
_INSET = 1e-9  # of a cell: the ends of the range lie inside the end cells, not on their rims


@dataclass(frozen=True)
class CellTable:
    """Parabolas c0 + d·(c1 + d·c2) over cells 1..CELLS; d in −½..½ is the place within the cell.

    Cells 0 and CELLS + 1 stand for everything outside and hold NaN, and so does each cell across
    which the function is not smooth. Where a cell gives NaN, ``exact`` is asked.
    """

    exact: Callable[[FloatArray], FloatArray]
    scale: float
    offset: float
    c0: FloatArray
    c1: FloatArray
    c2: FloatArray


def build(
    low: float, high: float, exact: Callable[[FloatArray], FloatArray], rough: tuple[float, ...]
) -> CellTable:
    """Sample ``exact`` over ``low``..``high``; cells that hold a value of ``rough`` are left NaN.

    The parabolas share their values at the rims of the cells, so the result is continuous.
    """
    scale = (CELLS - 2 * _INSET) / (high - low)
    offset = 0.5 + _INSET - low * scale
    rims: FloatArray = (np.arange(CELLS + 1, dtype=np.float64) + 0.5 - offset) / scale
    centres = (np.arange(1, CELLS + 1, dtype=np.float64) - offset) / scale
    at_rims = exact(np.clip(rims, low, high))
    c0, c1, c2 = (np.full(CELLS + 2, np.nan) for _ in range(3))
    c0[1:-1] = exact(centres)
    c1[1:-1] = at_rims[1:] - at_rims[:-1]
    c2[1:-1] = 2.0 * (at_rims[1:] + at_rims[:-1]) - 4.0 * c0[1:-1]
    for value in rough:
        at = value * scale + offset
        c0[np.unique([round(at - 1e-6), round(at + 1e-6)])] = np.nan
    return CellTable(exact, scale, offset, c0, c1, c2)


def look_up(table: CellTable, x: FloatArray) -> FloatArray:
    """Return the tabulated function at ``x`` (one-dimensional), exact where the table has none."""
    out = np.empty(len(x))
    scratch = np.empty((3, min(BLOCK, len(x))))
    refused = []
    with np.errstate(invalid="ignore", over="ignore"):
        for start in range(0, len(x), BLOCK):
            result = out[start : start + BLOCK]
            _parabolas(table, x[start : start + BLOCK], result, scratch[:, : len(result)])
            if np.isnan(np.min(result)):
                refused.append(start + np.flatnonzero(np.isnan(result)))
    if refused:
        at = np.concatenate(refused)
        out[at] = table.exact(x[at])
    return out


def _parabolas(table: CellTable, x: FloatArray, y: FloatArray, scratch: FloatArray) -> None:
    place, value, cell = scratch[0], scratch[1], scratch[2].view(np.int64)
    np.multiply(x, table.scale, out=y)
    np.add(y, table.offset, out=y)
    np.add(y, _ROUNDER, out=place)
    np.subtract(place.view(np.int64), _ROUNDER_BITS, out=cell)
    np.subtract(place, _ROUNDER, out=place)
    np.subtract(y, place, out=place)
    # mode="clip" sends every index outside to the NaN cells at the ends
    np.take(table.c2, cell, out=y, mode="clip")
    np.multiply(y, place, out=y)
    np.take(table.c1, cell, out=value, mode="clip")
    np.add(y, value, out=y)
    np.multiply(y, place, out=y)
    np.take(table.c0, cell, out=value, mode="clip")
    np.add(y, value, out=y)
