"""A write queue before the store: in order, durable, in memory while the disk refuses.

Each scan is part of one durable transaction. While the store takes everything, a transaction
holds one scan; scans that have piled up go together, for they must not pile up further.
"""

from __future__ import annotations

from collections import deque
from collections.abc import Callable, Iterable
from dataclasses import dataclass

from firelog.errors import StoreError
from firelog.foundry import ChannelSpec
from firelog.intake.fields import Value
from firelog.record import driver, imports
from firelog.record.stated import keep_channel
from firelog.record.store import Store

QUEUED = 200_000  # scans kept in memory while the disk refuses: two days at one a second
TOGETHER = 64
RETRY_S = 1.0
FRAME_BYTES, LARGE_LOG_BYTES = 4096, 64_000_000
CHECKPOINT_S, CHECKPOINT_WRITES = 60.0, 500
# A block is coded while lines wait, some 20 ms: not with every checkpoint of a fast source. What a
# source brings faster than this stays rows until its firing ends.
COMPACT_S, COMPACT_BEHIND_S = 60.0, 5.0


@dataclass(frozen=True)
class Write:
    """One thing to store for a source: the values of a scan, or (with ``kind``) an event.

    ``source`` and ``kiln`` are empty for an event that belongs to none.
    """

    source: str
    kiln: str
    t_us: int
    values: tuple[Value, ...] = ()
    kind: str = ""
    text: str = ""


class WriteQueue:
    """Stores writes in the order they were put, as soon as the store takes them.

    ``stored(write, new)`` is called after the write is on the disk, ``refused(error)`` when the
    store begins to refuse, ``accepted(seconds)`` when it takes again what it had refused,
    ``left_out(write, error)`` when one write can never be stored, ``log_grows(bytes)`` when a
    reader keeps the write-ahead log from being folded into the store.
    ``steady_s`` is a clock that nobody can set.
    """

    def __init__(
        self,
        store: Store,
        channels: Iterable[ChannelSpec],
        steady_s: Callable[[], float],
        *,
        stored: Callable[[Write, int], None],
        refused: Callable[[StoreError], None],
        accepted: Callable[[float], None],
        left_out: Callable[[Write, Exception], None],
        log_grows: Callable[[int], None],
        queued: int = QUEUED,
        large_log_bytes: int = LARGE_LOG_BYTES,
    ) -> None:
        self._store, self._steady_s, self._queued = store, steady_s, queued
        self._stored, self._told_refused, self._told_accepted = stored, refused, accepted
        self._left_out, self._told_log, self._log_told = left_out, log_grows, False
        self._large_log_bytes = large_log_bytes
        self._specs = {(spec.kiln, spec.name): spec for spec in channels}
        self._ids: dict[tuple[str, str], int] = {}
        self._run: int | None = None
        self._run_kept = False
        self._backlog: deque[Write] = deque()
        self._refused_s: float | None = None
        self._retry_s = 0.0
        self._together = TOGETHER
        self._checkpoint_s, self._since_checkpoint = steady_s(), 0
        self._compact_s = self._checkpoint_s + COMPACT_S

    @property
    def refusing(self) -> bool:
        """True while the store does not take what it is given."""
        return self._refused_s is not None

    @property
    def waiting(self) -> int:
        """How many writes wait in memory."""
        return len(self._backlog)

    def channel(self, kiln: str, name: str) -> int:
        """Return the number of a channel, made as the foundry file states it if it is new."""
        number = self._ids.get((kiln, name))
        if number is None:
            spec = self._specs.get((kiln, name))
            made = (
                keep_channel(self._store, spec) if spec else self._store.ensure_channel(kiln, name)
            )
            number = made.id
            self._ids[kiln, name] = number
        return number

    def run(self, now_us: int) -> int:
        """Return the number of this run of the collector, begun in the record when first asked."""
        if self._run is None:
            self._run = imports.begin(self._store, imports.COLLECTOR, now_us=now_us)
        return self._run

    def end(self, now_us: int) -> None:
        """Say in the record that this run has ended."""
        if self._run is not None:
            imports.finish(self._store, self._run, {}, now_us=now_us)

    def _forget(self) -> None:
        """Forget the numbers that what was just rolled back had made."""
        self._ids.clear()
        if not self._run_kept:
            self._run = None

    def put(self, write: Write) -> bool:
        """Add a write; False when memory for them is full and it had to be dropped."""
        if len(self._backlog) >= self._queued:
            return False
        self._backlog.append(write)
        return True

    def work(self, *, at_once: bool = False) -> bool:
        """Store what waits; True when something went to the disk. Soon after a refusal it waits."""
        if self._refused_s is not None and self._steady_s() < self._retry_s and not at_once:
            return False
        worked = False
        while self._backlog:
            batch = [self._backlog[n] for n in range(min(self._together, len(self._backlog)))]
            try:
                with self._store.writing():
                    new = [self._write(write) for write in batch]
            except StoreError as error:
                self._forget()
                self._refuse(error)
                return worked
            except Exception as error:  # of ours, in one write: the others must not wait for it
                self._forget()
                self._singly(batch, error)
                continue
            worked, self._run_kept = True, self._run is not None
            for write, count in zip(batch, new, strict=True):
                self._backlog.popleft()
                self._stored(write, count)
            self._since_checkpoint += len(batch)
            self._accept()
        return worked

    def _singly(self, batch: list[Write], error: Exception) -> None:
        """Store the first of a batch that failed alone; if it is the one, leave it out."""
        if len(batch) > 1:
            self._together = 1
            return
        self._backlog.popleft()
        self._together = TOGETHER
        self._left_out(batch[0], error)

    def checkpoint_if_due(self, wall_us: int) -> None:
        """Copy the write-ahead log into the store, between scans; a fast source makes it due often.

        A small log is reused from its start, so that commits need not grow the file. A reader in
        the way is not waited for: the next time does it.
        """
        now_s = self._steady_s()
        due = now_s - self._checkpoint_s >= CHECKPOINT_S and self._since_checkpoint
        if self.refusing or not (due or self._since_checkpoint >= CHECKPOINT_WRITES):
            return
        self._checkpoint_s, self._since_checkpoint = now_s, 0
        try:
            if now_s >= self._compact_s:  # rows of yesterday, one block of them at a time
                moved = self._store.compact_old(wall_us)
                self._compact_s = now_s + (COMPACT_BEHIND_S if moved else COMPACT_S)
            with driver.speaking(self._store.path):
                pragma = "pragma wal_checkpoint(passive)"
                _, frames, _ = self._store.connection.execute(pragma).fetchone()
        except StoreError as error:
            self._refuse(error)
            return
        large = frames * FRAME_BYTES > self._large_log_bytes
        if large and not self._log_told:
            self._told_log(frames * FRAME_BYTES)
        self._log_told = large

    def _write(self, write: Write) -> int:
        if write.kind:
            kiln = write.kiln or None
            self._store.add_event(write.t_us, write.kind, write.text, who="firelog", kiln=kiln)
            return 0
        return self._store.add_scan(
            write.t_us,
            [
                (self.channel(write.kiln, v.column), v.value, v.unit, v.quality)
                for v in write.values
            ],
            self.run(write.t_us),
        )

    def _refuse(self, error: StoreError) -> None:
        now_s = self._steady_s()
        self._retry_s = now_s + RETRY_S
        if self._refused_s is None:
            self._refused_s = now_s
            self._told_refused(error)

    def _accept(self) -> None:
        if self._refused_s is not None:
            for_s, self._refused_s = self._steady_s() - self._refused_s, None
            self._told_accepted(for_s)
