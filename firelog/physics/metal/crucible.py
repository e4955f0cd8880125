"""A lifted crucible and its melt: heat through the wall in two dimensions, for many draws at once.

The wall and the bottom are resolved in radius and height, the melt is one well-mixed body, the
space above it a grey cavity of melt, dry wall and mouth. What nobody measured (the wall's
conductivity before all) is drawn; one run answers for all draws together, so that what they share
stays shared: a wall that conducts badly loses late, at every pour.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, fields

import numpy as np

from firelog.physics.mould.body import SIGMA_W_PER_M2_K4
from firelog.readings import FloatArray
from firelog.units import ZERO_C_IN_K

WALL_CELLS, HIGH_CELLS, FLOOR_CELLS = 4, 8, 3
STEP_S = 1.0
_WALL_KG_PER_M3 = 2200.0  # clay-graphite and silicon carbide, porous; from memory


@dataclass(frozen=True)
class Vessels:
    """Crucibles with their melts, one a draw: (draws,) each.

    ``metal_kg``, ``crucible_kg`` [kg]; ``wall_w_per_mk`` the wall's conductivity; ``contact`` and
    ``air`` [W/m²K] between melt and wall, and outside; ``emissivity`` of the wall and ``dross`` of
    the melt's surface [0 to 1]; ``underside`` the share of the bottom that sees the room;
    ``filled`` the share of its volume that the melt fills; ``slender`` its inner height over its
    inner diameter; ``wall_j_per_kgk``, ``metal_j_per_kgk`` [J/kgK], ``metal_kg_per_m3``;
    ``latent_j_per_kg`` is given off between ``liquidus_c`` and ``solidus_c`` [°C]; ``hotter_k`` [K]
    is how much hotter than its melt the crucible left the furnace.
    """

    metal_kg: FloatArray
    crucible_kg: FloatArray
    wall_w_per_mk: FloatArray
    contact: FloatArray
    air: FloatArray
    emissivity: FloatArray
    dross: FloatArray
    underside: FloatArray
    filled: FloatArray
    slender: FloatArray
    wall_j_per_kgk: FloatArray
    metal_j_per_kgk: FloatArray
    metal_kg_per_m3: FloatArray
    latent_j_per_kg: FloatArray
    solidus_c: FloatArray
    liquidus_c: FloatArray
    hotter_k: FloatArray

    def __len__(self) -> int:
        return len(self.metal_kg)

    @property
    def radius_m(self) -> FloatArray:
        """The inner radius [m]."""
        volume = self.metal_kg / self.metal_kg_per_m3 / self.filled
        return np.asarray((volume / (2.0 * np.pi * self.slender)) ** (1.0 / 3.0))

    @property
    def wall_m(self) -> FloatArray:
        """The thickness [m] of wall and bottom that gives the crucible's weight."""
        r = self.radius_m
        h = 2.0 * self.slender * r
        solid = self.crucible_kg / _WALL_KG_PER_M3 / np.pi
        low, high = np.full(len(r), 1e-3), np.full(len(r), 0.3)
        for _ in range(40):
            w = 0.5 * (low + high)
            less = (r + w) ** 2 * (h + w) - r * r * h < solid
            low, high = np.where(less, w, low), np.where(less, high, w)
        return np.asarray(0.5 * (low + high))


@dataclass(frozen=True)
class MetalFlow:
    """Metal that comes in at ``temp_c`` [°C] (None: is poured off) ``at_s`` [s] after the lift."""

    at_s: float
    kg: float
    temp_c: float | None = None


def stacked(parts: Sequence[Vessels]) -> Vessels:
    """Return the vessels one after the other [their own units]."""
    names = [one.name for one in fields(Vessels)]
    return Vessels(*(np.concatenate([getattr(part, name) for part in parts]) for name in names))


