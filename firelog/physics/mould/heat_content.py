"""Heat content against temperature of each cell, both ways, with heat that is taken only once.

The content H [J/m³] is counted from 0 °C and is a broken line over a few temperatures, so that
H(T) and T(H) are exact inverses. What a cell has once taken for its water or wax it keeps: below
its highest content it follows the line without them.

Arrays are (draws, cells): many moulds with slightly different properties are computed together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firelog.physics.mould.body import Material
from firelog.readings import FloatArray

_ENDS_C = (-60.0, 3000.0)
_STEPS_C = (0.0, 20.0, 100.0, 200.0, 300.0, 400.0, 600.0, 800.0, 1000.0, 1300.0)


@dataclass(frozen=True)
class PiecewiseLinear:
    """A rising broken line over the curve's temperatures [°C]: contents at its nodes, its pieces.

    ``j_per_m3`` (draws, nodes) [J/m³]. On each piece T = ``offset`` + ``slope`` · H, both (draws,
    nodes - 1), in [°C] and [K m³/J].
    """

    temp_c: FloatArray
    j_per_m3: FloatArray
    slope: FloatArray
    offset: FloatArray


@dataclass(frozen=True)
class HeatCurve:
    """Two lines [J/m³ over °C]: ``plain`` without what is taken once, ``full`` with it."""

    plain: PiecewiseLinear
    full: PiecewiseLinear
    one_way: bool  # something is taken once and not given back


def heat_curve(material: Material, capacity: FloatArray, once: FloatArray) -> HeatCurve:
    """Return the lines of ``material`` with its heat capacity and its one-way heat scaled.

    ``capacity`` and ``once`` are (draws,) factors [no unit], 1 where nothing is varied; contents in
    [J/m³] from 0 °C. Method: enthalpy method for phase change (Voller and Cross, 1981, from
    memory), the integral of a heat capacity that is straight between its table's nodes.
    """
    nodes = {*_ENDS_C, *(t for t, _ in material.c)}
    if len(material.c) > 1:  # a heat capacity that changes bends the line: more, shorter pieces
        nodes |= set(_STEPS_C)
    for uptake in material.uptakes:
        nodes |= {uptake.from_c, uptake.to_c}
    temp_c = np.array(sorted(nodes))
    # Mean of the heat capacity (straight between table nodes) over each stretch: exact.
    c_temp, c_value = np.array(material.c).T
    at_node = np.interp(temp_c, c_temp, c_value)
    rise = material.density * 0.5 * (at_node[1:] + at_node[:-1]) * np.diff(temp_c)
    plain_j = np.concatenate(([0.0], np.cumsum(rise)))
    plain_j -= np.interp(0.0, temp_c, plain_j)
    taken = np.zeros_like(temp_c)
    for uptake in material.uptakes:
        share = np.clip((temp_c - uptake.from_c) / (uptake.to_c - uptake.from_c), 0.0, 1.0)
        taken += uptake.heat_j_per_m3 * share
    scaled = capacity[:, None] * plain_j
    return HeatCurve(
        _line(temp_c, scaled),
        _line(temp_c, scaled + once[:, None] * taken),
        bool(taken[-1] > 1.0),
    )


def _line(temp_c: FloatArray, j_per_m3: FloatArray) -> PiecewiseLinear:
    slope = np.diff(temp_c) / np.diff(j_per_m3, axis=1)
    return PiecewiseLinear(temp_c, j_per_m3, slope, temp_c[:-1] - j_per_m3[:, :-1] * slope)


def piece(line: PiecewiseLinear, content_j: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return offset [°C] and slope [K m³/J] of the piece on which each content [J/m³] lies.

    ``content_j`` is (draws, cells), or of any shape for a line of one draw.
    """
    draws, nodes = line.j_per_m3.shape
    if draws == 1:
        place = line.j_per_m3[0, 1:-1].searchsorted(content_j, side="right")
    else:
        place = np.zeros(content_j.shape, dtype=np.intp)
        for node in range(1, nodes - 1):
            place += content_j >= line.j_per_m3[:, node : node + 1]
        place += (nodes - 1) * np.arange(draws)[:, None]
    return line.offset.take(place), line.slope.take(place)


def temperature(line: PiecewiseLinear, content_j: FloatArray) -> FloatArray:
    """Return T [°C] at each content [J/m³], both (draws, cells)."""
    offset, slope = piece(line, content_j)
    return np.asarray(offset + slope * content_j, dtype=np.float64)


def content(line: PiecewiseLinear, temp_c: FloatArray) -> FloatArray:
    """Return H [J/m³] at each temperature [°C], both (draws, cells)."""
    draws, nodes = line.j_per_m3.shape
    inner = line.temp_c[1:-1].searchsorted(temp_c, side="right")
    row = np.arange(draws)[:, None] if draws > 1 else 0
    slope = line.slope.take(inner + (nodes - 1) * row)
    low = line.j_per_m3.take(inner + nodes * row)
    return np.asarray(low + (temp_c - line.temp_c.take(inner)) / slope, dtype=np.float64)
