"""The readings of a channel in the store: live rows and blocks, read and written as one.

A channel and an instant name one reading, wherever it is kept. Every function that writes belongs
inside one immediate transaction, so that no other process can add the same reading in between.
"""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from itertools import pairwise
from typing import Any

import numpy as np

from firelog.errors import StoreError
from firelog.readings import IntArray, Trace, Unit
from firelog.record import blocks
from firelog.record.migrations import UNIT_CODES
from firelog.units import iso_utc, to_celsius

SMALLEST_BLOCK = 64  # fewer readings are no smaller as a block than as rows
UNITS = {code: unit for unit, code in UNIT_CODES.items()}
_EVER = (-(2**63), 2**63 - 1)
_INSERT = (
    "insert or ignore into readings(channel,t_us,value,unit,quality,import) values (?,?,?,?,?,?)"
)
# Of a firing that names its imports: their readings, and what the collector heard.
_OF_FIRING = (
    "(:firing is null or coalesce({table}.import, 0) in (select import from firing_sources"
    " where firing=:firing and channel=:channel)"
    " or {table}.import in (select id from imports where kind='collector'))"
)
# One second source alone, or all but them. By number, so that an index answers.
NOT_BESIDE = "b.id not in (select x.id from second_sources s join blocks x on x.import=s.import)"
COUNTED = (
    "(case when :source is not null then b.id in (select id from blocks where import=:source)"
    f" else {NOT_BESIDE} and {_OF_FIRING.format(table='b')} end)"
)
# A second source is in blocks only.
_COUNTED_ROWS = f":source is null and {_OF_FIRING.format(table='readings')}"
# No block spans more than MAX_SPAN_US, therefore one that starts earlier cannot reach the window.
OVERLAP = "b.channel=:channel and b.first_us between :earliest and :end and b.last_us >= :start"


def span(start_us: int | None, end_us: int | None) -> tuple[int, int]:
    """Return a window with both ends, all of time where one is not given."""
    start = _EVER[0] if start_us is None else int(start_us)
    return start, _EVER[1] if end_us is None else int(end_us)


def window(
    channel_id: int,
    start_us: int,
    end_us: int,
    *,
    firing: int | None = None,
    source: int | None = None,
) -> dict[str, int | None]:
    """Return the named values that a query over blocks or rows needs."""
    return {
        "channel": channel_id,
        "start": start_us,
        "end": end_us,
        "earliest": max(start_us - blocks.MAX_SPAN_US, _EVER[0]),
        "firing": firing,
        "source": source,
    }


def sources(connection: Any, firing: int) -> int | None:
    """Return the firing's number when it names the imports that it stands on, else None."""
    row = connection.execute(
        "select exists (select 1 from firing_sources where firing=?)", (firing,)
    ).fetchone()
    return firing if row[0] else None


# ---------------------------------------------------------------- reading
def read(
    connection: Any,
    channel_id: int,
    start_us: int,
    end_us: int,
    *,
    firing: int | None = None,
    source: int | None = None,
) -> Trace:
    """Return the readings from ``start_us`` to ``end_us``, both included, in order of time.

    ``firing`` (see :func:`sources`) leaves only those of the imports that the firing names. What
    was brought in beside the channel's own record is read with its number as ``source``, alone.
    """
    found = by_import(connection, channel_id, start_us, end_us, firing=firing, source=source)
    return merge([part for _, part in found])


def read_by_unit(
    connection: Any, channel_id: int, start_us: int, end_us: int, source: int | None = None
) -> list[Trace]:
    """Return the same readings as :func:`read`, unconverted: one trace for each unit."""
    parts = [p for _, p in by_import(connection, channel_id, start_us, end_us, source=source)]
    units = dict.fromkeys(part.unit for part in parts)
    return [merge([part for part in parts if part.unit is unit]) for unit in units]


def by_import(
    connection: Any,
    channel_id: int,
    start_us: int,
    end_us: int,
    *,
    firing: int | None = None,
    source: int | None = None,
) -> list[tuple[int, Trace]]:
    """Return the same readings in parts, each with the import it came with (0: none is known)."""
    named = window(channel_id, start_us, end_us, firing=firing, source=source)
    parts = [
        (number, between(trace, start_us, end_us))
        for number, trace in _block_traces(connection, named)
    ]
    parts += _rows(connection, named)
    return [part for part in parts if len(part[1])]