def cooled(
    vessels: Vessels,
    start_c: FloatArray,
    lasting_s: float,
    *,
    flows: Sequence[MetalFlow] = (),
    ambient_c: float = 25.0,
) -> tuple[FloatArray, FloatArray]:
    """Return instants (n,) [s] after the lift, and the melt [°C] (draws, n) that began at a start.

    ``start_c`` [°C] is (draws,), ``lasting_s`` [s] how far to go, ``flows`` in order of time. Steps
    of a second, conduction and the contact with the melt implicit, radiation at the state before.
    Checked against a finer two-dimensional computation by other hands in ``tests/physics``.

    Source: finite volumes, and the grey enclosure with the configuration factor of coaxial discs
    (Incropera et al., Fundamentals of Heat and Mass Transfer, chapters 4, 5 and 13, from memory).
    """
    run = _Run(vessels, np.asarray(start_c, dtype=np.float64), ambient_c)
    count = max(int(np.ceil(lasting_s / STEP_S)), 1)
    seen = np.empty((count + 1, len(vessels)))
    seen[0] = run.melt_c
    waiting = sorted(flows, key=lambda one: one.at_s)
    for n in range(count):
        while waiting and waiting[0].at_s <= n * STEP_S:
            run.flow(waiting.pop(0))
        run.step()
        seen[n + 1] = run.melt_c
    return np.asarray(np.arange(count + 1) * STEP_S), np.ascontiguousarray(seen.T)


class _Grid:
    """Cells of wall and bottom: volumes, conductances and faces, for every draw."""

    def __init__(self, vessels: Vessels) -> None:
        r, w = vessels.radius_m, vessels.wall_m
        high = 2.0 * vessels.slender * r
        across = np.linspace(0.0, 1.0, WALL_CELLS + 1)
        floor = np.linspace(0.0, 1.0, FLOOR_CELLS + 1)
        edges_r = np.concatenate([r[:, None] * floor, r[:, None] + w[:, None] * across[1:]], axis=1)
        edges_z = np.concatenate(
            [
                w[:, None] * across,
                w[:, None] + high[:, None] * np.linspace(0.0, 1.0, HIGH_CELLS + 1)[1:],
            ],
            axis=1,
        )
        self.area = np.pi * np.diff(edges_r**2, axis=1)
        self.dz, self.dr = np.diff(edges_z, axis=1), np.diff(edges_r, axis=1)
        self.edges_r, self.high_m, self.radius_m = edges_r, high, r
        self.k = vessels.wall_w_per_mk
        self._number()
        self._conduct(vessels)
        self._faces()

    def _number(self) -> None:
        wide, tall = FLOOR_CELLS + WALL_CELLS, WALL_CELLS + HIGH_CELLS
        self.index = -np.ones((wide, tall), dtype=int)
        self.where = [
            (i, j) for i in range(wide) for j in range(tall) if j < WALL_CELLS or i >= FLOOR_CELLS
        ]
        for n, (i, j) in enumerate(self.where):
            self.index[i, j] = n

    def _conduct(self, vessels: Vessels) -> None:
        count, cells = len(vessels), len(self.where)
        volume = np.stack([self.area[:, i] * self.dz[:, j] for i, j in self.where], axis=1)
        self.capacity = volume * (_WALL_KG_PER_M3 * vessels.wall_j_per_kgk)[:, None]
        self.matrix = np.zeros((count, cells + 1, cells + 1))  # the last row is the melt
        for i, j in self.where:
            here = self.index[i, j]
            if i + 1 < self.index.shape[0] and self.index[i + 1, j] >= 0:
                face = 2.0 * np.pi * self.edges_r[:, i + 1] * self.dz[:, j]
                apart = 0.5 * (self.dr[:, i] + self.dr[:, i + 1])
                join(self.matrix, here, int(self.index[i + 1, j]), self.k * face / apart)
            if j + 1 < self.index.shape[1] and self.index[i, j + 1] >= 0:
                apart = 0.5 * (self.dz[:, j] + self.dz[:, j + 1])
                there = int(self.index[i, j + 1])
                join(self.matrix, here, there, self.k * self.area[:, i] / apart)

    def _faces(self) -> None:
        last, top = self.index.shape[0] - 1, self.index.shape[1] - 1
        side = [self.index[last, j] for j in range(top + 1)]
        under = [self.index[i, 0] for i in range(last + 1)]
        rim = [self.index[i, top] for i in range(FLOOR_CELLS, last + 1)]
        self.outer = np.array(side + under + rim)
        self.outer_area = np.concatenate(
            [
                2.0 * np.pi * self.edges_r[:, -1:] * self.dz,
                self.area,
                self.area[:, FLOOR_CELLS:],
            ],
            axis=1,
        )
        half = [self.dr[:, -1:]] * len(side) + [self.dz[:, :1]] * len(under)
        half += [self.dz[:, -1:]] * len(rim)
        self.outer_half = np.concatenate(half, axis=1) / (2.0 * self.k[:, None])
        self.under = np.zeros(len(self.outer), dtype=bool)
        self.under[len(side) : len(side) + len(under)] = True
        self.floor = self.index[:FLOOR_CELLS, WALL_CELLS - 1]
        self.wet = self.index[FLOOR_CELLS, WALL_CELLS:]
        self.wet_area = 2.0 * np.pi * self.radius_m[:, None] * self.dz[:, WALL_CELLS:]
        self.wet_half = self.dr[:, FLOOR_CELLS] / (2.0 * self.k)
        self.floor_half = self.dz[:, WALL_CELLS - 1] / (2.0 * self.k)


