"""A kiln or a furnace as a few lumps of heat: bodies, the paths between them, energy balance.

Pure. It is a stage set for demonstrations and tests, not an engineering tool: the sizes are those
of a small foundry (common practice, no source), the laws are conduction, convection and grey-body
radiation between lumps.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import ceil, exp, log, pi

from firelog.units import ZERO_C_IN_K

AMBIENT = -1  # the other end of a path that leads outside
SIGMA_W_PER_M2_K4 = 5.670374419e-8  # Stefan-Boltzmann constant, CODATA 2018
_HOTTEST_K = 1700.0


@dataclass(frozen=True)
class PhaseChange:
    """A change of phase that takes ``heat_j`` spread evenly from ``from_c`` to ``to_c``."""

    from_c: float
    to_c: float
    heat_j: float


@dataclass(frozen=True)
class LumpedMass:
    """One lump at one temperature."""

    name: str
    heat_capacity_j_per_k: float
    start_c: float = 20.0
    change: PhaseChange | None = None

    def capacity_at(self, temp_c: float) -> float:
        """Return the heat capacity at ``temp_c`` [J/K], with the change of phase spread in."""
        change = self.change
        if change is not None and change.from_c <= temp_c <= change.to_c:
            return self.heat_capacity_j_per_k + change.heat_j / (change.to_c - change.from_c)
        return self.heat_capacity_j_per_k


@dataclass(frozen=True)
class HeatPath:
    """A way for heat between two bodies (by index), or out (``AMBIENT``).

    ``w_per_k`` for conduction and convection; ``w_per_k4`` (ε·σ·A) for radiation.
    """

    a: int
    b: int
    w_per_k: float = 0.0
    w_per_k4: float = 0.0

    def flow_w(self, a_c: float, b_c: float) -> float:
        """Return the heat that flows from a to b [W]."""
        flow = self.w_per_k * (a_c - b_c)
        if self.w_per_k4:
            flow += self.w_per_k4 * ((a_c + ZERO_C_IN_K) ** 4 - (b_c + ZERO_C_IN_K) ** 4)
        return flow


@dataclass(frozen=True)
class Network:
    """Bodies and paths in surroundings at ``ambient_c``."""

    bodies: tuple[LumpedMass, ...]
    paths: tuple[HeatPath, ...]
    ambient_c: float = 20.0

    def steps(self, dt_s: float) -> int:
        """Return into how many explicit steps ``dt_s`` must be cut to stay stable."""
        loose = [0.0] * len(self.bodies)
        for path in self.paths:
            steepest = path.w_per_k + 4 * path.w_per_k4 * _HOTTEST_K**3
            for end in (path.a, path.b):
                if end != AMBIENT:
                    loose[end] += steepest
        rates = (g / b.heat_capacity_j_per_k for g, b in zip(loose, self.bodies, strict=True))
        return max(1, ceil(dt_s * max(rates) / 0.2))

    def advance(
        self,
        temps_c: list[float],
        power_w: list[float],
        dt_s: float,
        extra: tuple[HeatPath, ...] = (),
    ) -> float:
        """Move ``temps_c`` on by ``dt_s`` in place; return the heat lost to the surroundings [J].

        ``power_w`` is the heating of each body; ``extra`` are paths open for now, such as a door.
        """
        count = self.steps(dt_s)
        step_s, lost_j = dt_s / count, 0.0
        for _ in range(count):
            gain_w = list(power_w)
            for path in self.paths + extra:
                b_c = self.ambient_c if path.b == AMBIENT else temps_c[path.b]
                flow = path.flow_w(temps_c[path.a], b_c)
                gain_w[path.a] -= flow
                if path.b == AMBIENT:
                    lost_j += flow * step_s
                else:
                    gain_w[path.b] += flow
            for index, body in enumerate(self.bodies):
                capacity = body.capacity_at(temps_c[index])
                temps_c[index] += gain_w[index] * step_s / capacity
        return lost_j


# ---------------------------------------------------------------- a thermocouple in it
@dataclass(frozen=True)
class Sensor:
    """A thermocouple as the logger shows it: a first-order lag, noise, and a last digit.

    ``dips`` seconds in every ``every_s`` make it a lance, in the melt only now and then.
    """

    name: str
    body: int
    lag_s: float = 20.0
    noise_k: float = 0.3
    digit_k: float = 0.1
    dip_s: float = 0.0
    every_s: float = 0.0

    def follow(self, shown_c: float, true_c: float, dt_s: float) -> float:
        """Return the junction's temperature after ``dt_s`` beside ``true_c``."""
        return true_c + (shown_c - true_c) * exp(-dt_s / self.lag_s)

    def dipped(self, t_s: float) -> bool:
        """True when the junction is where it measures."""
        return not self.every_s or t_s % self.every_s < self.dip_s


