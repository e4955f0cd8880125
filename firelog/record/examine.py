"""Examines a store, quickly or through and through: each fault found gets a sentence."""

from __future__ import annotations

import hashlib
import math
from collections.abc import Callable, Iterator
from datetime import datetime
from itertools import pairwise
from pathlib import Path
from typing import Any

import numpy as np

from firelog.errors import FirelogError
from firelog.record import blocks, castings, driver, migrations, traces, verify
from firelog.record.seal import Seal, head_of
from firelog.record.store import Store

_POSSIBLE_US = (0, 4_102_444_800_000_000)  # 1970 to 2100: before and after, an instant is damage
_PACKETS = ("blocks", "block_times")  # nearly all of a big store: only `examine` reads them whole
_WHOLE_BYTES = 200_000_000  # up to here SQLite's own quick check of all takes a quarter second
_NEWEST = 3  # blocks of each channel, and seals, that a quick look reads
# What reading damaged content can raise: a value of another type, a text that is no text.
DAMAGE = (
    driver.sqlite3.Error,
    FirelogError,
    OSError,
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
    yield from _looked(
        ("the file", lambda: _file(connection)),
        ("the readings", lambda: _blocks(connection)),
        ("the live readings", lambda: _rows(connection)),
        ("the entries", lambda: _entries(connection)),
        ("the numbering", lambda: _numbering(connection)),
        ("the seals", lambda: _seals(store)),
    )


def glance(store: Store) -> Iterator[str]:
    """Yield what a quick look finds: the schema, the small tables, the newest blocks and heads.

    Blocks that are not among the newest of their channel are not read; :func:`examine` reads all.
    """
    connection = store.connection
    yield from _looked(
        ("the file", lambda: _small_tables(connection)),
        ("the newest readings", lambda: _newest_blocks(connection)),
        ("the live readings", lambda: _rows(connection)),
        ("the numbering", lambda: _numbering(connection)),
        ("the seals", lambda: _newest_heads(connection)),
        ("the photographs", lambda: photographs(store, thorough=False)),
    )


def photographs(store: Store, *, thorough: bool) -> Iterator[str]:
    """Yield which photographs beside the store are gone or not as entered.

    ``thorough`` reads each and computes its hash; else only its size is looked at.
    """
    rows = store.connection.execute(
        "select p.sha256, p.kind, p.bytes, c.name from photographs p"
        " join castings c on c.id=p.casting order by p.id"
    ).fetchall()
    for sha256, kind, size, casting in rows:
        path = castings.photo_folder(store) / f"{sha256}.{kind}"
        name = f"a photograph of casting {casting!r} ({path.name})"
        try:
            found = path.stat().st_size
            if found != size:
                yield f"{name} has {found} bytes, {size} were entered"
            elif thorough and _hash(path) != sha256:
                yield f"{name} is no longer what was entered"
        except OSError as error:
            yield f"{name} cannot be read ({error.strerror}); take it from a backup"


def _hash(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _looked(*looks: tuple[str, Callable[[], Iterator[str]]]) -> Iterator[str]:
    """Yield what each look finds; one that stumbles over damage says so, and the next goes on."""
    for what, look in looks:
        try:
            yield from look()
        except DAMAGE as error:
            yield f"{what} cannot be read through: {error or type(error).__name__}"


def _seals(store: Store) -> Iterator[str]:
    yield from (
        f"{finding.firing or 'store'}: {finding.item}: {finding.what}"
        for finding in verify.verify(store).findings
    )


def _small_tables(connection: Any) -> Iterator[str]:
    """Yield what SQLite's quick check finds; in a big file, in all tables but the packets'."""
    (version,) = connection.execute("pragma user_version").fetchone()
    if version != migrations.SCHEMA:
        yield f"the schema is {version}, this firelog knows {migrations.SCHEMA}"
    (size,) = connection.execute(
        "select page_count * page_size from pragma_page_count, pragma_page_size"
    ).fetchone()
    pragmas = ["quick_check"]
    if size > _WHOLE_BYTES:
        pragmas = [
            f"quick_check('{table}')"
            for (table,) in connection.execute(
                "select name from sqlite_master where type='table' and name not like 'sqlite_%'"
            ).fetchall()
            if table not in _PACKETS
        ]
    for pragma in pragmas:
        for (line,) in connection.execute(f"pragma {pragma}").fetchall()[:5]:
            if line != "ok":
                yield f"SQLite finds the file damaged: {line}"


def _newest_blocks(connection: Any) -> Iterator[str]:
    for channel, name in connection.execute("select id, name from channels").fetchall():
        for (number,) in connection.execute(
            "select id from blocks where channel=? order by first_us desc limit ?",
            (channel, _NEWEST),
        ).fetchall():
            if wrong := _wrong_with(connection, number):
                yield f"channel {name!r}: block {number} {wrong}"


def _newest_heads(connection: Any) -> Iterator[str]:
    """Yield whether the newest seals still have the heads that their lists give, in one chain."""
    rows = connection.execute(
        "select id,firing,sealed_us,who,version,items,manifest,previous,head,public_key,"
        "signature,format from seals order by id desc limit ?",
        (_NEWEST,),
    ).fetchall()
    found = [Seal(*row) for row in rows]
    for seal in found:
        if head_of(seal) != seal.head:
            yield f"seal {seal.id} was altered: its head does not fit its list"
    for newer, older in pairwise(found):
        if newer.previous != older.head:
            yield f"seal {newer.id} does not follow the seal before it"


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
        " or (quality = 0 and abs(value) > 1e5 and abs(value) < 9e999) limit 5",
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
            except DAMAGE as error:
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
