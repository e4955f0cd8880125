"""What use does to a type K thermocouple, as an allowance in kelvin.

Tolerances hold for new wire. Type K changes in two ways that a burnout kiln brings about: slow
oxidation above 1000 °C, and ordering of the positive leg in the range of the dewax and the first
holds, which comes within minutes, makes it read high, and is undone above about 650 °C. Both are
allowed for as ± their size although each has a usual direction: a log cannot tell how far along
the wire the change reaches, and that decides how much of it is seen.
"""

from __future__ import annotations

from typing import NamedTuple

import numpy as np

from firelog.readings import FloatArray

HIGH_USE_FROM_C = 1000.0
ORDERING_C = (250.0, 550.0)
CLEARED_FROM_C = 650.0

# Common practice, no source: several kelvin in 100 h above 1000 °C, thin wire more.
_HIGH_USE_SHARE_PER_H = 0.004 / 100.0
HIGH_USE_SOURCE = "common practice, no source: 0.4 % of t per 100 h of it"

# At 350 °C type K reads high by 0.9 K after 5 min, 1.9 K after 45 min, 3.7 K after 7 h (technical
# note of Okazaki Manufacturing on type K); up to 1.7 % of the reading, 6 K at 350 °C, after days
# (ORNL-TM-4862). Interpolated in the logarithm of the time.
_ORDERING_HOURS = (5.0 / 60.0, 45.0 / 60.0, 7.0, 48.0)
_ORDERING_K = (0.9, 1.9, 3.7, 6.0)
ORDERING_SOURCE = "maker's note on type K; ORNL-TM-4862"

# Stabilised wire against new: +3 K at 538 °C, +5 K at 1093 °C, whatever the tip, for the wire in
# the wall stays in the ordering range (maker's note on stabilised type K, TE Wire, n.d.).
_IN_WALL_C = (200.0, 538.0, 1093.0)
_IN_WALL_K = (0.0, 3.0, 5.0)
IN_WALL_SOURCE = "maker's note on stabilised type K"


class Exposure(NamedTuple):
    """How long a thermocouple has spent where it changes: above 1000 °C, and in 250–550 °C [h]."""

    above_1000_c_h: float
    ordering_h: float


def exposure(t_s: FloatArray, temp_c: FloatArray, longest_gap_s: float = 300.0) -> Exposure:
    """Return the hours [h] of a trace above 1000 °C and in 250–550 °C since it was last cleared.

    ``t_s`` [s], rising; ``temp_c`` [°C], NaN where unusable; both (n,). An interval counts by the
    reading at its start; one longer than ``longest_gap_s`` [s] or beginning in NaN is unknown and
    not counted.

    Source: ordering between 200 and 600 °C, undone above about 650 °C: ORNL-TM-4862 (1975) and a
    technical note of Okazaki Manufacturing on type K. Only the tip's own trace is known here: wire
    in the kiln's wall may order while the tip is hot.
    """
    lasting = np.diff(t_s)
    at = temp_c[:-1]
    lasting = np.where((lasting <= longest_gap_s) & ~np.isnan(at), lasting, 0.0)
    high = float(np.sum(lasting[at >= HIGH_USE_FROM_C]))
    cleared = np.flatnonzero(at >= CLEARED_FROM_C)
    since = int(cleared[-1]) + 1 if len(cleared) else 0
    low, top = ORDERING_C
    ordering = (at[since:] >= low) & (at[since:] <= top)
    return Exposure(high / 3600.0, float(np.sum(lasting[since:][ordering])) / 3600.0)


def high_use_k(hours: float, temp_c: FloatArray) -> FloatArray:
    """Return ± [K] at each [°C] after ``hours`` [h] above 1000 °C.

    Common practice, no source: 0.4 % of t in 100 h.
    """
    return np.abs(temp_c) * (_HIGH_USE_SHARE_PER_H * hours)


def ordering_k(hours: float, temp_c: FloatArray) -> FloatArray:
    """Return ± [K] at each [°C] after ``hours`` [h] in the ordering range; zero outside that range.

    Source: technical note of Okazaki Manufacturing on type K at 350 °C, and ORNL-TM-4862 (1975) for
    what days bring; interpolated in the logarithm of the time.

    The maker's note gives 1.9 K after 45 min at 350 °C:

    >>> ordering_k(0.75, np.array([350.0, 900.0]))
    array([1.9, 0. ])
    """
    low, high = ORDERING_C
    size = 0.0
    if hours > 0.0:
        size = float(np.interp(np.log(hours), np.log(_ORDERING_HOURS), _ORDERING_K))
    inside = (temp_c >= low) & (temp_c <= high)
    return np.where(np.isnan(temp_c), np.nan, np.where(inside, size, 0.0))


def in_wall_k(temp_c: FloatArray) -> FloatArray:
    """Return by how much [K] type K may read high at each [°C], its wire in a kiln's wall.

    Source: maker's note on stabilised type K (TE Wire, n.d.): +3 K at 538 °C, +5 K at 1093 °C; none
    at 200 °C is common practice, no source. Straight lines between.

    >>> in_wall_k(np.array([538.0, 1093.0]))
    array([3., 5.])
    """
    return np.asarray(np.interp(temp_c, _IN_WALL_C, _IN_WALL_K), dtype=np.float64)
