"""The collector: live sources into the store, all night, whatever happens to cables and disks.

One thread per source listens and reconnects without end; the thread that calls
:meth:`Collector.run` stores. Outages, silences, clock steps and refusals are events in the record.
"""

from __future__ import annotations

import gc
import queue
import threading
from collections.abc import Callable, Iterable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from firelog.errors import PortTakenError, SourceError, StoreError
from firelog.foundry import ChannelSpec
from firelog.intake.clock import ArrivalClock
from firelog.intake.collect.feeds import Counts, Feed, Said, listen, make_feed
from firelog.intake.collect.write_queue import LARGE_LOG_BYTES, QUEUED, TOGETHER, Write, WriteQueue
from firelog.intake.fields import LineFault, Scan
from firelog.intake.source import Heard, Source
from firelog.record.store import Store
from firelog.say.durations import show_duration

FAULT_EVENT_S = 600.0  # a noisy line is one event in so long, with a count
MOST_CHANNELS = 64  # of one source: noise that reads like a name must not fill the record
_PAUSE_S = 0.2


@dataclass(frozen=True)
class CollectorStatus:
    """What the collector tells whoever looks on.

    ``what``: ``connected``, ``lost``, ``stored``, ``fault``, ``event`` or ``refused``. A scan is
    ``stored`` only after its transaction is on the disk. ``t_us`` is the scan's or the event's
    instant; ``text`` a sentence; ``readings`` how many were new.
    """

    what: str
    source: str
    t_us: int
    text: str = ""
    readings: int = 0


def _telling(sources: Iterable[Source]) -> Iterator[ChannelSpec]:
    """Yield what sources know of their channels; a bare name must not overwrite the record's."""
    for source in sources:
        for made in source.channels:
            if made != ChannelSpec(made.name, made.kiln):
                yield made


def _silent(feed: Feed) -> str:
    if feed.counts.faults > feed.faults_at_word:
        return "it speaks, but nothing that is understood; check speed, format and cable"
    return "the port is open but says nothing; look at the instrument"


def _inode(path: Path) -> int:
    """Return which file is behind the path; to look is safe, to open it would drop its locks."""
    try:
        return path.stat().st_ino
    except OSError:
        return -1


def _nobody(_: CollectorStatus) -> None:
    """Listen to no report."""


