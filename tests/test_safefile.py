"""Files are written whole or not at all, never over a store, never over anything unasked."""

from __future__ import annotations

import ast
import os
import sqlite3
import stat
import subprocess
import sys
from pathlib import Path

import pytest

from firelog import safefile
from firelog.errors import InputError

ROOT = Path(__file__).parents[1]


@pytest.fixture
def database(tmp_path):
    """An SQLite file in WAL mode, held open by this process, with its two companions."""
    path = tmp_path / "s.firelog"
    connection = sqlite3.connect(path)
    connection.execute("pragma journal_mode=wal")
    connection.execute("create table t(x)")
    connection.commit()
    yield path
    connection.close()


def contents(folder):
    """Return the bytes of every file of a folder by name."""
    return {path.name: path.read_bytes() for path in folder.iterdir() if path.is_file()}


# ---------------------------------------------------------------- what is never written over
@pytest.mark.parametrize("ending", ["", "-wal", "-shm", "-journal"])
@pytest.mark.parametrize("replace", [False, True])
def test_a_store_and_what_lies_beside_it_are_never_written_over(database, ending, replace):
    """A store, its log and its shared memory stay, asked to replace them or not."""
    with pytest.raises(InputError, match=r"never written over|belongs to s\.firelog"):
        safefile.write_text(Path(f"{database}{ending}"), "x", replace=replace)
    assert sorted(p.name for p in database.parent.iterdir()) == [
        "s.firelog",
        "s.firelog-shm",
        "s.firelog-wal",
    ]


@pytest.mark.parametrize("how", [os.link, os.symlink])
def test_a_store_by_another_name_is_never_written_over(database, tmp_path, how):
    """A second name or a link to a store is refused like the store."""
    other = tmp_path / "table.csv"
    how(database, other)
    with pytest.raises(InputError, match=r"never written over|is a link"):
        safefile.write_text(other, "x", replace=True)
    with sqlite3.connect(database) as again:
        assert again.execute("select count(*) from sqlite_master").fetchone() == (1,)


def test_looking_at_a_store_leaves_its_locks(database, tmp_path):
    """Another process cannot write while we hold the lock, after the file was looked at too.

    POSIX locks of a process on a file all go when it closes any handle of it (POSIX.1-2017,
    fcntl): this is what would happen if the check opened the file.
    """
    holder = sqlite3.connect(database, isolation_level=None)
    holder.execute("begin immediate")
    with pytest.raises(InputError):
        safefile.check(database, replace=True)
    other = (
        "import sqlite3, sys; c = sqlite3.connect(sys.argv[1], timeout=0);"
        "c.execute('insert into t values (1)'); c.commit()"
    )
    done = subprocess.run(
        [sys.executable, "-c", other, database], capture_output=True, text=True, check=False
    )
    assert "locked" in done.stderr
    holder.execute("rollback")
    holder.close()


def test_a_write_ahead_log_alone_is_known_by_its_first_bytes(tmp_path):
    """What begins as a write-ahead log does is refused under any name."""
    left = tmp_path / "left over"
    left.write_bytes(b"\x37\x7f\x06\x82" + bytes(28))
    with pytest.raises(InputError, match="never written over"):
        safefile.write_text(left, "x", replace=True)


def test_a_file_that_is_there_stays_unless_told(tmp_path):
    """Without replace a file stays as it is; with it, it is replaced whole, rights and all kept."""
    target = tmp_path / "a.csv"
    target.write_text("old")
    with pytest.raises(InputError, match="--replace"):
        safefile.write_text(target, "new")
    assert target.read_text() == "old"
    safefile.write_text(target, "new", replace=True)
    assert target.read_text() == "new"
    assert contents(tmp_path) == {"a.csv": b"new"}


def test_a_file_that_came_meanwhile_stays(tmp_path):
    """Somebody else's file that came while ours was written is not replaced."""
    target = tmp_path / "a.csv"
    with pytest.raises(InputError, match="is there already"), safefile.writing(target) as file:
        file.write(b"ours")
        target.write_text("theirs")
    assert contents(tmp_path) == {"a.csv": b"theirs"}


def test_folders_devices_and_missing_folders_are_refused(tmp_path):
    """Only a plain file in a folder that is there can be written."""
    fifo = tmp_path / "fifo"
    os.mkfifo(fifo)
    for target, words in (
        (tmp_path, "is a folder"),
        (fifo, "no plain file"),
        (tmp_path / "no" / "a.csv", "does not exist"),
    ):
        with pytest.raises(InputError, match=words):
            safefile.write_text(target, "x", replace=True)


# ---------------------------------------------------------------- whole or not at all
def test_an_error_leaves_nothing_and_changes_nothing(tmp_path):
    """When writing stops half-way, the old file is whole and no other is left."""
    target = tmp_path / "a.csv"
    target.write_text("old")
    with pytest.raises(ZeroDivisionError), safefile.writing(target, replace=True) as file:
        file.write(b"half")
        raise ZeroDivisionError
    with pytest.raises(ZeroDivisionError), safefile.filling(tmp_path / "b") as part:
        part.write_bytes(b"half")
        part.with_name(part.name + "-journal").write_bytes(b"x")
        raise ZeroDivisionError
    assert contents(tmp_path) == {"a.csv": b"old"}


