"""A mould in the kiln and on the way to the pour: a conducting wall or block in one dimension.

Shells are plates or hollow cylinders that lose heat outside by radiation and convection, and very
little through the cup; blocks are solid cylinders that metal meets near their middle. Conductivity
and heat capacity follow temperature. Explicit finite volumes, the step kept under four fifths of
what is stable. Temperatures °C, lengths m, seconds.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from crucible import SIGMA, ZERO_C


@dataclass(frozen=True)
class Body:
    """What a mould truly is."""

    form: str
    """plate, tube or block."""
    thickness: float
    """Wall of a plate or tube, radius of a block."""
    hollow: float = 0.0
    """Radius of a tube's cavity."""
    density: float = 1750.0
    k: tuple[float, float] = (0.68, 1.18)
    """Conductivity at 25 and 1000 °C, straight between."""
    cp: tuple[float, float] = (850.0, 1180.0)
    emissivity: float = 0.85
    air: float = 10.0
    cup: float = 0.0
    """Share of black-body loss that the cavity face has through the cup."""


@dataclass(frozen=True)
class Cooling:
    """The temperatures of one mould over time."""

    t: np.ndarray
    met_c: np.ndarray
    """Where metal meets it: cavity face of a shell, middle of a block."""
    outer_c: np.ndarray

    def at(self, t: float) -> float:
        """Where metal meets it, at a time."""
        return float(np.interp(t, self.t, self.met_c))


def cool(
    body: Body,
    start_c: float,
    around: Callable[[float], float],
    seconds: float,
    *,
    begin: float = 0.0,
    air: Callable[[float], float] | None = None,
    cells: int = 12,
    every: float = 1.0,
) -> Cooling:
    """Step the body from one temperature in surroundings that change; cell 0 meets the metal."""
    inner = body.hollow if body.form == "tube" else 0.0
    x = inner + np.linspace(0.0, body.thickness, cells + 1)
    flat = body.form == "plate"
    face = np.ones(cells + 1) if flat else x
    volume = np.diff(x) if flat else 0.5 * np.diff(x**2)
    dx = body.thickness / cells
    top_k, low_cp = max(body.k), min(body.cp)
    limit = 0.4 * dx * dx * body.density * low_cp / top_k
    per = max(1, int(np.ceil(every / limit)))
    dt = every / per
    wall = np.full(cells, float(start_c))
    skin = float(start_c)
    rows = [(begin, wall[0], skin)]
    t = begin
    while t < begin + seconds - 1e-9:
        for _ in range(per):
            wall, skin = _advance(
                body=body,
                wall=wall,
                skin=skin,
                around=around(t),
                air=air(t) if air else body.air,
                face=face,
                volume=volume,
                dx=dx,
                dt=dt,
            )
            t += dt
        rows.append((t, wall[0], skin))
    table = np.array(rows)
    return Cooling(table[:, 0], table[:, 1], table[:, 2])


def _advance(
    *,
    body: Body,
    wall: np.ndarray,
    skin: float,
    around: float,
    air: float,
    face: np.ndarray,
    volume: np.ndarray,
    dx: float,
    dt: float,
) -> tuple:
    warm = (wall - 25.0) / 975.0
    k = body.k[0] + (body.k[1] - body.k[0]) * warm
    cp = body.cp[0] + (body.cp[1] - body.cp[0]) * warm
    flux = np.zeros(len(face))
    flux[1:-1] = face[1:-1] * 0.5 * (k[1:] + k[:-1]) * (wall[:-1] - wall[1:]) / dx
    ts, ta = skin + ZERO_C, around + ZERO_C
    h = body.emissivity * SIGMA * (ts**2 + ta**2) * (ts + ta) + air
    half = dx / (2 * k[-1])
    out = (wall[-1] - around) / (1 / h + half)
    skin = wall[-1] - out * half
    flux[-1] = face[-1] * out
    if body.cup:
        flux[0] = -face[0] * body.cup * SIGMA * ((wall[0] + ZERO_C) ** 4 - ta**4)
    return wall + dt * (flux[:-1] - flux[1:]) / (volume * body.density * cp), skin
