"""From a rehearsal over a real pseudo-terminal into a store: what was sent is what is kept."""

from __future__ import annotations

import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager
from pathlib import Path

import numpy as np
import pytest

from firelog.demo import firesim, kilnsim, pty_logger
from firelog.demo.firesim import Fault, Mishap, Scene
from firelog.demo.pty_logger import PtyLogger
from firelog.errors import SourceError, StoreError
from firelog.foundry import ChannelSpec, SourceSpec
from firelog.intake.clock import ArrivalClock
from firelog.intake.collect.collector import Collector, CollectorStatus
from firelog.intake.collect.feeds import Counts
from firelog.intake.collect.sources import make_source
from firelog.intake.fields import LineFault, Scan, Value
from firelog.intake.line.text import LineFormat, read_line
from firelog.intake.source import Heard
from firelog.readings import Quality, Role
from firelog.record.store import Store
from firelog.schedule.plan.model import Segment

START_US = 1_772_352_000_000_000
PLAN = (Segment("flash", 870.0, within_s=1200.0), Segment("hold", 870.0, hold_s=600.0))
needs_pty = pytest.mark.skipif(sys.platform == "win32", reason="no pseudo-terminals there")
PATIENCE_S = 60.0


class Run:
    """A collector in a thread of its own, with what it reported."""

    def __init__(self, store: Path, sources: list[object], **more: object) -> None:
        self.reports: list[CollectorStatus] = []
        self._arrived = threading.Condition()
        self._made = threading.Event()
        self.counts: dict[str, Counts] = {}
        self._thread = threading.Thread(target=self._run, args=(store, sources, more))
        self._thread.start()
        assert self._made.wait(PATIENCE_S)

    def _run(self, path: Path, sources: list[object], more: dict[str, object]) -> None:
        more.setdefault("clock", ArrivalClock())
        with Store.open(path, write=True) as store:
            self.collector = Collector(store, sources, report=self._hear, **more)  # type: ignore[arg-type]
            self._made.set()
            self.counts = self.collector.run()

    def _hear(self, report: CollectorStatus) -> None:
        with self._arrived:
            self.reports.append(report)
            self._arrived.notify_all()

    def until(self, seen: Callable[[list[CollectorStatus]], bool]) -> None:
        """Wait until the reports satisfy ``seen``."""
        with self._arrived:
            assert self._arrived.wait_for(lambda: seen(self.reports), PATIENCE_S), self.reports

    def stored(self) -> int:
        """Return how many scans are on the disk."""
        return sum(report.what == "stored" for report in self.reports)

    def end(self) -> dict[str, Counts]:
        """Stop it and return its counts."""
        self.collector.stop()
        self._thread.join(PATIENCE_S)
        assert not self._thread.is_alive()
        return self.counts


def said(what: str, times: int = 1) -> Callable[[list[CollectorStatus]], bool]:
    return lambda reports: sum(report.what == what for report in reports) >= times


def event_kinds(path: Path) -> list[str]:
    with Store.open(path) as store:
        rows = store.connection.execute("select kind from events order by id").fetchall()
    return [row[0] for row in rows]


@contextmanager
def running(store: Path, sources: list[object], **more: object) -> Iterator[Run]:
    run = Run(store, sources, **more)
    try:
        yield run
    finally:
        run.end()


