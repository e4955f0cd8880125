"""Work on a store that can be killed: ``python -m tests.record.victims`` forks a child a job.

So hundreds of kills cost no hundreds of starts. :class:`Victims` is the other end of its pipes.
"""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import time
from pathlib import Path

from firelog.intake.file import block_buffer, logfile
from firelog.judge import again
from firelog.judge.again import judge_again
from firelog.readings import Quality, Unit
from firelog.record import backup, imports
from firelog.record.expiry import expire
from firelog.record.seal import seal
from firelog.record.store import Store
from tests.conftest import CHECKOUT
from tests.intake.file.bringing import store_file
from tests.record.test_seal import LATER, SECOND, T0

WHO = "Oda Brandvik"
SCANS = 200


def say(word):
    """Tell the parent; one write, because two processes share the pipe."""
    os.write(1, f"{word}\n".encode())


def collect(path):
    """Store scans as the collector does, and keep beside the store how many were acknowledged."""
    acknowledged = os.open(f"{path}.acknowledged", os.O_CREAT | os.O_WRONLY)
    with Store.open(path, write=True) as store:
        ids = [store.ensure_channel("shell kiln", f"tc {n}").id for n in range(4)]
        say("go")
        for scan in range(SCANS):
            t_us = T0 + scan * SECOND
            store.add_scan(t_us, [(c, 20.5 + scan % 50, Unit.C, Quality.OK) for c in ids])
            os.pwrite(acknowledged, f"{scan + 1:6d}".encode(), 0)
            if scan % 40 == 39:
                store.compact(ids, t_us - 10 * SECOND)
            if scan % 30 == 29:
                store.checkpoint()


def compact(path):
    """Move the live readings of the first channel into blocks."""
    with Store.open(path, write=True) as store:
        say("go")
        store.compact([1], 2**62)


def bring(path):
    """Import the file beside the store, in several transactions."""
    block_buffer.MOST_READINGS = 2_000
    with Store.open(path, write=True) as store:
        say("go")
        plan = logfile.examine(Path(path).with_suffix(".csv"), logfile.ImportOptions())
        store_file(store, plan, "shell kiln")


def withdraw(path):
    """Take the first import out again, whose readings are under a seal."""
    with Store.open(path, write=True) as store:
        say("go")
        imports.withdraw(store, 1, who=WHO, why="wrong file", now_us=LATER + 1, version="0.1")


def take_back(path):
    """Take the first import out again and judge anew the firing that stood on it."""
    with Store.open(path, write=True) as store:
        say("go")
        again.withdraw(store, 1, who=WHO, why="wrong file", now_us=LATER + 1)


def close(path):
    """Seal the night."""
    with Store.open(path, write=True) as store:
        say("go")
        seal(store, store.firing("night"), now_us=LATER, version="0.1", who=WHO)


def copy(path):
    """Make a backup."""
    with Store.open(path) as store:
        say("go")
        backup.backup(store, Path(path).with_suffix(".backups"), LATER)


def restore(path):
    """Put the copy beside the store in its place."""
    say("go")
    backup.restore(Path(path).with_name("copy.firelog"), Path(path), LATER, replace=True)


def remove(path):
    """Let the readings of the sealed night expire."""
    with Store.open(path, write=True) as store:
        say("go")
        expire(store, LATER, now_us=LATER + 1, who=WHO, rule="1 day", really=True, version="0.1")


def upgrade(path):
    """Bring a store of an earlier schema up to date."""
    say("go")
    Store.open(path, write=True).close()


def judge(path):
    """Judge the night anew, which marks it by an event and keeps the verdict."""
    with Store.open(path, write=True) as store:
        say("go")
        night = store.firing("night")
        judge_again(store, [night], now_us=LATER, kind="judged anew", text="x", who=WHO)


WORK = {
    one.__name__: one
    for one in (
        *(collect, compact, bring, withdraw, take_back, close),
        *(copy, restore, remove, upgrade, judge),
    )
}


def serve():
    """Fork a child for each job read from standard input."""
    for line in sys.stdin:
        job, path = line.rstrip("\n").split("\t")
        child = os.fork()
        if child == 0:
            WORK[job](path)
            os._exit(0)
        say(child)
        sys.stdin.readline()  # not reaped before that: its number stays its own until we are told
        say(f"done {os.waitpid(child, 0)[1]}")


class Victims:
    """Starts jobs and kills them after a given time."""

    def __init__(self):
        self.process = subprocess.Popen(
            [sys.executable, "-m", "tests.record.victims"],
            stdin=subprocess.PIPE,
            stdout=subprocess.PIPE,
            text=True,
            cwd=CHECKOUT,
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
        assert int(status) in (0, signal.SIGKILL)
        return int(status) == signal.SIGKILL, time.monotonic() - began

    def close(self):
        """End the server."""
        self.process.stdin.close()
        self.process.wait()
        self.process.stdout.close()


if __name__ == "__main__":
    serve()
