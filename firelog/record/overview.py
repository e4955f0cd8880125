"""Envelopes: the lowest and highest usable value under each pixel, at any zoom.

A block that is narrower than a pixel is never unpacked: its minimum and maximum stand in an index
of their own. So a year costs about what a day costs.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from firelog.errors import InputError
from firelog.readings import FloatArray, IntArray, Quality, Unit
from firelog.record import traces
from firelog.units import to_celsius

# Blocks of one channel to unpack at most, 12 days at one reading a second: about 10 ms. A window
# that would need more is drawn from the blocks' own minima and maxima, each over all its pixels.
MOST_DECODED = 64
_OVERLAP = f"{traces.OVERLAP} and {traces.NOT_BESIDE}"


@dataclass(frozen=True)
class Envelope:
    """Lowest and highest usable value of one channel in equal steps of time.

    ``t_us`` is the beginning of each step of ``step_us``; ``low`` and ``high`` are in ``unit``,
    NaN where there is no usable value. ``exact`` is False where whole blocks stand for their
    readings, so that an extreme may show up to one block early or late.
    """

    t_us: IntArray
    low: FloatArray
    high: FloatArray
    step_us: int
    unit: Unit
    exact: bool


class _Steps:
    """Collects minima and maxima per step and unit."""

    def __init__(self, start_us: int, step_us: int, points: int) -> None:
        self.start_us, self.step_us, self.points = start_us, step_us, points
        self.found: dict[Unit, tuple[FloatArray, FloatArray]] = {}
        self.exact = True

    def arrays(self, unit: Unit) -> tuple[FloatArray, FloatArray]:
        empty = (np.full(self.points, np.inf), np.full(self.points, -np.inf))
        return self.found.setdefault(unit, empty)

    def step_of(self, t_us: Any) -> Any:
        return np.clip((t_us - self.start_us) // self.step_us, 0, self.points - 1)

    def put(self, unit: Unit, step: IntArray, low: FloatArray, high: FloatArray) -> None:
        lows, highs = self.arrays(unit)
        np.minimum.at(lows, step, low)
        np.maximum.at(highs, step, high)

    def result(self) -> Envelope:
        low, high = np.full(self.points, np.inf), np.full(self.points, -np.inf)
        unit = next(iter(self.found)) if len(self.found) == 1 else Unit.C
        for name, (lows, highs) in self.found.items():
            low = np.minimum(low, _in_unit(lows, name, unit))
            high = np.maximum(high, _in_unit(highs, name, unit))
        none = low > high
        low[none] = high[none] = np.nan
        t_us = self.start_us + np.arange(self.points, dtype=np.int64) * self.step_us
        return Envelope(t_us, low, high, self.step_us, unit, self.exact)


def _in_unit(value: FloatArray, received: Unit, shown: Unit) -> FloatArray:
    if received in (shown, Unit.MV):  # millivolts are no temperature without the channel's type
        return value
    return to_celsius(value, received.value)  # type: ignore[arg-type]


def overview(
    connection: Any, channel_ids: list[int], start_us: int, end_us: int, points: int
) -> dict[int, Envelope]:
    """Return an envelope of ``points`` steps for each channel, from ``start_us`` to ``end_us``.

    Raises :class:`InputError` for an empty window or less than one point.
    """
    if points < 1 or end_us <= start_us:
        raise InputError("an overview needs an end after its start and at least one point")
    step_us = -(-(end_us - start_us + 1) // points)
    found = {}
    for channel in channel_ids:
        steps = _Steps(start_us, step_us, points)
        units, narrow, wide = _census(connection, channel, end_us, steps)
        if 0 < wide <= MOST_DECODED:
            _from_wide_blocks(connection, channel, end_us, steps)
        elif wide:
            _from_wide_summaries(connection, channel, end_us, steps)
        for unit in units if narrow else ():
            _from_narrow_summaries(connection, channel, end_us, unit, steps)
        _from_rows(connection, channel, end_us, steps)
        found[channel] = steps.result()
    return found


def _census(connection: Any, channel: int, end_us: int, steps: _Steps) -> tuple[range, int, int]:
    """Return the range of unit codes, and how many blocks are narrower than a step or not."""
    first, last, count, wide, over = connection.execute(
        "select min(unit), max(unit), count(*), total(last_us - first_us >= :step),"
        " max((last_us - :start) / :step > (first_us - :start) / :step)"
        f" from blocks b where {_OVERLAP} and ok_count > 0",
        {**traces.window(channel, steps.start_us, end_us), "step": steps.step_us},
    ).fetchone()
    if not count:
        return range(0), 0, 0
    steps.exact = count == wide or not over
    return range(first, last + 1), count - int(wide), int(wide)


def _from_wide_blocks(connection: Any, channel: int, end_us: int, steps: _Steps) -> None:
    rows = connection.execute(
        "select b.id, b.first_us, t.packet, b.packet from blocks b"
        f" join block_times t on t.id=b.times where {_OVERLAP}"
        " and b.ok_count > 0 and b.last_us - b.first_us >= :step",
        {**traces.window(channel, steps.start_us, end_us), "step": steps.step_us},
    ).fetchall()
    for row in rows:
        trace = traces.decoded(*row)
        good = (trace.t_us >= steps.start_us) & (trace.t_us <= end_us)
        good &= (trace.quality == Quality.OK) & np.isfinite(trace.value)
        if not good.any():
            continue
        value = trace.value[good]
        step = steps.step_of(trace.t_us[good])
        first = np.flatnonzero(np.diff(step, prepend=-1))  # a block is in order of time
        low, high = np.minimum.reduceat(value, first), np.maximum.reduceat(value, first)
        steps.put(trace.unit, step[first], low, high)


def _from_wide_summaries(connection: Any, channel: int, end_us: int, steps: _Steps) -> None:
    rows = connection.execute(
        "select first_us, last_us, unit, minimum, maximum from blocks b"
        f" where {_OVERLAP} and b.ok_count > 0 and b.last_us - b.first_us >= :step",
        {**traces.window(channel, steps.start_us, end_us), "step": steps.step_us},
    ).fetchall()
    if not rows:
        return
    steps.exact = False
    table = np.array([row[:3] for row in rows], np.int64)
    low, high = np.array([row[3] for row in rows]), np.array([row[4] for row in rows])
    first, last = steps.step_of(table[:, 0]), steps.step_of(table[:, 1])
    many = last - first + 1
    # Each block fills all steps it touches: first, first + 1 … last.
    step = np.repeat(first - np.concatenate([[0], np.cumsum(many)[:-1]]), many)
    step += np.arange(len(step))
    for code in np.unique(table[:, 2]):
        of_unit = np.repeat(table[:, 2] == code, many)
        steps.put(
            traces.UNITS[int(code)],
            step[of_unit],
            np.repeat(low, many)[of_unit],
            np.repeat(high, many)[of_unit],
        )


def _from_narrow_summaries(
    connection: Any, channel: int, end_us: int, unit: int, steps: _Steps
) -> None:
    """Let SQLite group by step, from the index alone: what comes back is bounded by the points."""
    inner = (
        "select max(first_us, :start) as t_us, minimum, maximum"
        f" from blocks b indexed by blocks_by_channel where {_OVERLAP} and ok_count > 0"
        " and unit = :unit and last_us - first_us < :step order by first_us"
    )
    rows = connection.execute(
        "select (t_us - :start) / :step as step, min(minimum), max(maximum)"
        f" from ({inner}) group by step",
        {
            **traces.window(channel, steps.start_us, end_us),
            "step": steps.step_us,
            "unit": unit,
        },
    ).fetchall()
    if rows:
        step, low, high = (np.array(column) for column in zip(*rows, strict=True))
        steps.put(traces.UNITS[unit], step, low, high)


def _from_rows(connection: Any, channel: int, end_us: int, steps: _Steps) -> None:
    rows = connection.execute(
        "select (t_us - :start) / :step as step, unit, min(value), max(value) from readings"
        " where channel=:channel and t_us between :start and :end and quality=0"
        " and abs(value) <= 1.7976931348623157e308 group by unit, step",
        {"channel": channel, "start": steps.start_us, "end": end_us, "step": steps.step_us},
    ).fetchall()
    for step, code, low, high in rows:
        lows, highs = steps.arrays(traces.UNITS[code])
        lows[step], highs[step] = min(lows[step], low), max(highs[step], high)
