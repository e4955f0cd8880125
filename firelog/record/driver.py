"""The one SQLite library of this process, and how a connection to a store is opened.

Two SQLite libraries in one process drop each other's file locks and lose committed rows, so
everything in firelog takes ``sqlite3`` from here. For the same reason nothing in a process that
has a store open may ``open()`` or copy the store's file: closing that handle releases the locks.
"""

from __future__ import annotations

import importlib
import os
import sys
from collections.abc import Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import Any
from urllib.parse import quote

from firelog.errors import StoreError


def _one_driver() -> Any:
    """Return the SQLite library that sqlite-utils takes as well (its ``utils`` chooses so)."""
    try:
        return importlib.import_module("pysqlite3")
    except ImportError:
        return importlib.import_module("sqlite3")


def sqlite_utils() -> Any:
    """Import sqlite-utils: only when a schema is made, and without pandas.

    It loads pandas (for seconds) only to map types, and much else that a store at rest never needs.
    """
    absent = "pandas" not in sys.modules
    if absent:
        sys.modules["pandas"] = None  # type: ignore[assignment]
    try:
        return importlib.import_module("sqlite_utils")
    finally:
        if absent:
            del sys.modules["pandas"]


sqlite3 = _one_driver()

BUSY_TIMEOUT_S = 10.0
# One durable transaction per scan: FULL makes a commit survive a power cut. Nobody checkpoints by
# the way: the collector does it between scans, every other writer when it closes last.
_WRITER_PRAGMAS = (
    "journal_mode=wal",
    "synchronous=full",
    "wal_autocheckpoint=0",
    "journal_size_limit=67108864",
)


def connect(path: Path, *, write: bool, create: bool = False) -> Any:
    """Open a connection with explicit transactions only; it is bound to the calling thread."""
    mode = "rwc" if create else "rw" if write else "ro"
    uri = f"file:{quote(str(path.absolute()))}?mode={mode}"
    if not write:
        _undo_half_done(path)
        if _at_rest(path):
            uri += "&immutable=1"
    return sqlite3.connect(uri, uri=True, timeout=BUSY_TIMEOUT_S, isolation_level=None)


def _undo_half_done(path: Path) -> None:
    """Let SQLite take back what a killed program left half done; a reader may not do it itself.

    A store has a rollback journal only while a restore folds its log in.
    SQLite looks whether its writer still lives.
    """
    journal = path.with_name(path.name + "-journal")
    if not journal.exists() or not os.access(path, os.W_OK):
        return
    uri = f"file:{quote(str(path.absolute()))}?mode=rw"
    with suppress(sqlite3.Error):
        connection = sqlite3.connect(uri, uri=True, timeout=BUSY_TIMEOUT_S, isolation_level=None)
        try:
            connection.execute("select 1 from sqlite_master").fetchone()
        finally:
            connection.close()


def file_id(path: Path) -> tuple[int, int] | None:
    """Return which file is behind a name; to look is safe, to open it would drop its locks."""
    try:
        found = path.stat()
    except OSError:
        return None
    return found.st_dev, found.st_ino


def _at_rest(path: Path) -> bool:
    """Return whether a store lies where we may not write and nobody has it open: an archive.

    Readers of a write-ahead log share memory in a file beside the store; where they may not make
    one, SQLite refuses to open, unless told that the file does not change.
    """
    beside = path.with_name(path.name + "-wal")
    return not os.access(path.parent, os.W_OK) and not beside.exists()


def tune(connection: Any, *, write: bool) -> None:
    """Apply the pragmas that hold per connection; only after the file is known to be ours."""
    connection.execute("pragma foreign_keys=on")
    if write:
        for pragma in _WRITER_PRAGMAS:
            connection.execute(f"pragma {pragma}")
    else:
        connection.execute("pragma query_only=on")


@contextmanager
def transaction(connection: Any) -> Iterator[None]:
    """One immediate transaction: all of it, or nothing; inner ones join the outer.

    Immediate, because a deferred transaction that reads first and writes later is refused at once
    when another process has written in between, whatever the busy timeout.
    """
    if connection.in_transaction:
        yield
        return
    connection.execute("begin immediate")
    try:
        yield
    except BaseException:
        if connection.in_transaction:
            connection.execute("rollback")
        raise
    connection.execute("commit")


@contextmanager
def speaking(path: Path) -> Iterator[None]:
    """Turn SQLite's errors into sentences for the person at the kiln."""
    try:
        yield
    except sqlite3.Error as error:
        raise StoreError(_sentence(path, str(error))) from error
    except UnicodeDecodeError as error:  # text whose bytes were damaged, as the driver tells it
        raise StoreError(_sentence(path, "malformed")) from error


def _sentence(path: Path, message: str) -> str:
    lower = message.lower()
    for sign, sentence in _SENTENCES:
        if sign in lower:
            return f"{path}: {sentence}"
    return f"{path}: SQLite says {message!r}; run `firelog doctor` to look at the store"


_SENTENCES = (
    ("file is not a database", "is not a firelog store (not SQLite at all); name another --store"),
    ("malformed", "the store is damaged; stop writing, copy the file, and restore the last backup"),
    ("unable to open", "cannot be opened; check the folder's name and your rights on it"),
    ("disk is full", "the disk is full; nothing was stored by this step: free space, then go on"),
    ("locked", "another program holds the store; wait for it to finish, or stop it, and try again"),
    ("readonly", "may only be read by you; ask its owner for the right to write"),
    ("disk i/o", "the disk does not answer as it should; check cable and card, and make a backup"),
)
