"""Backup and restore of a store.

Nothing here reads or copies the file of a store that is open: closing such a handle would drop
SQLite's locks under the collector. Copies are made by SQLite (``VACUUM INTO``) from one consistent
state, while others go on writing, and are looked through before they get their name.
"""

from __future__ import annotations

import contextlib
import hashlib
import os
import re
from collections.abc import Iterator
from dataclasses import dataclass
from pathlib import Path

from firelog.errors import InputError, StoreError
from firelog.record import driver
from firelog.record.examine import examine
from firelog.record.store import Store
from firelog.units import us_to_datetime

_STAMP = re.compile(r"-\d{8}T\d{6}Z\.firelog$")


@dataclass(frozen=True)
class Backup:
    """A finished, verified copy: where, how large, its SHA-256, and what was let go for it."""

    path: Path
    size: int
    sha256: str
    readings: int
    removed: tuple[Path, ...]


# ---------------------------------------------------------------- backup
def backup(store: Store, folder: Path, now_us: int, keep: int | None = None) -> Backup:
    """Write a verified copy of the store into ``folder``; of its copies there, keep ``keep``.

    The copy gets its name only after it was looked through and is on the disk, so that whatever
    carries the name is whole. Raises :class:`StoreError` or :class:`InputError`.
    """
    if keep is not None and keep < 1:
        raise InputError(f"--keep {keep}: at least 1 copy must stay")
    if not folder.is_dir():
        raise InputError(f"{folder}: there is no such folder; make it, or name another")
    stamp = us_to_datetime(now_us).strftime("%Y%m%dT%H%M%SZ")
    target = folder / f"{store.path.stem}-{stamp}.firelog"
    if target.exists():
        raise InputError(f"{target}: is there already; wait a second")
    _sweep(folder, store.path.stem, now_us)
    with _unfinished(target) as part:
        copy_into(store, part)
        readings = look_through(part)
        digest = _on_disk(part)
        part.replace(target)
    sidecar = target.with_suffix(".sha256")
    sidecar.write_text(f"{digest}  {target.name}\n", encoding="utf-8")
    _sync_folder(folder)
    removed = _let_go(folder, store.path.stem, keep) if keep else ()
    return Backup(target, target.stat().st_size, digest, readings, removed)


def copy_into(store: Store, target: Path) -> None:
    """Let SQLite write a copy of the store as it is at this instant; ``target`` must not exist."""
    try:
        # A connection of its own: that of a reader refuses every statement that writes anything.
        with contextlib.closing(driver.connect(store.path, write=False)) as connection:
            connection.execute("vacuum into ?", (str(target),))
    except driver.sqlite3.Error as error:
        if "full" in str(error):
            raise StoreError(
                f"{target.parent}: the disk is full; the copy was not made, the store is untouched"
            ) from error
        with driver.speaking(store.path):
            raise


def look_through(path: Path) -> int:
    """Check a copy that nobody else has open, and return how many readings it holds.

    Raises :class:`StoreError` naming the first thing that is wrong.
    """
    with Store.open(path) as copy:
        problems = [problem for problem in examine(copy) if problem]
        if problems:
            raise StoreError(f"{path}: this copy is not sound: {problems[0]}")
        rows, in_blocks = copy.connection.execute(
            "select (select count(*) from readings), (select total(count) from blocks)"
        ).fetchone()
    return int(rows + in_blocks)


@contextlib.contextmanager
def _unfinished(target: Path) -> Iterator[Path]:
    part = target.with_name(f".{target.name}.{os.getpid()}.part")
    part.unlink(missing_ok=True)
    try:
        yield part
    finally:
        for name in (part, part.with_name(part.name + "-journal")):
            name.unlink(missing_ok=True)


def _sweep(folder: Path, stem: str, now_us: int) -> None:
    """Remove what a backup that was killed a day ago or earlier has left behind."""
    for part in folder.glob(f".{stem}-*.part"):
        with contextlib.suppress(OSError):
            if part.stat().st_mtime < now_us / 1e6 - 86_400:
                part.unlink()


def _on_disk(path: Path) -> str:
    """Return the SHA-256 of a finished file, and wait until the disk has it."""
    with path.open("r+b") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
        os.fsync(file.fileno())
    return digest


def _sync_folder(folder: Path) -> None:
    if os.name == "posix":  # elsewhere a folder cannot be synced
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


def _let_go(folder: Path, stem: str, keep: int) -> tuple[Path, ...]:
    """Remove all but the newest copies of this store; other files are none of our business."""
    found = folder.glob(f"{stem}-*.firelog")
    copies = sorted(path for path in found if _STAMP.fullmatch(path.name[len(stem) :]))
    removed = tuple(copies[:-keep])
    for path in removed:
        path.unlink()
        path.with_suffix(".sha256").unlink(missing_ok=True)
    return removed


# ---------------------------------------------------------------- restore
def restore(copy: Path, target: Path, now_us: int, *, replace: bool = False) -> Path | None:
    """Put a backup in the place of a store; returns where the store that was there now is.

    The store that was there is never deleted. Raises :class:`StoreError` when the backup is not
    sound, when a store is there and ``replace`` was not asked for, or while a program has it open.
    """
    _check_sum(copy)
    if target.exists() and not replace:
        raise StoreError(f"{target}: there is a store here already; say --replace to put it aside")
    with Store.open(copy) as source, _unfinished(target) as part:
        copy_into(source, part)
        look_through(part)
        _on_disk(part)
        aside = _put_aside(target, now_us) if target.exists() else None
        part.replace(target)
    _sync_folder(target.parent)
    return aside


def _check_sum(copy: Path) -> None:
    sidecar = copy.with_suffix(".sha256")
    if not copy.is_file():
        raise StoreError(f"{copy}: there is no such backup; `firelog backup` makes them")
    if not sidecar.exists():
        return
    with copy.open("rb") as file:
        digest = hashlib.file_digest(file, "sha256").hexdigest()
    if sidecar.read_text(encoding="utf-8").split()[:1] != [digest]:
        raise StoreError(f"{copy}: has changed since it was made ({sidecar.name}); take another")


def _put_aside(target: Path, now_us: int) -> Path:
    """Give the present store another name, so that its own stays taken until it is replaced."""
    with contextlib.suppress(StoreError), driver.speaking(target):
        connection = driver.connect(target, write=True)
        try:
            # Leaving WAL needs the store for ourselves: whoever has it open makes this fail.
            mode = connection.execute("pragma journal_mode=delete").fetchone()[0]
        except driver.sqlite3.OperationalError as error:
            if "locked" in str(error):
                mode = "wal"
            else:
                raise
        finally:
            connection.close()
        if mode == "wal":
            raise InputError(f"{target}: a program has this store open; stop it, then restore")
    stamp = us_to_datetime(now_us).strftime("%Y%m%dT%H%M%SZ")
    aside = target.with_name(f"{target.name}.before-{stamp}")
    try:
        os.link(target, aside)  # two names for a moment: there is no instant without a store
    except OSError:
        target.rename(aside)
    return aside