def test_the_temporary_name_cannot_be_waited_for(tmp_path):
    """Temporary names differ each time, and a link laid in their place is not followed."""
    names = set()
    for _ in range(3):
        with safefile.filling(tmp_path / "a.csv", replace=True) as part:
            names.add(part.name)
            assert stat.S_ISREG(part.lstat().st_mode)
    assert len(names) == 3
    victim = tmp_path / "victim"
    victim.write_text("mine")
    (tmp_path / ".a.csv.part").symlink_to(victim)  # the name that was foreseeable once
    safefile.write_text(tmp_path / "a.csv", "new", replace=True)
    assert victim.read_text() == "mine"


def test_rights_are_those_of_the_umask_or_narrower(tmp_path):
    """A file gets the usual rights, a key those of its owner only."""
    before = os.umask(0o022)
    try:
        safefile.write_text(tmp_path / "a.csv", "x")
        safefile.write_text(tmp_path / "k", "x", mode=0o600)
    finally:
        os.umask(before)
    assert stat.S_IMODE((tmp_path / "a.csv").stat().st_mode) == 0o644
    assert stat.S_IMODE((tmp_path / "k").stat().st_mode) == 0o600


def test_a_long_name_still_has_room_for_the_temporary_one(tmp_path):
    """A name of the greatest length that file systems take (255 bytes) can be written."""
    target = tmp_path / ("ä" * 125 + ".html")
    safefile.write_text(target, "x")
    assert target.read_text() == "x"


# ---------------------------------------------------------------- nobody else writes
# Where a file may come into being otherwise, and why.
ALLOWED = {
    "firelog/safefile.py": None,  # this is the place
    "firelog/record/backup.py": {"link", "rename", "replace"},  # puts stores in place and aside
    "firelog/cli/__init__.py": {"os.open"},  # /dev/null for a reader that went away
    "firelog/demo/pty_logger.py": {"symlink", "replace"},  # a name for the rehearsal's port
}
WRITERS = {
    *("write_text", "write_bytes", "touch", "mkstemp", "NamedTemporaryFile", "TemporaryFile"),
    *("copy", "copy2", "copyfile", "copyfileobj", "move", "link", "symlink", "rename", "renames"),
    *("savefig", "to_parquet", "to_excel", "tofile", "savez", "dump"),
}


def writes(path):
    """Yield line and name of each call in a module that makes, names or opens a file to write."""
    calls = [n for n in ast.walk(ast.parse(path.read_text("utf-8"))) if isinstance(n, ast.Call)]
    for node in calls:
        whole = ast.unparse(node.func)
        name = whole.rpartition(".")[2]
        given = [ast.unparse(a) for a in (*node.args, *(k.value for k in node.keywords))]
        if whole.startswith("safefile.") or whole == "imports.link":  # that links rows, not files
            continue
        if whole == "os.open":
            if any("O_RDONLY" not in one for one in given[1:2]):
                yield node.lineno, "os.open"
        elif name == "open":
            modes = [one.strip("'\"") for one in given if one[:1] in "'\"" and len(one) <= 5]
            if any(set(mode) & set("wax+") and set(mode) <= set("wax+btr") for mode in modes):
                yield node.lineno, name
        elif name == "to_csv":
            if given[:1] != ["None"]:
                yield node.lineno, name
        elif name == "replace":
            if len(node.args) == 1 and not node.keywords:  # of a path: that of a text takes two
                yield node.lineno, name
        elif name in WRITERS and isinstance(node.func, ast.Attribute):
            pathlike = name not in ("copy", "move", "dump") or whole.startswith(("shutil.", "os."))
            pathlike &= name != "rename" or not any(k.arg == "columns" for k in node.keywords)
            if pathlike:
                yield node.lineno, name


def test_no_module_writes_files_by_other_means():
    """Only this one module opens files to write; those that place stores are named above."""
    found = []
    for path in sorted([*ROOT.glob("firelog/**/*.py"), *ROOT.glob("dashboards/**/*.py")]):
        name = path.relative_to(ROOT).as_posix()
        allowed = ALLOWED.get(name, set())
        if allowed is not None:
            found += [
                f"{name}:{line}: {call}" for line, call in writes(path) if call not in allowed
            ]
    assert found == []


@pytest.mark.parametrize(
    "line",
    [
        "open(p, 'w')",
        "p.open('xb')",
        "p.write_text('x')",
        "os.open(p, os.O_WRONLY | os.O_CREAT)",
        "part.replace(p)",
        "shutil.copyfile(a, p)",
        "table.to_csv(p)",
    ],
)
def test_the_search_for_other_writers_finds_them(tmp_path, line):
    """Each usual way to write a file is found by the search above."""
    module = tmp_path / "m.py"
    module.write_text(line)
    assert len(list(writes(module))) == 1