def join(matrix: FloatArray, one: int, other: int, conductance: FloatArray) -> None:
    """Let two cells exchange heat [W/K], (draws,), in a matrix of (draws, cells, cells)."""
    matrix[:, one, one] -= conductance
    matrix[:, other, other] -= conductance
    matrix[:, one, other] += conductance
    matrix[:, other, one] += conductance


class _Run:
    """All draws, stepped together."""

    def __init__(self, vessels: Vessels, start_c: FloatArray, ambient_c: float) -> None:
        self.vessels, self.grid, self.ambient_c = vessels, _Grid(vessels), ambient_c
        cells = len(self.grid.where)
        self.kg = vessels.metal_kg.copy()
        self.held = np.empty((len(vessels), cells + 1))
        self.held[:, :cells] = (start_c + vessels.hotter_k)[:, None]
        self.held[:, cells] = start_c
        self.skin = np.broadcast_to(self.held[:, :1], (len(vessels), len(self.grid.outer))).copy()
        self._fill()

    @property
    def melt_c(self) -> FloatArray:
        return self.held[:, -1].copy()

    def flow(self, one: MetalFlow) -> None:
        """Let metal in, or pour it off; a twentieth stays in the crucible whatever is poured."""
        if one.temp_c is None:
            self.kg = np.maximum(self.kg - one.kg, 0.05 * self.vessels.metal_kg)
        else:
            brought = self._heat(np.full(len(self.kg), one.temp_c))
            mixed = (self.kg * self._heat(self.held[:, -1]) + one.kg * brought) / (self.kg + one.kg)
            self.kg = self.kg + one.kg
            self.held[:, -1] = self._temperature(mixed)
        self._fill()

    def _heat(self, temp_c: FloatArray) -> FloatArray:
        """Return J/kg above 0 °C: solid, freezing range, melt, one heat capacity for all."""
        v = self.vessels
        share = (temp_c - v.solidus_c) / np.maximum(v.liquidus_c - v.solidus_c, 0.5)
        return np.asarray(v.metal_j_per_kgk * temp_c + v.latent_j_per_kg * np.clip(share, 0.0, 1.0))

    def _temperature(self, heat: FloatArray) -> FloatArray:
        v = self.vessels
        width = np.maximum(v.liquidus_c - v.solidus_c, 0.5)
        at_solidus = v.metal_j_per_kgk * v.solidus_c
        slope = v.metal_j_per_kgk + v.latent_j_per_kg / width
        freezing = v.solidus_c + (heat - at_solidus) / slope
        liquid = (heat - v.latent_j_per_kg) / v.metal_j_per_kgk
        solid = heat / v.metal_j_per_kgk
        return np.asarray(
            np.where(
                heat <= at_solidus,
                solid,
                np.where(freezing < v.solidus_c + width, freezing, liquid),
            )
        )

    def _fill(self) -> None:
        """Lay out what depends on how much metal is left: contact, cavity, the step's matrix."""
        g, v = self.grid, self.vessels
        level = self.kg / v.metal_kg_per_m3 / (np.pi * g.radius_m**2)
        low = np.concatenate(
            [np.zeros((len(v), 1)), np.cumsum(g.dz[:, WALL_CELLS:], axis=1)[:, :-1]], axis=1
        )
        share = np.clip((level[:, None] - low) / g.dz[:, WALL_CELLS:], 0.0, 1.0)
        self.dry_area = (1.0 - share) * g.wet_area
        self.gap_m = np.maximum(g.high_m - level, 1e-3)
        matrix = g.matrix.copy()
        melt = matrix.shape[1] - 1
        for n, cell in enumerate(g.floor):
            join(matrix, cell, melt, g.area[:, n] / (1.0 / v.contact + g.floor_half))
        for n, cell in enumerate(g.wet):
            wet = share[:, n] * g.wet_area[:, n]
            join(matrix, cell, melt, wet / (1.0 / v.contact + g.wet_half))
        self.capacity = np.concatenate([g.capacity, (self.kg * v.metal_j_per_kgk)[:, None]], axis=1)
        step = np.eye(matrix.shape[1]) * (self.capacity / STEP_S)[:, :, None] - matrix
        self.inverse = np.linalg.inv(step)

    def step(self) -> None:
        """Go a second further."""
        g, v = self.grid, self.vessels
        out, melt_out, dry_out = self._outside()
        flux = np.zeros_like(self.held)
        np.add.at(flux.T, g.outer, -out.T)
        dry = self.dry_area / np.maximum(self.dry_area.sum(axis=1, keepdims=True), 1e-12)
        flux[:, g.wet] -= dry_out[:, None] * dry
        flux[:, -1] -= melt_out
        before = self.held[:, -1].copy()
        right = self.capacity / STEP_S * self.held + flux
        self.held = np.matmul(self.inverse, right[:, :, None])[:, :, 0]
        after = self.held[:, -1]
        if np.any(after < v.liquidus_c):
            lost = v.metal_j_per_kgk * (after - before)
            self.held[:, -1] = np.where(
                after < v.liquidus_c, self._temperature(self._heat(before) + lost), after
            )

    def _outside(self) -> tuple[FloatArray, FloatArray, FloatArray]:
        """Return what leaves [W]: each outer face, the melt's surface, the dry wall."""
        g, v = self.grid, self.vessels
        room = self.ambient_c + ZERO_C_IN_K
        skin = self.skin + ZERO_C_IN_K
        leave = v.emissivity[:, None] * SIGMA_W_PER_M2_K4 * (skin**2 + room**2) * (skin + room)
        leave = leave + v.air[:, None]
        seen = np.where(g.under, v.underside[:, None], 1.0)
        cell = self.held[:, g.outer]
        through = seen * (cell - self.ambient_c) / (1.0 / leave + g.outer_half)
        self.skin = cell - through * g.outer_half
        melt, wall = self._cavity(room)
        top = np.pi * g.radius_m**2
        melt = melt + top * 0.5 * v.air * (self.held[:, -1] - self.ambient_c)
        return g.outer_area * through, melt, wall

    def _cavity(self, room_k: float) -> tuple[FloatArray, FloatArray]:
        """Return what the melt's surface and the dry wall lose through the mouth by radiation [W].

        Three surfaces: melt (grey), wall (grey), mouth (black at the room's temperature).
        """
        g, v = self.grid, self.vessels
        r, gap = g.radius_m, self.gap_m
        dry = np.maximum(self.dry_area.sum(axis=1), 1e-9)
        fourth = np.sum(self.dry_area * (self.held[:, g.wet] + ZERO_C_IN_K) ** 4, axis=1) / dry
        melt, wall = (self.held[:, -1] + ZERO_C_IN_K) ** 4, fourth
        s = 2.0 + (gap / r) ** 2
        to_mouth = 0.5 * (s - np.sqrt(s * s - 4.0))
        to_wall = 1.0 - to_mouth
        top, side = np.pi * r**2, 2.0 * np.pi * r * gap
        back = to_wall * top / side  # from the wall to either end
        e1, e2 = v.dross, v.emissivity
        room = room_k**4
        # Radiosities J = e E + (1 - e) Σ F J of melt and wall; the mouth gives back the room.
        a12, a21 = (1.0 - e1) * to_wall, (1.0 - e2) * back
        b1 = e1 * melt + (1.0 - e1) * to_mouth * room
        b2 = e2 * wall + (1.0 - e2) * back * room
        own = 1.0 - (1.0 - e2) * (1.0 - 2.0 * back)
        j1 = (b1 * own + a12 * b2) / (own - a12 * a21)
        j2 = (b2 + a21 * j1) / own
        from_melt = top * (j1 - to_wall * j2 - to_mouth * room)
        from_wall = side * (2.0 * back * j2 - back * j1 - back * room)
        return SIGMA_W_PER_M2_K4 * from_melt, SIGMA_W_PER_M2_K4 * from_wall
