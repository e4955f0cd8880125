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
from dataclasses import dataclass
from pathlib import Path

from firelog import safefile
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
        _make(folder)
    stamp = us_to_datetime(now_us).strftime("%Y%m%dT%H%M%SZ")
    target = folder / f"{store.path.stem}-{stamp}.firelog"
    if target.exists():
        raise InputError(f"{target}: is there already; wait a second")
    _sweep(folder, store.path.stem, now_us)
    with safefile.filling(target) as part:
        copy_into(store, part)
        readings = look_through(part)
        digest = _digest(part)
    sidecar = target.with_suffix(".sha256")
    safefile.write_text(sidecar, f"{digest}  {target.name}\n", replace=True)
    removed = _let_go(folder, store.path.stem, keep) if keep else ()
    return Backup(target, target.stat().st_size, digest, readings, removed)


def _make(folder: Path) -> None:
    """Make the folder in one that is there: a mistyped or unmounted disk is not made up."""
    if not folder.parent.is_dir():
        raise InputError(
            f"{folder}: neither it nor the folder above it is there; is the disk connected?"
        )
    try:
        folder.mkdir(exist_ok=True)
    except OSError as error:
        raise InputError(f"{folder}: {error.strerror}; name another folder") from error


def copy_into(store: Store, target: Path) -> None:
    """Let SQLite write a copy of the store as it is now; ``target`` is absent or empty."""
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


def _sweep(folder: Path, stem: str, now_us: int) -> None:
    """Remove what a backup that was killed a day ago or earlier has left behind."""
    for part in folder.glob(f".{stem}-*.part"):
        with contextlib.suppress(OSError):
            if part.stat().st_mtime < now_us / 1e6 - 86_400:
                part.unlink()


def _digest(path: Path) -> str:
    """Return the SHA-256 of a copy that nobody has open."""
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


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

    Nothing that was there is deleted: the store, and a write-ahead log or shared memory that was
    left beside it or without it, get another name. What then stands in its place is looked through
    before this returns. Raises :class:`StoreError` when the backup is not sound, when a store is
    there and ``replace`` was not asked for, or while a program has it open.
    """
    _check_sum(copy)
    if target.exists() and not replace:
        raise StoreError(f"{target}: there is a store here already; say --replace to put it aside")
    if target.exists() and target.samefile(copy):
        raise InputError(f"{copy}: is the store itself; name a copy of it")
    with Store.open(copy) as source, safefile.beside(target) as part:
        copy_into(source, part)
        look_through(part)
        safefile.sync_file(part)
        aside = _put_aside(target, now_us)
        part.replace(target)
        safefile.sync_folder(target.parent)
    look_through(target)
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


def _put_aside(target: Path, now_us: int) -> Path | None:
    """Give the present store another name as well; its own stays taken until it is replaced.

    A write-ahead log that a killed program left goes with its store: beside another one, SQLite
    would fold its pages into it.
    """
    was_there = target.exists()
    if was_there:
        _close_for_all(target)
    aside = _free_name(target, us_to_datetime(now_us).strftime("%Y%m%dT%H%M%SZ"))
    if was_there:
        try:
            os.link(target, aside)  # two names for a moment: there is no instant without a store
        except OSError:
            target.rename(aside)
    for ending in safefile.BESIDE:
        left = target.with_name(target.name + ending)
        if left.exists():
            left.rename(aside.with_name(aside.name + ending))
    safefile.sync_folder(target.parent)
    return aside if was_there else None


def _close_for_all(target: Path) -> None:
    """Fold the write-ahead log in, which needs the store for ourselves; refuse if it is in use."""
    with contextlib.suppress(StoreError), driver.speaking(target):  # a damaged one is put aside too
        connection = driver.connect(target, write=True)
        try:
            mode = connection.execute("pragma journal_mode=delete").fetchone()[0]
        except driver.sqlite3.OperationalError as error:
            if "locked" not in str(error):
                raise
            mode = "wal"
        finally:
            connection.close()
        if mode == "wal":
            raise InputError(f"{target}: a program has this store open; stop it, then restore")


def _free_name(target: Path, stamp: str) -> Path:
    """Return a name for what is put aside that nothing bears yet."""
    aside = target.with_name(f"{target.name}.before-{stamp}")
    number = 2
    while any(aside.with_name(aside.name + ending).exists() for ending in ("", *safefile.BESIDE)):
        aside = target.with_name(f"{target.name}.before-{stamp}-{number}")
        number += 1
    return aside
