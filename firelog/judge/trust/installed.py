"""What the record knows of a kiln's thermocouples: which should be there, and what they are like.

Installed is every channel of the kiln that the foundry file or ``firelog channels`` states, and
every one that has been read in it before, until it is said to have been taken out.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping
from functools import cache
from itertools import combinations

import numpy as np

from firelog.errors import FirelogError
from firelog.judge import place
from firelog.judge.trust.apart import Pair
from firelog.judge.trust.believable import Past
from firelog.judge.trust.cells import HOT_C, on_cells
from firelog.judge.trust.doubt import Doubt, Kind
from firelog.judge.trust.wrong_unit import PastLevels
from firelog.readings import Role
from firelog.record.installed import taken_out_us
from firelog.record.rows import Channel, Firing
from firelog.record.store import Store
from firelog.schedule.plan.model import ChannelTrace

UNJUDGED = frozenset({Role.AMBIENT, Role.SET_POINT, Role.COLD_JUNCTION})
MOST_PAST = 3  # the newest firings; older ones knew another kiln
ENOUGH_PAST = 2  # one firing is no habit


def silent(store: Store, firing: Firing, traces: Iterable[ChannelTrace]) -> list[Doubt]:
    """Return a doubt for every thermocouple that is installed and has no reading in the firing."""
    read = {one.name for one in traces if np.isfinite(one.temp_c).any()}
    return [
        Doubt(
            one.name, one.role.value, Kind.SILENT, -np.inf, np.inf,
            f"{one.name} is installed in {one.kiln} and has no usable reading in this firing (if "
            f"it was taken out, say since when: firelog channels edit {one.name!r} "
            f"--kiln {one.kiln!r} --removed DATE)",
        )
        for one in store.channels(firing.kiln)
        if one.role not in UNJUDGED and one.name not in read and _expected(store, firing, one)
    ]  # fmt: skip


def _expected(store: Store, firing: Firing, channel: Channel) -> bool:
    span = store.reading_span(channel.id)
    # What is pushed into a mould or a melt comes and goes; only what is stated of it is expected.
    if channel.role is not Role.KILN and channel.letter is None:
        return False
    ended_us = firing.ended_us
    if span is not None and ended_us is not None and span[0] > ended_us:
        return False  # put in later
    out_us = taken_out_us(store, channel, firing.began_us if ended_us is None else ended_us)
    if out_us is None:
        return True
    back = store.readings(channel.id, out_us + 1, firing.began_us)
    return len(back) > 0


def past_of(store: Store, firing: Firing) -> Past:
    """Return what the newest closed firings of the kiln before this one showed, read when asked."""

    @cache
    def traces() -> tuple[tuple[ChannelTrace, ...], ...]:
        return tuple(_past_traces(store, firing))

    return Past(lambda: _apart_k(traces()), _levels(traces))


def _past_traces(store: Store, firing: Firing) -> Iterable[tuple[ChannelTrace, ...]]:
    closed = [
        one
        for one in store.firings(firing.kiln)
        if one.ended_us is not None and one.ended_us <= firing.began_us
    ]
    for one in closed[:MOST_PAST]:
        try:
            yield tuple(place.kiln_traces(store, one))
        except FirelogError:
            continue  # what can no longer be read teaches nothing


def _apart_k(past: Iterable[tuple[ChannelTrace, ...]]) -> Mapping[Pair, tuple[float, float]]:
    """Return how far [K] pairs of couples stood apart in calm hot hours, lowest and highest."""
    seen: dict[Pair, list[tuple[float, float]]] = {}
    for traces in past:
        grid = on_cells(traces)
        if grid is None:
            continue
        for i, j in combinations(range(len(grid.names)), 2):
            apart_k = grid.temp_c[i] - grid.temp_c[j]
            usable = grid.calm & (np.minimum(grid.temp_c[i], grid.temp_c[j]) > HOT_C)
            usable &= np.isfinite(apart_k)
            if usable.sum() * grid.cell_s < 600.0:
                continue
            low, high = (float(one) for one in np.quantile(apart_k[usable], (0.05, 0.95)))
            first, second = grid.names[i], grid.names[j]
            if first > second:
                first, second, low, high = second, first, -high, -low
            seen.setdefault((first, second), []).append((low, high))
    return {
        pair: (min(low for low, _ in found), max(high for _, high in found))
        for pair, found in seen.items()
        if len(found) >= ENOUGH_PAST
    }


def _levels(
    traces: Callable[[], tuple[tuple[ChannelTrace, ...], ...]],
) -> Callable[[], PastLevels | None]:
    def levels() -> PastLevels | None:
        found = [
            (float(np.median(temp_c[:3])), float(temp_c.max()))
            for firing in traces()
            for one in firing
            if len(temp_c := one.temp_c[np.isfinite(one.temp_c)]) > 3
        ]
        if len(found) < ENOUGH_PAST:
            return None
        start_c, highest_c = np.median(np.array(found), axis=0)
        return PastLevels(float(start_c), float(highest_c))

    return levels
