"""A melt: a furnace and a crucible of silicon bronze, charged, melted, skimmed and lifted.

Latent heat 250 kJ/kg spread over 830-920 °C, 540 J/kgK else (reference values of the project);
furnace sizes from memory. The couple sits in the crucible until the lift.
"""

from __future__ import annotations

import math

import numpy as np
from kilns import Run

STEP = 2.0
MUSH = (830.0, 920.0)
LATENT, HEAT = 250e3, 540.0  # J/kg, J/kgK


def _heat_capacity(c: float) -> float:
    return HEAT + (LATENT / (MUSH[1] - MUSH[0]) if MUSH[0] < c < MUSH[1] else 0.0)


def melt(seed: int) -> Run:
    """Simulate one melt; steps are 'melt', 'at heat' and 'lifted'."""
    rng = np.random.default_rng(seed)
    kg, full = rng.uniform(18, 30), rng.uniform(34e3, 42e3)
    charges = [(rng.uniform(1200, 2100), rng.uniform(1, 4)) for _ in range(rng.integers(0, 3))]
    aim, stays = rng.uniform(1233, 1238), rng.uniform(390, 700)
    fire, metal, couple = rng.uniform(20, 300), 20.0, 20.0
    hot, lifted, t, share, rows = math.inf, math.inf, -120.0, 0.0, []
    skims: list[tuple[float, float]] = []
    while t < lifted + rng.uniform(1, 1.2) * 240:
        share = 0.0 if t < 0 else min(max((aim + 90 - fire) / 60, 0.0), 1.0) if t >= hot else 1.0
        if t >= hot:
            share = min(max(0.22 + (aim - metal) / 25, 0.0), 0.6)
        given = full * share * max(0.25, 0.9 - 0.0004 * fire)
        mean = (fire + metal) / 2 + 273
        flow = (6 + 0.35 * 4 * 5.67e-8 * 0.7 * mean**3) * (fire - metal)
        fire += (given - flow - 4.5 * (fire - 20)) * STEP / 30e3
        metal += flow * STEP / (kg * _heat_capacity(metal) + 9e3)
        for when, more in charges:
            if when <= t < when + STEP and metal < 1100:
                metal = (metal * kg + 150 * more) / (kg + more)
                kg += more
        if hot == math.inf and metal >= aim - 4:
            hot, lifted = t, t + stays
            skims = [(t + rng.uniform(60, 200), rng.uniform(15, 40))]
        around = metal if t < lifted else 40.0
        around -= sum(60.0 for a, d in skims if a <= t < a + d)
        couple += (around - couple) * STEP / 14.0
        rows.append((t, couple, couple, share, math.nan))
        t += STEP
        if t > 4 * 3600:
            break
    table = np.array(rows)
    log = [("melt", 0.0, hot), ("at heat", hot, lifted)]
    return Run(table[:, 0], table[:, 1:3], table[:, 3], log, lifted, table[:, 4])
