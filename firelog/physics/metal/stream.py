"""What metal loses between the lip of the crucible and the mould: in the stream and in the cup.

Nobody measures either, so both are told as an interval, from the least to the most that streams and
cups of this trade take.
"""

from __future__ import annotations

import math

from firelog.physics.mould.body import SIGMA_W_PER_M2_K4
from firelog.units import ZERO_C_IN_K

# Least and most of what a pour is like: common practice, no source.
_FALLS_S = (0.1, 0.3)  # 5 to 45 cm
_THICK_M = (0.025, 0.008)
_EMISSIVITY = (0.15, 0.6)  # bright metal to a skin of oxide
_AIR_W_PER_M2K = (30.0, 100.0)
_CUP_M2 = (0.005, 0.02)
_CUP_S = (2.0, 8.0)
_SHELL_EFFUSIVITY = (900.0, 1500.0)  # √(kρc) of shells and plaster [W√s/m²K]


def stream_loss_k(
    temp_c: float, kg_per_m3: float, j_per_kgk: float, ambient_c: float = 25.0
) -> tuple[float, float]:
    """Return the least and most that a falling stream loses [K] by radiation and to the air.

    A round stream of diameter d loses 4·q·t / (ρ·c·d): its side over its volume. ``temp_c`` [°C],
    ``kg_per_m3`` and ``j_per_kgk`` [J/kgK] of the melt. Source: lumped energy balance (Incropera et
    al., Fundamentals of Heat and Mass Transfer, 5.1, from memory).
    """
    hot, room = temp_c + ZERO_C_IN_K, ambient_c + ZERO_C_IN_K
    ends = []
    for fall_s, thick_m, emissivity, air in zip(
        _FALLS_S, _THICK_M, _EMISSIVITY, _AIR_W_PER_M2K, strict=True
    ):
        flux = emissivity * SIGMA_W_PER_M2_K4 * (hot**4 - room**4) + air * (hot - room)
        ends.append(4.0 * flux * fall_s / (kg_per_m3 * j_per_kgk * thick_m))
    return ends[0], ends[1]


def cup_loss_k(
    temp_c: float, mould_c: float, poured_kg: float, j_per_kgk: float
) -> tuple[float, float]:
    """Return the least and most that the metal poured loses [K] into its cup, on average.

    The cup takes what a half-space takes in contact: 2·e·ΔT·√(t/π) for each m². ``temp_c`` and
    ``mould_c`` [°C], ``poured_kg`` [kg], ``j_per_kgk`` [J/kgK]. Source: semi-infinite solid,
    constant surface temperature (Incropera et al., 5.7, from memory).
    """
    over_k = max(temp_c - mould_c, 0.0)
    ends = [
        2.0 * effusivity * over_k * math.sqrt(lasts_s / math.pi) * area / (poured_kg * j_per_kgk)
        for area, lasts_s, effusivity in zip(_CUP_M2, _CUP_S, _SHELL_EFFUSIVITY, strict=True)
    ]
    return ends[0], ends[1]
