"""A crucible and its melt, in the furnace and after the lift: the truth the dips are held against.

The solid is resolved in two dimensions (radius and height: a bottom disc and a side wall), the melt
is one well-mixed body with latent heat, the space above it is a grey cavity of three surfaces
(melt, dry wall, opening). Conduction is stepped implicitly with a matrix factored once; radiation,
convection and the contact of melt and wall are explicit, so that every joule which leaves one body
enters another: `Trace.balance` is the remainder.

Temperatures °C, masses kg, lengths m, seconds. Configuration factors of coaxial discs and the grey
enclosure are textbook formulas (from memory).
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np

SIGMA = 5.670374e-8
ZERO_C = 273.15


@dataclass(frozen=True)
class Metal:
    """What is melted: its true limits and properties, not those of any card."""

    name: str
    solidus_c: float
    liquidus_c: float
    cp: float
    """J/kgK of the melt; nine tenths of it is taken for the solid."""
    latent: float
    density: float
    """kg/m³ of the melt."""

    def enthalpy(self, temperature_c: float | np.ndarray) -> np.ndarray:
        """J/kg above 0 °C; piecewise linear: solid, freezing range, melt."""
        return np.interp(temperature_c, *self._knots)

    def temperature(self, enthalpy: float) -> float:
        """The inverse of `enthalpy`."""
        temperatures, heats = self._knots
        return float(np.interp(enthalpy, heats, temperatures))

    @cached_property
    def _knots(self) -> tuple[np.ndarray, np.ndarray]:
        solid = 0.9 * self.cp
        at_solidus = solid * self.solidus_c
        width = max(self.liquidus_c - self.solidus_c, 0.5)
        at_liquidus = at_solidus + self.latent + 0.95 * self.cp * width
        top = 3000.0
        temperatures = np.array([-50.0, self.solidus_c, self.solidus_c + width, top])
        heats = np.array(
            [
                -50.0 * solid,
                at_solidus,
                at_liquidus,
                at_liquidus + self.cp * (top - self.solidus_c - width),
            ]
        )
        return temperatures, heats


@dataclass(frozen=True)
class Crucible:
    """A cylindrical crucible: what it weighs and is made of."""

    kg: float
    capacity_m3: float
    """Inner volume to the brim."""
    conductivity: float
    density: float = 2200.0
    cp: float = 900.0
    emissivity: float = 0.85
    dross: float = 0.5
    """Emissivity of the melt's surface."""
    contact: float = 5000.0
    """W/m²K between melt and wall."""
    aspect: float = 1.0
    """Inner height over inner diameter."""
    air: float = 10.0
    """W/m²K outside after the lift."""
    underside: float = 1.0
    """Share of the underside that sees the surroundings after the lift."""

    def radius(self) -> float:
        """Inner radius."""
        return float((self.capacity_m3 / (2.0 * np.pi * self.aspect)) ** (1 / 3))

    def height(self) -> float:
        """Inner height."""
        return 2.0 * self.aspect * self.radius()

    def wall(self) -> float:
        """Thickness of wall and bottom that gives the mass."""
        r, h = self.radius(), self.height()
        low, high = 1e-3, 0.2
        for _ in range(60):
            w = 0.5 * (low + high)
            solid = np.pi * ((r + w) ** 2 * (h + w) - r**2 * h)
            low, high = (w, high) if solid * self.density < self.kg else (low, w)
        return 0.5 * (low + high)


@dataclass(frozen=True)
class Flow:
    """Metal that comes in (charge, refill) or leaves (pour) at a steady rate."""

    start: float
    seconds: float
    kg: float
    temperature_c: float | None = None
    """None: it leaves with the melt's own temperature."""


@dataclass(frozen=True)
class Programme:
    """What is done with the crucible."""

    first_kg: float
    lift: float
    end: float
    surroundings: Callable[[float, float], float]
    """Furnace temperature at a time for a melt temperature, until the lift."""
    flows: tuple[Flow, ...] = ()
    start_c: float = 20.0
    crucible_c: float | None = None
    ambient_c: float = 25.0


