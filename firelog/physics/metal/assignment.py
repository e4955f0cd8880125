"""Which moulds go into which heat, and in which order: one exact assignment.

A mixed-integer program solved by HiGHS through SciPy (MIT licence): proven best, or proven
impossible. Not a heuristic of ours, because a wrong order costs a casting.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from scipy.optimize import Bounds, LinearConstraint, milp  # type: ignore[import-untyped, unused-ignore]
from scipy.sparse import coo_array  # type: ignore[import-untyped, unused-ignore]

from firelog.errors import InputError

_MOST = 40


@dataclass(frozen=True)
class Waiting:
    """A mould to be poured: metal it takes [kg], its window opens and closes at [s]."""

    name: str
    alloy: str
    metal_kg: float
    from_s: float
    to_s: float


@dataclass(frozen=True)
class Crucible:
    """A heat on offer: alloy, usable metal [kg], when it is ready and for how long.

    ``ready_s`` is an instant on the moulds' clock, ``lasts_s`` a duration [s]; ``each_s`` [s] is
    the time from one pour to the next, a minute unless stated (common practice, no source).
    """

    name: str
    alloy: str
    metal_kg: float
    ready_s: float
    lasts_s: float
    each_s: float = 60.0


@dataclass(frozen=True)
class Place:
    """One mould's place: its heat, its turn there (1 first) and the instant [s] it is poured."""

    mould: str
    heat: str
    turn: int
    at_s: float


@dataclass(frozen=True)
class PourAssignment:
    """The best assignment; ``left`` are moulds that fit into no heat within their window."""

    places: tuple[Place, ...]
    left: tuple[str, ...]


def assign(moulds: Sequence[Waiting], heats: Sequence[Crucible]) -> PourAssignment:
    """Return the assignment that pours the most moulds, then uses the fewest heats, earliest.

    Each heat is poured at ready, ready + each, and so on without a pause [s]: turn p of a heat is
    at a known instant, so a mould may take it when its window is open then, the heat still lasts
    and its metal [kg] suffices. Raises InputError for more than 40 moulds or heats.

    Method: a mixed-integer linear program, solved to proven optimality by branch and cut (HiGHS;
    Huangfu and Hall, Mathematical Programming Computation 10 (2018) 119, from memory).
    """
    if len(moulds) > _MOST or len(heats) > _MOST:
        raise InputError(f"more than {_MOST} moulds or heats in one plan; plan one day at a time")
    slots = [
        (m, h, turn, heat.ready_s + turn * heat.each_s)
        for m, mould in enumerate(moulds)
        for h, heat in enumerate(heats)
        for turn in range(len(moulds))
        if mould.alloy == heat.alloy
        and mould.metal_kg <= heat.metal_kg
        and turn * heat.each_s <= heat.lasts_s
        and mould.from_s <= heat.ready_s + turn * heat.each_s <= mould.to_s
    ]
    if not slots:
        return PourAssignment((), tuple(mould.name for mould in moulds))
    taken = _solve(moulds, heats, slots)
    places = [
        Place(moulds[m].name, heats[h].name, turn + 1, at_s)
        for (m, h, turn, at_s), one in zip(slots, taken, strict=True)
        if one > 0.5
    ]
    placed = {place.mould for place in places}
    return PourAssignment(
        tuple(sorted(places, key=lambda p: (p.at_s, p.heat))),
        tuple(mould.name for mould in moulds if mould.name not in placed),
    )


def _solve(
    moulds: Sequence[Waiting], heats: Sequence[Crucible], slots: list[tuple[int, int, int, float]]
) -> Any:
    count, used = len(slots), len(slots)  # variables: one a slot, then one a heat that is used
    rows: list[tuple[dict[int, float], float]] = []
    for m in range(len(moulds)):  # each mould once at most
        rows.append(({i: 1.0 for i, s in enumerate(slots) if s[0] == m}, 1.0))
    for h, heat in enumerate(heats):
        mine = [i for i, s in enumerate(slots) if s[1] == h]
        rows.append(
            ({**{i: moulds[slots[i][0]].metal_kg for i in mine}, used + h: -heat.metal_kg}, 0.0)
        )
        for turn in range(len(moulds)):  # each turn once, and none without the one before
            here = {i: 1.0 for i in mine if slots[i][2] == turn}
            before = {i: -1.0 for i in mine if slots[i][2] == turn - 1}
            rows.append((here, 1.0))
            if turn and here:
                rows.append(({**here, **before}, 0.0))
    entries = [(r, c, v) for r, (row, _) in enumerate(rows) for c, v in row.items()]
    row, column, value = zip(*entries, strict=True)
    matrix = coo_array((value, (row, column)), shape=(len(rows), count + len(heats)))
    span = max((s[3] for s in slots), default=0.0) - min(s[3] for s in slots) + 1.0
    first = min(s[3] for s in slots)
    cost = np.concatenate(
        (
            [-1000.0 * (len(heats) + 2) + (s[3] - first) / span / len(moulds) for s in slots],
            np.full(len(heats), 1000.0),
        )
    )
    found = milp(
        cost,
        integrality=np.ones(len(cost)),
        bounds=Bounds(0, 1),
        constraints=LinearConstraint(matrix.tocsr(), -np.inf, [limit for _, limit in rows]),
        options={"time_limit": 30.0},
    )
    if found.x is None:
        raise InputError("no plan was found in half a minute; plan fewer moulds at a time")
    return found.x[:count]
