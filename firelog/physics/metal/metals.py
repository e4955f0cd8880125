"""The metal: alloy cards with where each number comes from, superheat, and how much is needed.

Published numbers disagree, so a card keeps every one it found. Its solidus and liquidus are then
intervals, and a superheat carries that interval beside the thermocouple's uncertainty: whether a
pour was 20 K above the liquidus can depend on whose sheet one reads.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

from firelog.errors import InputError


@dataclass(frozen=True)
class Figure:
    """One number, in the unit of the property it stands for [°C, kg/m³ ...], and its source."""

    value: float
    source: str


@dataclass(frozen=True)
class TemperatureRange:
    """A range of temperatures [°C] and where it stands."""

    low_c: float
    high_c: float
    source: str


@dataclass(frozen=True)
class AlloyCard:
    """What is known of an alloy: each property as all the figures found for it.

    Temperatures [°C], ``density`` [kg/m³] (solid, 20 °C), ``conductivity`` [W/mK],
    ``heat_capacity`` [J/kgK] (liquid where stated), ``latent`` [J/kg]. ``light`` and ``heavy`` are
    the pouring ranges [°C] for thin and thick sections. ``fumes`` names what to beware of;
    ``names`` are other usual names and numbers of the same alloy. Every
    figure carries its own source; the class holds none.
    """

    name: str
    title: str
    solidus: tuple[Figure, ...]
    liquidus: tuple[Figure, ...]
    density: tuple[Figure, ...]
    conductivity: tuple[Figure, ...]
    heat_capacity: tuple[Figure, ...]
    latent: tuple[Figure, ...]
    light: TemperatureRange | None = None
    heavy: TemperatureRange | None = None
    fumes: tuple[str, ...] = ()
    note: str = ""
    names: tuple[str, ...] = ()

    @property
    def solidus_c(self) -> tuple[float, float]:
        """The lowest and highest solidus found [°C]."""
        return _ends(self.solidus)

    @property
    def liquidus_c(self) -> tuple[float, float]:
        """The lowest and highest liquidus found [°C]."""
        return _ends(self.liquidus)

    @property
    def disputed(self) -> bool:
        """True when the sources do not agree on solidus or liquidus."""
        return _ends(self.solidus)[0] != _ends(self.solidus)[1] or (
            _ends(self.liquidus)[0] != _ends(self.liquidus)[1]
        )

    def pouring(self, section: str) -> TemperatureRange | None:
        """Return the pouring range [°C], ``"light"`` or ``"heavy"``; None if none is found.

        Raises InputError for any other word.
        """
        if section not in ("light", "heavy"):
            raise InputError(f"a section is light or heavy, not {section!r}")
        return self.light if section == "light" else self.heavy


def _ends(figures: tuple[Figure, ...]) -> tuple[float, float]:
    values = [figure.value for figure in figures]
    return min(values), max(values)


def middle(figures: tuple[Figure, ...]) -> float:
    """Return the middle between the lowest and highest figure found, in the figures' unit [any]."""
    low, high = _ends(figures)
    return (low + high) / 2.0


def superheat_k(card: AlloyCard, temp_c: float, expanded_k: float) -> tuple[float, float]:
    """Return how far ``temp_c`` [°C] ± ``expanded_k`` [K] lies above the liquidus, and its U [K].

    Where sources disagree the liquidus is the middle of what they say, rectangular between its
    ends: half-width a counts as a/√3 (GUM, JCGM 100:2008, 4.3.7), and U = 2·u.
    """
    low, high = card.liquidus_c
    return (
        temp_c - (low + high) / 2.0,
        math.hypot(expanded_k, 2.0 * (high - low) / 2.0 / math.sqrt(3.0)),
    )


# ---------------------------------------------------------------- how much metal
WAX_KG_PER_M3 = 950.0  # 900 to 1000 in suppliers' tables; many shops reckon with 1000
MELT_LOSS = 0.03  # dross and splash; common practice, no source


@dataclass(frozen=True)
class MetalNeed:
    """Metal for one mould [kg]; ``charge_kg`` is what goes into the crucible."""

    piece_kg: float
    sprues_kg: float
    cup_kg: float
    charge_kg: float

    @property
    def poured_kg(self) -> float:
        """What fills the mould [kg]."""
        return self.piece_kg + self.sprues_kg + self.cup_kg


def metal_for(
    card: AlloyCard,
    *,
    wax_kg: float,
    sprue_wax_kg: float = 0.0,
    cup_l: float = 0.0,
    wax_kg_per_m3: float = WAX_KG_PER_M3,
    melt_loss: float = MELT_LOSS,
    heel_kg: float = 0.0,
) -> MetalNeed:
    """Return the metal that a wax needs [kg]: its volume in metal, sprues and cup, loss and heel.

    ``wax_kg`` and ``sprue_wax_kg`` [kg], ``wax_kg_per_m3`` [kg/m³]; ``cup_l`` [litres] is the metal
    that stands in the cup, ``melt_loss`` a share [0 to 1] of the charge, ``heel_kg`` [kg] what
    stays in the crucible. Raises InputError for weights and densities that cannot be.

    Source: volume for volume, wax × density of metal ÷ density of wax, as suppliers of casting wax
    print it; the loss of 3 % is common practice, no source.
    """
    if not (0.0 < wax_kg < 2000.0 and 0.0 <= sprue_wax_kg < 2000.0 and 0.0 <= cup_l < 200.0):
        raise InputError("wax must weigh more than nothing, in kilograms; a cup holds litres")
    if not 700.0 <= wax_kg_per_m3 <= 1200.0:
        raise InputError(f"wax of {wax_kg_per_m3:g} kg/m³ does not exist; it is 900 to 1000")
    if not 0.0 <= melt_loss < 0.5 or heel_kg < 0.0:
        raise InputError("the melt loss is a share such as 0.03, the heel kilograms")
    density = middle(card.density)
    piece = wax_kg * density / wax_kg_per_m3
    sprues = sprue_wax_kg * density / wax_kg_per_m3
    cup = cup_l / 1000.0 * density
    return MetalNeed(piece, sprues, cup, (piece + sprues + cup) / (1.0 - melt_loss) + heel_kg)
