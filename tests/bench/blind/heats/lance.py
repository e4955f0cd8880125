"""A lance: sheath and tip as two lags in a row, the couple inside its tolerance, a logger.

In metal the sheath follows the melt with its own lag and the tip follows the sheath with another
(zero for a bare couple); in air both follow the air, the sheath more slowly. Each step is the exact
solution for surroundings that run straight over the step. Temperatures °C, seconds.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

TOLERANCE = {
    # IEC 60584-1:2013 (from memory): floor K, share of t, share counted from
    ("K", 1): (1.5, 0.004, 0.0),
    ("N", 1): (1.5, 0.004, 0.0),
    ("K", 2): (2.5, 0.0075, 0.0),
    ("N", 2): (2.5, 0.0075, 0.0),
    ("S", 2): (1.5, 0.0025, 0.0),
    ("R", 2): (1.5, 0.0025, 0.0),
    ("S", 1): (1.0, 0.003, 1100.0),
    ("R", 1): (1.0, 0.003, 1100.0),
}


def tolerance(letter: str, grade: int, temperature_c: np.ndarray | float) -> np.ndarray:
    """Half-width of the couple's tolerance, K; beyond its range the same law is carried on."""
    floor, share, start = TOLERANCE[letter, grade]
    if start:
        return floor + share * np.maximum(0.0, np.asarray(temperature_c) - start)
    return np.maximum(floor, share * np.abs(np.asarray(temperature_c)))


@dataclass(frozen=True)
class Couple:
    """What a couple and its logger truly do to a temperature."""

    letter: str
    grade: int
    share: float
    """Where inside the tolerance the wire lies, −1 to 1."""
    offset: float = 0.0
    """Logger and cold junction, K."""
    noise: float = 0.3
    digit: float = 0.1

    def show(self, tip_c: np.ndarray, rng: np.random.Generator) -> np.ndarray:
        """What the logger writes."""
        off = self.share * tolerance(self.letter, self.grade, tip_c) + self.offset
        seen = tip_c + off + rng.normal(0.0, self.noise, len(tip_c))
        return np.round(seen / self.digit) * self.digit


@dataclass(frozen=True)
class Lance:
    """Lags in metal and in air; `tip` zero for a single lag."""

    sheath: float
    tip: float
    in_air: float = 120.0
    air_c: float = 40.0

    def lag(self) -> float:
        """Mean delay in metal: the sum of both."""
        return self.sheath + self.tip


@dataclass(frozen=True)
class Dip:
    """One immersion."""

    start: float
    end: float
    open_at_end: bool = False
    """The couple failed in the metal and was replaced `open_for` seconds later."""
    open_for: float = 90.0


def follow(lance: Lance, dips: list[Dip], t: np.ndarray, melt_c: np.ndarray) -> np.ndarray:
    """Tip temperature at evenly spaced times t for a melt temperature at these times.

    A lag tau whose input runs straight from u0 to u1 over dt ends at
    u1 - m tau + (y0 - u0 + m tau) exp(-dt / tau) with m = (u1 - u0) / dt: exact.
    """
    inside = np.zeros(len(t), bool)
    for d in dips:
        inside |= (t >= d.start) & (t < d.end)
    dt = float(t[1] - t[0])
    wet, dry = math.exp(-dt / lance.sheath), math.exp(-dt / lance.in_air)
    soft = math.exp(-dt / lance.tip) if lance.tip > 0 else 0.0
    air = sheath = tip = lance.air_c
    out = [tip]
    for n in range(1, len(t)):
        before = sheath
        if inside[n - 1]:
            u0, u1 = melt_c[n - 1], melt_c[n]
            m = (u1 - u0) / dt * lance.sheath
            sheath = u1 - m + (sheath - u0 + m) * wet
        else:
            sheath = air + (sheath - air) * dry
        m = (sheath - before) / dt * lance.tip
        tip = sheath - m + (tip - before + m) * soft
        out.append(tip)
    return np.array(out, float)
