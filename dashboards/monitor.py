"""Watch the running firings in one background thread, for all readers of the board alike.

What was read is kept from look to look, so that a page costs the same in the tenth hour as in the
first. The thread ends when nobody has asked for a while.
"""

from __future__ import annotations

import threading
import time
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from firelog.errors import FirelogError, StoreError
from firelog.record.store import Store
from firelog.schedule.plan.target import plan_points
from firelog.watch.conditions.thermocouples import leading
from firelog.watch.facts import KilnNow
from firelog.watch.run.tonight import Tonight, TonightReader

EVERY_S = 1.0
IDLE_S = 120.0
FIRST_S = 20.0
POINTS = 160

Line = tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Curve:
    """A firing's trace and the plan ahead, in a few points [s, °C]; ``end_s`` is the plan's end."""

    trace: Line
    plan: Line
    end_s: float


@dataclass(frozen=True)
class Snapshot:
    """What was seen at one look: every running firing, and its curve by kiln."""

    tonight: Tonight
    curves: dict[str, Curve]


class Monitor:
    """Looks at one store; :meth:`now` may be called from any thread."""

    def __init__(self, path: Path) -> None:
        self._path = path
        self._lock = threading.Lock()
        self._first = threading.Event()
        self._thread: threading.Thread | None = None
        self._asked_s = 0.0
        self._snapshot: Snapshot | None = None
        self._error: FirelogError | None = None

    def now(self) -> Snapshot:
        """Return the newest look; raises :class:`StoreError` when the store cannot be read."""
        with self._lock:
            self._asked_s = time.monotonic()
            if self._thread is None or not self._thread.is_alive():
                self._first.clear()
                self._snapshot = self._error = None
                self._thread = threading.Thread(target=self._run, name="monitor", daemon=True)
                self._thread.start()
        self._first.wait(FIRST_S)
        if self._error is not None:
            raise self._error
        if self._snapshot is None:
            raise StoreError(f"{self._path}: is still being read; this page looks again")
        return self._snapshot

    def _run(self) -> None:
        try:
            with Store.open(self._path) as store:
                reader = TonightReader(store)
                while time.monotonic() - self._asked_s < IDLE_S:
                    tonight = reader.look()
                    curves = {
                        kiln.kiln: curve
                        for kiln in tonight.facts.kilns
                        if (curve := _curve(reader, kiln)) is not None
                    }
                    self._snapshot = Snapshot(tonight, curves)
                    self._first.set()
                    time.sleep(EVERY_S)
        except FirelogError as error:
            self._error = error
        except Exception as error:
            self._error = StoreError(f"{self._path}: the board stumbled over {error!r}")
        finally:
            self._first.set()


def _curve(reader: TonightReader, kiln: KilnNow) -> Curve | None:
    """Return the leading channel's trace, thinned, and what the plan asks from here on."""
    lead = leading(kiln)
    if kiln.schedule is None or not lead:
        return None
    trace = reader.trace(kiln.kiln, lead[0].name)
    if trace is None or not len(trace):
        return None
    step = max(1, len(trace) // POINTS)
    known = np.flatnonzero(np.isfinite(trace.temp_c))
    if not len(known):
        return None
    shown = np.union1d(known[::step], known[-1:])
    drawn = tuple(zip(trace.t_s[shown].tolist(), trace.temp_c[shown].tolist(), strict=True))
    seconds, temps = plan_points(kiln.schedule, float(trace.temp_c[0]))
    ahead = _ahead(kiln, seconds, temps, drawn[-1])
    return Curve(drawn, ahead, max(kiln.now_s, ahead[-1][0] if ahead else 0.0))


def _ahead(
    kiln: KilnNow, seconds: np.ndarray, temps: np.ndarray, last: tuple[float, float]
) -> Line:
    """The remaining segments, from the last reading, each ending when it is expected to."""
    if kiln.course is None or kiln.schedule is None:
        return tuple(zip(seconds.tolist(), temps.tolist(), strict=True))
    ends = {estimate.segment: estimate.finish_s for estimate in kiln.course.outlook.estimates}
    line = [last]
    for segment in kiln.schedule.segments:
        if segment.name in ends:
            if segment.is_hold and abs(line[-1][1] - segment.target_c) > segment.band_k:
                line.append((line[-1][0], segment.target_c))
            line.append((ends[segment.name], segment.target_c))
    return tuple(line)
