"""Kill it, fill its disk, turn its clock: what was acknowledged is kept, and nothing is made up."""

from __future__ import annotations

import multiprocessing as mp
import os
import random
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Iterator
from contextlib import contextmanager
from itertools import pairwise
from multiprocessing.connection import Connection
from pathlib import Path

import pytest

from firelog.demo.pty_logger import PtyLogger
from firelog.errors import PortTakenError
from firelog.foundry import SourceSpec
from firelog.intake import clock as arrival_clock
from firelog.intake.clock import ArrivalClock
from firelog.intake.collect import feeds
from firelog.intake.collect.collector import Collector, CollectorStatus
from firelog.intake.collect.sources import make_source
from firelog.intake.fields import LineFault, Scan, Value
from firelog.intake.line.source import line_format
from firelog.intake.line.text import read_line
from firelog.intake.source import Heard
from firelog.record.store import Store
from tests.intake.collect.test_collector import (
    START_US,
    Run,
    Told,
    event_kinds,
    heard,
    running,
    said,
)

pytestmark = [
    pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there"),
    pytest.mark.timeout(300),
]


# ---------------------------------------------------------------- killed
def _collect_until_killed(store_path: Path, port: str, wire: Connection) -> None:
    """Collect for ever; send the instant of each scan as soon as it is reported durable."""
    clock = ArrivalClock()

    def hear(report: CollectorStatus) -> None:
        if report.what == "connected":
            wire.send(-1)
        elif report.what == "stored":
            wire.send(report.t_us)

    source = make_source(SourceSpec("box", "kiln", port, columns=("a", "b")), clock)
    with Store.open(store_path, write=True) as store:
        Collector(store, [source], clock=clock, report=hear).run()


def _numbered(first: int) -> Iterator[tuple[float, bytes]]:
    for number in range(first, first + 1_000_000):
        yield 0.0, f"{START_US + number},{number % 1000},{number % 777}\n".encode()


def _acknowledged(wire: Connection) -> list[int]:
    """Return all instants acknowledged until the other end is dead."""
    acknowledged = []
    while True:
        try:
            acknowledged.append(wire.recv())
        except (EOFError, OSError):
            return acknowledged


@pytest.mark.parametrize("times", [3, pytest.param(50, marks=pytest.mark.slow)])
def test_killed_under_load(tmp_path: Path, times: int) -> None:
    """Killed at random instants, all acknowledged scans are in the store, and it is whole."""
    context = mp.get_context("forkserver")
    context.set_forkserver_preload([__name__])
    dice, path, total = random.Random(times), tmp_path / "a.firelog", 0
    for round_ in range(times):
        ours, theirs = context.Pipe(duplex=False)
        with PtyLogger(_numbered(round_ * 1_000_000), settle_s=0.0) as speaker:
            child = context.Process(target=_collect_until_killed, args=(path, speaker.path, theirs))
            child.start()
            theirs.close()
            assert ours.recv() == -1
            speaker.start()
            acknowledged = [ours.recv()]
            killer = threading.Timer(0.05 + dice.uniform(0.0, 0.3), child.kill)
            killer.start()
            acknowledged += _acknowledged(ours)
            killer.join()
            child.join()
            assert child.exitcode == -signal.SIGKILL
        total += len(acknowledged)
        with Store.open(path) as store:
            assert store.connection.execute("pragma integrity_check").fetchone()[0] == "ok"
            for channel, modulus in zip(store.channels("kiln"), (1000, 777), strict=True):
                trace = store.readings(channel.id, START_US + round_ * 1_000_000)
                numbers = (trace.t_us - START_US).tolist()
                assert set(acknowledged) <= set(trace.t_us.tolist())
                assert trace.value.tolist() == [float(number % modulus) for number in numbers]
                assert numbers == list(range(round_ * 1_000_000, numbers[-1] + 1))
    assert total > 20 * times
    print(f"{times} kills, {total} acknowledged scans, none lost")


# ---------------------------------------------------------------- disk full
@contextmanager
def small_disk(folder: Path) -> Iterator[Path]:
    """Mount two megabytes of memory as a disk; needs root."""
    folder.mkdir()
    command = ["mount", "-t", "tmpfs", "-o", "size=2m", "tmpfs", str(folder)]
    try:
        done = subprocess.run(command, capture_output=True, check=False)
    except FileNotFoundError:
        pytest.skip("there is no mount command here")
    if done.returncode:
        pytest.skip("mounting a small disk needs root")
    try:
        yield folder
    finally:
        subprocess.run(["umount", "-l", str(folder)], check=True)


