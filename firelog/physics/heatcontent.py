"""Heat content against temperature of each cell, both ways, with heat that is taken only once.

The content H [J/m³] is counted from 0 °C and is a broken line over a few temperatures, so that
H(T) and T(H) are exact inverses. What a cell has once taken for its water or wax it keeps: below
its highest content it follows the line without them.

Arrays are (draws, cells): many moulds with slightly different properties are computed together.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from firelog.physics.body import Material
from firelog.readings import FloatArray

_ENDS_C = (-60.0, 3000.0)
_STEPS_C = (0.0, 20.0, 100.0, 200.0, 300.0, 400.0, 600.0, 800.0, 1000.0, 1300.0)


@dataclass(frozen=True)
class HeatCurve:
    """The broken line of one material: temperatures (nodes,), contents (draws, nodes).

    ``plain_j`` is without what is taken once, ``full_j`` with it.
    """

    temp_c: FloatArray
    plain_j: FloatArray
    full_j: FloatArray

    @property
    def one_way(self) -> bool:
        """True when something is taken once and not given back."""
        return bool(np.any(self.full_j[:, -1] - self.full_j[:, 0] > self._plain_rise()))

    def _plain_rise(self) -> FloatArray:
        return (self.plain_j[:, -1] - self.plain_j[:, 0]) * (1.0 + 1e-12)


def heat_curve(material: Material, capacity: FloatArray, once: FloatArray) -> HeatCurve:
    """Return the line of ``material`` with its heat capacity and its one-way heat scaled.

    ``capacity`` and ``once`` are (draws,) factors, 1 where nothing is varied.
    """
    nodes = {*_ENDS_C, *_STEPS_C, *(t for t, _ in material.c)}
    for uptake in material.uptakes:
        nodes |= {uptake.from_c, uptake.to_c}
    temp_c = np.array(sorted(nodes))
    # Mean of the (piecewise linear) heat capacity over each stretch: exact between table nodes.
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
    return HeatCurve(temp_c, scaled, scaled + once[:, None] * taken)


def temperature(
    curve: HeatCurve, content_j: FloatArray, *, full: bool = True
) -> tuple[FloatArray, FloatArray]:
    """Return T [°C] and dT/dH [K m³/J] at each content (draws, cells), along one of the lines."""
    line = curve.full_j if full else curve.plain_j
    place = _place(line, content_j)
    draw = np.arange(len(line))[:, None]
    low = line[draw, place]
    slope = np.diff(curve.temp_c)[place] / (line[draw, place + 1] - low)
    return curve.temp_c[place] + (content_j - low) * slope, slope


def content(curve: HeatCurve, temp_c: FloatArray, *, full: bool = True) -> FloatArray:
    """Return H [J/m³] at each temperature (draws, cells)."""
    line = curve.full_j if full else curve.plain_j
    place = np.clip(np.searchsorted(curve.temp_c, temp_c) - 1, 0, len(curve.temp_c) - 2)
    draw = np.arange(len(line))[:, None]
    share = (temp_c - curve.temp_c[place]) / np.diff(curve.temp_c)[place]
    low = line[draw, place]
    return np.asarray(low + share * (line[draw, place + 1] - low), dtype=np.float64)


def _place(line: FloatArray, content_j: FloatArray) -> NDArray[np.intp]:
    """Return the stretch of its draw's line in which each content lies."""
    if len(line) == 1:
        found = np.searchsorted(line[0, 1:-1], content_j, side="right")
        return np.asarray(found, dtype=np.intp)
    above = content_j[:, :, None] >= line[:, None, 1:-1]
    return np.asarray(above.sum(axis=2), dtype=np.intp)
