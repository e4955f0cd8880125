"""What happens when the worst happens: killed, crowded, full, cut off, forbidden."""

from __future__ import annotations

import json
import os
import shutil
import signal
import subprocess
import sys
import tempfile
import time
from pathlib import Path

import numpy as np
import pytest

from firelog.errors import FirelogError, StoreError
from firelog.readings import Quality, Unit
from firelog.record import backup, driver, migrations
from firelog.record.examine import examine
from firelog.record.seal import seal
from firelog.record.store import Store
from firelog.record.verify import verify
from tests.record.test_export import exported
from tests.record.test_seal import LATER, SECOND, T0, add_night, content
from tests.record.test_traces import add_live, burnout, old_store

KILLS = 26  # of each of four kinds of work: more than a hundred in all

# One process forks a child for each job, so that a hundred kills cost no hundred starts.
JOBS = """
import os, sys
from pathlib import Path
from firelog.intake.file import importing, logfile
from firelog.record import backup
from firelog.record.store import Store
from tests.intake.file.bringing import store_file

def say(word):
    os.write(1, f"{word}\\n".encode())  # one write: two processes share the pipe

def move(path):
    with Store.open(path, write=True) as store:
        say("go")
        store.compact([1], 2**62)

def bring(path):
    importing.MOST_READINGS = 2_000  # several transactions for a small file
    with Store.open(path, write=True) as store:
        say("go")
        plan = logfile.examine(Path(path).with_suffix(".csv"), logfile.ImportOptions())
        store_file(store, plan, "shell kiln")

def copy(path):
    with Store.open(path) as store:
        say("go")
        backup.backup(store, Path(path).with_suffix(".backups"), 1_772_352_000_000_000)

def upgrade(path):
    say("go")
    Store.open(path, write=True).close()

for line in sys.stdin:
    job, path = line.rstrip("\\n").split("\\t")
    child = os.fork()
    if child == 0:
        globals()[job](path)
        os._exit(0)
    say(child)
    sys.stdin.readline()  # not reaped before that: its number stays its own until we are told
    say(f"done {os.waitpid(child, 0)[1]}")
"""


class Victims:
    """Starts jobs and kills them after a given time."""

    def __init__(self):
        self.process = subprocess.Popen(
            [sys.executable, "-c", JOBS],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
        )

    def run(self, job, path, after_s=None):
        """Run a job, killed ``after_s`` after it began; returns whether killed, and its time."""
        self.process.stdin.write(f"{job}\t{path}\n")
        self.process.stdin.flush()
        lines = {self.process.stdout.readline().strip() for _ in range(2)}
        child = int((lines - {"go"}).pop())
        began = time.monotonic()
        if after_s is not None:
            time.sleep(after_s)
            os.kill(child, signal.SIGKILL)
        self.process.stdin.write("reap\n")
        self.process.stdin.flush()
        word, status = self.process.stdout.readline().split()
        assert word == "done"
        return int(status) == signal.SIGKILL, time.monotonic() - began

    def close(self):
        """End the server."""
        self.process.stdin.close()
        self.process.wait()
        self.process.stdout.close()


@pytest.fixture(scope="module")
def victims():
    """A server of jobs to kill."""
    if not hasattr(os, "fork"):
        pytest.skip("needs fork")
    server = Victims()
    yield server
    server.close()


def sound(path):
    """Open a store after a kill and assert that nothing in it is wrong."""
    with Store.open(path, write=True) as store:
        assert list(examine(store)) == []


def kill(victims, job, prepare, check):
    """Kill a job on fresh stores at random instants, and check what each leaves behind.

    Goes on until :data:`KILLS` were killed before they ended.
    """
    whole_s = min(victims.run(job, prepare(f"whole {n}"))[1] for n in range(3))
    rng = np.random.default_rng(11)
    killed = 0
    for number in range(8 * KILLS):
        path = prepare(str(number))
        killed += victims.run(job, path, rng.uniform(0, whole_s))[0]
        check(path)
        if killed == KILLS:
            return
    pytest.fail(f"only {killed} of {8 * KILLS} were killed in time")