def fill(folder: Path) -> Path:
    """Fill the disk to the last byte."""
    filler = folder / "filler"
    with filler.open("wb", buffering=0) as file:
        for size in (65536, 1024, 1):
            try:
                while True:
                    file.write(b"x" * size)
            except OSError:
                continue
    return filler


def _speak(source: Told, first: int, count: int) -> None:
    batch = [
        Heard(START_US, Scan(START_US + n, (Value("top", float(n)),)))
        for n in range(first, first + count)
    ]
    source._batches.append(batch)


def test_disk_full_and_free_again(tmp_path: Path) -> None:
    """With the disk full readings wait in memory; when space returns they are stored in order."""
    with small_disk(tmp_path / "disk") as disk:
        path, source = disk / "a.firelog", Told()
        with running(path, [source]) as run:
            _speak(source, 0, 5)
            run.until(said("stored", 5))
            filler = fill(disk)
            for first in range(5, 2005, 100):
                _speak(source, first, 100)
            run.until(said("refused"))
            stored = run.stored()
            filler.unlink()
            run.until(said("stored", 2005))
        assert stored < 2005
        assert run.counts["told"].dropped == 0
        with Store.open(path) as store:
            assert store.connection.execute("pragma integrity_check").fetchone()[0] == "ok"
            trace = store.readings(store.channels()[0].id)
        assert (trace.t_us - START_US).tolist() == list(range(2005))
        kinds = event_kinds(path)
        assert kinds.index("store refused") < kinds.index("store back")
        assert "disk is full" in run.reports[[r.what for r in run.reports].index("refused")].text


def test_memory_is_bounded(tmp_path: Path) -> None:
    """Past its bound the memory takes no more; the loss is counted and told, the rest is kept."""
    with small_disk(tmp_path / "disk") as disk:
        path, source = disk / "a.firelog", Told()
        with running(path, [source], queued=50) as run:
            _speak(source, 0, 1)
            run.until(said("stored"))
            filler = fill(disk)
            for first in range(1, 1001, 100):
                _speak(source, first, 100)
            run.until(said("refused"))
            run.until(lambda _: run.collector.counts()["told"].dropped > 0)
            _wait_until_taken(run, source)
            filler.unlink()
            run.until(lambda reports: any("store back" in report.text for report in reports))
        counts = run.counts["told"]
        assert counts.scans + counts.dropped == 1001
        assert counts.dropped > 0
        back = next(report.text for report in run.reports if "store back" in report.text)
        assert f"{counts.dropped} scans found no room" in back


def _wait_until_taken(run: Run, source: Told) -> None:
    while source._batches or not run.collector._said.empty():
        time.sleep(0.02)


# ---------------------------------------------------------------- clocks
def test_clock_turned_while_collecting(tmp_path: Path, monkeypatch) -> None:
    """A wall clock set back an hour and forward again reorders and overwrites nothing."""
    monkeypatch.setattr(arrival_clock, "STANDS_S", 1.0)  # a jump is believed after a second
    turned_ns = [0]
    clock = ArrivalClock(wall_ns=lambda: time.time_ns() + turned_ns[0])
    path = tmp_path / "a.firelog"
    spoken = [b"1\n", b"2\n", b"3\n"]

    def stepped(times: int) -> None:
        def seen(reports: list[CollectorStatus]) -> bool:
            return sum("clock stepped" in report.text for report in reports) >= times

        run.until(seen)

    with PtyLogger([]) as speaker:
        spec = SourceSpec("box", "kiln", speaker.path, columns=("top",))
        with running(path, [make_source(spec, clock)], clock=clock) as run:
            run.until(said("connected"))
            speaker.say(b"\n" + spoken[0])
            run.until(said("stored", 1))
            turned_ns[0] = -3_600_000_000_000
            stepped(1)
            speaker.say(spoken[1])
            run.until(said("stored", 2))
            turned_ns[0] = 7_200_000_000_000
            stepped(2)
            speaker.say(spoken[2])
            run.until(said("stored", 3))
    with Store.open(path) as store:
        trace = store.readings(store.channels()[0].id)
    assert trace.value.tolist() == [1.0, 2.0, 3.0]
    first_s, second_s = (later - earlier for earlier, later in pairwise(trace.t_us / 1e6))
    assert 0 < first_s < 60
    assert 7200 < second_s < 7260


