"""Fast lookup table of a thermocouple's reference function, on evenly spaced cells.

Thermocouples are read backwards: the emf is known and the temperature wanted, and the published
inverse polynomials are off by up to 0.06 K. Here the exact inverse is sampled once into cells of
equal width in emf, a parabola in each, and looked up with plain array passes over blocks that fit
a core's cache. numpy lets go of the interpreter inside each pass, so the blocks of a long array
are shared among the cores.
"""

from __future__ import annotations

import os
from collections.abc import Callable
from concurrent.futures import ThreadPoolExecutor
from dataclasses import dataclass

import numpy as np

from firelog.readings import FloatArray, IntArray

_AT_LEAST_CELLS = 32768
_WITHIN = 1e-6  # K
_BLOCK = 65536
_PART = 8 * _BLOCK  # what a core takes at a time; less is not worth waking a second one
_CORES = min(8, os.cpu_count() or 1)


@dataclass(frozen=True)
class CellTable:
    """Parabolas c0 + x·(c1 + x·c2), one for each cell of width 2⁻ᵏ; x in [mV], result in [°C].

    ``rounder`` is 1.5·2⁵²⁻ᵏ. Adding it to x rounds x to a whole number of cells, and the bits of
    the sum, read as an integer, count them: one vector addition in place of scaling, rounding and a
    cast, and defined for NaN, infinities and any size, which a cast is not. ``first_bits`` are the
    bits that stand for index 0. It rests on the format of a double, IEEE 754.

    Cells at the ends, and cells that no parabola fits, hold NaN; where the table gives NaN,
    ``exact`` is asked. ``c01`` is c0 + i·c1: complex only because numpy gathers sixteen bytes as
    fast as eight.
    """

    exact: Callable[[FloatArray], FloatArray]
    rounder: float
    first_bits: int
    c01: np.ndarray[tuple[int], np.dtype[np.complex128]]
    c2: FloatArray


def build(
    low: float, high: float, exact: Callable[[FloatArray], FloatArray], rough: tuple[float, ...]
) -> CellTable:
    """Sample ``exact`` over ``low``..``high`` [mV]; ``rough`` [mV] is where it is not smooth.

    The parabolas share their values at the rims of the cells, so the result is continuous. A cell
    with a rough place in it, or whose parabola is off by more than 1e-6 K between rim and centre,
    is left to ``exact``. Method: quadratic interpolation through two rims and the centre of each
    cell.
    """
    per_unit = 2.0 ** np.ceil(np.log2(_AT_LEAST_CELLS / (high - low)))
    first, last = round(low * per_unit), round(high * per_unit)
    inner: FloatArray = np.arange(first + 1, last, dtype=np.float64)
    rims = np.append(inner - 0.5, last - 0.5) / per_unit
    centre = inner / per_unit
    at_rims, at_centre = exact(rims), exact(centre)
    slope = (at_rims[1:] - at_rims[:-1]) * per_unit
    bend = 2.0 * (at_rims[1:] + at_rims[:-1] - 2.0 * at_centre) * per_unit**2
    quarter = 0.25 / per_unit
    for away in (-quarter, quarter):
        parabola = at_centre + away * (slope + away * bend)
        bend[np.abs(parabola - exact(centre + away)) > _WITHIN] = np.nan
    # two NaN cells at each end: index 0 for everything below, then the cell that holds the end
    c0, c1, c2 = (np.full(len(inner) + 4, np.nan) for _ in range(3))
    c0[2:-2] = at_centre - centre * (slope - centre * bend)
    c1[2:-2] = slope - 2.0 * centre * bend
    c2[2:-2] = bend
    for place in rough:
        cell = place * per_unit - first + 1.0
        c2[[round(cell - 1e-3), round(cell + 1e-3)]] = np.nan
    rounder = 1.5 * 2.0**52 / per_unit
    bits = int(np.array(rounder).view(np.int64))
    return CellTable(exact, rounder, bits + first - 1, c0 + 1j * c1, c2)


def look_up(table: CellTable, x: FloatArray) -> FloatArray:
    """Return the tabulated function [°C] at ``x`` (n,) [mV], exact where the table has none."""
    out = np.empty(len(x))
    starts = range(0, len(x), _PART)
    if len(starts) < 2 or _CORES == 1:
        refused = _look_up_part(table, x, out)
    else:
        with ThreadPoolExecutor(_CORES) as cores:
            parts = cores.map(
                lambda at: _look_up_part(table, x[at : at + _PART], out[at : at + _PART]), starts
            )
            refused = [at + found for at, part in zip(starts, parts, strict=True) for found in part]
    if refused:
        at = np.concatenate(refused)
        out[at] = table.exact(x[at])
    return out


def _look_up_part(table: CellTable, x: FloatArray, out: FloatArray) -> list[IntArray]:
    """Fill ``out``; return the places that the table has no value for."""
    refused: list[IntArray] = []
    size = min(_BLOCK, len(x))
    place, pair = np.empty(size), np.empty(size, np.complex128)
    with np.errstate(invalid="ignore", over="ignore"):
        for start in range(0, len(x), _BLOCK):
            result = out[start : start + _BLOCK]
            n = len(result)
            _parabolas(table, x[start : start + n], result, place[:n], pair[:n])
            if np.isnan(np.min(result)):
                refused.append(start + np.flatnonzero(np.isnan(result)))
    return refused


def _parabolas(
    table: CellTable,
    x: FloatArray,
    y: FloatArray,
    place: FloatArray,
    pair: np.ndarray[tuple[int], np.dtype[np.complex128]],
) -> None:
    cell = place.view(np.int64)
    np.add(x, table.rounder, out=place)
    np.subtract(cell, table.first_bits, out=cell)
    # mode="clip" sends every index outside to the NaN cells at the ends
    np.take(table.c01, cell, out=pair, mode="clip")
    np.take(table.c2, cell, out=y, mode="clip")
    np.multiply(y, x, out=y)
    np.add(y, pair.imag, out=y)
    np.multiply(y, x, out=y)
    np.add(y, pair.real, out=y)
