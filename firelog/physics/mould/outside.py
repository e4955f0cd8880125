"""The temperature that a mould's outer face sees: a recorded trace made ready for computing."""

from __future__ import annotations

import math
from dataclasses import dataclass, field

import numpy as np

from firelog.errors import InputError
from firelog.readings import FloatArray
from firelog.units import ZERO_C_IN_K

_HOTTEST_C = 2500.0


@dataclass(frozen=True)
class Outside:
    """The temperature that the outer face sees: [°C] against [s], straight lines between; all (n,).

    ``swing_k`` [K] is how far it has gone up and down in all until then.
    """

    t_s: FloatArray
    temp_c: FloatArray
    swing_k: FloatArray = field(repr=False)


def outside(t_s: FloatArray, temp_c: FloatArray, *, mean_over_s: float = 60.0) -> Outside:
    """Return the outside from a trace of instants [s] and temperatures [°C], both (n,).

    A trace denser than ``mean_over_s`` [s] is averaged over it. Raises InputError for fewer than
    two points, times that do not rise, holes (NaN) and temperatures that no kiln has.
    """
    t = np.asarray(t_s, dtype=np.float64)
    temp = np.asarray(temp_c, dtype=np.float64)
    if len(t) < 2 or len(t) != len(temp) or not np.all(np.diff(t) > 0.0):
        raise InputError("the kiln's trace needs at least two readings in the order of time")
    if not np.all(np.isfinite(temp)) or temp.max() > _HOTTEST_C or temp.min() < -ZERO_C_IN_K:
        raise InputError(
            "the kiln's trace has holes or impossible temperatures; fill or cut them before "
            "computing what a mould did under it"
        )
    bins = math.floor((t[-1] - t[0]) / mean_over_s)
    if bins > 1 and len(t) > 2 * bins:
        t, temp = _thinned(t, temp, bins)
    swing = np.concatenate(([0.0], np.cumsum(np.abs(np.diff(temp)) + 1e-6)))
    return Outside(t, temp, swing)


def _thinned(t: FloatArray, temp: FloatArray, bins: int) -> tuple[FloatArray, FloatArray]:
    """Return mean temperatures over even stretches, with the very ends kept."""
    place = np.minimum(((t - t[0]) / (t[-1] - t[0]) * bins).astype(np.int64), bins - 1)
    count = np.bincount(place, minlength=bins)
    seen = count > 0
    mean_t = np.bincount(place, t, bins)[seen] / count[seen]
    mean_c = np.bincount(place, temp, bins)[seen] / count[seen]
    return (
        np.concatenate((t[:1], mean_t, t[-1:])),
        np.concatenate((temp[:1], mean_c, temp[-1:])),
    )


def steady(temp_c: float, lasting_s: float) -> Outside:
    """Return an outside that stays at one temperature [°C] for ``lasting_s`` [s]."""
    return outside(np.array([0.0, lasting_s]), np.array([temp_c, temp_c]))
