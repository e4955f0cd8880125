"""Checks of the simulator against closed forms, printed tables and its own books.

Printed figures: a 2-D axisymmetric model of a lifted crucible and a 1-D model of a shell leaving
the kiln, both computed beforehand by other hands; exact series of the cylinder and radiation-only
cooling after heat-transfer textbooks; step and ramp responses of one and two lags in closed form.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import replace

import numpy as np
from alloys import STOCKS
from crucible import SIGMA, Crucible, Metal, Trace, standing
from lance import Dip, Lance, follow
from maker import make
from mould import Body, cool
from shapes import SHAPES

BRONZE = Metal("silicon bronze", 850.0, 975.0, 480.0, 240e3, 7700.0)
LIFTED = {15.0: (8, 28, 74), 25.0: (13, 40, 94), 40.0: (19, 51, 111)}


def _vessel(conductivity: float, melt: float = 50.0, own: float = 15.0) -> Crucible:
    return Crucible(own, melt / BRONZE.density / 0.8, conductivity, contact=1e5)


def _lost(trace: Trace, *seconds: float) -> list[float]:
    a = trace.arrays()
    return [1150.0 - float(np.interp(s, a["t"], a["melt_c"])) for s in seconds]


def crucible_table() -> list[tuple[str, float, float, float]]:
    """A lifted crucible as rows of (what, found, printed, allowed share)."""
    found = []
    for k, printed in LIFTED.items():
        lost = _lost(standing(_vessel(k), BRONZE, 50.0, 1150.0, 120.0), 30, 60, 120)
        found += [
            (f"50 kg, wall k {k:g}: K lost after {s} s", x, float(p), 0.10)
            for s, x, p in zip((30, 60, 120), lost, printed, strict=True)
        ]
    for melt, own, printed in ((15.0, 6.0, 48.0), (100.0, 25.0, 22.0)):
        c = _vessel(15.0, melt, own)
        lost = _lost(standing(c, BRONZE, melt, 1150.0, 60.0), 60)[0]
        found.append((f"{melt:g} kg in {own:g} kg: K lost after 60 s", lost, printed, 0.15))
    for k, printed in ((8.0, 16.0), (60.0, 59.0)):
        lost = _lost(standing(_vessel(k), BRONZE, 50.0, 1150.0, 60.0), 60)[0]
        found.append((f"50 kg, wall k {k:g}: K lost after 60 s", lost, printed, 0.10))
    cold = standing(_vessel(15.0), BRONZE, 50.0, 1150.0, 60.0, wall_c=1100.0)
    found.append(
        ("wall 50 K colder at the lift: K lost after 60 s", _lost(cold, 60)[0], 40.0, 0.10)
    )
    return found


def lumped() -> tuple[str, float, float, float]:
    """A wall of boundless conductivity against one lump with the same surfaces (within 4 %)."""
    c = replace(_vessel(2000.0), dross=0.85)
    trace = standing(c, BRONZE, 50.0, 1150.0, 60.0, fast=0.1)
    r, h, w = c.radius(), c.height(), c.wall()
    level = 50.0 / BRONZE.density / (math.pi * r * r)
    area = (
        2 * math.pi * (r + w) * (h + w) + math.pi * (r + w) ** 2 + math.pi * ((r + w) ** 2 - r * r)
    )
    mouth = math.pi * r * r
    dry = 2 * math.pi * r * (h - level)
    hole = 1.0 / (1.0 + (1.0 / c.emissivity - 1.0) * mouth / (mouth + dry))  # grey cavity
    room = 298.15**4
    heat = 50.0 * BRONZE.cp + c.kg * c.cp
    t = 1423.15
    for _ in range(6000):
        loss = (c.emissivity * area + hole * mouth) * SIGMA * (t**4 - room)
        loss += 10.0 * (area + 0.5 * mouth) * (t - 298.15)
        t -= 0.01 * loss / heat
    return (
        "wall k 2000 against one lump: K lost after 60 s",
        _lost(trace, 60)[0],
        1423.15 - t,
        0.04,
    )


def lags() -> list[tuple[str, float, float, float]]:
    """Two lags, step and ramp, against their closed forms; worst difference in K."""
    t = np.arange(0.0, 200.0, 0.5)
    a, b, air = 12.0, 5.0, 40.0
    step = follow(Lance(a, b, 120.0, air), [Dip(0.0, 1e9)], t, np.full(len(t), 1150.0))
    exact = 1150.0 - 1110.0 * (a * np.exp(-t / a) - b * np.exp(-t / b)) / (a - b)
    one = follow(Lance(a, 0.0, 120.0, air), [Dip(0.0, 1e9)], t, 1150.0 - 0.7 * t)
    ramp = 1150.0 - 0.7 * (t - a) + (air - 1150.0 - 0.7 * a) * np.exp(-t / a)
    return [
        ("two lags, step: worst difference, K", float(np.abs(step - exact).max()), 0.0, 0.2),
        (
            "one lag in falling metal: worst difference, K",
            float(np.abs(one - ramp).max()),
            0.0,
            1e-6,
        ),
        ("dip 25 to 1150 °C, 6 s: within 5 K after (5.42 lags), s", _within(6.0), 32.5, 0.01),
    ]


def _within(tau: float) -> float:
    t = np.arange(0.0, 60.0, 0.05)
    y = follow(Lance(tau, 0.0, 120.0, 25.0), [Dip(0.0, 1e9)], t, np.full(len(t), 1150.0))
    return float(t[np.argmax(y > 1145.0)])


def moulds() -> list[tuple[str, float, float, float]]:
    """Shells leaving the kiln, a lumped radiating plate, the exact series of a cylinder."""
    found = []
    table = {
        (6.0, 0.7): (828, 724, 577, 479),
        (9.5, 0.7): (887, 835, 726, 637),
        (12.7, 1.2): (890, 848, 754, 675),
        (9.5, 1.2): (866, 792, 671, 582),
    }
    for (mm, k), printed in table.items():
        body = Body("plate", mm * 1e-3, 0.0, 1750.0, (k, k), (1100.0, 1100.0))
        c = cool(body, 900.0, lambda _t: 25.0, 180.0)
        found += [
            (f"shell {mm:g} mm, k {k:g}: cavity face after {s} s, °C", c.at(s), float(p), 0.01)
            for s, p in zip((30, 60, 120, 180), printed, strict=True)
        ]
    thin = Body("plate", 0.0095, 0.0, 1750.0, (400.0, 400.0), (1100.0, 1100.0), 0.85, 0.0)
    c = cool(thin, 900.0, lambda _t: -273.15, 60.0, cells=3)
    found.append(("lumped radiating plate after 60 s, K", c.at(60.0) + 273.15, 970.6, 0.002))
    # cylinder, Bi = 10, Fo = 0.5: centre 0.14580 of the excess; convection alone
    rod = Body("block", 0.05, 0.0, 1000.0, (0.5, 0.5), (1000.0, 1000.0), 0.0, 100.0)
    c = cool(rod, 200.0, lambda _t: 0.0, 0.5 * 0.05**2 / 5e-7, cells=40, every=5.0)
    found.append(("cylinder Bi 10, Fo 0.5: centre excess", c.met_c[-1] / 200.0, 0.14580, 0.03))
    return found


def books() -> list[tuple[str, float, float, float]]:
    """Energy of whole heats (charged, refilled, emptied), and how much the grid matters."""
    c = Crucible(15.0, 0.0081, 25.0)
    worst = max(standing(c, BRONZE, 50.0, 1150.0, 300.0, cells=n).balance() for n in (8, 12))
    fine = _lost(standing(c, BRONZE, 50.0, 1150.0, 60.0, cells=14, fast=0.1), 60)[0]
    used = _lost(standing(c, BRONZE, 50.0, 1150.0, 60.0, cells=8, fast=0.5), 60)[0]
    heats = [_whole(n) for n in ("charge added", "refilled", "emptied")]
    return [
        ("energy that does not add up after the lift, share", worst, 0.0, 1e-9),
        ("energy that does not add up in whole heats, share", max(heats), 0.0, 1e-9),
        ("grid and step of the bench against finer ones: K lost after 60 s", used, fine, 0.03),
    ]


def _whole(name: str) -> float:
    shape = next(s for s in SHAPES if s.name == name)
    return make(shape, STOCKS[0], 1).balance


def main(say: Callable[..., None]) -> int:
    """Print every check; 1 when one is off."""
    bad = 0
    for what, found, printed, allowed in [
        *crucible_table(),
        lumped(),
        *lags(),
        *moulds(),
        *books(),
    ]:
        off = abs(found - printed) if printed == 0.0 else abs(found / printed - 1.0)
        mark = "ok " if off <= allowed else "OFF"
        bad += mark == "OFF"
        say(
            f"{mark} {what}: {found:.6g} against {printed:.6g} (off {off:.2g}, allowed {allowed:g})"
        )
    say(f"{bad} checks off")
    return 1 if bad else 0
