"""The watch and the collector as real processes: killed, stopped in their tracks, started again."""

from __future__ import annotations

import contextlib
import itertools
import os
import signal
import subprocess
import sys
import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

import pytest

from firelog.demo.pty_logger import PtyLogger
from firelog.record import alarms, outbox
from firelog.record.store import Store
from firelog.units import iso_utc
from firelog.watch.run.supervisor import Supervisor
from tests.watch.conftest import Hook

pytest.importorskip("pty")
pytestmark = pytest.mark.skipif(not Path("/proc/self").exists(), reason="needs Linux")

PATIENCE_S = 90.0


def wait(until: Callable[[], bool], what: str) -> None:
    """Wait until something is the case; fail with what it was when it never is."""
    end_s = time.monotonic() + PATIENCE_S
    while time.monotonic() < end_s:
        if until():
            return
        time.sleep(0.1)
    pytest.fail(f"never happened: {what}")


def now_us() -> int:
    return time.time_ns() // 1000


class Talker:
    """A logger on a pseudo-terminal that says 500 °C twice a second for as long as it lives."""

    def __init__(self, folder: Path) -> None:
        self.speaker = PtyLogger((), link=folder / "port")
        self._stop = threading.Event()
        self._thread = threading.Thread(target=self._talk, daemon=True)
        self._thread.start()

    def _talk(self) -> None:
        while not self._stop.wait(0.5):
            if self.speaker.listener():
                self.speaker.say(f"{iso_utc(now_us())},500.{now_us() % 10}\n".encode())

    def stop(self) -> None:
        """Fall silent."""
        self._stop.set()
        self._thread.join()
        self.speaker.stop()


@pytest.fixture
def talker(tmp_path: Path) -> Iterator[Talker]:
    """A logger that talks."""
    made = Talker(tmp_path)
    yield made
    made.stop()


@pytest.fixture
def house(tmp_path: Path, talker: Talker, hook: Hook) -> tuple[Path, Path]:
    """A foundry file with this logger and one person, and a store with a running firing."""
    foundry, store = tmp_path / "foundry.toml", tmp_path / "house.firelog"
    foundry.write_text(
        f"""
[watch]
heartbeat = "http://127.0.0.1:{hook.port}/beat"
[[person]]
name = "Ines"
ways = ["json://127.0.0.1:{hook.port}/call"]
[[source]]
name = "box"
kiln = "kiln one"
port = "{talker.speaker.path}"
columns = ["time", "top"]
"""
    )
    with Store.open(store, write=True) as made:
        made.add_firing("cup", "kiln one", began_us=now_us())
    return foundry, store


@contextlib.contextmanager
def running(house: tuple[Path, Path], *arguments: str) -> Iterator[subprocess.Popen[bytes]]:
    """Run a command of ours in a process of its own, and end it."""
    foundry, store = house
    command = [sys.executable, "-W", "ignore", "-m", "firelog", "--foundry", str(foundry)]
    process = subprocess.Popen([*command, "--store", str(store), *arguments])
    try:
        yield process
    finally:
        process.terminate()
        process.wait(PATIENCE_S)


def child_of(process: subprocess.Popen[bytes]) -> int | None:
    """Return the number of a process's first child."""
    path = Path(f"/proc/{process.pid}/task/{process.pid}/children")
    found = path.read_text().split()
    return int(found[0]) if found else None


def newest_us(store: Path) -> int:
    with Store.open(store) as opened:
        return opened.newest_us("kiln one") or 0


def event_kinds(store: Path) -> list[str]:
    with Store.open(store) as opened:
        return [event.kind for event in opened.events_after(0)]


@pytest.mark.slow
def test_a_killed_collector_is_started_again_and_calls_nobody(
    house: tuple[Path, Path], hook: Hook
) -> None:
    """kill -9: an event, a new collector within seconds, readings go on, no call."""
    _, store = house
    with running(house, "watch", "run", "--collect") as watch:
        wait(lambda: newest_us(store) > 0, "a first reading")
        first = child_of(watch)
        assert first is not None
        os.kill(first, signal.SIGKILL)
        killed_us = now_us()
        wait(lambda: child_of(watch) not in (None, first), "a new collector")
        wait(lambda: newest_us(store) > killed_us, "a reading after the kill")
        wait(lambda: "collector died" in event_kinds(store), "the event")
        wait(lambda: "/beat" in hook.got, "a heartbeat")
    assert hook.posted == []
    assert watch.returncode == 0
    assert {"watch started", "watch stopped"} <= set(event_kinds(store))


