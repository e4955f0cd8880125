"""Readings that were set aside: by the instrument, on arrival, or by the judge as a lone spike.

They are shown, because somebody read them, and never as part of a line, because nobody believes
them.
"""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from firelog.readings import FloatArray, IntArray, Quality
from firelog.schedule.plan.model import ChannelTrace
from firelog.schedule.series import lone_spikes

LONE = "a lone spike, set aside by the judge"


@dataclass(frozen=True)
class Aside:
    """Places in a trace, what was read there [°C] and why it does not count; all (n,)."""

    place: IntArray
    temp_c: FloatArray
    why: tuple[str, ...]


def set_aside(trace: ChannelTrace) -> Aside | None:
    """Return the readings of a trace that do not count, None where all do."""
    lone = _lone(trace)
    place, temp_c, why = lone, trace.temp_c[lone], [LONE] * len(lone)
    if trace.aside_c is not None:
        told = np.flatnonzero(np.isfinite(trace.aside_c))
        place, temp_c = np.append(place, told), np.append(temp_c, trace.aside_c[told])
        why += [word_of(int(code)) for code in trace.quality[told]]
    if not len(place):
        return None
    order = np.argsort(place, kind="stable")
    return Aside(place[order], temp_c[order], tuple(why[n] for n in order.tolist()))


def without_aside(trace: ChannelTrace, aside: Aside | None) -> ChannelTrace:
    """Return a trace with NaN where a reading was set aside."""
    if aside is None:
        return trace
    temp_c = trace.temp_c.copy()
    temp_c[aside.place] = np.nan
    return replace(trace, temp_c=temp_c)


def word_of(code: int) -> str:
    """Return the word of a quality as it is stored."""
    return Quality(code).word if code in list(Quality) else f"quality {code}"


def _lone(trace: ChannelTrace) -> IntArray:
    """Return the places of readings that the judge sets aside: the same rule, not a copy of it."""
    usable = np.flatnonzero(np.isfinite(trace.temp_c) & (trace.quality == Quality.OK))
    return usable[lone_spikes(trace.t_s[usable], trace.temp_c[usable])]
