"""Examines a whole store: everything is read once, and each fault gets a sentence."""

from __future__ import annotations

import math
from collections.abc import Iterator
from datetime import datetime
from typing import Any

import numpy as np

from firelog.errors import StoreError
from firelog.record import blocks, driver, traces, verify
from firelog.record.store import Store

_POSSIBLE_US = (0, 4_102_444_800_000_000)  # 1970 to 2100: before and after, an instant is damage
# What reading damaged content can raise: a value of another type, a text that is no text.
_DAMAGE = (
    driver.sqlite3.Error,
    StoreError,
    UnicodeDecodeError,
    ValueError,
    TypeError,
    KeyError,
    OverflowError,
    AttributeError,
    IndexError,
    MemoryError,
)


def examine(store: Store) -> Iterator[str]:
    """Yield a sentence for each thing that is wrong with a store, after looking at all of it.

    Whatever the damage, it ends with sentences and looks at the rest.
    """
    connection = store.connection
    for what, look in (
        ("the file", _file),
        ("the readings", _blocks),
        ("the live readings", _rows),
        ("the entries", _entries),
        ("the numbering", _numbering),
    ):
        try:
            yield from look(connection)
        except _DAMAGE as error:
            yield f"{what} cannot be read through: {error or type(error).__name__}"
    try:
        answer = verify.verify(store)
    except _DAMAGE as error:
        yield f"the seals cannot be read through: {error or type(error).__name__}"
        return
    yield from (
        f"{finding.firing or 'store'}: {finding.item}: {finding.what}"
        for finding in answer.findings
    )


def _file(connection: Any) -> Iterator[str]:
    """Yield what SQLite itself finds: every page, every index, every reference."""
    for (line,) in connection.execute("pragma integrity_check(5)").fetchall():
        if line != "ok":
            yield f"SQLite finds the file damaged: {line}"
    for table, row, parent, _ in connection.execute("pragma foreign_key_check").fetchall()[:5]:
        yield f"row {row} of {table} names something in {parent} that is not there"


def _rows(connection: Any) -> Iterator[str]:
    """Yield live readings that no source can have given: no seal covers them yet."""
    for channel, t_us in connection.execute(
        "select channel, t_us from readings where t_us not between ? and ?"
        " or unit not in (select code from units) or quality not in (select code from qualities)"
        " or (quality = 0 and (value is null or abs(value) > 1e5)) limit 5",
        _POSSIBLE_US,
    ).fetchall():
        yield f"a live reading of channel {channel} ({t_us} µs) is none that can be"


def _entries(connection: Any) -> Iterator[str]:
    """Yield entries with an instant, a text or a JSON that cannot be, in every table."""
    for (table,) in connection.execute(
        "select name from sqlite_master where type='table' and name not like 'sqlite_%'"
    ).fetchall():
        for _, column, *_ in connection.execute(f"pragma table_info({table})").fetchall():
            if column.endswith("_us") and column not in ("shift_us", "since_us"):
                (count,) = connection.execute(
                    f"select count(*) from {table} where {column} not between ? and ?",
                    _POSSIBLE_US,
                ).fetchone()
                if count:
                    yield f"{count} rows of {table} have an instant ({column}) that cannot be"
            if column in ("name", "text", "note", "who", "why"):
                for (value,) in connection.execute(f"select {column} from {table}").fetchall():
                    if isinstance(value, str) and any(
                        ord(c) < 32 and c not in "\n\r\t" for c in value
                    ):
                        yield f"a {column} of {table} holds signs that nobody types: {value[:40]!r}"
                        break


def _numbering(connection: Any) -> Iterator[str]:
    """Yield what is wrong with the numbers that SQLite gives, and with the steps of the schema."""
    for name, last in connection.execute("select name, seq from sqlite_sequence").fetchall():
        known = connection.execute(
            "select 1 from sqlite_master where type='table' and name=?"
            " and sql like '%autoincrement%'",
            (name,),
        ).fetchone()
        if known is None:
            yield f"the numbering names a table {name!r} that is none"
            continue
        (most,) = connection.execute(f"select max(id) from {name}").fetchone()
        if not isinstance(last, int) or last < (most or 0) or last > (most or 0) + 10**9:
            yield f"the numbering of {name} stands at {last!r}, its rows reach {most}"
    for name, at in connection.execute(
        "select name, applied_at from _sqlite_migrations"
    ).fetchall():
        try:
            datetime.fromisoformat(at)
        except (ValueError, TypeError):
            yield f"the step {name!r} of the schema has an instant that is none: {at!r}"


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
                reached_us = max(reached_us, last_us)
            except _DAMAGE as error:
                yield f"channel {name!r}: block {number}: {error}"


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