@pytest.mark.slow
def test_a_dead_collector_that_nobody_restarts_is_called_out(
    house: tuple[Path, Path], hook: Hook
) -> None:
    """The watch alone: it sees in the store that nothing is recorded, and says who is to blame."""
    pytest.importorskip("apprise")
    _, store = house
    with running(house, "watch", "run"), running(house, "collect") as collector:
        wait(lambda: newest_us(store) > 0, "a first reading")
        collector.kill()
        wait(lambda: bool(hook.posted), "a call")
    assert len(hook.posted) == 1
    assert "the collector does not run" in hook.posted[0]["message"]
    with Store.open(store) as opened:
        (one,) = alarms.standing(opened)
        assert (one.kind, one.firing) == ("no readings", "cup")


def outcomes(store: Path) -> list[str | None]:
    """Return what became of the calls for what stands."""
    with Store.open(store) as opened:
        numbers = [one.id for one in alarms.standing(opened)]
        return [call.outcome for call in outbox.calls_for(opened, numbers)]


@pytest.mark.slow
def test_a_watch_killed_while_nothing_can_be_sent_delivers_after_its_restart(
    house: tuple[Path, Path], hook: Hook
) -> None:
    """kill -9 of the watch, with the far end refusing: the next watch delivers that very call."""
    pytest.importorskip("apprise")
    _, store = house
    hook.status = 503

    def refused() -> bool:
        with Store.open(store) as opened:
            calls = outbox.open_calls(opened)
            return bool(calls) and len(outbox.attempts(opened, calls[0].id)) > 0

    with running(house, "collect") as collector:
        with running(house, "watch", "run") as watch:
            wait(lambda: newest_us(store) > 0, "a first reading")
            collector.kill()
            wait(refused, "a refused try")
            watch.kill()
        hook.posted.clear()
        hook.status = 200
        with running(house, "watch", "run"):
            wait(lambda: outcomes(store) == ["delivered"], "the call after the restart")
    assert len(hook.posted) == 1
    assert "Alarm 1, call 1." in hook.posted[0]["message"]


@pytest.mark.slow
def test_a_collector_stopped_in_its_tracks_is_killed_and_started_again(
    house: tuple[Path, Path], tmp_path: Path
) -> None:
    """SIGSTOP: it lives but says nothing; after the limit it is killed and another one records."""
    foundry, store = house
    told: list[str] = []
    command = [sys.executable, "-m", "firelog", "--foundry", str(foundry), "--store", str(store)]
    supervisor = Supervisor(
        [*command, "collect", "--quiet"],
        lambda kind, text: told.append(f"{kind}: {text}"),
        time.monotonic,
        hung_s=4.0,
    )

    def reading_after(t_us: int) -> bool:
        supervisor.look()
        return newest_us(store) > t_us

    try:
        wait(lambda: reading_after(0), "a first reading")
        first = supervisor.pid
        assert first is not None
        os.kill(first, signal.SIGSTOP)
        stopped_us = now_us()
        wait(lambda: reading_after(stopped_us + 1_000_000), "a reading by another collector")
        assert supervisor.pid != first
        assert [one.split(":")[0] for one in told] == ["collector hung"]
    finally:
        supervisor.stop()


def test_a_collector_that_ends_at_once_is_not_started_without_pause() -> None:
    """A broken foundry file must not spin: pauses of 1, 2, 4 … s between starts."""
    at_s = [0.0]
    told: list[str] = []
    supervisor = Supervisor(
        [sys.executable, "-c", ""], lambda k, _: told.append(k), lambda: at_s[0]
    )
    starts, last = [], None
    try:
        for _ in range(600):
            supervisor.look()
            if supervisor.pid is not None and supervisor.pid != last:
                last = supervisor.pid
                starts.append(at_s[0])
            if supervisor._process is not None:
                supervisor._process.wait(10.0)
            at_s[0] += 0.1
    finally:
        supervisor.stop()
    gaps = [later - first for first, later in itertools.pairwise(starts)]
    assert len(gaps) >= 4
    assert all(later > 1.5 * first for first, later in itertools.pairwise(gaps))
    assert set(told) == {"collector died"}
