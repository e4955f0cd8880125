"""Small firings with known truth, for the tests of this room."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from firelog.readings import Quality
from firelog.schedule.plan.model import ChannelTrace


def piecewise(corners: Sequence[tuple[float, float]], step_s: float = 30.0):
    """Return times and temperatures along straight lines between (hours, °C) corners."""
    hours, temps = zip(*corners, strict=True)
    t_s = np.arange(0.0, hours[-1] * 3600.0 + step_s / 2, step_s)
    return t_s, np.interp(t_s, np.array(hours) * 3600.0, temps)


def trace(
    t_s,
    temp_c,
    *,
    name: str = "kiln 1",
    role: str = "kiln",
    u_k: float = 5.0,
    noise_k: float = 0.0,
    seed: int = 1,
    lost: tuple[float, float] | None = None,
) -> ChannelTrace:
    """Return a channel; ``lost`` (hours from, to) is a hole made of open-circuit readings."""
    temp_c = np.array(temp_c, dtype=float)
    temp_c += np.random.default_rng(seed).normal(0.0, noise_k, len(temp_c)) if noise_k else 0.0
    quality = np.full(len(temp_c), Quality.OK, dtype=np.uint8)
    if lost is not None:
        inside = (t_s > lost[0] * 3600.0) & (t_s < lost[1] * 3600.0)
        quality[inside] = Quality.OPEN
        temp_c[inside] = np.nan
    return ChannelTrace(name, role, np.asarray(t_s), temp_c, np.full(len(t_s), u_k), quality)