@pytest.mark.slow
def test_killed_moves_lose_and_double_nothing(victims, tmp_path):
    """kill -9 while rows become blocks: each reading is there exactly once."""
    first = tmp_path / "first.firelog"
    data = burnout(20_000)
    with Store.open(first, write=True) as store:
        store.ensure_channel("shell kiln", "top")
        add_live(store, *data)

    def prepare(name):
        return shutil.copy(first, tmp_path / f"{name}.firelog")

    def check(path):
        with Store.open(path) as store:
            trace = store.readings(1)
            assert trace.t_us.tolist() == data[0].tolist()
            np.testing.assert_array_equal(trace.value, data[1])
        sound(path)
        path.unlink()

    kill(victims, "move", prepare, check)


@pytest.mark.slow
def test_killed_imports_are_simply_started_again(victims, tmp_path):
    """kill -9 during an import: what is stored is right, and importing again completes it."""
    source = tmp_path / "source.firelog"
    with Store.open(source, write=True) as store:
        add_night(store)
        text = exported(store)
        whole = [store.readings(n) for n in (1, 2)]

    def prepare(name):
        path = tmp_path / f"{name}.firelog"
        path.with_suffix(".csv").write_text(text, encoding="utf-8", newline="")
        Store.open(path, write=True).close()
        return path

    def check(path):
        with Store.open(path) as store:
            for channel in store.channels():
                trace = store.readings(channel.id)
                expected = whole[0] if channel.name == "top" else whole[1]
                kept = np.isin(expected.t_us, trace.t_us)
                assert kept.sum() == len(trace)
                np.testing.assert_array_equal(trace.value, expected.value[kept])
        sound(path)
        assert victims.run("bring", path)[0] is False
        with Store.open(path) as store:
            got = {c.name: store.readings(c.id) for c in store.channels()}
        for name, expected in zip(("top", "core"), whole, strict=True):
            assert got[name].t_us.tolist() == expected.t_us.tolist()
            np.testing.assert_array_equal(got[name].value, expected.value)

    kill(victims, "bring", prepare, check)


@pytest.mark.slow
def test_killed_backups_leave_no_half_copy(victims, tmp_path):
    """kill -9 during a backup: what carries a backup's name is whole, the store as it was."""
    first = tmp_path / "first.firelog"
    with Store.open(first, write=True) as store:
        add_night(store)

    def prepare(name):
        path = tmp_path / f"{name}.firelog"
        path.with_suffix(".backups").mkdir()
        return shutil.copy(first, path)

    def check(path):
        for copy in path.with_suffix(".backups").glob("*.firelog"):
            assert backup.look_through(copy) == 4_000
        sound(path)
        with Store.open(path) as store:
            assert backup.backup(store, path.with_suffix(".backups"), LATER).readings == 4_000

    kill(victims, "copy", prepare, check)


@pytest.mark.slow
def test_killed_upgrades_are_done_by_the_next_opening(victims, tmp_path):
    """kill -9 while the schema changes: the store has the old one or the new, nothing between."""

    def prepare(name):
        path = tmp_path / f"{name}.firelog"
        old_store(path, 1)
        return path

    def check(path):
        connection = driver.connect(path, write=True)
        version = connection.execute("pragma user_version").fetchone()[0]
        tables = {row[0] for row in connection.execute("select name from sqlite_master").fetchall()}
        connection.close()
        assert ("blocks" in tables) == (version == migrations.SCHEMA)
        with Store.open(path, write=True) as store:
            assert [len(store.readings(c.id)) for c in store.channels()] == [90, 90, 90]
            assert len(store.events(store.firing("burnout 1"))) == 2
        sound(path)

    kill(victims, "upgrade", prepare, check)


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
import json, os, sys
from firelog.record.store import Store
from firelog.record.verify import verify
from firelog.errors import StoreError
from tests.intake.file.bringing import store_file
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
