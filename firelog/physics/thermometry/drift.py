"""What use does to a type K thermocouple, as an allowance in kelvin.

Tolerances hold for new wire. Type K changes in two ways that a burnout kiln brings about: slow
oxidation above 1000 °C, and ordering of the positive leg in the range of the dewax and the first
holds, which comes within minutes, makes it read high, and is undone above about 650 °C. A hot tip
undoes it at the tip only: somewhere between it and the terminals the wire is always at 250 to
550 °C. Emf arises where the temperature changes, whatever the length on which it does, so neither
depth nor wall thickness makes that share smaller. Each change is allowed for as ± its size although
it has a usual direction: the metal and the kiln may be colder than shown.
"""

from __future__ import annotations

from functools import cache
from typing import NamedTuple

import numpy as np

from firelog.physics.thermometry.thermocouple import emf_mv, seebeck_uv_per_k
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
# the wall stays in the ordering range (maker's note on stabilised type K, TE Wire, n.d.). Up to
# 1.7 % of what the ordered stretch gives (ORNL-TM-4862, 1975). The larger of the two counts.
_IN_WALL_C = (200.0, 538.0, 1093.0)
_IN_WALL_K = (0.0, 3.0, 5.0)
_ORDERED_SHARE = 0.017
_GRID_C = np.arange(0.0, 1373.0, 2.0)
IN_WALL_SOURCE = "ORNL-TM-4862: 1.7 % of the stretch in which it orders; maker's note on type K"


class Exposure(NamedTuple):
    """How long a thermocouple has spent where it changes [h].

    ``above_1000_c_h``: its tip above 1000 °C; ``ordering_h``: its tip in 250–550 °C since it was
    last above 650 °C; ``behind_tip_h``: some of its wire in 250–550 °C, which is whenever the tip
    is above 250 °C, and which no hot tip undoes. Source: ORNL-TM-4862 (1975).
    """

    above_1000_c_h: float
    ordering_h: float
    behind_tip_h: float = 0.0


def exposure(t_s: FloatArray, temp_c: FloatArray, longest_gap_s: float = 300.0) -> Exposure:
    """Return the hours [h] of a trace: tip above 1000 °C, tip ordering, wire behind it ordering.

    ``t_s`` [s], rising; ``temp_c`` [°C], NaN where unusable; both (n,). An interval counts by the
    reading at its start; one longer than ``longest_gap_s`` [s] or beginning in NaN is unknown and
    not counted.

    Source: ordering between 200 and 600 °C, undone above about 650 °C: ORNL-TM-4862 (1975) and a
    technical note of Okazaki Manufacturing on type K.
    """
    lasting = np.diff(t_s)
    at = temp_c[:-1]
    lasting = np.where((lasting <= longest_gap_s) & ~np.isnan(at), lasting, 0.0)
    high = float(np.sum(lasting[at >= HIGH_USE_FROM_C]))
    cleared = np.flatnonzero(at >= CLEARED_FROM_C)
    since = int(cleared[-1]) + 1 if len(cleared) else 0
    low, top = ORDERING_C
    ordering = (at[since:] >= low) & (at[since:] <= top)
    at_tip = float(np.sum(lasting[since:][ordering]))
    behind = float(np.sum(lasting[at >= low]))
    return Exposure(high / 3600.0, at_tip / 3600.0, behind / 3600.0)


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

    The larger of two: stabilised wire against new, +3 K at 538 °C and +5 K at 1093 °C (maker's
    note, TE Wire, n.d.; none at 200 °C is common practice, no source; straight lines between), and
    1.7 % (ORNL-TM-4862, 1975) of the emf that the stretch at 250–550 °C gives, taken to kelvin at
    the tip. NaN stays NaN.

    >>> in_wall_k(np.array([20.0, 538.0, 1000.0, 1150.0])).round(1)
    array([0. , 4.8, 5.5, 5.8])
    """
    return np.asarray(np.interp(temp_c, _GRID_C, _in_wall_grid_k()), dtype=np.float64)


@cache
def _in_wall_grid_k() -> FloatArray:
    low, high = ORDERING_C
    stretch_mv = emf_mv("K", np.clip(_GRID_C, low, high)) - emf_mv("K", np.array(low))
    ordered_k = _ORDERED_SHARE * stretch_mv * 1000.0 / np.asarray(seebeck_uv_per_k("K", _GRID_C))
    larger = np.maximum(ordered_k, np.interp(_GRID_C, _IN_WALL_C, _IN_WALL_K))
    return np.asarray(larger, dtype=np.float64)
