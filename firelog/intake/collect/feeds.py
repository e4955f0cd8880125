"""One source while it is collected: its thread, its state, its counts.

The thread listens and reconnects without end; what it hears goes into a queue. Everything else
here belongs to the thread that stores.
"""

from __future__ import annotations

import math
import queue
import threading
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field

from firelog.errors import SourceError
from firelog.foundry import ChannelSpec
from firelog.intake.clock import ArrivalClock
from firelog.intake.collect.arrivals import Dating, Silence
from firelog.intake.collect.watchers import FaultReporter, TraceMonitor
from firelog.intake.source import Heard, Source, silent_after_s

RETRY_FIRST_S, RETRY_LONGEST_S = 0.5, 10.0
# So much may wait for the storing thread, from all sources together: a minute of a thousand lines a
# second. A source that floods is thinned out, and it is told; memory is not what gives way.
MOST_WAITING = 60_000


@dataclass
class Counts:
    """What one source has brought so far."""

    scans: int = 0
    readings: int = 0
    duplicates: int = 0
    out_of_order: int = 0
    faults: int = 0
    outages: int = 0
    dropped: int = 0


@dataclass(eq=False)
class Feed:
    """One source with its thread's state and its counts."""

    source: Source
    silence: Silence
    watch: TraceMonitor
    dating: Dating = field(default_factory=Dating)
    conditions: FaultReporter = field(default_factory=FaultReporter)
    counts: Counts = field(default_factory=Counts)
    names: set[str] = field(default_factory=set)
    thread: threading.Thread | None = None
    connected: bool = False
    lost_s: float | None = None
    overflowed: int = 0  # written by the listening thread only
    overflow_told: int = 0
    faults_told: int = 0
    faults_at_word: int = 0  # how many there had been when it was last understood
    fault_event_s: float = -math.inf

    @property
    def name(self) -> str:
        """The source's name."""
        return self.source.spec.name


Said = tuple[Feed, "Heard | SourceError | None"]  # None: it has just been connected


def make_feed(source: Source, channels: Iterable[ChannelSpec]) -> Feed:
    """Return the state of a source at its beginning; ``channels`` are the foundry file's."""
    kiln = source.spec.kiln
    stated = {spec.name: spec for spec in (*source.channels, *channels) if spec.kiln == kiln}
    watch = TraceMonitor(
        {name: spec.role for name, spec in stated.items()},
        {name: spec.letter for name, spec in stated.items() if spec.letter},
    )
    return Feed(source, Silence(silent_after_s(source.spec)), watch)


def listen(
    feed: Feed, said: queue.SimpleQueue[Said], clock: ArrivalClock, stopping: Callable[[], bool]
) -> None:
    """Put what the source says into ``said`` until ``stopping()``; the body of its thread."""
    wait_s, pause = RETRY_FIRST_S, threading.Event()

    def put(what: Heard) -> None:
        if said.qsize() < MOST_WAITING:
            said.put((feed, what))
        else:
            feed.overflowed += 1

    while not stopping():
        try:
            feed.source.open()
            said.put((feed, None))
            while not stopping():
                for heard in feed.source.listen():
                    put(heard)
                    wait_s = RETRY_FIRST_S
        except SourceError as error:
            said.put((feed, error))
        except Exception as error:  # a fault of ours in one source must not end the night
            said.put((feed, SourceError(f"{feed.name}: stumbled over {error!r}")))
        finally:
            for heard in feed.source.rest():
                put(heard)
            feed.source.close()
        until_s = clock.steady_s() + wait_s
        while not stopping() and clock.steady_s() < until_s:
            pause.wait(0.05)
        wait_s = min(2 * wait_s, RETRY_LONGEST_S)
