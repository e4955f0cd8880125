"""What happens when the worst happens: crowded, full, cut off, forbidden, taken away."""

from __future__ import annotations

import json
import os
import shutil
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest

from firelog.errors import FirelogError, StoreError
from firelog.intake.file import importing, logfile, store_files
from firelog.readings import Quality, Unit
from firelog.record import backup, driver, imports
from firelog.record.examine import examine
from firelog.record.seal import seal
from firelog.record.store import Store
from firelog.record.verify import verify
from firelog.units import iso_utc
from tests.record.test_seal import LATER, SECOND, T0, add_night, content
from tests.record.test_traces import burnout

# ---------------------------------------------------------------- crowded
COLLECTOR = """
import sys, time
from firelog.record.store import Store
from firelog.readings import Quality, Unit
path, name, until = sys.argv[1], sys.argv[2], float(sys.argv[3])
with Store.open(path, write=True) as store:
    ids = [store.ensure_channel(name, f"tc {n}").id for n in range(4)]
    scans, slowest, moved = 0, 0.0, 0
    while time.time() < until:
        t_us = 1_772_352_000_000_000 + scans * 1_000_000
        began = time.monotonic()
        store.add_scan(t_us, [(c, 20.5 + scans % 50, Unit.C, Quality.OK) for c in ids])
        slowest = max(slowest, time.monotonic() - began)
        scans += 1
        if scans % 500 == 0:
            moved += store.compact(ids, t_us - 100_000_000)
        if scans % 300 == 0 and name == "first":
            store.checkpoint()
        time.sleep(0.005)
    print(scans, moved, slowest)
"""
BOARD = """
import sys, time
from firelog.record.store import Store
path, until = sys.argv[1], float(sys.argv[2])
looks = 0
while time.time() < until:
    with Store.open(path) as store:
        for channel in store.channels():
            span = store.reading_span(channel.id)
            if span:
                trace = store.readings(channel.id, span[1] - 60_000_000, span[1])
                assert (trace.t_us[1:] > trace.t_us[:-1]).all()
                if span[1] > span[0]:
                    store.overview([channel.id], span[0], span[1], 300)
    looks += 1
print(looks)
"""


@pytest.mark.slow
def test_two_collectors_and_a_board_share_a_store(tmp_path):
    """Half a minute of two collectors, a board, an import, a backup: nothing refused or lost."""
    path = tmp_path / "busy.firelog"
    (tmp_path / "backups").mkdir()
    Store.open(path, write=True).close()
    until = time.time() + 30
    run = [sys.executable, "-c"]
    processes = [
        subprocess.Popen(
            [*run, COLLECTOR, path, name, str(until)], stdout=subprocess.PIPE, text=True
        )
        for name in ("first", "second")
    ]
    processes.append(
        subprocess.Popen([*run, BOARD, path, str(until)], stdout=subprocess.PIPE, text=True)
    )
    with Store.open(path, write=True) as store:
        channel = store.ensure_channel("imported", "top")
        for number in range(8):
            time.sleep(2)
            t_us, value, quality = burnout(30_000, seed=number)
            store.add_readings(channel.id, t_us + number * 10**11, value, quality, Unit.C)
            if number % 4 == 3:
                backup.backup(store, tmp_path / "backups", LATER + number * SECOND)
    answers = [process.communicate(timeout=60)[0].split() for process in processes]
    assert [process.returncode for process in processes] == [0, 0, 0]
    with Store.open(path, write=True) as store:
        for name, answer in zip(("first", "second"), answers, strict=False):
            for channel in store.channels(name):
                assert len(store.readings(channel.id)) == int(answer[0])
        assert store.reading_span(store.channels("imported")[0].id)[2] == 240_000
        assert int(answers[0][1]) > 0
        assert int(answers[2][0]) > 0
        assert list(examine(store)) == []
    print(f"scans {answers[0][0]} and {answers[1][0]}, slowest commit {answers[0][2]} s")


# ---------------------------------------------------------------- full, cut off, forbidden
@pytest.fixture
def small_disk(tmp_path):
    """A disk of 2 MB of its own; needs the right to mount one."""
    folder = tmp_path / "small"
    folder.mkdir()
    mount = ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(folder)]
    if shutil.which("mount") is None or subprocess.run(mount, check=False).returncode:
        pytest.skip("may not mount a small disk here")
    yield folder
    subprocess.run(["umount", "-l", str(folder)], check=True)


