"""Write a file without harm: never over a store, never unasked over anything, whole or not at all.

Every file that firelog writes goes through here. It is written beside its place under a name
nobody can guess, made exclusively, brought to the disk, and only then given its name. What stands
there already stays, unless the caller was told to replace it; an SQLite file, and what SQLite keeps
beside one, stays in any case.

Nothing here opens a file that this process has open: closing such a second handle would release
SQLite's locks on it (POSIX releases all locks of a process with any one handle).
"""

from __future__ import annotations

import contextlib
import os
import secrets
import stat
from collections.abc import Iterator
from pathlib import Path
from typing import BinaryIO

from firelog.errors import InputError

SQLITE_HEADER = b"SQLite format 3\0"  # sqlite.org, Database File Format, section 1.3
_LOG_MAGIC = (b"\x37\x7f\x06\x82", b"\x37\x7f\x06\x83")  # the same, section 4.1
BESIDE = ("-wal", "-shm", "-journal")  # what SQLite keeps beside a file, by name
_LONGEST_NAME = 180  # bytes of the name that go into the temporary one, which has a limit of 255


def check(target: Path, *, replace: bool = False) -> None:
    """Raise :class:`InputError` when a file must not be written to ``target``.

    With ``replace`` a plain file that is there may be replaced; a store never.
    """
    if not target.name or target.name in (".", ".."):
        raise InputError(f"{target}: is no name for a file; add one")
    if not target.parent.is_dir():
        raise InputError(f"{target}: the folder {target.parent} does not exist; make it first")
    _check_name(target)
    try:
        found = target.lstat()
    except FileNotFoundError:
        return
    except OSError as error:
        raise InputError(f"{target}: cannot be written ({error.strerror})") from error
    if stat.S_ISDIR(found.st_mode):
        raise InputError(f"{target}: is a folder; name a file in it")
    if stat.S_ISLNK(found.st_mode):
        raise InputError(f"{target}: is a link to another file; name the file itself")
    if not stat.S_ISREG(found.st_mode):
        raise InputError(f"{target}: is no plain file; name another")
    if is_sqlite(target):
        raise InputError(
            f"{target}: is a store or another SQLite file, and is never written over; "
            "choose another name"
        )
    if not replace:
        raise InputError(
            f"{target}: is there already and was left as it is; choose another name, "
            "or say --replace"
        )


def is_sqlite(path: Path) -> bool:
    """Return whether a file is, or may be, SQLite's: one that this process has open counts too."""
    if _open_here(path):
        return True
    try:
        handle = os.open(path, os.O_RDONLY | getattr(os, "O_NONBLOCK", 0))
    except OSError:
        return False
    try:
        start = os.read(handle, len(SQLITE_HEADER))
    finally:
        os.close(handle)
    return start == SQLITE_HEADER or start[:4] in _LOG_MAGIC


@contextlib.contextmanager
def writing(target: Path, *, replace: bool = False, mode: int = 0o666) -> Iterator[BinaryIO]:
    """Yield a file to write bytes to; at the end, whole and on the disk, it is named ``target``.

    ``mode`` is narrowed by the umask. After any error nothing is left and ``target`` is as it was.
    Raises :class:`InputError` where :func:`check` does, and when the disk refuses.
    """
    check(target, replace=replace)
    with _part(target, mode) as (part, handle):
        with os.fdopen(handle, "wb") as file, _telling(target):
            yield file
            file.flush()
            os.fsync(file.fileno())
        _name(part, target, replace=replace)


def write_bytes(target: Path, content: bytes, *, replace: bool = False, mode: int = 0o666) -> None:
    """Write a whole file; see :func:`writing`."""
    with writing(target, replace=replace, mode=mode) as file:
        file.write(content)


def write_text(target: Path, text: str, *, replace: bool = False, mode: int = 0o666) -> None:
    """Write a whole file as UTF-8; see :func:`writing`."""
    write_bytes(target, text.encode("utf-8"), replace=replace, mode=mode)