class Collector:
    """Runs sources into a store until :meth:`stop`.

    ``clock`` dates arrivals. ``report`` is called from the thread that runs :meth:`run`, and so
    is ``alive``: after each durable commit and about once a second while idle, but not while the
    store refuses. It is the place for a watchdog. With ``stop_if_taken`` it gives up, raising
    :class:`PortTakenError`, where every port is another program's from the start.
    """

    def __init__(
        self,
        store: Store,
        sources: Sequence[Source],
        *,
        clock: ArrivalClock,
        channels: Sequence[ChannelSpec] = (),
        report: Callable[[CollectorStatus], None] = _nobody,
        alive: Callable[[], None] = lambda: None,
        stop_if_taken: bool = False,
        queued: int = QUEUED,
        large_log_bytes: int = LARGE_LOG_BYTES,
    ) -> None:
        self._store, self._clock = store, clock
        self._report, self._alive, self._queued = report, alive, queued
        self._said: queue.SimpleQueue[Said] = queue.SimpleQueue()
        self._stopping = self._began = False
        self._stop_if_taken = stop_if_taken
        self._all_taken: PortTakenError | None = None
        self._inode = _inode(store.path)
        self._looked_s = clock.steady_s()
        self._feeds = {source.spec.name: make_feed(source, channels) for source in sources}
        self._keeper = WriteQueue(
            store,
            (*_telling(sources), *channels),
            clock.steady_s,
            stored=self._stored,
            refused=self._refused,
            accepted=self._accepted,
            left_out=self._left_out,
            log_grows=self._log_grows,
            queued=queued,
            large_log_bytes=large_log_bytes,
        )

    # ------------------------------------------------------------ from outside
    def stop(self) -> None:
        """Ask :meth:`run` to end; safe from a signal handler and from any thread."""
        self._stopping = True

    def counts(self) -> dict[str, Counts]:
        """Return the counts of each source by name."""
        return {name: feed.counts for name, feed in self._feeds.items()}

    def run(self) -> dict[str, Counts]:
        """Collect until :meth:`stop`; what was heard by then is stored before this returns.

        Raises :class:`StoreError` when the store refuses from the start, or in the end.
        """
        for feed in self._feeds.values():
            for channel in feed.source.channels:
                feed.names.add(channel.name)
                self._keeper.channel(channel.kiln, channel.name)
        self._store.lost_log()  # from here on it knows which file the log is
        for feed in self._feeds.values():
            feed.thread = threading.Thread(
                target=listen,
                args=(feed, self._said, self._clock, lambda: self._stopping),
                daemon=True,
            )
            feed.thread.start()
        gc.collect()
        gc.freeze()  # what is loaded by now stays: looking through it again stalls every line
        try:
            while not self._stopping:
                self._step()
        finally:
            gc.unfreeze()
            self._finish()
        if self._all_taken is not None:
            raise self._all_taken
        return self.counts()

    def _started(self) -> None:
        """Note in the record that collecting began, once there is something to collect."""
        if not self._began:
            self._began = True
            self._event(None, "collector started", f"listening to {', '.join(self._feeds)}")

    # ------------------------------------------------------------ the storing thread
    def _step(self) -> None:
        try:
            self._take(self._said.get(timeout=_PAUSE_S))
            for _ in range(TOGETHER):
                self._take(self._said.get_nowait())
        except queue.Empty:
            pass
        if self._keeper.work():
            self._look_at_store()
            self._alive()
        self._keeper.checkpoint_if_due(self._clock.now_us())
        now_s = self._clock.steady_s()
        if now_s - self._looked_s >= 1.0:
            self._looked_s = now_s
            self._look_around(now_s)

    def _look_at_store(self) -> None:
        """Notice, at every scan stored, that the store or its log is no longer where it was.

        What is written then goes into a file without a name, and is lost with this process.
        """
        if self._inode != _inode(self._store.path):
            raise StoreError(
                f"{self._store.path}: the store was replaced, moved or taken away (or its folder "
                "was) while it was written; put it back, then start collecting again"
            )
        log = self._store.lost_log()
        if log is not None:
            saved = self._store.reopen()
            self._event(None, "store log went away", f"{log.name} was removed or replaced; {saved}")

    def _look_around(self, now_s: float) -> None:
        self._look_at_store()
        for step in self._clock.steps():
            self._event(None, step.kind, step.text)
        for feed in self._feeds.values():
            if feed.connected and feed.silence.noticed(now_s):
                self._event(feed, "source silent", f"{feed.name}: {_silent(feed)}")
            self._tell_overflow(feed)
        if not self._keeper.refusing:
            self._alive()

    def _tell_overflow(self, feed: Feed) -> None:
        """Say, once for each bout, how much a flooding source said that could not be taken."""
        new = feed.overflowed - feed.overflow_told
        if not new:
            return
        feed.overflow_told, feed.counts.dropped = feed.overflowed, feed.counts.dropped + new
        text = f"{feed.name}: {new} lines came faster than they can be stored and were dropped"
        self._event(feed, "source floods", text)

    def _finish(self) -> None:
        self._stopping = True
        for feed in self._feeds.values():
            if feed.thread is not None:
                feed.thread.join()
        while not self._said.empty():
            self._take(self._said.get())
        if self._began:
            self._event(None, "collector stopped", "asked to stop")
        self._keeper.work(at_once=True)
        if self._keeper.waiting:
            raise StoreError(
                f"{self._store.path}: {self._keeper.waiting} scans could not be stored before "
                "the end; free space on the disk and look at `firelog doctor`"
            )
        self._keeper.end(self._clock.now_us())

    # ------------------------------------------------------------ what was said
    def _take(self, said: Said) -> None:
        feed, what = said
        try:
            self._understand(feed, what)
        except Exception as error:  # a fault of ours in one line must not end the night
            fault = LineFault(f"firelog stumbled over it: {error!r}", str(what)[:120])
            self._fault(feed, self._clock.now_us(), fault)

    def _understand(self, feed: Feed, what: Heard | SourceError | None) -> None:
        if what is None:
            self._started()
            feed.connected = True
            feed.silence.connected(self._clock.steady_s())
            self._report(CollectorStatus("connected", feed.name, self._clock.now_us()))
        elif isinstance(what, SourceError):
            self._lost(feed, what)
        elif isinstance(what.said, LineFault):
            self._fault(feed, what.t_us, what.said)
        else:
            self._scan(feed, what.t_us, what.said)

    def _lost(self, feed: Feed, error: SourceError) -> None:
        feed.connected = False
        if feed.lost_s is not None:
            return  # told already: the retries of one outage are one event
        feed.lost_s = self._clock.steady_s()
        feed.counts.outages += 1
        self._report(CollectorStatus("lost", feed.name, self._clock.now_us(), str(error)))
        if isinstance(error, PortTakenError):
            self._taken(error)  # perhaps by another collector: what it does stands in its record
            return
        self._started()
        self._event(feed, "source lost", f"{feed.name}: {error}")

    def _taken(self, error: PortTakenError) -> None:
        """Give up where nothing was ever heard and each port is another program's."""
        all_lost = all(feed.lost_s is not None for feed in self._feeds.values())
        if self._stop_if_taken and not self._began and all_lost:
            self._all_taken = error
            self.stop()

    def _back(self, feed: Feed, t_us: int) -> None:
        """End an outage or a silence, if there was one: the source speaks."""
        now_s = self._clock.steady_s()
        silent_s, feed.faults_at_word = feed.silence.heard(now_s), feed.counts.faults
        if feed.lost_s is not None:
            silent_s, feed.lost_s = now_s - feed.lost_s, None
        if silent_s is not None:
            text = f"{feed.name}: heard again after {show_duration(silent_s)}"
            self._event(feed, "source back", text, t_us)

    def _scan(self, feed: Feed, t_us: int, scan: Scan) -> None:
        new = {value.column for value in scan.values} - feed.names
        if len(feed.names) + len(new) > MOST_CHANNELS:
            self._fault(feed, t_us, LineFault("more names than a source may have", min(new)))
            return
        feed.names |= new
        self._back(feed, t_us)
        dated = feed.dating.date(scan, t_us)
        if dated is None:
            feed.counts.duplicates += len(scan.values)
            return
        feed.counts.out_of_order += dated.out_of_order
        if dated.told:
            self._event(feed, "source clock", f"{feed.name}: {dated.told}")
        for unread in scan.unread:
            self._fault(feed, t_us, unread)
        kiln, scan = feed.source.spec.kiln, feed.watch.look(scan, dated.t_us)
        if not self._keeper.put(Write(feed.name, kiln, dated.t_us, scan.values)):
            feed.counts.dropped += 1
        for kind, text in feed.conditions.changes(scan, dated.t_us):
            self._event(feed, kind, text, dated.t_us)

    def _fault(self, feed: Feed, t_us: int, fault: LineFault) -> None:
        feed.counts.faults += 1
        self._report(CollectorStatus("fault", feed.name, t_us, f"{fault.reason}: {fault.raw}"))
        now_s = self._clock.steady_s()
        if now_s - feed.fault_event_s >= FAULT_EVENT_S:
            count = feed.counts.faults - feed.faults_told
            feed.fault_event_s, feed.faults_told = now_s, feed.counts.faults
            text = f"{feed.name}: {count} not understood, the last: {fault.raw} ({fault.reason})"
            self._event(feed, "lines not understood", text, t_us)

    def _event(self, feed: Feed | None, kind: str, text: str, t_us: int | None = None) -> None:
        at_us = self._clock.now_us() if t_us is None else t_us
        name, kiln = (feed.name, feed.source.spec.kiln) if feed else ("", "")
        self._report(CollectorStatus("event", name, at_us, f"{kind}: {text}"))
        self._keeper.put(Write(name, kiln, at_us, kind=kind, text=text))

    # ------------------------------------------------------------ what the keeper says
    def _stored(self, write: Write, new: int) -> None:
        if write.kind:
            return
        counts = self._feeds[write.source].counts
        counts.scans += 1
        counts.readings += new
        counts.duplicates += len(write.values) - new
        self._report(CollectorStatus("stored", write.source, write.t_us, readings=new))

    def _refused(self, error: StoreError) -> None:
        text = f"{error} (meanwhile up to {self._queued} scans are kept in memory)"
        self._report(CollectorStatus("refused", "", self._clock.now_us(), text))
        self._event(None, "store refused", text)

    def _accepted(self, for_s: float) -> None:
        dropped = sum(feed.counts.dropped for feed in self._feeds.values())
        lost = f"{dropped} scans found no room in memory" if dropped else "nothing was lost"
        text = f"the store took nothing for {show_duration(for_s)}; {lost}"
        self._event(None, "store back", text)

    def _left_out(self, write: Write, error: Exception) -> None:
        if write.source:
            self._feeds[write.source].counts.dropped += 1
        text = f"one entry cannot be stored and was left out ({error!r})"
        self._report(CollectorStatus("refused", write.source, write.t_us, text))

    def _log_grows(self, size: int) -> None:
        text = (
            f"{size / 1e6:.0f} MB wait to be folded into the store: some program keeps an old view "
            "of it open; end that program"
        )
        self._event(None, "store log grows", text)
