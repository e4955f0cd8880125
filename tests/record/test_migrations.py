"""A new store's schema against what sqlite-utils makes of the same steps."""

from __future__ import annotations

import contextlib
from typing import Any

import sqlite_utils
from sqlite_utils.utils import sqlite3 as chosen

from firelog.record import driver, migrations


def schema_of(connection: Any) -> tuple[list[Any], list[Any]]:
    """Return everything in the schema, and the noted steps without their instants."""
    return (
        connection.execute("select type, name, tbl_name, sql from sqlite_master").fetchall(),
        connection.execute("select id, migration_set, name from _sqlite_migrations").fetchall(),
    )


def test_new_store_is_as_the_library_makes_it() -> None:
    """An empty store, made without sqlite-utils, has the very schema that it would have made."""
    with (
        contextlib.closing(driver.sqlite3.connect(":memory:", isolation_level=None)) as ours,
        contextlib.closing(driver.sqlite3.connect(":memory:", isolation_level=None)) as theirs,
    ):
        migrations.apply(ours)
        theirs.execute("create table started (x)")  # no longer empty: the library does it
        migrations.apply(theirs)
        theirs.execute("drop table started")
        assert schema_of(ours) == schema_of(theirs)


def test_one_sqlite_library() -> None:
    """What sqlite-utils talks to a store with is the one library of this process."""
    assert chosen is driver.sqlite3
    assert sqlite_utils is driver.sqlite_utils()