def row_traces(
    connection: Any, channel_id: int, start_us: int, end_us: int, firing: int | None = None
) -> list[Trace]:
    """Return live rows, a trace for each unit and import."""
    return [t for _, t in _rows(connection, window(channel_id, start_us, end_us, firing=firing))]


def _rows(connection: Any, named: dict[str, int | None], most: int = -1) -> list[tuple[int, Trace]]:
    rows = connection.execute(
        "select t_us,value,quality,unit,coalesce(import,0) from readings"
        f" where channel=:channel and t_us between :start and :end"
        f" and {_COUNTED_ROWS} order by t_us limit :most",
        {**named, "most": most},
    ).fetchall()
    if not rows:
        return []
    t_us, value, quality, code, number = (list(column) for column in zip(*rows, strict=True))
    whole = Trace(
        np.array(t_us, np.int64), np.array(value, np.float64), np.array(quality, np.uint8)
    )
    if len(set(code)) == 1 and len(set(number)) == 1:  # as nearly always: nothing to sort
        return [(int(number[0]), Trace(whole.t_us, whole.value, whole.quality, UNITS[code[0]]))]
    codes, numbers = np.array(code, np.int64), np.array(number, np.int64)
    return [
        (int(n), _where(whole, (codes == c) & (numbers == n), UNITS[int(c)]))
        for n, c in np.unique(np.stack([numbers, codes], 1), axis=0)
    ]


def known_times(
    connection: Any,
    channel_id: int,
    start_us: int,
    end_us: int,
    *,
    firing: int | None = None,
    source: int | None = None,
) -> IntArray:
    """Return the instants, sorted, at which the store has a reading of the channel already."""
    named = window(channel_id, start_us, end_us, firing=firing, source=source)
    packets = connection.execute(
        "select t.packet from blocks b join block_times t on t.id=b.times"
        f" where {OVERLAP} and {COUNTED}",
        named,
    ).fetchall()
    rows = connection.execute(
        "select t_us from readings where channel=:channel and t_us between :start and :end"
        f" and {_COUNTED_ROWS}",
        named,
    ).fetchall()
    parts = [blocks.decode_times(packet) for (packet,) in packets]
    known = np.sort(np.concatenate([*parts, np.array([r[0] for r in rows], np.int64)]))
    return known[np.searchsorted(known, start_us) : np.searchsorted(known, end_us, "right")]


def bounds(
    connection: Any, channel_id: int, source: int | None = None
) -> tuple[int, int, int] | None:
    """Return first and last instant and the number of readings of a channel's own record, or None.

    With ``source`` those of one import that was brought in beside it.
    """
    named = window(channel_id, 0, 0, source=source)
    found = [
        connection.execute(sql, named).fetchone()
        for sql in (
            f"select min({first}), max({last}), {count} from {table}"
            f" where channel=:channel and {which}"
            for first, last, count, table, which in (
                ("t_us", "t_us", "count(*)", "readings", ":source is null"),
                ("first_us", "last_us", "sum(count)", "blocks b", COUNTED),
            )
        )
    ]
    some = [row for row in found if row[2]]
    if not some:
        return None
    return min(r[0] for r in some), max(r[1] for r in some), sum(r[2] for r in some)


def newest_us(connection: Any, channel_id: int) -> int | None:
    """Return the instant of the newest reading of a channel's own record, or None."""
    row = connection.execute(
        "select max(t_us) from (select max(t_us) as t_us from readings where channel=:channel"
        f" union all select max(last_us) from blocks b where channel=:channel and {NOT_BESIDE})",
        window(channel_id, 0, 0),
    ).fetchone()
    return None if row[0] is None else int(row[0])


def any_between(
    connection: Any,
    channel_id: int,
    start_us: int,
    end_us: int,
    *,
    firing: int | None = None,
    source: int | None = None,
) -> bool:
    """Return whether the channel has a reading in the window."""
    row = connection.execute(
        "select exists (select 1 from readings where channel=:channel"
        f" and t_us between :start and :end and {_COUNTED_ROWS})"
        f" or exists (select 1 from blocks b where {OVERLAP} and {COUNTED}"
        " and (b.first_us >= :start or b.last_us <= :end))",
        window(channel_id, start_us, end_us, firing=firing, source=source),
    ).fetchone()
    if row[0]:
        return True
    times = known_times(connection, channel_id, start_us, end_us, firing=firing, source=source)
    return len(times) > 0