@dataclass(frozen=True)
class Furnace:
    """A heated box with its load: where the heat enters, what is measured, what a door costs.

    ``band_k`` is the error at which the controller asks for full power; the slower the controlled
    thermocouple answers, the wider it must be.
    """

    network: Network
    heated: tuple[tuple[int, float], ...]  # body and its share of the power
    power_w: float
    sensors: tuple[Sensor, ...]
    control: int  # index of the sensor the controller follows
    door: tuple[HeatPath, ...]
    band_k: float = 30.0


def wall(
    inside: tuple[int, ...],
    first: int,
    *,
    area_m2: float,
    thick_m: float,
    k_w_per_mk: float,
    heat_j_per_m3k: float,
    layers: int = 3,
    start_c: float = 20.0,
    outside_w_per_m2k: float = 12.0,
) -> tuple[tuple[LumpedMass, ...], tuple[HeatPath, ...]]:
    """Return a lining as layers numbered from ``first``, heated from the ``inside`` bodies."""
    slice_m = thick_m / layers
    between = k_w_per_mk * area_m2 / slice_m
    bodies = tuple(
        # A wall that stood in the heat runs from hot inside to nearly cold outside.
        LumpedMass(
            f"wall {n + 1}",
            heat_j_per_m3k * area_m2 * slice_m,
            20.0 + (start_c - 20.0) * (1 - (n + 0.5) / layers),
        )
        for n in range(layers)
    )
    out = 1 / (0.5 / between + 1 / (outside_w_per_m2k * area_m2))
    paths = (
        *(HeatPath(body, first, 2 * between / len(inside)) for body in inside),
        *(HeatPath(first + n, first + n + 1, between) for n in range(layers - 1)),
        HeatPath(first + layers - 1, AMBIENT, out),
    )
    return bodies, paths


def _facing(
    a: int, b: int, area_m2: float, *, air: float = 12.0, emissivity: float = 0.8
) -> HeatPath:
    return HeatPath(a, b, air * area_m2, emissivity * SIGMA_W_PER_M2_K4 * area_m2)


def _door(zones: tuple[int, ...], area_m2: float) -> tuple[HeatPath, ...]:
    return tuple(_facing(zone, AMBIENT, area_m2 / len(zones), air=60.0) for zone in zones)


def shell_kiln(*, start_c: float = 20.0) -> Furnace:
    """Return a gas kiln of 0.6 m³ in ceramic fibre, 60 kW to the chamber, with 40 kg of shells.

    ``start_c`` is the kiln's temperature when the shells (at 20 °C) go in.
    """
    lining, paths = wall(
        (0, 1), 2, area_m2=4.5, thick_m=0.15, k_w_per_mk=0.25, heat_j_per_m3k=1.3e5, start_c=start_c
    )
    zones = (LumpedMass("top", 25e3, start_c), LumpedMass("bottom", 25e3, start_c))
    skin, core = 2 + len(lining), 3 + len(lining)
    load = (LumpedMass("shell face", 22e3), LumpedMass("shell core", 22e3))
    more = (
        _facing(0, 1, 0.6),
        _facing(0, skin, 0.7),
        _facing(1, skin, 0.5),
        HeatPath(skin, core, 216.0),
        HeatPath(0, AMBIENT, 9.0),
        HeatPath(1, AMBIENT, 12.0),
    )
    return Furnace(
        Network((*zones, *lining, *load), (*paths, *more)),
        ((0, 0.5), (1, 0.5)),
        60e3,
        (Sensor("kiln top", 0), Sensor("kiln bottom", 1), Sensor("mould", core, lag_s=35.0)),
        0,
        _door((0, 1), 0.35),
    )


