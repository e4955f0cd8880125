"""What the loggers wrote: the furnace's table (lance, couple in the melt) and the kiln's.

A channel that is unplugged or broken reads "open".
"""

from __future__ import annotations

import numpy as np
from heats import Heat
from lance import Couple, Dip, Lance, follow
from room import Room

FINE = 0.5
"""Step of the lance's own record, s; the logger takes from it."""


def draw_couple(rng: np.random.Generator, letter: str, grade: int) -> Couple:
    """A couple somewhere inside its tolerance, and its logger."""
    return Couple(
        letter,
        grade,
        rng.uniform(-1, 1),
        rng.uniform(-0.3, 0.3),
        rng.uniform(0.1, 0.6),
        float(rng.choice((0.1, 0.25, 1.0), p=(0.5, 0.35, 0.15))),
    )


def _words(values: np.ndarray, digit: float) -> list[str]:
    places = 0 if digit >= 1 else (2 if digit == 0.25 else 1)
    return [f"{v:.{places}f}" for v in values]


def furnace(heat: Heat, rng: np.random.Generator, end: float) -> None:
    """The lance's channel, and that of a couple that stands in the melt until near the lift."""
    fine = np.arange(0.0, end, FINE)
    melt = np.interp(fine, heat.t, heat.melt_c)
    every = round(heat.sampling / FINE)
    t = fine[::every]
    tip = follow(heat.lance, heat.dips, fine, melt)[::every]
    columns = [_words(heat.couple.show(tip, rng), heat.couple.digit)]
    heads = ["lance (C)"]
    for d in heat.dips:
        if d.open_at_end:
            for i in np.flatnonzero((t >= d.end) & (t < d.end + d.open_for)):
                columns[0][i] = "open"
    if heat.shape.melt_couple:
        ready = float(heat.t[np.argmax(heat.melt_c > heat.metal.liquidus_c + 20)])
        stands = Dip(ready + 30.0, heat.lift - rng.uniform(20, 40))
        deep = follow(Lance(20.0, 5.0), [stands], fine, melt)[::every]
        couple = draw_couple(rng, "S", 2)
        columns.append(_until(_words(couple.show(deep, rng), couple.digit), t, stands.end + 120))
        heads.append("melt (C)")
    heat.heads["furnace"] = heads
    heat.tables["furnace"] = [(x, list(row)) for x, *row in zip(t, *columns, strict=True)]


def _until(words: list[str], t: np.ndarray, end: float) -> list[str]:
    return [w if x <= end else "open" for w, x in zip(words, t, strict=True)]


def kiln(heat: Heat, room: Room, rng: np.random.Generator, end: float) -> None:
    """Two couples of the kiln, and one in each mould that has a probe."""
    block = heat.moulds[0].body.form == "block"
    every, history, ramp = (60.0, 14 * 3600.0, 7200.0) if block else (15.0, 3.5 * 3600, 3600.0)
    if heat.shape.probes:
        every = 5.0
    t = np.arange(-history + min(m.out for m in heat.moulds), end, every)
    hold = np.array([room.kiln_at(x) for x in t])
    true = np.minimum(hold, 25.0 + (room.kiln_c - 25.0) * (t - t[0]) / ramp)
    columns, heads = [], []
    for place in ("kiln top", "kiln bottom"):
        couple = draw_couple(rng, "K", 1)
        columns.append(_words(couple.show(true, rng), couple.digit))
        heads.append(f"{place} (C)")
    for n, m in enumerate(heat.moulds):
        if m.probe == "none":
            continue
        couple = draw_couple(rng, "K", 1)
        # its own lag is a delay of 4 s; before the mould's own record it has the kiln's temperature
        inside = np.where(
            t < m.cooling.t[0],
            true + m.place_k,
            np.interp(t - 4.0, m.cooling.t, m.cooling.met_c),
        )
        until = m.began if m.probe == "to the pour" else m.out
        columns.append(_until(_words(couple.show(inside, rng), couple.digit), t, until))
        heads.append(f"core {n + 1} (C)")
    heat.heads["kiln"] = heads
    heat.tables["kiln"] = [(x, list(row)) for x, *row in zip(t, *columns, strict=True)]
