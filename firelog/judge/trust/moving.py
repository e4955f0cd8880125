"""Finds couples that move as no kiln does, on ramps too: reversed, fallen out, left behind. Pure.

In a calm kiln ``apart`` holds levels against each other. While a kiln moves, levels say less and
directions more: a couple that falls as its neighbours rise is reversed, one that loses most of its
heat in minutes while they hold has fallen out of the wall. Limits are common practice, no source.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from firelog.judge.trust.apart import UNEVEN_K
from firelog.judge.trust.cells import Cells, on_cells
from firelog.judge.trust.doubt import Doubt, Kind
from firelog.readings import FloatArray
from firelog.say.durations import show_duration
from firelog.say.numbers import show_difference, show_temperature
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import TemperatureUnit

ROSE_K = 40.0  # what the others must have moved before a direction says anything
AGAINST = 0.35  # of it, the other way: a corner that only lags does not go back
BELOW_ROOM_C = -12.0  # no room with a kiln in it is so cold
FELL_K, FELL_S = 120.0, (600.0, 240.0)  # lost within so long; the longer look says more
HELD = 0.35  # of the fall: what the others may have lost with it
RETURNED_K = 60.0
LEVEL_SHARE = 0.10  # of the level above the room: how uneven a kiln on its way may be
LASTING_S = 1200.0
ROOM_C = 20.0


def moving_doubts(traces: Sequence[ChannelTrace], unit: TemperatureUnit = "C") -> list[Doubt]:
    """Return the couples of one kiln [s, °C] that move as it cannot, as they stand at the end.

    Sentences in ``unit``.
    """
    grid = on_cells(traces)
    if grid is None:
        return [doubt for one in traces for doubt in _alone(one, unit)]
    role = traces[0].role
    found = []
    for row, name in enumerate(grid.names):
        others = np.delete(grid.temp_c, row, axis=0)
        middle = _middle(others)
        rest = " and ".join(one for one in grid.names if one != name)
        why, kind = _reversed(grid.temp_c[row], middle, name, rest, unit), Kind.REVERSED
        if not why:
            why, kind = _fallen(grid, row, middle, rest, unit), Kind.FALLEN
        if why:
            found.append(Doubt(name, role, kind, float(grid.t_s[0]), np.inf, why))
    named = {one.channel for one in found}
    if not named and len(grid.names) >= 2:
        found = _left_behind(grid, role, unit)
    return found


def _middle(rows: FloatArray) -> FloatArray:
    if len(rows) == 1:
        return np.asarray(rows[0])
    known = np.isfinite(rows).any(axis=0)
    middle = np.full(rows.shape[1], np.nan)
    middle[known] = np.nanmedian(rows[:, known], axis=0)
    return middle


def _known(own: FloatArray, middle: FloatArray) -> tuple[FloatArray, FloatArray]:
    both = np.isfinite(own) & np.isfinite(middle)
    return own[both], middle[both]


def _reversed(
    own: FloatArray, middle: FloatArray, name: str, rest: str, unit: TemperatureUnit
) -> str:
    own, middle = _known(own, middle)
    if len(own) < 3:
        return ""
    moved = float(np.median(own[-3:]) - np.median(own[:3]))
    rose = float(np.median(middle[-3:]) - np.median(middle[:3]))
    now = show_temperature(float(np.median(own[-3:])), unit)
    if np.median(own[-3:]) < BELOW_ROOM_C and np.median(middle[-3:]) > ROOM_C:
        return f"{name} is reversed: it reads {now}, below any room, while {rest} is warm"
    if rose >= ROSE_K and moved <= -max(AGAINST * rose, 25.0) and np.median(own[:3]) < 200.0:
        fell = show_difference(-moved, unit)
        up = show_difference(rose, unit)
        return f"{name} is reversed: it fell {fell} while {rest} rose {up}"
    return ""


def _fallen(grid: Cells, row: int, middle: FloatArray, rest: str, unit: TemperatureUnit) -> str:
    both = np.isfinite(grid.temp_c[row]) & np.isfinite(middle)
    own, middle, t_s = grid.temp_c[row][both], middle[both], grid.t_s[both]
    found = None
    for over_s in FELL_S:
        cells = max(2, round(over_s / grid.cell_s))
        if len(own) <= cells or found is not None:
            continue
        fell = own[:-cells] - own[cells:]
        others = np.abs(middle[:-cells] - middle[cells:])
        steep = np.flatnonzero((fell >= FELL_K) & (others <= HELD * fell))
        if len(steep):
            at = int(steep[np.argmax(fell[steep])])
            found = (at, float(fell[at]), cells * grid.cell_s)
    if found is None or abs(own[-1] - middle[-1]) < RETURNED_K:
        return ""
    at, fell_k, took_s = found
    lost, took = show_difference(fell_k, unit), show_duration(took_s)
    ago = show_duration(max(0.0, float(t_s[-1] - t_s[at])))
    return (
        f"{grid.names[row]} has fallen out of its place: it fell {lost} in {took}, {ago} ago, "
        f"faster than the kiln can cool, while {rest} held"
    )


def _alone(trace: ChannelTrace, unit: TemperatureUnit) -> list[Doubt]:
    """What a lone couple shows by itself: nothing is below the room in a kiln that is fired."""
    temp_c = trace.temp_c[np.isfinite(trace.temp_c)]
    if len(temp_c) < 6 or float(np.median(temp_c[-3:])) > BELOW_ROOM_C:
        return []
    now = show_temperature(float(np.median(temp_c[-3:])), unit)
    why = f"{trace.name} is reversed: it reads {now}, below any room, in a kiln that is fired"
    return [Doubt(trace.name, trace.role, Kind.REVERSED, float(trace.t_s[0]), np.inf, why)]


def _left_behind(grid: Cells, role: str, unit: TemperatureUnit) -> list[Doubt]:
    """Return both couples of the pair that stands farthest apart, where no kiln is so uneven."""
    cells = max(2, round(LASTING_S / grid.cell_s))
    recent = grid.temp_c[:, -cells:]
    levels = np.array(
        [np.median(r[np.isfinite(r)]) if np.isfinite(r).any() else np.nan for r in recent]
    )
    if not np.isfinite(levels).sum() >= 2:
        return []
    high, low = int(np.nanargmax(levels)), int(np.nanargmin(levels))
    apart_k = recent[high] - recent[low]
    apart_k = apart_k[np.isfinite(apart_k)]
    if len(apart_k) * grid.cell_s < 0.6 * LASTING_S:
        return []
    u_k = np.hypot(*(np.nanmedian(grid.expanded_k[row][-cells:]) for row in (high, low)))
    u_k = u_k if np.isfinite(u_k) else 0.0
    limit_k = float(np.hypot(u_k, UNEVEN_K) + LEVEL_SHARE * max(0.0, levels[high] - ROOM_C))
    if float(np.quantile(apart_k, 0.1)) <= limit_k:
        return []
    names, gap = (
        (grid.names[high], grid.names[low]),
        show_difference(float(np.median(apart_k)), unit),
    )
    why = (
        f"{names[0]} ({show_temperature(float(levels[high]), unit)}) and {names[1]} "
        f"({show_temperature(float(levels[low]), unit)}) are {gap} apart, more than a kiln on its "
        "way is uneven"
    )
    begin_s = float(grid.t_s[-1] - LASTING_S)
    return [
        Doubt(name, role, Kind.APART, begin_s, np.inf, why, (other,))
        for name, other in (names, names[::-1])
    ]
