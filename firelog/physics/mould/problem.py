"""A body as numbers: cut into cells, its heat curves and surface, for many draws at once."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from firelog.physics.mould.body import SIGMA_W_PER_M2_K4, Body, Cells, Surface, cut
from firelog.physics.mould.heat_content import HeatCurve, content, heat_curve, piece, temperature
from firelog.readings import FloatArray

CELLS = 40


# ---------------------------------------------------------------- what may vary
@dataclass(frozen=True)
class Draws:
    """Properties that nobody knows exactly, (draws,) each: factors [no unit] and an offset [K].

    ``once`` scales what is taken once: the water and the wax.
    """

    conductivity: FloatArray
    capacity: FloatArray
    once: FloatArray
    emissivity: FloatArray
    convection: FloatArray
    outside_k: FloatArray

    def __len__(self) -> int:
        return len(self.conductivity)


def as_stated(count: int = 1) -> Draws:
    """Return ``count`` draws that vary nothing: factors of 1 [no unit], offsets of 0 [K]."""
    one = np.ones(count)
    return Draws(one, one, one, one, one, np.zeros(count))


# ---------------------------------------------------------------- the body as numbers
@dataclass(frozen=True)
class ThermalState:
    """Heat content and highest content so far of every cell [J/m³], (draws, cells)."""

    content_j: FloatArray
    peak_j: FloatArray


@dataclass(frozen=True)
class Problem:
    """A body cut into cells, its curves and surface, for all draws at once.

    ``k_tables`` are a layer's temperatures [°C] and conductivities [W/mK]; ``radiation`` ε·σ·A
    [W/K⁴] and ``convection`` h·A [W/K] are (draws,).
    """

    cells: Cells
    curves: tuple[HeatCurve, ...]
    k_tables: tuple[tuple[FloatArray, FloatArray], ...]
    draws: Draws
    radiation: FloatArray  # ε·σ·A (draws,)
    convection: FloatArray  # h·A (draws,)


def problem(
    body: Body, surface: Surface, *, draws: Draws | None = None, cells: int = CELLS
) -> Problem:
    """Return the body ready to be computed: cut into about ``cells`` cells [m], surfaces in [W/K].

    Emissivities that a draw would bring above 1 are kept at 1. Radiation is σ·ε·A with the
    Stefan-Boltzmann constant of CODATA 2018.
    """
    drawn = as_stated() if draws is None else draws
    made = cut(body, cells)
    emissivity = np.clip(surface.emissivity * drawn.emissivity, 0.0, 1.0)
    return Problem(
        made,
        tuple(heat_curve(one.material, drawn.capacity, drawn.once) for one in body.layers),
        tuple(
            (np.array(one.material.k).T[0], np.array(one.material.k).T[1]) for one in body.layers
        ),
        drawn,
        emissivity * SIGMA_W_PER_M2_K4 * made.area[-1],
        surface.convection_w_per_m2k * drawn.convection * made.area[-1],
    )


def state_at(made: Problem, start_c: float | FloatArray) -> ThermalState:
    """Return the state in which every cell is at ``start_c`` [°C], one value or (draws, cells)."""
    temp_c = np.broadcast_to(
        np.asarray(start_c, dtype=np.float64), (len(made.draws), len(made.cells.volume))
    )
    held = np.empty(temp_c.shape)
    for part, curve in zip(made.cells.layer, made.curves, strict=True):
        held[:, part] = content(curve.full, temp_c[:, part])
    return ThermalState(held, held.copy())


def temperatures_c(made: Problem, state: ThermalState) -> FloatArray:
    """Return the temperature [°C] of every cell (draws, cells) in a state."""
    offset, slope = pieces(made, state.content_j, state.peak_j)
    return np.asarray(offset + slope * state.content_j, dtype=np.float64)


def pieces(made: Problem, held: FloatArray, peak: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return offset [°C] and slope [K m³/J] of T = offset + slope · H for every cell.

    ``held`` and ``peak``, the highest so far, are contents [J/m³], (draws, cells).
    """
    if len(made.curves) == 1:
        return piece_of(made.curves[0], held, peak)
    offset, slope = np.empty(held.shape), np.empty(held.shape)
    for part, curve in zip(made.cells.layer, made.curves, strict=True):
        offset[:, part], slope[:, part] = piece_of(curve, held[:, part], peak[:, part])
    return offset, slope


def piece_of(curve: HeatCurve, here: FloatArray, top: FloatArray) -> tuple[FloatArray, FloatArray]:
    """Return offset [°C] and slope [K m³/J] of one material's line, its one-way heat remembered.

    ``here`` are contents [J/m³] whose highest so far were ``top`` [J/m³], both (draws, cells).
    """
    offset, slope = piece(curve.full, here)
    if curve.one_way and (cooler := here < top).any():
        # Below its highest content a cell follows the line without what it has taken once.
        kept = top - content(curve.plain, temperature(curve.full, top))
        down, down_slope = piece(curve.plain, here - kept)
        offset = np.where(cooler, down - down_slope * kept, offset)
        slope = np.where(cooler, down_slope, slope)
    return offset, slope
