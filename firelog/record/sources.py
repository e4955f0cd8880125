"""Which readings of a channel a firing or a heat stands on, where it was heard by more than one.

A channel's own record is what was heard live and what imports added to it. An import brought in
beside it is a second source: the same thermocouple again, from the memory of its logger. One source
decides; another fills holes of it only where somebody chose so. Works on an open connection.
"""

from __future__ import annotations

import json
from collections.abc import Sequence
from dataclasses import dataclass, field
from itertools import pairwise
from typing import Any, Literal

import numpy as np

from firelog.readings import IntArray, Quality, Trace
from firelog.record import traces

OWN = 0  # the number of a channel's own record among its sources
SHORTEST_HOLE_US = 60_000_000
_INTERVALS = 5  # as many usual intervals without a reading are a hole; common practice, no source

Of = tuple[Literal["firing", "heat"], int]  # what stands on readings, with its number
Span = tuple[int, int]  # from and to [µs UTC], both included


@dataclass(frozen=True)
class Choice:
    """Which source of a channel decides, and which fill its holes longer than ``hole_us`` [µs]."""

    decides: int = OWN
    fills: tuple[int, ...] = ()
    hole_us: int = SHORTEST_HOLE_US
    who: str = ""
    why: str = ""
    entered_us: int = 0


@dataclass(frozen=True)
class Filled:
    """A source's readings with its holes filled.

    ``taken`` says for each filling source how many of its readings stand in the trace, and between
    which instants of the deciding source [µs UTC] they do.
    """

    trace: Trace
    taken: tuple[tuple[int, int, tuple[Span, ...]], ...] = field(default=())


# ---------------------------------------------------------------- what was chosen
def choice_of(connection: Any, of: Of, channel_id: int) -> Choice | None:
    """Return what was chosen last for a channel of a firing or heat; None: nothing ever was."""
    kind, number = of
    row = connection.execute(
        "select decides, fills, hole_us, who, why, entered_us from source_choices"
        f" where {kind}=? and channel=? order by id desc limit 1",
        (number, channel_id),
    ).fetchone()
    return None if row is None else Choice(row[0], tuple(json.loads(row[1])), *row[2:])


def seconds_of(connection: Any, channel_id: int, span: Span) -> list[int]:
    """Return the imports kept beside a channel that have readings of it in a span of time."""
    rows = connection.execute(
        "select distinct b.import from blocks b join second_sources s on s.import=b.import"
        f" where {traces.OVERLAP} order by 1",
        traces.window(channel_id, *span),
    ).fetchall()
    return [
        int(number)
        for (number,) in rows
        if len(traces.known_times(connection, channel_id, *span, source=number))
    ]


# ---------------------------------------------------------------- reading
def one(connection: Any, channel_id: int, span: Span, of: Of, source: int) -> Trace:
    """Return the readings of one source of a channel, as a firing or heat has them."""
    if source != OWN:
        return traces.read(connection, channel_id, *span, source=source)
    return traces.read(connection, channel_id, *span, firing=_named(connection, of))


def read(connection: Any, channel_id: int, span: Span, of: Of) -> Filled:
    """Return the readings that a firing or heat stands on: of the source that decides, filled."""
    chosen = choice_of(connection, of, channel_id) or Choice()
    found = one(connection, channel_id, span, of, chosen.decides)
    taken = []
    for source in chosen.fills:
        other = one(connection, channel_id, span, of, source)
        found, count, holes = fill(found, other, chosen.hole_us, span)
        taken.append((source, count, holes))
    return Filled(found, tuple(taken))


def any_between(connection: Any, channel_id: int, span: Span, of: Of) -> bool:
    """Return whether a firing or heat has a reading of the channel in a span of time."""
    chosen = choice_of(connection, of, channel_id) or Choice()
    return any(
        traces.any_between(connection, channel_id, *span, **_where(connection, of, source))
        for source in (chosen.decides, *chosen.fills)
    )


def block_rows(connection: Any, channel_id: int, span: Span, of: Of) -> list[tuple[int, int, int]]:
    """Return number, first and last instant of the blocks that a firing or heat stands on."""
    chosen = choice_of(connection, of, channel_id) or Choice()
    found: set[tuple[int, int, int]] = set()
    for source in (chosen.decides, *chosen.fills):
        found |= set(
            traces.block_rows(connection, channel_id, *span, **_where(connection, of, source))
        )
    return sorted(found)


def live_count(connection: Any, channel_id: int, span: Span, of: Of) -> int:
    """Return how many readings of a firing or heat are live rows, not in blocks yet."""
    chosen = choice_of(connection, of, channel_id) or Choice()
    if OWN not in (chosen.decides, *chosen.fills):
        return 0
    named = _named(connection, of)
    return sum(len(t) for t in traces.row_traces(connection, channel_id, *span, firing=named))


def _named(connection: Any, of: Of) -> int | None:
    return traces.sources(connection, of[1]) if of[0] == "firing" else None


def origins(connection: Any, channel_id: int, span: Span, of: Of) -> list[int]:
    """Return the imports and runs whose readings are the channel's own record in a firing or heat.

    0 stands for readings whose import is not known.
    """
    named = _named(connection, of)
    parts = traces.by_import(connection, channel_id, *span, firing=named)
    return sorted({number for number, _ in parts})


def _where(connection: Any, of: Of, source: int) -> dict[str, Any]:
    return {"firing": _named(connection, of)} if source == OWN else {"source": source}


# ---------------------------------------------------------------- holes
def usual_hole_us(trace: Trace) -> int:
    """Return from when on a stretch without readings is a hole of this source [µs]."""
    step = np.diff(_heard(trace))
    usual = int(np.median(step)) if len(step) else 0
    return max(SHORTEST_HOLE_US, _INTERVALS * usual)


def fill(
    trace: Trace, other: Trace, hole_us: int, span: Span
) -> tuple[Trace, int, tuple[Span, ...]]:
    """Put another source's readings into the holes of a trace; say how many, and into which.

    A hole is a stretch longer than ``hole_us`` [µs] in which the trace has no reading, or only
    rows without a value; the time before its first reading and after its last counts too, within
    ``span``. An open circuit is a reading: it is never replaced.
    """
    heard = _heard(trace)
    edges = [span[0], *heard.tolist(), span[1]]  # Python's integers: a span may be all of time
    long = [(a, b) for a, b in pairwise(edges) if b - a > hole_us]
    keep, take = np.ones(len(trace), bool), np.zeros(len(other), bool)
    holes = []
    for after_us, before_us in long:
        inside = _inside(other.t_us, after_us, before_us, heard)
        if not inside.any():
            continue
        take |= inside
        keep &= ~_inside(trace.t_us, after_us, before_us, heard)
        holes.append((after_us, before_us))
    if not holes:
        return trace, 0, ()
    parts = [traces.where(trace, keep), traces.where(other, take)]
    return traces.merge([p for p in parts if len(p)]), int(take.sum()), tuple(holes)


def _heard(trace: Trace) -> IntArray:
    heard: IntArray = trace.t_us[trace.quality != Quality.MISSING]
    return heard


def _inside(t_us: IntArray, after_us: int, before_us: int, heard: IntArray) -> Any:
    """Return which instants lie in a hole: its ends belong to it where nothing was heard there."""
    at_ends = np.isin((after_us, before_us), heard)
    low = t_us > after_us if at_ends[0] else t_us >= after_us
    return low & (t_us < before_us if at_ends[1] else t_us <= before_us)


def fill_numbers(chosen: Sequence[int]) -> str:
    """Return numbers of sources as the record keeps them."""
    return json.dumps(list(chosen))