def test_a_full_disk_stops_nothing_but_the_write(small_disk):
    """On a full disk a write is refused whole, reading goes on, and so does writing after it."""
    path = small_disk / "night.firelog"
    with Store.open(path, write=True) as store:
        add_night(store)
        seal(store, store.firing("night"), now_us=LATER, version="0.1")
        ballast = small_disk / "ballast"
        ballast.write_bytes(b"x" * shutil.disk_usage(small_disk).free)
        written = 0
        with pytest.raises(StoreError, match="disk is full"):
            for number in range(100_000):
                store.add_scan(LATER + number, [(1, 20.5, Unit.C, Quality.OK)])
                written += 1
        assert len(store.readings(1, LATER)) == written
        with pytest.raises(StoreError, match="disk is full"):
            t_us = LATER + SECOND + np.arange(90_000) * SECOND
            noise = np.random.default_rng(1).normal(0, 1, 90_000)
            store.add_readings(1, t_us, noise, np.zeros(90_000, np.uint8), Unit.C)
        assert len(store.readings(1, LATER)) == written
        (small_disk / "backups").mkdir()
        with pytest.raises(StoreError, match="disk is full"):
            backup.backup(store, small_disk / "backups", LATER)
        assert list((small_disk / "backups").iterdir()) == []
        ballast.unlink()
        assert store.add_scan(LATER + 10**12, [(1, 21.5, Unit.C, Quality.OK)]) == 1
        assert verify(store).unchanged
        assert list(examine(store)) == []


def test_a_truncated_store_is_named_wherever_it_ends(tmp_path):
    """A store cut off anywhere ends in a sentence or in findings, never in a crash or silence."""
    path = tmp_path / "night.firelog"
    with Store.open(path, write=True) as store:
        add_night(store)
        seal(store, store.firing("night"), now_us=LATER, version="0.1")
        before = content(store)
    good = path.read_bytes()  # closed: a plain file
    for number, size in enumerate(np.linspace(1, len(good) - 1, 60).astype(int)):
        copy = tmp_path / f"{number}.firelog"
        copy.write_bytes(good[:size])
        try:
            with Store.open(copy) as store:
                # SQLite reads the missing end of the last page as zeros, which it may have been.
                assert list(examine(store)) or content(store) == before
        except FirelogError as error:
            assert str(copy) in str(error)  # noqa: PT017


def test_an_empty_file_is_no_store_to_a_reader(tmp_path):
    """A reader of a file of no bytes hears that, and the file stays as it was."""
    path = tmp_path / "empty.firelog"
    path.touch()
    with pytest.raises(StoreError, match=str(path)):
        Store.open(path)
    assert path.stat().st_size == 0


def test_a_store_opened_to_read_refuses_to_write(tmp_path):
    """A page, a report or a judge can never write by mistake."""
    path = tmp_path / "night.firelog"
    with Store.open(path, write=True) as store:
        add_night(store)
    with Store.open(path) as store:
        for attempt in (
            lambda: store.add_event(T0, "door open"),
            lambda: store.add_scan(T0 + 1, [(1, 20.5, Unit.C, Quality.OK)]),
            lambda: seal(store, store.firing("night"), now_us=LATER, version="0.1"),
        ):
            with pytest.raises(StoreError, match="may only be read"):
                attempt()


ARCHIVE = """
import importlib.metadata, json, os, sys  # all before another user, who may see no library
from firelog.record.store import Store
from firelog.record.verify import verify
from firelog.errors import StoreError
import sqlite_utils  # a library loaded on demand
os.setgid(65534); os.setuid(65534)
with Store.open(sys.argv[1]) as store:
    answer = [len(store.readings(1)), verify(store).unchanged]
try:
    Store.open(sys.argv[1], write=True)
except StoreError as error:
    answer.append(str(error))
print(json.dumps(answer))
"""


@pytest.mark.skipif(not hasattr(os, "geteuid") or os.geteuid() != 0, reason="needs another user")
def test_an_archive_in_a_folder_of_somebody_else_can_be_read(tmp_path):
    """A store at rest, where we may not write, is read and verified; writing is refused."""
    folder = tmp_path / "archive"
    folder.mkdir(mode=0o755)
    for parent in (tmp_path, *tmp_path.parents):
        if parent == Path(tempfile.gettempdir()):
            break
        parent.chmod(parent.stat().st_mode | 0o055)
    path = folder / "night.firelog"
    with Store.open(path, write=True) as store:
        add_night(store)
        seal(store, store.firing("night"), now_us=LATER, version="0.1")
    path.chmod(0o444)
    done = subprocess.run(
        [sys.executable, "-c", ARCHIVE, str(path)], capture_output=True, text=True, check=False
    )
    assert done.returncode == 0, done.stderr
    count, unchanged, refused = json.loads(done.stdout)
    assert (count, unchanged) == (2_000, True)
    assert str(path) in refused