@contextlib.contextmanager
def filling(target: Path, *, replace: bool = False, mode: int = 0o666) -> Iterator[Path]:
    """Yield the name of an empty file that another program (SQLite) fills; then name it ``target``.

    As :func:`writing`, for writers that want a name. What such a writer leaves beside it goes too.
    """
    check(target, replace=replace)
    with beside(target, mode) as part:
        with _telling(target):
            yield part
            sync_file(part)
        _name(part, target, replace=replace)


@contextlib.contextmanager
def beside(target: Path, mode: int = 0o666) -> Iterator[Path]:
    """Yield an empty file beside ``target`` under a name of its own; what is left of it goes.

    For a caller that places it itself, as only the restoring of a store may do over a store.
    """
    with _part(target, mode) as (part, handle):
        os.close(handle)
        yield part


def sync_file(path: Path) -> None:
    """Wait until the disk has a finished file that nobody has open."""
    handle = os.open(path, os.O_RDWR | getattr(os, "O_NOFOLLOW", 0))
    try:
        os.fsync(handle)
    finally:
        os.close(handle)


def sync_folder(folder: Path) -> None:
    """Wait until the disk has the names in a folder; where folders cannot be synced, return."""
    if os.name != "posix":
        return
    with contextlib.suppress(OSError):  # some network and FUSE file systems refuse
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


# ---------------------------------------------------------------- steps
def _check_name(target: Path) -> None:
    """Refuse the name of what SQLite keeps beside a file, whether it is there just now or not."""
    lower = target.name.lower()
    for ending in BESIDE:
        base = target.with_name(target.name[: -len(ending)] or "-")
        if lower.endswith(ending) and base.exists():
            raise InputError(
                f"{target}: belongs to {base.name} (SQLite keeps it beside that file); "
                "choose another name"
            )


def _open_here(path: Path) -> bool:
    """Return whether this process has the file open, by whatever name; looks at handles only."""
    try:
        wanted = path.stat()
        handles = [entry.name for entry in Path("/dev/fd").iterdir()]
    except OSError:  # not there, or a system without such a list (and without such locks)
        return False
    for name in handles:
        with contextlib.suppress(OSError, ValueError):
            found = os.fstat(int(name))
            if (found.st_dev, found.st_ino) == (wanted.st_dev, wanted.st_ino):
                return True
    return False


@contextlib.contextmanager
def _part(target: Path, mode: int) -> Iterator[tuple[Path, int]]:
    stem = target.name.encode()[:_LONGEST_NAME].decode(errors="ignore")
    part = target.with_name(f".{stem}.{secrets.token_hex(8)}.part")
    how = os.O_WRONLY | os.O_CREAT | os.O_EXCL | getattr(os, "O_NOFOLLOW", 0)
    how |= getattr(os, "O_BINARY", 0)
    with _telling(target):
        handle = os.open(part, how, mode)
    try:
        yield part, handle
    finally:
        for left in (part, *(part.with_name(part.name + ending) for ending in BESIDE)):
            with contextlib.suppress(OSError):
                left.unlink()


def _name(part: Path, target: Path, *, replace: bool) -> None:
    """Give the finished file its name, and the disk the folder."""
    with _telling(target):
        check(target, replace=replace)  # again: it took a while, and others work here too
        if replace:
            part.replace(target)
        else:
            _name_if_free(part, target)
        sync_folder(target.parent)


def _name_if_free(part: Path, target: Path) -> None:
    """Name a file so that one which came there meanwhile stays."""
    try:
        os.link(part, target)  # refuses, in one step, when the name is taken
    except FileExistsError:
        check(target)
        raise
    except OSError:  # a file system without second names (FAT): look, then name it
        check(target)
        part.replace(target)
    else:
        part.unlink()


@contextlib.contextmanager
def _telling(target: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise InputError(
            f"{target}: cannot be written ({error.strerror or error}); nothing was changed there"
        ) from error
