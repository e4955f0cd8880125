"""Does what a file says agree with what the record has at the same instants?

An equal value at an equal instant is the same reading, heard again. Another value is a conflict:
two nights of a logger whose clock began anew, a wrong unit, another thermocouple. So are two
records of one channel that lie between one another's readings: they are not one record.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import Any

import numpy as np
from numpy.typing import NDArray

from firelog.readings import FloatArray, IntArray, Trace, Unit
from firelog.record import traces
from firelog.units import to_celsius

SAME_K = 1e-6  # two units of one reading come to the same within rounding


@dataclass(frozen=True)
class Conflict:
    """One instant [µs UTC] at which the record (of import ``origin``, 0: unknown) says otherwise.

    ``there`` and ``here`` are values in their units, NaN for none. ``between`` says that the
    readings do not meet at all, but lie between one another.
    """

    channel: str
    t_us: int
    there: float
    unit_there: Unit
    here: float
    unit_here: Unit
    origin: int
    between: bool = False
    lines: tuple[int, ...] = ()


@dataclass(frozen=True)
class Comparison:
    """Which readings are new, how many each import holds already, and what is contradicted."""

    new: NDArray[np.bool_]
    held: dict[int, int] = field(default_factory=dict)
    conflicts: tuple[Conflict, ...] = ()


def compare(
    connection: Any,
    channel: tuple[int, str],
    trace: Trace,
    own: int | None,
    *,
    beside: bool = False,
) -> Comparison:
    """Compare a trace (in order, instants unique) with the channel (number, name) in the record.

    ``own`` is the import that is being brought in: its readings may lie anywhere. With ``beside``
    it is a second source, and is compared with itself only.
    """
    new = np.ones(len(trace), bool)
    held: dict[int, int] = {}
    conflicts: list[Conflict] = []
    there: dict[int, list[IntArray]] = {}
    first, last = int(trace.t_us[0]), int(trace.t_us[-1])
    source = own if beside else None
    for origin, part in traces.by_import(connection, channel[0], first, last, source=source):
        place = np.searchsorted(trace.t_us, part.t_us)
        hit = trace.t_us[place] == part.t_us
        here = place[hit]
        same = equal(part.value[hit], part.unit, trace.value[here], trace.unit)
        new[here] = False
        held[origin] = held.get(origin, 0) + int(same.sum())
        there.setdefault(origin, []).append(part.t_us)
        conflicts += [
            Conflict(
                channel[1], int(trace.t_us[h]), float(part.value[hit][i]), part.unit,
                float(trace.value[h]), trace.unit, origin,
            )
            for i, h in enumerate(here)
            if not same[i]
        ]  # fmt: skip
    unequal = {one.origin for one in conflicts}
    for origin, parts in there.items():
        if origin != own and origin not in unequal:
            conflicts += _between(channel[1], trace, np.sort(np.concatenate(parts)), origin)
    return Comparison(new, {o: n for o, n in held.items() if n and o != own}, tuple(conflicts))


def equal(
    there: FloatArray, unit_there: Unit, here: FloatArray, unit_here: Unit
) -> NDArray[np.bool_]:
    """Return which values say the same; no value (NaN) is the same as no value."""
    blank: NDArray[np.bool_] = np.isnan(there) & np.isnan(here)
    if unit_there is unit_here:
        blank |= there == here
        return blank
    if Unit.MV in (unit_there, unit_here):
        return blank
    in_c = [
        to_celsius(value, unit.value)  # type: ignore[arg-type]
        for value, unit in ((there, unit_there), (here, unit_here))
    ]
    close: NDArray[np.bool_] = np.abs(in_c[0] - in_c[1]) <= SAME_K
    return blank | close


def _between(name: str, trace: Trace, there: IntArray, origin: int) -> list[Conflict]:
    """Return one conflict where each of two records has instants that the other lacks."""
    inside = (trace.t_us >= there[0]) & (trace.t_us <= there[-1])
    here = trace.t_us[inside]
    lone = ~np.isin(here, there)
    if not lone.any() or np.isin(there, here).all():
        return []
    at = int(np.flatnonzero(inside)[lone][0])
    nan = float("nan")
    value = float(trace.value[at])
    return [
        Conflict(
            name, int(trace.t_us[at]), nan, trace.unit, value, trace.unit, origin, between=True
        )
    ]