def test_a_reader_comes_after_a_restore_that_was_killed(tmp_path):
    """A rollback journal that a killed program left is undone before a reader looks."""
    path, left = tmp_path / "night.firelog", tmp_path / "left.firelog"
    with Store.open(path, write=True) as store:
        add_night(store)
    before = path.read_bytes()
    connection = driver.connect(path, write=True)
    assert connection.execute("pragma journal_mode=delete").fetchone()[0] == "delete"
    connection.execute("pragma cache_size=1")
    connection.execute("begin immediate")
    connection.execute("create table half(x)")
    connection.execute(
        "insert into half with recursive n(i) as (select 1 union all select i+1 from n limit 9000)"
        " select hex(randomblob(90)) from n"
    )
    shutil.copy(path, left)  # as a kill would leave both
    shutil.copy(path.with_name(path.name + "-journal"), left.with_name(left.name + "-journal"))
    connection.execute("rollback")
    connection.close()
    assert left.stat().st_size > len(before)
    with Store.open(left) as store:
        assert list(examine(store)) == []
        assert len(store.readings(1)) == 2_000


# ---------------------------------------------------------------- import, withdraw and seal
def one_import(store):
    """Bring a night in as an import, and close its firing; returns the import's number."""
    number = imports.begin(
        store, imports.FILE, now_us=T0, kiln="shell kiln", file="n.csv", sha256="ab", size=9
    )
    channel = store.ensure_channel("shell kiln", "top")
    t_us, value, quality = burnout(20_000)
    store.add_readings(channel.id, t_us, value, quality, Unit.C, origin=number)
    imports.finish(store, number, {}, now_us=T0)
    firing = store.add_firing("night", "shell kiln", began_us=int(t_us[0]))
    store.close_firing(firing.id, int(t_us[-1]))
    return number


def bring(store, path):
    """Import the file beside a store as the command does."""
    [plan] = importing.examine([path.with_suffix(".csv")], logfile.ImportOptions())
    return store_files.bring_in(store, [plan], "north kiln", now_us=LATER)


def close(store):
    """Seal the night."""
    return seal(store, store.firing("night"), now_us=LATER, version="0.1")


def withdraw(store):
    """Take the import of the night out."""
    return imports.withdraw(store, 1, who="Oda Brandvik", why="wrong file", now_us=LATER + 1)


def lay_file(path, count=90_000):
    """Write a logger's file that no full disk has room for beside a store."""
    noise = np.random.default_rng(3).normal(0, 1, count)
    rows = (f"{iso_utc(LATER + n * SECOND)},{600 + v:.4f}\n" for n, v in enumerate(noise.tolist()))
    path.with_suffix(".csv").write_text("time,top [°C]\n" + "".join(rows), encoding="utf-8")


def test_a_full_disk_refuses_import_withdrawal_and_seal_whole(small_disk, tmp_path):
    """Each is refused with a sentence and leaves the record as it was; freed, each is done."""
    path = small_disk / "night.firelog"
    lay_file(tmp_path / "night.firelog")
    with Store.open(path, write=True) as store:
        one_import(store)
        close(store)
        add_night(store, "second", LATER * 2 - T0)
        store.checkpoint()
        ballast = small_disk / "ballast"
        ballast.write_bytes(b"x" * shutil.disk_usage(small_disk).free)
        before = content(store)
        for attempt in (
            lambda: withdraw(store),
            lambda: close(store),
            lambda: bring(store, tmp_path / "night.firelog"),
        ):
            with pytest.raises(StoreError, match="disk is full"):
                attempt()
            assert content(store) == before
        assert verify(store).unchanged
        ballast.unlink()
        close(store)
        assert bring(store, tmp_path / "night.firelog")[0].readings == 90_000
        assert withdraw(store).readings == 20_000
        assert verify(store).unchanged
        assert list(examine(store)) == []


def test_a_disk_that_may_only_be_read_refuses_the_commands(small_disk, tmp_path, firelog):
    """Import, withdrawal and seal end with status 2 and a sentence; the store is as it was."""
    path = small_disk / "night.firelog"
    lay_file(tmp_path / "night.firelog", 100)
    with Store.open(path, write=True) as store:
        one_import(store)
    before = path.read_bytes()
    subprocess.run(["mount", "-o", "remount,ro", str(small_disk)], check=True)
    for words in (
        ("import", tmp_path / "night.csv", "--kiln", "shell kiln"),
        ("imports", "withdraw", "1", "--by", "Oda Brandvik", "--why", "wrong file"),
        ("seal", "night"),
    ):
        done = firelog(*words, "--store", path)
        assert done.returncode == 2, done.stderr
        assert str(path) in done.stderr
        assert "Traceback" not in done.stderr
    assert path.read_bytes() == before


@pytest.mark.parametrize("work", [bring, withdraw, close], ids=lambda one: one.__name__)
def test_a_folder_that_goes_away_is_told_at_once(tmp_path, work):
    """What was written into a store whose folder went away is not called done."""
    folder = tmp_path / "mounted"
    folder.mkdir()
    path = folder / "night.firelog"
    lay_file(tmp_path / "night.firelog", 100)
    with Store.open(path, write=True) as store:
        one_import(store)
        folder.rename(tmp_path / "unmounted")
        with pytest.raises(StoreError, match="taken away"):
            work(store, tmp_path / "night.firelog") if work is bring else work(store)