# ---------------------------------------------------------------- a bad line
def test_noise_on_the_wire(tmp_path: Path) -> None:
    """Megabytes of noise between good lines cost no good line and bring no made-up one."""
    noise = random.Random(4).randbytes(300_000)
    path = tmp_path / "a.firelog"
    lines = []
    for number in range(30):
        lines.append((0.0, noise[number * 10_000 : (number + 1) * 10_000] + b"\n"))
        lines.append((0.0, f"t={START_US + number};top={number}.5C\n".encode()))
    with PtyLogger(lines) as speaker:
        spec = SourceSpec("box", "kiln", speaker.path, format="pairs", columns=("top",))
        with running(path, [make_source(spec, ArrivalClock())]) as run:
            run.until(said("connected"))
            speaker.start()
            assert speaker.wait(60)
            run.until(said("stored", 30))
    with Store.open(path) as store:
        trace = store.readings(store.channels()[0].id)
    assert trace.value.tolist() == [number + 0.5 for number in range(30)]
    assert run.counts["box"].faults > 1000


def test_stopped_and_continued(tmp_path: Path) -> None:
    """A collector stopped by SIGSTOP for a while goes on where it was, in order."""
    context = mp.get_context("forkserver")
    context.set_forkserver_preload([__name__])
    path = tmp_path / "a.firelog"
    ours, theirs = context.Pipe(duplex=False)
    lines = [(0.0, f"{START_US + n},{n},{n}\n".encode()) for n in range(3000)]
    with PtyLogger(lines) as speaker:
        child = context.Process(target=_collect_until_killed, args=(path, speaker.path, theirs))
        child.start()
        assert ours.recv() == -1
        speaker.start()
        assert child.pid is not None
        for number in range(3000):
            ours.recv()
            if number in (500, 1500):
                os.kill(child.pid, signal.SIGSTOP)
                time.sleep(0.3)
                os.kill(child.pid, signal.SIGCONT)
        child.kill()
        child.join()
    with Store.open(path) as store:
        trace = store.readings(store.channels()[0].id)
    assert trace.value.tolist() == [float(n) for n in range(3000)]


def test_reader_that_never_ends(tmp_path: Path) -> None:
    """A reader that keeps an old view open makes the log grow; that is told, nothing is lost."""
    path, source = tmp_path / "a.firelog", Told()
    with running(path, [source], large_log_bytes=100_000) as run:
        _speak(source, 0, 1)
        run.until(said("stored"))
        with Store.open(path) as reader:
            reader.connection.execute("begin")
            reader.connection.execute("select count(*) from readings").fetchone()
            for first in range(1, 5_001, 500):
                _speak(source, first, 500)
            run.until(lambda reports: any("store log grows" in r.text for r in reports))
        run.until(said("stored", 5_001))
    assert run.counts["told"].readings == 5_001


# ---------------------------------------------------------------- bounded
def test_a_flooding_source_is_thinned_and_told(tmp_path: Path, monkeypatch) -> None:
    """What comes faster than it can be stored is dropped and counted; memory does not grow."""
    monkeypatch.setattr(feeds, "MOST_WAITING", 50)
    path = tmp_path / "a.firelog"
    flood = [heard(float(n)) for n in range(5_000)]
    with running(path, [Told(flood)]) as run:
        run.until(lambda reports: any("faster than" in report.text for report in reports))
        dropped = run.collector.counts()["told"].dropped
    assert 0 < dropped < 5_000


def test_a_pattern_that_runs_away_stops_nobody() -> None:
    """Nested repeats and a line of noise cost a twentieth of a second, not the night."""
    spec = SourceSpec(
        "box", "kiln", "x", format="pattern", options={"pattern": r"T=(?P<top>(?:[0-9]+\.?)+)$"}
    )
    began = time.monotonic()
    said = read_line(b"T=" + b"1" * 60 + b"x", line_format(spec))
    assert time.monotonic() - began < 5.0  # without a limit: years
    assert isinstance(said, LineFault)
    good = read_line(b"T=871.25", line_format(spec))
    assert isinstance(good, Scan)


def test_a_taken_port_is_refused_without_a_word_in_the_record(tmp_path: Path) -> None:
    """A second collector on the same port gives up, and the firing's record stays clean."""
    path = tmp_path / "a.firelog"
    with PtyLogger([]) as speaker:
        spec = SourceSpec("box", "kiln", speaker.path, columns=("top",))
        first = make_source(spec, ArrivalClock())
        first.open()
        with Store.open(path, write=True) as store:
            second = Collector(
                store, [make_source(spec, ArrivalClock())], clock=ArrivalClock(), stop_if_taken=True
            )
            with pytest.raises(PortTakenError, match="another program has this port open"):
                second.run()
        first.close()
    assert event_kinds(path) == []
