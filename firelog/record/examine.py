"""Examines a whole store: everything is read once, and each fault gets a sentence."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import Any

import numpy as np

from firelog.errors import StoreError
from firelog.record import blocks, driver, traces, verify
from firelog.record.store import Store


def examine(store: Store) -> Iterator[str]:
    """Yield a sentence for each thing that is wrong with a store, after looking at all of it."""
    connection = store.connection
    try:
        for (line,) in connection.execute("pragma integrity_check(5)").fetchall():
            if line != "ok":
                yield f"SQLite finds the file damaged: {line}"
        for table, row, parent, _ in connection.execute("pragma foreign_key_check").fetchall()[:5]:
            yield f"row {row} of {table} names something in {parent} that is not there"
        yield from _blocks(connection)
    except (driver.sqlite3.Error, UnicodeDecodeError) as error:
        yield f"the file cannot be read through: {error}"
        return
    answer = verify.verify(store)
    yield from (
        f"{finding.firing or 'store'}: {finding.item}: {finding.what}"
        for finding in answer.findings
    )


def _blocks(connection: Any) -> Iterator[str]:
    """Yield what is wrong in blocks: damage, a summary that does not fit, a reading kept twice."""
    for channel, name in connection.execute("select id, name from channels").fetchall():
        reached_us = -(2**63)
        for number, first_us, last_us in connection.execute(
            "select id, first_us, last_us from blocks where channel=? order by first_us, id",
            (channel,),
        ).fetchall():
            try:
                if wrong := _wrong_with(connection, number):
                    yield f"channel {name!r}: block {number} {wrong}"
                live = connection.execute(
                    "select 1 from readings where channel=? and t_us between ? and ? limit 1",
                    (channel, first_us, last_us),
                ).fetchone()
                if live or first_us <= reached_us:
                    t_us = traces.known_times(connection, channel, first_us, last_us)
                    if twice := int(np.count_nonzero(t_us[1:] == t_us[:-1])):
                        yield f"channel {name!r}: {twice} readings of block {number} are twice"
            except StoreError as error:
                yield f"channel {name!r}: {error}"
            reached_us = max(reached_us, last_us)


def _wrong_with(connection: Any, number: int) -> str:
    *told, total, unit, times, packet = connection.execute(
        "select b.first_us, b.last_us, b.count, b.ok_count, b.minimum, b.maximum, b.total,"
        " b.unit, t.packet, b.packet from blocks b join block_times t on t.id=b.times"
        " where b.id=?",
        (number,),
    ).fetchone()
    trace = traces.decoded(number, told[0], times, packet)
    *found, found_total = blocks.summary(trace)
    if (trace.t_us[1:] <= trace.t_us[:-1]).any():
        return "is not in order of time"
    fits = tuple(told) == tuple(found) and traces.UNITS[unit] is trace.unit
    if total is None or found_total is None:
        fits &= total is found_total
    else:
        fits &= math.isclose(total, found_total, rel_tol=1e-9)  # others add in another order
    return "" if fits else "has a summary of other readings"
