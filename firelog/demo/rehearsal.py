"""The night that is now: a simulated kiln speaks over a real line, and a collector listens."""

from __future__ import annotations

import threading
import time
from collections.abc import Callable, Iterator
from pathlib import Path

from firelog.demo.fault_injection import FaultInjector
from firelog.demo.firesim import Scene
from firelog.demo.foundry import heron_yard
from firelog.demo.kilnsim import shell_kiln
from firelog.demo.past import begin, build, seal_firing
from firelog.demo.pty_logger import PtyLogger, lines
from firelog.errors import StoreError
from firelog.intake.clock import ArrivalClock
from firelog.intake.collect.collector import Collector, CollectorStatus
from firelog.intake.collect.sources import make_source
from firelog.judge import firing
from firelog.record.rows import Firing
from firelog.record.store import Store
from firelog.reference import find_schedule
from firelog.schedule.plan.reader import read_schedule
from firelog.units import us_after

LIVE_NAME = "fox knocker"
_BEHIND_S = 25 * 60.0  # how far into its night the live firing is when the board opens


class Rehearsal:
    """The live firing: a simulated kiln speaks over a pseudo-terminal, a collector listens.

    ``fast`` plays the whole night as fast as the line carries it and ends; otherwise the kiln is
    some way into its firing at once and goes on in real time. ``mishaps`` plays faults on demand.
    """

    def __init__(self, path: Path, now_us: int, *, fast: bool) -> None:
        schedule = read_schedule(find_schedule("ceramic-shell"))
        scene = Scene(
            shell_kiln(start_c=560.0), schedule.segments, seed=7, every_s=10.0 if fast else 5.0
        )
        spoken = list(lines(scene, 0))
        length_s = spoken[-1][0]
        self.began_us = now_us - round((length_s if fast else _BEHIND_S) * 1e6)
        self.ended_us = us_after(self.began_us, length_s)
        self.mishaps = FaultInjector()
        live = lines(scene, self.began_us, more=self.mishaps.now)
        timed = _timed(live, 0.0 if fast else _BEHIND_S, fast=fast)
        self._path = path
        self._speaker = PtyLogger(timed, factor=1.0)
        self._collector: Collector | None = None
        self._ready = threading.Event()
        self._failed: list[BaseException] = []
        self._thread = threading.Thread(target=self._collect, name="collector", daemon=True)
        with Store.open(path, write=True) as store:
            note = "rehearsal: a simulated kiln on a real serial line"
            begin(store, LIVE_NAME, "shell kiln", schedule, began_us=self.began_us, note=note)

    def start(self) -> None:
        """Let the collector listen, and the kiln speak once it does."""
        self._thread.start()
        self._ready.wait(30.0)

    def _heard(self, report: CollectorStatus) -> None:
        # Whoever opens a port throws away what is in it: nothing may be said before.
        if report.what == "connected" and not self._ready.is_set():
            self._speaker.start()
            self._ready.set()

    def wait(self, timeout_s: float) -> bool:
        """Wait until all that the kiln has said is stored; False when the time was up first."""
        until_s = time.monotonic() + timeout_s
        finished = self._speaker.wait(timeout_s)
        while self._stored() < self._speaker.sent and time.monotonic() < until_s:
            time.sleep(0.02)
        return finished and self._stored() == self._speaker.sent

    def _stored(self) -> int:
        if self._failed or self._collector is None:
            return 0
        return sum(counts.scans for counts in self._collector.counts().values())

    def stop(self, *, close: bool) -> None:
        """End collecting; with ``close`` the firing ends too and its verdict is kept."""
        if self._collector is not None:
            self._collector.stop()
        self._thread.join(30.0)
        self._speaker.stop()
        if self._failed:
            raise self._failed[0]
        if close:
            with Store.open(self._path, write=True) as store:
                store.close_firing(store.firing(LIVE_NAME).id, self.ended_us)
                firing.settle(store, store.firing(LIVE_NAME), self.ended_us)
                seal_firing(store, store.firing(LIVE_NAME), self.ended_us)

    def _collect(self) -> None:
        foundry = heron_yard(self._speaker.path)
        clock = ArrivalClock()
        try:
            with Store.open(self._path, write=True) as store:
                sources = [make_source(spec, clock) for spec in foundry.sources]
                self._collector = Collector(
                    store, sources, clock=clock, channels=foundry.channels, report=self._heard
                )
                self._collector.run()
        except BaseException as error:  # handed to the thread that waits
            self._failed.append(error)
            self._ready.set()


def _timed(
    spoken: Iterator[tuple[float, bytes]], behind_s: float, *, fast: bool
) -> Iterator[tuple[float, bytes]]:
    """Give each line the second in which it is due: at once up to ``behind_s``, then as in life."""
    for t_s, line in spoken:
        yield (0.0 if fast else max(0.0, t_s - behind_s)), line


def run_fast(path: Path, now_us: int, say: Callable[[str], None]) -> list[Firing]:
    """Build the past, play the whole live night over the line, and return all firings."""
    say("building the past of an invented foundry ...")
    with Store.open(path, write=True) as store:
        build(store, now_us)
    say("firing the rehearsal kiln over a pseudo-terminal ...")
    rehearsal = Rehearsal(path, now_us, fast=True)
    rehearsal.start()
    finished = rehearsal.wait(120.0)
    rehearsal.stop(close=finished)
    if not finished:
        raise StoreError(
            f"{path}: the rehearsal did not get to its end; is this machine very busy?"
        )
    with Store.open(path) as store:
        return store.firings()