def block_rows(
    connection: Any,
    channel_id: int,
    start_us: int,
    end_us: int,
    *,
    firing: int | None = None,
    source: int | None = None,
) -> list[tuple[int, int, int]]:
    """Return number, first and last instant of the blocks that reach into a window."""
    rows: list[tuple[int, int, int]] = connection.execute(
        f"select b.id, b.first_us, b.last_us from blocks b where {OVERLAP} and {COUNTED}"
        " order by b.id",
        window(channel_id, start_us, end_us, firing=firing, source=source),
    ).fetchall()
    return rows


# ---------------------------------------------------------------- writing
def add_row(connection: Any, channel_id: int, t_us: int, row: Sequence[Any]) -> int:
    """Add one live reading (value, unit code, quality, import) unless its instant is kept."""
    late = connection.execute(
        f"select 1 from blocks b where {OVERLAP} limit 1", window(channel_id, t_us, t_us)
    ).fetchone()
    if late and len(known_times(connection, channel_id, t_us, t_us)):
        return 0
    return int(connection.execute(_INSERT, (channel_id, t_us, *row)).rowcount)


def add(
    connection: Any,
    channel_id: int,
    trace: Trace,
    origin: int | None = None,
    coded: Sequence[blocks.Block] = (),
    *,
    beside: bool = False,
) -> int:
    """Add the readings whose instants are new, as blocks when there are enough of them.

    Of two with the same instant the first stays. Returns how many were new. ``coded`` is the same
    trace, in order, coded beforehand: taken where the store has none of its instants. ``beside``
    keeps them all, in blocks: ``origin`` is a second source of the channel.
    """
    new = _in_order(trace)
    if not len(new):
        return 0
    source = origin if beside else None
    ends = int(new.t_us[0]), int(new.t_us[-1])
    known = known_times(connection, channel_id, *ends, source=source)
    if len(known):
        new = where(new, ~np.isin(new.t_us, known))
    elif coded:
        for block in coded:
            add_block(connection, channel_id, block, origin)
        return len(new)
    if len(new) < SMALLEST_BLOCK and not beside:
        _add_rows(connection, channel_id, new, origin)
    elif len(new):
        for piece in blocks.cut(new):
            add_block(connection, channel_id, blocks.encode(piece), origin)
    return len(new)


def add_block(
    connection: Any, channel_id: int, block: blocks.Block, origin: int | None = None
) -> int:
    """Insert a block; a times packet that another channel has brought already is shared."""
    digest = hashlib.sha256(block.times).digest()
    row = connection.execute("select id from block_times where sha256=?", (digest,)).fetchone()
    times = (
        row[0]
        if row
        else connection.execute(
            "insert into block_times(sha256, packet) values (?,?)", (digest, block.times)
        ).lastrowid
    )
    cursor = connection.execute(
        "insert into blocks(channel,first_us,last_us,count,ok_count,minimum,maximum,total,unit,"
        "times,packet,import) values (?,?,?,?,?,?,?,?,?,?,?,?)",
        (
            channel_id,
            block.first_us,
            block.last_us,
            block.count,
            block.ok_count,
            block.minimum,
            block.maximum,
            block.total,
            UNIT_CODES[block.unit],
            times,
            block.readings,
            origin,
        ),
    )
    return int(cursor.lastrowid)


def move(connection: Any, channel_id: int, until_us: int) -> int:
    """Move the oldest rows up to ``until_us``, at most one block's count, into blocks.

    Call it inside one transaction, again and again until it returns 0: in between, a crash or
    another writer finds each reading exactly once, as a row or in a block.
    """
    parts = _rows(connection, window(channel_id, _EVER[0], until_us), blocks.MAX_COUNT)
    if not parts:
        return 0
    for origin, part in parts:
        for piece in blocks.cut(part):
            add_block(connection, channel_id, blocks.encode(piece), origin or None)
    last_us = max(int(part.t_us[-1]) for _, part in parts)
    moved = sum(len(part) for _, part in parts)
    gone = connection.execute(
        "delete from readings where channel=? and t_us <= ?", (channel_id, last_us)
    ).rowcount
    if gone != moved:
        raise StoreError(f"{gone} rows left the store for {moved} in blocks; nothing was moved")
    return moved


