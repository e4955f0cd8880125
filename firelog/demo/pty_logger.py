"""A simulated data logger: a simulated firing spoken over a real pseudo-terminal.

Whoever reads the line cannot tell it from a logger on a cable, so demo and tests run the true
serial path. Time may run fast: each line carries the simulated clock.
"""

from __future__ import annotations

import contextlib
import os
import select
import threading
import time
from collections.abc import Callable, Iterable, Iterator, Sequence
from pathlib import Path

from firelog.demo.firesim import Fault, Scene, SimulatedScan, play
from firelog.errors import SourceError
from firelog.readings import Unit
from firelog.units import TemperatureUnit, from_celsius, iso_utc, us_after

SETTLE_S = 0.5  # whoever opens a port throws away what is in it; do not speak into that
_LOOK_S = 0.05


def spoken(sample: SimulatedScan, start_us: int, unit: Unit = Unit.C) -> bytes:
    """Return the line for one sample: ``time,value,value,...``, ``open`` when unplugged."""
    scale: TemperatureUnit = "F" if unit is Unit.F else "C"
    fields = [
        "open" if value is None else f"{from_celsius(value, scale):.1f}"
        for value in sample.values_c
    ]
    stamp = iso_utc(us_after(start_us, sample.t_s))
    return ",".join((stamp, *fields)).encode() + b"\n"


def lines(
    scene: Scene,
    start_us: int,
    unit: Unit = Unit.C,
    more: Callable[[float], Sequence[Fault]] = lambda _: (),
) -> Iterator[tuple[float, bytes]]:
    """Yield seconds of the firing and the line that is due then; a silent logger yields none.

    ``more`` adds mishaps on demand.
    """
    for sample in play(scene, more):
        if sample.heard:
            yield sample.t_s, spoken(sample, start_us, unit)


class PtyLogger:
    """Writes timed lines to a pseudo-terminal of its own, ``factor`` times as fast as life.

    ``path`` is what a collector opens. With ``link`` the path is a symbolic link, which keeps its
    name through :meth:`unplug` and :meth:`plug` as a port named by its adapter does. A reader
    that falls behind is waited for, so no line is lost; ``settle_s`` is how long it is given to
    get ready once it has opened the port. Use as a context manager, or
    :meth:`stop` it.
    """

    def __init__(
        self,
        timed_lines: Iterable[tuple[float, bytes]],
        *,
        factor: float = 1.0,
        settle_s: float = SETTLE_S,
        link: Path | None = None,
        on_line: Callable[[bytes], None] | None = None,
    ) -> None:
        self._lines = iter(timed_lines)
        self._factor, self._settle_s = factor, settle_s
        self._link = link
        self._on_line = on_line
        self._stop = threading.Event()
        self._lock = threading.Lock()
        self._ours = -1
        self._thread = threading.Thread(target=self._run, name="rehearsal", daemon=True)
        self.finished = threading.Event()
        self.sent = 0
        self.path = self.plug()

    def start(self) -> None:
        """Begin to speak as soon as somebody has opened the port."""
        self._thread.start()

    def wait(self, timeout_s: float | None = None) -> bool:
        """Wait until all has been said; False when the time was up first."""
        return self.finished.wait(timeout_s)

    def stop(self) -> None:
        """Fall silent and take the port away."""
        self._stop.set()
        if self._thread.is_alive():
            self._thread.join()
        self.unplug()
        if self._link is not None:
            self._link.unlink(missing_ok=True)

    def __enter__(self) -> PtyLogger:
        return self

    def __exit__(self, *_: object) -> None:
        self.stop()

    # ------------------------------------------------------------ the cable
    def plug(self) -> str:
        """Make the port (again) and return its path."""
        try:
            import pty  # noqa: PLC0415  # no such thing on Windows
            import tty  # noqa: PLC0415
        except ImportError as error:
            raise SourceError(
                "the rehearsal needs pseudo-terminals, which this system does not have; "
                "run it on Linux or macOS"
            ) from error
        self.unplug()
        ours, theirs = pty.openpty()
        tty.setraw(theirs)
        path = os.ttyname(theirs)
        os.close(theirs)  # so that poll tells whether anybody has it open
        os.set_blocking(ours, False)
        if self._link is not None:
            fresh = self._link.with_name(self._link.name + ".new")
            fresh.unlink(missing_ok=True)
            fresh.symlink_to(path)
            fresh.replace(self._link)
            path = str(self._link)
        with self._lock:
            self._ours = ours
        return path

    def unplug(self) -> None:
        """Pull the cable: a reader's port is gone at once."""
        with self._lock:
            if self._ours >= 0:
                os.close(self._ours)
                self._ours = -1

    def listener(self) -> bool:
        """True while somebody has the port open."""
        with self._lock:
            if self._ours < 0:
                return False
            poll = select.poll()
            poll.register(self._ours, select.POLLHUP)
            return not any(events & select.POLLHUP for _, events in poll.poll(0))

    # ------------------------------------------------------------ speaking
    def _run(self) -> None:
        while not self.listener():
            if self._stop.wait(_LOOK_S):
                return
        self._stop.wait(self._settle_s)
        self.say(b"\n")  # ends the line that a listener who joined half-way throws away
        began_s, first_s = time.monotonic(), None
        for t_s, line in self._lines:
            first_s = t_s if first_s is None else first_s
            due_s = began_s + (t_s - first_s) / self._factor
            if self._stop.wait(max(0.0, due_s - time.monotonic())):
                return
            if self.say(line):
                self.sent += 1
                if self._on_line is not None:
                    self._on_line(line)
        self.finished.set()

    def say(self, data: bytes) -> bool:
        """Write ``data`` now; False when the cable is out (the words are lost, as in life)."""
        while data and not self._stop.is_set():
            with self._lock:
                if self._ours < 0:
                    return False
                with contextlib.suppress(BlockingIOError):
                    data = data[os.write(self._ours, data) :]
            if data:
                self._stop.wait(0.002)
        return not data