# ---------------------------------------------------------------- over a real port
@needs_pty
def test_rehearsal_to_store(tmp_path: Path) -> None:
    """Every reading of a rehearsed firing is in the store, under its instant, none besides."""
    faults = (Fault(Mishap.UNPLUGGED, 600.0, 900.0, "mould"), Fault(Mishap.SILENCE, 1200.0, 1500.0))
    scene = Scene(kilnsim.shell_kiln(start_c=850.0), PLAN, faults, every_s=5.0)
    path = tmp_path / "a.firelog"
    with PtyLogger(pty_logger.lines(scene, START_US), factor=1e6) as speaker:
        spec = SourceSpec("logger", "gas kiln", speaker.path, columns=scene.names)
        channels = [ChannelSpec("mould", "gas kiln", Role.MOULD, "K")]
        with running(path, [make_source(spec, ArrivalClock())], channels=channels) as run:
            run.until(said("connected"))
            speaker.start()
            assert speaker.wait(PATIENCE_S)
            run.until(lambda _: run.stored() == speaker.sent)
    record = firesim.simulate(scene)
    assert run.counts["logger"] == Counts(scans=len(record.t_s), readings=3 * len(record.t_s))
    with Store.open(path) as store:
        kept = {channel.name: channel for channel in store.channels("gas kiln")}
        assert list(kept) == ["kiln top", "kiln bottom", "mould"]
        assert (kept["mould"].role, kept["mould"].letter) == (Role.MOULD, "K")
        for name, channel in kept.items():
            trace = store.readings(channel.id)
            assert ((trace.t_us - START_US) / 1e6).tolist() == record.t_s.tolist()
            assert trace.quality.tolist() == record.quality[name].tolist()
            assert np.array_equal(trace.value, record.values_c[name], equal_nan=True)
        told = store.connection.execute(
            "select t_us, kind, text from events where t_us < ? order by id",
            (START_US + 10**10,),
        ).fetchall()
    assert [((t_us - START_US) / 1e6, kind, text) for t_us, kind, text in told] == [
        (600.0, "thermocouple lost", "mould: open"),
        (900.0, "thermocouple back", "mould: good again after 5 min"),
    ]
    assert event_kinds(path)[0] == "collector started"
    assert event_kinds(path)[-1] == "collector stopped"


@needs_pty
def test_cable_pulled_and_plugged(tmp_path: Path) -> None:
    """A port that goes and comes back is one outage with start and end; reading goes on."""
    path, link = tmp_path / "a.firelog", tmp_path / "kiln-port"
    first = [(0.0, b"kiln=100\n"), (0.0, b"kiln=101\n")]
    with PtyLogger(first, link=link) as speaker:
        spec = SourceSpec("logger", "kiln", str(link), format="pairs", columns=("kiln",))
        with running(path, [make_source(spec, ArrivalClock())]) as run:
            run.until(said("connected"))
            speaker.start()
            run.until(said("stored", 2))
            speaker.unplug()
            run.until(said("lost"))
            speaker.plug()
            run.until(said("connected", 2))
            speaker.say(b"\nkiln=102\n")
            run.until(said("stored", 3))
    assert (run.counts["logger"].outages, run.counts["logger"].readings) == (1, 3)
    assert event_kinds(path) == [
        "collector started", "source lost", "source back", "collector stopped",
    ]  # fmt: skip