def _add_rows(connection: Any, channel_id: int, trace: Trace, origin: int | None) -> None:
    code = UNIT_CODES[trace.unit]
    columns = (trace.t_us.tolist(), trace.value.tolist(), trace.quality.tolist())
    connection.executemany(
        _INSERT,
        [(channel_id, t, v, code, q, origin) for t, v, q in zip(*columns, strict=True)],
    )


# ---------------------------------------------------------------- traces
def _block_traces(connection: Any, named: dict[str, int | None]) -> list[tuple[int, Trace]]:
    found = connection.execute(
        "select coalesce(b.import, 0), b.id, b.first_us, t.packet, b.packet from blocks b"
        f" join block_times t on t.id=b.times where {OVERLAP} and {COUNTED}"
        " order by b.first_us, b.id",
        named,
    ).fetchall()
    return [(origin, decoded(*block)) for origin, *block in found]


def decoded(number: int, first_us: int, times: bytes, packet: bytes) -> Trace:
    """Decode a block of the store; raises :class:`StoreError` naming the block and what to do."""
    try:
        return blocks.decode(times, packet)
    except StoreError as error:
        raise StoreError(
            f"block {number}, which begins at {iso_utc(first_us)}: {error}. "
            "Restore the last backup; `firelog verify` says what else is touched"
        ) from error


def where(trace: Trace, mask: Any) -> Trace:
    """Return the readings of a trace that a mask or slice chooses."""
    return _where(trace, mask, trace.unit)


def _where(trace: Trace, mask: Any, unit: Unit) -> Trace:
    return Trace(trace.t_us[mask], trace.value[mask], trace.quality[mask], unit)


def between(trace: Trace, start_us: int, end_us: int) -> Trace:
    """Return the readings of a trace from ``start_us`` to ``end_us``, both included."""
    t_us = trace.t_us
    if not len(t_us) or (start_us <= t_us[0] and t_us[-1] <= end_us):
        return trace
    inside = slice(np.searchsorted(t_us, start_us), np.searchsorted(t_us, end_us, "right"))
    return _where(trace, inside, trace.unit)


def _in_order(trace: Trace) -> Trace:
    t_us = np.asarray(trace.t_us, np.int64)
    value, quality = np.asarray(trace.value, np.float64), np.asarray(trace.quality, np.uint8)
    step = np.diff(t_us)
    if len(step) and step.min() <= 0:
        order = np.argsort(t_us, kind="stable")
        order = order[np.diff(t_us[order], prepend=t_us[order[0]] - 1) != 0]
        t_us, value, quality = t_us[order], value[order], quality[order]
    return Trace(t_us, value, quality, trace.unit)


def merge(parts: list[Trace]) -> Trace:
    """Return several traces as one, in order of time; temperatures in several units in °C."""
    if not parts:
        return Trace(np.empty(0, np.int64), np.empty(0), np.empty(0, np.uint8))
    if len({part.unit for part in parts}) > 1:
        # A logger whose unit was changed half-way: temperatures can still share one scale.
        parts = [_as_celsius(part) for part in parts]
    if len(parts) == 1:
        return parts[0]
    whole = Trace(
        np.concatenate([part.t_us for part in parts]),
        np.concatenate([part.value for part in parts]),
        np.concatenate([part.quality for part in parts]),
        parts[0].unit,
    )
    if all(before.t_us[-1] <= after.t_us[0] for before, after in pairwise(parts)):
        return whole  # each part is in order by itself
    return _where(whole, np.argsort(whole.t_us, kind="stable"), whole.unit)


def _as_celsius(part: Trace) -> Trace:
    if part.unit is Unit.MV:  # no temperature without its thermocouple's type
        return Trace(part.t_us, part.value, part.quality, Unit.C)
    value = to_celsius(part.value, part.unit.value)  # type: ignore[arg-type]
    return Trace(part.t_us, value, part.quality, Unit.C)