@dataclass
class Trace:
    """What truly happened: one row a step."""

    t: list[float] = field(default_factory=list)
    melt_c: list[float] = field(default_factory=list)
    kg: list[float] = field(default_factory=list)
    skin_c: list[float] = field(default_factory=list)
    stored_j: float = 0.0
    crossed_j: float = 0.0
    moved_j: float = 0.0
    """Largest energy that was exchanged, the measure for `balance`."""

    def arrays(self) -> dict[str, np.ndarray]:
        """The rows as arrays."""
        return {name: np.asarray(getattr(self, name)) for name in ("t", "melt_c", "kg", "skin_c")}

    def balance(self) -> float:
        """Stored minus crossed energy, relative to what was moved."""
        return abs(self.stored_j - self.crossed_j) / max(self.moved_j, 1.0)


class Grid:
    """Finite volumes of the crucible's wall and bottom, and their conduction matrix."""

    def __init__(self, crucible: Crucible, cells: int = 10) -> None:
        r, h, w = crucible.radius(), crucible.height(), crucible.wall()
        inner = max(cells // 2, 4)
        up = max(int(1.4 * cells), 8)
        self.edges_r = np.concatenate(
            [np.linspace(0, r, inner + 1), np.linspace(r, r + w, cells + 1)[1:]]
        )
        self.edges_z = np.concatenate(
            [np.linspace(0, w, cells + 1), np.linspace(w, w + h, up + 1)[1:]]
        )
        self.inner, self.cells, self.up = inner, cells, up
        self.k = crucible.conductivity
        self._number()
        area_z = np.pi * np.diff(self.edges_r**2)
        dz = np.diff(self.edges_z)
        self.capacity = (
            np.array([area_z[i] * dz[j] for i, j in self.where]) * crucible.density * crucible.cp
        )
        self._conduct(area_z, dz)
        self._faces(area_z, dz)

    def _number(self) -> None:
        nr, nz = len(self.edges_r) - 1, len(self.edges_z) - 1
        self.index = -np.ones((nr, nz), int)
        self.where = []
        for i in range(nr):
            for j in range(nz):
                if j < self.cells or i >= self.inner:
                    self.index[i, j] = len(self.where)
                    self.where.append((i, j))

    def _conduct(self, area_z: np.ndarray, dz: np.ndarray) -> None:
        n = len(self.where)
        matrix = np.zeros((n, n))
        mid_r = 0.5 * (self.edges_r[1:] + self.edges_r[:-1])
        mid_z = 0.5 * (self.edges_z[1:] + self.edges_z[:-1])

        def join(a: int, b: int, g: float) -> None:
            matrix[a, a] -= g
            matrix[b, b] -= g
            matrix[a, b] += g
            matrix[b, a] += g

        for i, j in self.where:
            a = self.index[i, j]
            if i + 1 < self.index.shape[0] and self.index[i + 1, j] >= 0:
                face = 2 * np.pi * self.edges_r[i + 1] * dz[j]
                join(a, self.index[i + 1, j], self.k * face / (mid_r[i + 1] - mid_r[i]))
            if j + 1 < self.index.shape[1] and self.index[i, j + 1] >= 0:
                join(a, self.index[i, j + 1], self.k * area_z[i] / (mid_z[j + 1] - mid_z[j]))
        self.matrix = matrix

    def _faces(self, area_z: np.ndarray, dz: np.ndarray) -> None:
        last = self.index.shape[0] - 1
        top = self.index.shape[1] - 1
        side = [
            (
                self.index[last, j],
                2 * np.pi * self.edges_r[-1] * dz[j],
                self.edges_r[-1] - self.edges_r[-2],
                1.0,
            )
            for j in range(top + 1)
        ]
        under = [(self.index[i, 0], area_z[i], dz[0], 0.0) for i in range(last + 1)]
        rim = [(self.index[i, top], area_z[i], dz[top], 1.0) for i in range(self.inner, last + 1)]
        faces = side + under + rim
        self.out = np.array([f[0] for f in faces])
        self.out_area = np.array([f[1] for f in faces])
        self.out_half = np.array([f[2] for f in faces]) / (2 * self.k)
        self.out_seen = np.array([f[3] for f in faces])
        self.floor = self.index[: self.inner, self.cells - 1]
        self.floor_area = area_z[: self.inner]
        self.floor_half = dz[self.cells - 1] / (2 * self.k)
        self.wet = self.index[self.inner, self.cells :]
        r = self.edges_r[self.inner]
        self.wet_area = 2 * np.pi * r * dz[self.cells :]
        self.wet_half = (self.edges_r[self.inner + 1] - r) / (2 * self.k)
        self.wet_low = self.edges_z[self.cells : -1] - self.edges_z[self.cells]
        self.dz = dz[self.cells]


def discs(radius: float, gap: float) -> float:
    """Configuration factor of two equal coaxial discs."""
    s = 2.0 + (gap / radius) ** 2
    return 0.5 * (s - math.sqrt(s * s - 4.0))


def cavity(
    melt_k: float,
    wall_k4: float,
    outside_k: float,
    *,
    radius: float,
    gap: float,
    dross: float,
    emissivity: float,
) -> tuple[float, float]:
    """Net watts lost by melt surface and dry wall through radiation in the freeboard."""
    melt, wall, out = SIGMA * melt_k**4, SIGMA * wall_k4, SIGMA * outside_k**4
    a1 = math.pi * radius**2
    if gap < 1e-3:
        return dross * a1 * (melt - out), 0.0
    a2 = 2 * math.pi * radius * gap
    f13 = discs(radius, gap)
    f12 = 1.0 - f13
    f21 = f12 * a1 / a2
    f22 = 1.0 - 2.0 * f21
    # radiosities: J1 = e1 E1 + (1-e1)(F12 J2 + F13 E3); J2 likewise
    m12, m21 = -(1 - dross) * f12, -(1 - emissivity) * f21
    m22 = 1.0 - (1 - emissivity) * f22
    b1 = dross * melt + (1 - dross) * f13 * out
    b2 = emissivity * wall + (1 - emissivity) * f21 * out
    j1 = (b1 * m22 - m12 * b2) / (m22 - m12 * m21)
    j2 = (b2 - m21 * b1) / (m22 - m12 * m21)
    q1 = a1 * (j1 - f12 * j2 - f13 * out)
    q2 = a2 * (j2 - f21 * j1 - f22 * j2 - f21 * out)
    return q1, q2


class Run:
    """One heat, stepped."""

    def __init__(
        self, crucible: Crucible, metal: Metal, programme: Programme, cells: int = 10
    ) -> None:
        self.c, self.m, self.p = crucible, metal, programme
        self.g = Grid(crucible, cells)
        start = programme.start_c if programme.crucible_c is None else programme.crucible_c
        self.wall = np.full(len(self.g.capacity), float(start))
        self.kg = programme.first_kg
        self.heat = self.kg * float(metal.enthalpy(programme.start_c))
        self.skin = np.full(len(self.g.out), float(start))
        self.radius, self.height = crucible.radius(), crucible.height()
        self.inverse: dict[float, np.ndarray] = {}
        self.trace = Trace()

    def go(self, slow: float = 1.0, fast: float = 0.25) -> Trace:
        """Step to the end: `slow` seconds a step in the furnace, `fast` after the lift."""
        t = 0.0
        first = self._energy()
        self._row(t)
        while t < self.p.end - 1e-9:
            dt = slow if t < self.p.lift - 1e-9 else fast
            if t < self.p.lift < t + dt:
                dt = self.p.lift - t
            self._step(t, dt)
            t += dt
            self._row(t)
        self.trace.stored_j = self._energy() - first
        return self.trace

    def _energy(self) -> float:
        return float(self.g.capacity @ self.wall + self.heat)

    def _row(self, t: float) -> None:
        tr = self.trace
        tr.t.append(t)
        tr.melt_c.append(self.m.temperature(self.heat / self.kg))
        tr.kg.append(self.kg)
        tr.skin_c.append(float(self.skin[len(self.g.out) // 4]))

    def _solve(self, dt: float) -> np.ndarray:
        key = round(dt, 9)
        if key not in self.inverse:
            a = np.diag(self.g.capacity / dt) - self.g.matrix
            self.inverse[key] = np.linalg.inv(a)
        return self.inverse[key]

    def _step(self, t: float, dt: float) -> None:
        g, c = self.g, self.c
        melt = self.m.temperature(self.heat / self.kg)
        lifted = t >= self.p.lift - 1e-9
        around = self.p.ambient_c if lifted else self.p.surroundings(t, melt)
        air = c.air if lifted else 30.0
        q = np.zeros(len(g.capacity))
        radius, height = self.radius, self.height
        # outer faces, the underside covered in part by what the crucible stands on
        ts, ta = self.skin + ZERO_C, around + ZERO_C
        h = c.emissivity * SIGMA * (ts**2 + ta**2) * (ts + ta) + air
        seen = np.where(g.out_seen > 0, 1.0, c.underside if lifted else 1.0)
        flux = seen * g.out_area * (self.wall[g.out] - around) / (1 / h + g.out_half)
        q -= np.bincount(g.out, flux, len(q))
        self.skin = self.wall[g.out] - seen * (self.wall[g.out] - around) * g.out_half / (
            1 / h + g.out_half
        )
        lost = float(flux.sum())
        # melt against floor and wetted wall
        level = self.kg / self.m.density / (math.pi * radius**2)
        share = np.clip((level - g.wet_low) / g.dz, 0.0, 1.0)
        to_floor = self._contact(dt, g.floor, g.floor_area, g.floor_half, melt)
        to_wall = self._contact(dt, g.wet, share * g.wet_area, g.wet_half, melt)
        q[g.floor] += to_floor
        q[g.wet] += to_wall
        # the cavity over the melt
        dry = (1.0 - share) * g.wet_area
        gap = max(height - level, 0.0)
        k4 = float(dry @ (self.wall[g.wet] + ZERO_C) ** 4 / dry.sum()) if dry.sum() > 0 else ta**4
        q1, q2 = cavity(
            melt + ZERO_C,
            k4,
            ta,
            radius=radius,
            gap=gap,
            dross=c.dross,
            emissivity=c.emissivity,
        )
        top = math.pi * radius**2 * 0.5 * air * (melt - around)
        if dry.sum() > 0:
            q[g.wet] -= q2 * dry / dry.sum()
        else:
            q2 = 0.0
        out = lost + q1 + q2 + top
        self.heat -= dt * (to_floor.sum() + to_wall.sum() + q1 + top)
        carried = self._flows(t, dt)
        self.trace.crossed_j += carried - dt * out
        self.trace.moved_j += abs(carried) + dt * abs(out)
        self.wall = self._solve(dt) @ (g.capacity / dt * self.wall + q)

    def _contact(
        self, dt: float, cells: np.ndarray, area: np.ndarray, half: float, melt: float
    ) -> np.ndarray:
        """Watts from the melt into wall cells, never more than evens them out in one step."""
        held = self.g.capacity[cells]
        rate = area / (1 / self.c.contact + half) / held
        return held / dt * -np.expm1(-rate * dt) * (melt - self.wall[cells])

    def _flows(self, t: float, dt: float) -> float:
        carried = 0.0
        for f in self.p.flows:
            part = max(0.0, min(t + dt, f.start + f.seconds) - max(t, f.start)) / f.seconds
            if not part:
                continue
            if f.temperature_c is None:
                gone = min(part * f.kg, 0.97 * self.kg)
                heat = -gone * self.heat / self.kg
                self.kg -= gone
            else:
                heat = part * f.kg * float(self.m.enthalpy(f.temperature_c))
                self.kg += part * f.kg
            self.heat += heat
            carried += heat
        return carried


def standing(
    crucible: Crucible,
    metal: Metal,
    kg: float,
    melt_c: float,
    seconds: float,
    *,
    wall_c: float | None = None,
    cells: int = 10,
    fast: float = 0.25,
) -> Trace:
    """A crucible lifted at time zero with its wall at one temperature: the case with figures."""
    programme = Programme(
        kg,
        0.0,
        seconds,
        lambda _t, m: m,
        start_c=melt_c,
        crucible_c=melt_c if wall_c is None else wall_c,
    )
    return Run(crucible, metal, programme, cells).go(fast=fast)


def conducting(crucible: Crucible, conductivity: float) -> Crucible:
    """The same crucible with another wall conductivity."""
    return replace(crucible, conductivity=conductivity)