@needs_pty
def test_command_stopped_by_signal(tmp_path: Path) -> None:
    """``firelog collect`` ends on SIGTERM with status 0 and all it had heard in the store."""
    store, foundry = tmp_path / "a.firelog", tmp_path / "foundry.toml"
    lines = [(n * 0.001, f"{START_US + n},{100 + n}\n".encode()) for n in range(200)]
    with PtyLogger(lines) as speaker:
        foundry.write_text(
            f'[[source]]\nname = "logger"\nkiln = "kiln"\nport = "{speaker.path}"\n'
            'columns = ["time", "top"]\n'
        )
        command = [sys.executable, "-m", "firelog", "--store", store, "--foundry", foundry]
        with subprocess.Popen(
            [*command, "collect", "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE
        ) as process:
            assert process.stderr is not None
            while b"connected: logger" not in process.stderr.readline():
                assert process.poll() is None
            speaker.start()
            assert speaker.wait(PATIENCE_S)
            while _kept_rows(store) < 200:
                time.sleep(0.05)
            process.send_signal(signal.SIGTERM)
            answer, _ = process.communicate(timeout=PATIENCE_S)
    assert process.returncode == 0
    assert b'"readings": 200' in answer
    with Store.open(store) as reader:
        trace = reader.readings(reader.channels()[0].id)
    assert trace.value.tolist() == [100.0 + n for n in range(200)]


def _kept_rows(path: Path) -> int:
    with Store.open(path) as store:
        row = store.connection.execute("select count(*) from readings").fetchone()
    return int(row[0])


def test_command_without_a_port(tmp_path: Path) -> None:
    """With no port to hear, ``firelog collect`` names file, line and remedy and touches nothing."""
    store, foundry = tmp_path / "a.firelog", tmp_path / "foundry.toml"
    foundry.write_text(
        '[[source]]\nname = "logger"\nkiln = "kiln"\nport = "/dev/ttyUSB987"\ncolumns = ["top"]\n'
    )
    command = [sys.executable, "-m", "firelog", "--store", store, "--foundry", foundry, "collect"]
    done = subprocess.run(command, capture_output=True, text=True, check=False)
    assert done.returncode == 2
    assert f"{foundry}, line 4: source 'logger': /dev/ttyUSB987: there is no such" in done.stderr
    assert "Traceback" not in done.stderr
    assert not store.exists()


# ---------------------------------------------------------------- with a source that does as told
class Told:
    """A source that says what the test puts into it, and fails when the test says so."""

    def __init__(self, *batches: list[Heard] | SourceError | RuntimeError) -> None:
        self.spec = SourceSpec("told", "kiln", "nowhere", columns=("top",))
        self.channels = (ChannelSpec("top", "kiln"),)
        self._batches = list(batches)
        self.held: list[Heard] = []

    def open(self) -> None:
        """Be open."""

    def listen(self) -> list[Heard]:
        """Return or raise what comes next, then be silent."""
        if not self._batches:
            time.sleep(0.01)
            return []
        batch = self._batches.pop(0)
        if isinstance(batch, Exception):
            raise batch
        return batch

    def rest(self) -> list[Heard]:
        """Return what was held back."""
        return self.held

    def close(self) -> None:
        """Be closed."""


def heard(value: float, t_us: int | None = None, at_us: int = START_US) -> Heard:
    return Heard(at_us, Scan(t_us, (Value("top", value),)))


def kept(path: Path) -> list[tuple[int, float]]:
    with Store.open(path) as store:
        trace = store.readings(store.channels()[0].id)
    return list(zip((trace.t_us - START_US).tolist(), trace.value.tolist(), strict=True))


def collect(path: Path, *batches: list[Heard] | SourceError | RuntimeError, scans: int) -> Counts:
    with running(path, [Told(*batches)]) as run:
        run.until(lambda _: run.stored() >= scans)
        run.until(lambda _: not run.collector._feeds["told"].source._batches)  # type: ignore[attr-defined]
    return run.counts["told"]


def test_arrivals_in_one_burst(tmp_path: Path) -> None:
    """Lines that arrive in the same microsecond keep their order, each with its own instant."""
    path = tmp_path / "a.firelog"
    counts = collect(path, [heard(1.0), heard(2.0), heard(3.0)], scans=3)
    assert kept(path) == [(0, 1.0), (1, 2.0), (2, 3.0)]
    assert counts.readings == 3


def test_repeated_and_late_lines(tmp_path: Path) -> None:
    """A line sent twice is counted once; a late one is kept in its place and counted."""
    path = tmp_path / "a.firelog"
    lines = [heard(v, START_US + t) for v, t in [(1.0, 0), (2.0, 2), (2.0, 2), (1.5, 1), (1.0, 0)]]
    counts = collect(path, lines, scans=4)
    assert kept(path) == [(0, 1.0), (1, 1.5), (2, 2.0)]
    assert (counts.readings, counts.duplicates, counts.out_of_order) == (3, 2, 2)


def test_stamps_of_whole_seconds(tmp_path: Path) -> None:
    """Ten readings a second under stamps of whole seconds are ten readings, in their order."""
    path = tmp_path / "a.firelog"
    lines = [heard(float(n), START_US, START_US + n * 100_000) for n in range(10)]
    lines.append(heard(10.0, START_US + 1_000_000, START_US + 1_000_000))
    counts = collect(path, lines, scans=11)
    assert kept(path) == [(n * 100_000, float(n)) for n in range(11)]
    assert (counts.duplicates, counts.out_of_order) == (0, 0)


def test_what_was_held_back_is_told_at_the_end(tmp_path: Path) -> None:
    """Lines that waited for others like them when collecting stops are counted, not forgotten."""
    path = tmp_path / "a.firelog"
    source = Told([heard(1.0)])
    source.held = [Heard(START_US, LineFault("stands alone amid noise", "7,3"))]
    with running(path, [source]) as run:
        run.until(lambda _: run.stored() >= 1)
    assert run.counts["told"].faults == 1
    assert "lines not understood" in event_kinds(path)


def test_faulty_lines_are_counted(tmp_path: Path) -> None:
    """A hundred lines of noise are a hundred faults and one event; the reading among them stays."""
    path = tmp_path / "a.firelog"
    noise = [Heard(START_US, LineFault("noise", "%%"))] * 100
    counts = collect(path, [*noise, heard(1.0)], scans=1)
    assert (counts.faults, kept(path)) == (100, [(0, 1.0)])
    assert event_kinds(path).count("lines not understood") == 1


@pytest.mark.parametrize("error", [SourceError("gone"), RuntimeError("a bug")])
def test_source_that_fails(tmp_path: Path, error: SourceError | RuntimeError) -> None:
    """Whatever a source raises, it is opened again, and the outage is in the record."""
    path = tmp_path / "a.firelog"
    counts = collect(path, [heard(1.0)], error, [heard(2.0)], scans=2)
    assert [value for _, value in kept(path)] == [1.0, 2.0]
    assert counts.outages == 1
    assert event_kinds(path)[1:3] == ["source lost", "source back"]


def test_too_many_names(tmp_path: Path) -> None:
    """Noise that reads like names fills no record: past 64 channels a source makes no more."""
    path = tmp_path / "a.firelog"
    scans = [Heard(START_US + n, Scan(None, (Value(f"n{n}", 1.0),))) for n in range(100)]
    counts = collect(path, scans, scans=63)
    with Store.open(path) as store:
        assert len(store.channels()) == 64
    assert counts.faults == 37


def test_silence_is_told(tmp_path: Path) -> None:
    """A port that stays open and says nothing is told, and so is its first word after that."""
    path, source = tmp_path / "a.firelog", Told()
    source.spec = SourceSpec("told", "kiln", "x", columns=("top",), options={"silent_after": 0.5})
    with running(path, [source]) as run:
        run.until(lambda reports: any("source silent" in report.text for report in reports))
        source._batches.append([heard(1.0)])
        run.until(said("stored"))
    assert event_kinds(path)[1:3] == ["source silent", "source back"]


def test_gibberish_is_not_called_silence(tmp_path: Path) -> None:
    """A source that says only what is not understood is told as that, not as silent."""
    path, source = tmp_path / "a.firelog", Told()
    source.spec = SourceSpec("told", "kiln", "x", columns=("top",), options={"silent_after": 0.5})
    source._batches.append([Heard(START_US, LineFault("noise", "%%"))])
    with running(path, [source]) as run:
        run.until(lambda reports: any("source silent" in report.text for report in reports))
    assert any("nothing that is understood" in report.text for report in run.reports)


def test_open_thermocouple_is_kept(tmp_path: Path) -> None:
    """An open thermocouple is a reading without a value and with the quality open."""
    path = tmp_path / "a.firelog"
    scan = Scan(None, (Value("top", None, quality=Quality.OPEN),))
    collect(path, [Heard(START_US, scan)], scans=1)
    with Store.open(path) as store:
        trace = store.readings(store.channels()[0].id)
    assert np.isnan(trace.value).tolist() == [True]
    assert trace.quality.tolist() == [Quality.OPEN]


def test_store_replaced_meanwhile(tmp_path: Path) -> None:
    """A store put in the place of the one being written ends collecting, with a sentence."""
    path, other = tmp_path / "a.firelog", tmp_path / "b.firelog"
    Store.open(other, write=True).close()
    with Store.open(path, write=True) as store:
        collector = Collector(
            store, [Told([heard(1.0)])], clock=ArrivalClock(), report=lambda _: None
        )
        timer = threading.Timer(0.5, lambda: other.replace(path))
        timer.start()
        with pytest.raises(StoreError, match="replaced"):
            collector.run()
        timer.join()


@pytest.mark.skipif(os.name != "posix", reason="an open file cannot be deleted here")
@pytest.mark.parametrize("endings", [("-wal",), ("-shm",), ("-wal", "-shm")])
def test_log_deleted_meanwhile(tmp_path: Path, endings: tuple[str, ...]) -> None:
    """A write-ahead log deleted under a collector is told of at the next scan, and nothing lost."""
    path, told = tmp_path / "a.firelog", Told([heard(float(n), START_US + n) for n in range(20)])
    with running(path, [told]) as run:
        run.until(said("stored", 20))
        for ending in endings:
            path.with_name(path.name + ending).unlink()
        told._batches.append([heard(20.0, START_US + 20)])
        run.until(lambda reports: any("store log went away" in one.text for one in reports))
        assert run.stored() <= 22
        told._batches.append([heard(21.0, START_US + 21)])
        run.until(lambda _: run.stored() == 22)
        # As a kill now would leave it: the files under their names, copied by another process.
        copies = [sys.executable, "-c", "import shutil, sys; shutil.copytree(*sys.argv[1:])"]
        killed = tmp_path.with_name(tmp_path.name + "-killed")
        subprocess.run([*copies, tmp_path, killed], check=True)
    assert [value for _, value in kept(killed / path.name)] == [float(n) for n in range(22)]


@pytest.mark.skipif(os.name != "posix", reason="a folder in use cannot be moved here")
def test_folder_moved_meanwhile(tmp_path: Path) -> None:
    """A folder that goes away with the store ends collecting, with a sentence."""
    folder = tmp_path / "card"
    folder.mkdir()
    with Store.open(folder / "a.firelog", write=True) as store:
        collector = Collector(
            store, [Told([heard(1.0)])], clock=ArrivalClock(), report=lambda _: None
        )
        timer = threading.Timer(0.5, lambda: folder.rename(tmp_path / "gone"))
        timer.start()
        with pytest.raises(StoreError, match="its folder"):
            collector.run()
        timer.join()


def test_one_bad_entry_stops_nobody(tmp_path: Path) -> None:
    """A scan that can never be stored is left out and counted; all others are stored."""
    path = tmp_path / "a.firelog"
    scans = [heard(float(n), START_US + n) for n in range(20)]
    scans[7] = heard(1.0, 2**70, at_us=2**70)
    with running(path, [Told(scans)]) as run:
        run.until(said("stored", 19))
    assert [value for _, value in kept(path)] == [float(n) for n in range(20) if n != 7]
    assert run.counts["told"].dropped == 1


def test_one_bad_field_and_a_clock_ahead(tmp_path: Path) -> None:
    """A field nobody knows costs its channel and is told; a clock ahead gives way, told once."""
    path = tmp_path / "a.firelog"
    form = LineFormat(columns=("time", "top", "mould"))
    lines = [b"%d,871.%d,Sensor?" % (1_774_944_000 + n, n) for n in range(5)]
    scans = [Heard(START_US + n * 10**6, read_line(line, form)) for n, line in enumerate(lines)]
    with running(path, [Told(scans)]) as run:
        run.until(said("stored", 5))
    assert kept(path) == [(n * 10**6, 871.0 + n / 10) for n in range(5)]
    assert run.counts["told"].faults == 5
    kinds = event_kinds(path)
    assert (kinds.count("source clock"), kinds.count("lines not understood")) == (1, 1)
