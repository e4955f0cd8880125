"""What the metals truly are: intervals from which each heat draws its own.

Melting ranges and latent heats from data sheets, heat capacity as the mixture sum of the elements'
liquids. They are deliberately not read from the program's alloy cards.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from crucible import Metal


@dataclass(frozen=True)
class Stock:
    """One alloy, as intervals."""

    card: str
    title: str
    solidus_c: tuple[float, float]
    liquidus_c: tuple[float, float]
    cp: float
    latent: float
    density: float
    light_c: tuple[float, float]
    heavy_c: tuple[float, float]
    """Pouring ranges: only for choosing what the founder aims at; the limits are the program's."""
    kg: tuple[float, float]
    plan: str
    hot_c: float
    """Above this the plan counts the melt as overheated."""
    mould_limit_c: float

    def draw(self, rng: np.random.Generator) -> Metal:
        """One heat's metal."""
        return Metal(
            self.card,
            rng.uniform(*self.solidus_c),
            rng.uniform(*self.liquidus_c),
            self.cp * rng.uniform(0.95, 1.05),
            self.latent * rng.uniform(0.92, 1.08),
            self.density * rng.uniform(0.98, 1.02),
        )

    def window(self, section: str) -> tuple[float, float]:
        """The range the founder aims into."""
        return self.light_c if section == "light" else self.heavy_c


COPPER = ("copper-shell.toml", 1260.0, 593.33)
STOCKS = (
    Stock(
        "C87300",
        "silicon bronze",
        (821, 866),
        (971, 977),
        538,
        245e3,
        7600,
        (1093.3, 1176.7),
        (1010.0, 1065.6),
        (20, 80),
        *COPPER,
    ),
    Stock(
        "C90500",
        "tin bronze",
        (850, 856),
        (998, 1001),
        490,
        190e3,
        7750,
        (1148.9, 1260.0),
        (1037.8, 1148.9),
        (20, 80),
        *COPPER,
    ),
    Stock(
        "C95400",
        "aluminium bronze",
        (1025, 1028),
        (1036, 1039),
        602,
        230e3,
        6700,
        (1121.1, 1204.4),
        (1065.6, 1148.9),
        (20, 70),
        *COPPER,
    ),
    Stock(
        "A356",
        "aluminium A356",
        (550, 557),
        (613, 615),
        1177,
        389e3,
        2400,
        (677.0, 788.0),
        (677.0, 788.0),
        (6, 20),
        "aluminium.toml",
        800.0,
        200.0,
    ),
    Stock(
        "sterling",
        "sterling silver",
        (779, 802),
        (893, 902),
        310,
        105e3,
        9300,
        (960.0, 1010.0),
        (940.0, 980.0),
        (2, 8),
        "silver.toml",
        1050.0,
        430.0,
    ),
    Stock(
        "C83600",
        "leaded red brass",
        (854, 860),
        (1008, 1012),
        482,
        195e3,
        7900,
        (1148.9, 1287.8),
        (1065.6, 1176.7),
        (20, 80),
        *COPPER,
    ),
)