def block_kiln(*, start_c: float = 20.0) -> Furnace:
    """Return an electric kiln of 20 kW in insulating brick, with six wet investment blocks.

    Each block is a cylinder of 240 mm by 320 mm; together 100 kg dry and 25 kg of free water.
    """
    lining, paths = wall(
        (0, 1), 2, area_m2=3.0, thick_m=0.13, k_w_per_mk=0.3, heat_j_per_m3k=6e5, start_c=start_c
    )
    zones = (LumpedMass("top", 18e3, start_c), LumpedMass("bottom", 18e3, start_c))
    first = 2 + len(lining)
    shares = (("outside", 0.5), ("middle", 0.35), ("core", 0.15))
    water_j = 25.0 * 2.2564e6  # heat of evaporation at 100 °C, IAPWS-95, from memory
    load = tuple(
        LumpedMass(f"block {name}", 100e3 * share, 20.0, PhaseChange(97.0, 103.0, water_j * share))
        for name, share in shares
    )
    # Radii that part a cylinder of 120 mm by these masses; six blocks of conductivity 0.45 W/mK.
    between = [6 * 2 * pi * 0.45 * 0.32 / log(outer / inner) for outer, inner in _RADII_M]
    more = (
        _facing(0, 1, 0.4),
        _facing(0, first, 0.75),
        _facing(1, first, 0.7),
        HeatPath(first, first + 1, between[0]),
        HeatPath(first + 1, first + 2, between[1]),
        HeatPath(0, AMBIENT, 4.0),
        HeatPath(1, AMBIENT, 6.0),
    )
    return Furnace(
        Network((*zones, *lining, *load), (*paths, *more)),
        ((0, 0.5), (1, 0.5)),
        20e3,
        (Sensor("kiln top", 0), Sensor("kiln bottom", 1), Sensor("mould", first + 2, lag_s=35.0)),
        0,
        _door((0, 1), 0.25),
    )


_RADII_M = ((0.103, 0.068), (0.068, 0.031))  # mid-mass radii of outside, middle and core


def melting_furnace(*, start_c: float = 20.0) -> Furnace:
    """Return a crucible furnace of 50 kW with 50 kg of leaded red brass (UNS C83600).

    The lance is in the melt 45 s of every 8 minutes.
    """
    lining, paths = wall(
        (0,), 1, area_m2=1.3, thick_m=0.12, k_w_per_mk=0.5, heat_j_per_m3k=9e5, start_c=start_c
    )
    crucible, metal = 1 + len(lining), 2 + len(lining)
    load = (
        LumpedMass("crucible", 15.0 * 1000.0),
        # Solidus 854 °C, liquidus 1010 °C (C83600); heat of fusion near that of copper,
        # 205 kJ/kg, and specific heat 0.43 kJ/kgK over the whole range, from memory.
        LumpedMass("metal", 50.0 * 430.0, 20.0, PhaseChange(854.0, 1010.0, 50.0 * 205e3)),
    )
    more = (
        _facing(0, crucible, 0.45, air=20.0),
        HeatPath(crucible, metal, 150.0),
        HeatPath(0, AMBIENT, 6.0),
        HeatPath(metal, AMBIENT, 0.8, 0.5 * SIGMA_W_PER_M2_K4 * 0.045),
    )
    return Furnace(
        Network((LumpedMass("chamber", 12e3, start_c), *lining, *load), (*paths, *more)),
        ((0, 1.0),),
        50e3,
        (
            Sensor("furnace", 0),
            Sensor("crucible", metal, lag_s=25.0),
            Sensor("lance", metal, lag_s=6.0, dip_s=45.0, every_s=480.0),
        ),
        1,
        _door((0,), 0.05),
        band_k=150.0,
    )
