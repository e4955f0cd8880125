"""The one door to SQLite: channels, readings, firings, events, schedules as used, verdicts.

A store belongs to the thread that opened it. Readers open read-only, so that a page can never
write by mistake. Every write is one immediate transaction, or part of one ``with store.writing()``.
"""

from __future__ import annotations

import hashlib
import json
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from pathlib import Path
from typing import Any, Self

from firelog.errors import InputError, StoreError
from firelog.readings import (
    FloatArray,
    IntArray,
    Quality,
    QualityArray,
    Role,
    Trace,
    Unit,
)
from firelog.record import driver, migrations, sources, traces
from firelog.record.blocks import Block
from firelog.record.missing import not_found
from firelog.record.overview import Envelope, overview
from firelog.record.rows import Calibration, Channel, Event, Firing, StoredVerdict

Entry = tuple[int, float | None, Unit, Quality]
_DAY_US = 86_400 * 1_000_000
_HOUR_US = 3_600 * 1_000_000
MANY_ROWS = 4200  # of one channel: an hour and ten minutes at one reading a second
VOID = "void"  # the kind of an event that supersedes another by nothing
_FIRING = """select f.id, f.name, k.name, f.began_us, f.ended_us, s.title, f.schedule, f.note,
  f.voided_us
  from firings f join kilns k on k.id = f.kiln left join schedules s on s.sha256 = f.schedule"""
_EVENT = """select e.id, e.t_us, e.kind, e.text, e.who, k.name, e.firing, e.channel,
  e.corrects, e.why, e.entered_us
  from events e left join kilns k on k.id = e.kiln"""
_CHANNEL = """select c.id, k.name, c.name, c.role, c.letter, c.standard, c.tolerance_class,
  c.measurement from channels c join kilns k on k.id = c.kiln"""


class Store:
    """An open store. Use :meth:`open`, and close it (or use it as a context manager)."""

    def __init__(self, path: Path, connection: Any, *, write: bool) -> None:
        self.path = path
        self.write = write
        self.connection = connection
        self._file = driver.file_id(path)
        self._log: list[tuple[int, int] | None] | None = (
            None  # which files the log and its index are
        )

    # ------------------------------------------------------------ opening and closing
    @classmethod
    def open(cls, path: Path | str, *, write: bool = False) -> Self:
        """Open the store at ``path``; with ``write`` it is created or brought up to date.

        Raises :class:`StoreError` when it is not ours, newer than this program, or unreadable.
        """
        path = Path(path)
        if not write and not path.exists():
            raise StoreError(
                f"{path}: there is no store here; make one with `firelog import` or "
                "`firelog demo`, or name yours with --store"
            )
        if write and not path.parent.is_dir():
            raise StoreError(f"{path}: the folder {path.parent} does not exist; make it first")
        if path.is_dir():
            raise StoreError(f"{path}: is a folder; name a file in it with --store")
        with driver.speaking(path):
            connection = driver.connect(path, write=write, create=write)
            try:
                cls._prepare(connection, path, write=write)
            except BaseException:
                connection.close()
                raise
        return cls(path, connection, write=write)

    @staticmethod
    def _prepare(connection: Any, path: Path, *, write: bool) -> None:
        version = migrations.check_ours(connection, path)
        driver.tune(connection, write=write)
        if version == migrations.SCHEMA:
            return
        if not write and version == 0:
            raise StoreError(f"{path}: is empty, there is no store in it yet; name another --store")
        if not write:
            raise StoreError(
                f"{path}: made by an older firelog (schema {version}); "
                "bring it up to date once with `firelog doctor`"
            )
        if version:
            migrations.keep_copy(connection, path, version)
        with driver.transaction(connection):
            # Another process may have been faster while we waited for the lock.
            if migrations.check_ours(connection, path) != migrations.SCHEMA:
                migrations.apply(connection)

    def close(self) -> None:
        """Close the connection; the last one to close also checkpoints the write-ahead log."""
        self.connection.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(self, *_: object) -> None:
        self.close()

    @contextmanager
    def writing(self) -> Iterator[Self]:
        """Make several writes one transaction: all of them, or none."""
        with driver.speaking(self.path), driver.transaction(self.connection):
            yield self

    def checkpoint(self) -> bool:
        """Fold the write-ahead log into the file; False when a reader was in the way."""
        with driver.speaking(self.path):
            row = self.connection.execute("pragma wal_checkpoint(truncate)").fetchone()
        return bool(row[0] == 0)

    def still_there(self) -> None:
        """Raise :class:`StoreError` when the store's name no longer leads to what was written.

        For what is done once and then called done; the collector looks at every scan by itself.
        """
        if driver.file_id(self.path) != self._file or not driver.file_id(self.path):
            raise StoreError(
                f"{self.path}: the store was replaced, moved or taken away (or its folder was) "
                "while it was written; put it back, see what it holds, then do this again"
            )

    def lost_log(self) -> Path | None:
        """Return the path of the write-ahead log, or of its index, when it has lost its name.

        Looks at names only; call it after a write. Somebody deleted it, or put another in place.
        """
        paths = [self.path.with_name(self.path.name + ending) for ending in ("-wal", "-shm")]
        found = [driver.file_id(path) for path in paths]
        if self._log is None:
            self._log = found
        gone = (
            path for path, now, then in zip(paths, found, self._log, strict=True) if now != then
        )
        return next(gone, None)

    def reopen(self) -> str:
        """Open the store anew after its log lost its name; say what became of what that held.

        The log can still be read through the handle that is open: it is folded into the store,
        unless another program has begun a new one, whose pages are of another state.
        """
        path = self.path.with_name(self.path.name + "-wal")
        begun = path.exists() and path.stat().st_size > 0
        saved = not begun and self.checkpoint()
        self.connection.close()
        with driver.speaking(self.path):
            self.connection = driver.connect(self.path, write=self.write)
            self._prepare(self.connection, self.path, write=self.write)
        self._log = None
        if saved:
            return "all that it held was saved into the store"
        return "what was stored since the last minute may be lost; run `firelog doctor`"

    # ------------------------------------------------------------ settings
    def setting(self, key: str, default: str = "") -> str:
        """Return a setting of the foundry (name, time zone, unit) kept with the record."""
        row = self._maybe("select value from settings where key=?", (key,))
        return str(row[0]) if row else default

    def set_setting(self, key: str, value: str) -> None:
        """Keep a setting with the record."""
        with self.writing():
            self._run(
                "insert into settings values (?,?)"
                " on conflict(key) do update set value=excluded.value",
                (key, value),
            )

    # ------------------------------------------------------------ channels
    def ensure_channel(
        self,
        kiln: str,
        name: str,
        *,
        role: Role | None = None,
        letter: str | None = None,
        standard: str | None = None,
        tolerance_class: str | None = None,
        measurement: dict[str, Any] | None = None,
    ) -> Channel:
        """Return the channel of that kiln and name, made if absent; what is stated is kept.

        An argument left None leaves what the store has as it is.
        """
        with self.writing():
            kiln_id = self.kiln_number(kiln)
            self._run("insert or ignore into channels(kiln,name) values (?,?)", (kiln_id, name))
            stated = {
                "role": role,
                "letter": letter,
                "standard": standard,
                "tolerance_class": tolerance_class,
                "measurement": None if measurement is None else json.dumps(measurement),
            }
            for column, value in stated.items():
                if value is not None:
                    self._run(
                        f"update channels set {column}=? where kiln=? and name=?",
                        (str(value), kiln_id, name),
                    )
        return self._channel("where k.name=? and c.name=?", (kiln, name))[0]

    def channels(self, kiln: str | None = None) -> list[Channel]:
        """Return all channels, or those of one kiln, in the order they were made."""
        if kiln is None:
            return self._channel("order by c.id", ())
        return self._channel("where k.name=? order by c.id", (kiln,))

    def channel(self, kiln: str, name: str) -> Channel:
        """Return one channel; raises :class:`NotFoundError` naming those there are."""
        found = self._channel("where k.name=? and c.name=?", (kiln, name))
        if not found:
            raise not_found("channel", name, repr(kiln), [c.name for c in self.channels(kiln)])
        return found[0]

    def kilns(self) -> list[str]:
        """Return the names of the kilns and furnaces in the record."""
        return [row[0] for row in self._all("select name from kilns order by name")]

    def add_calibration(
        self, channel_id: int, done_on: str, certificate: dict[str, Any], entered_us: int, who: str
    ) -> None:
        """Enter a calibration certificate; earlier ones stay in the record."""
        with self.writing():
            self._run(
                "insert into calibrations(channel,done_on,certificate,entered_us,who)"
                " values (?,?,?,?,?)",
                (channel_id, done_on, json.dumps(certificate), entered_us, who),
            )

    def calibrations(self, channel_id: int) -> list[Calibration]:
        """Return the certificates of a channel, oldest first."""
        rows = self._all(
            "select id,channel,done_on,certificate,entered_us,who from calibrations"
            " where channel=? order by done_on, id",
            (channel_id,),
        )
        return [Calibration(r[0], r[1], r[2], json.loads(r[3]), r[4], r[5]) for r in rows]

    # ------------------------------------------------------------ readings
    def add_scan(self, t_us: int, entries: Iterable[Entry], origin: int | None = None) -> int:
        """Store one scan, durably, in one transaction; returns how many readings were new.

        ``origin`` is the collector's run, as :func:`firelog.record.imports.begin` numbered it.
        """
        with self.writing():
            return sum(
                traces.add_row(
                    self.connection,
                    channel,
                    t_us,
                    (value, migrations.UNIT_CODES[unit], int(quality), origin),
                )
                for channel, value, unit, quality in entries
            )

    def add_readings(
        self,
        channel_id: int,
        t_us: IntArray,
        value: FloatArray,
        quality: QualityArray,
        unit: Unit,
        *,
        origin: int | None = None,
        beside: bool = False,
    ) -> int:
        """Store readings of one channel, compressed when they are many; returns how many were new.

        A reading whose channel and instant are in the store already is left as it is. ``origin``
        is the import they belong to; with ``beside`` it is a second source of the channel.
        """
        trace = Trace(t_us, value, quality, unit)
        return self.add_trace(channel_id, trace, origin=origin, beside=beside)

    def add_trace(
        self,
        channel_id: int,
        trace: Trace,
        *,
        origin: int | None = None,
        coded: Sequence[Block] = (),
        beside: bool = False,
    ) -> int:
        """Store readings as :meth:`add_readings` does; ``coded`` is the same trace as blocks."""
        with self.writing():
            return traces.add(self.connection, channel_id, trace, origin, coded, beside=beside)

    def readings(
        self, channel_id: int, start_us: int | None = None, end_us: int | None = None
    ) -> Trace:
        """Return the readings of a channel from ``start_us`` to ``end_us``, both included.

        Those of a second source are not among them: a firing or a heat chooses it.
        """
        with driver.speaking(self.path):
            return traces.read(self.connection, channel_id, *traces.span(start_us, end_us))

    def firing_readings(
        self,
        firing: Firing,
        channel_id: int,
        start_us: int | None = None,
        end_us: int | None = None,
    ) -> Trace:
        """Return the readings of a channel that a firing stands on, from its begin to its end.

        Where the firing names its imports, only theirs and the collector's: never those of
        another night that a logger's reset clock put at the same instants. Where the couple was
        heard twice, those of the source that decides, its holes filled as the firing says.
        ``start_us`` and ``end_us`` narrow the stretch.
        """
        start = firing.began_us if start_us is None else start_us
        end = firing.ended_us if end_us is None else end_us
        asked = traces.span(start, end)
        with driver.speaking(self.path):
            of: sources.Of = ("firing", firing.id)
            if sources.choice_of(self.connection, of, channel_id) is None:
                return sources.one(self.connection, channel_id, asked, of, sources.OWN)
            whole = traces.span(firing.began_us, firing.ended_us)  # a hole is one of the firing
            found = sources.read(self.connection, channel_id, whole, of).trace
            return traces.between(found, *asked)

    def overview(
        self, channel_ids: Sequence[int], start_us: int, end_us: int, points: int
    ) -> dict[int, Envelope]:
        """Return lowest and highest usable value per pixel of each channel, at any zoom."""
        with driver.speaking(self.path):
            return overview(self.connection, list(channel_ids), start_us, end_us, points)

    def reading_span(self, channel_id: int) -> tuple[int, int, int] | None:
        """Return first and last instant and the number of readings of a channel, or None."""
        with driver.speaking(self.path):
            return traces.bounds(self.connection, channel_id)

    def read_after(self, channel_id: int, after_us: int) -> bool:
        """Return whether a channel was read later than an instant: one look at an index."""
        with driver.speaking(self.path):
            newest = traces.newest_us(self.connection, channel_id)
        return newest is not None and newest > after_us

    def newest_us(self, kiln: str | None = None) -> int | None:
        """Return the instant of the newest reading of a kiln, or of the whole store."""
        with driver.speaking(self.path):
            newest = [traces.newest_us(self.connection, c.id) for c in self.channels(kiln)]
        return max((t_us for t_us in newest if t_us is not None), default=None)

    def compact(self, channel_ids: Iterable[int], until_us: int) -> int:
        """Move live rows up to ``until_us`` into blocks; returns how many readings moved.

        Each step is a short transaction of its own, so that a collector is not kept waiting.
        """
        total = 0
        for channel_id in channel_ids:
            moved = 1
            while moved:
                with self.writing():
                    moved = traces.move(self.connection, channel_id, until_us)
                total += moved
        return total

    def compact_old(self, now_us: int) -> int:
        """Move one block of rows, of the first channel that has a day's age or an hour's many.

        One short step, for a collector to take between two scans about once a minute. Many are
        :data:`MANY_ROWS`: a night of plain rows takes its readers half a second to read, a night of
        blocks a twentieth. The newest rows stay. Returns how many readings moved, 0 when nothing
        is due.
        """
        for channel in self.channels():
            oldest_us, rows = self._one(
                "select min(t_us), count(*) from readings where channel=?", (channel.id,)
            )
            if oldest_us is None:
                continue
            old, many = oldest_us < now_us - _DAY_US, rows >= MANY_ROWS
            if old or many:
                keep_us = _HOUR_US if old else _HOUR_US // 6
                with self.writing():
                    moved = traces.move(self.connection, channel.id, now_us - keep_us)
                if moved:
                    return moved
        return 0

    # ------------------------------------------------------------ firings
    def add_firing(
        self,
        name: str,
        kiln: str,
        *,
        began_us: int,
        ended_us: int | None = None,
        schedule_title: str | None = None,
        schedule_text: str | None = None,
        note: str = "",
    ) -> Firing:
        """Open a firing (closed at once when ``ended_us`` is given), keeping a schedule's copy."""
        with self.writing():
            if taken := self._maybe("select voided_us from firings where name=?", (name,)):
                gone = " (it was made void)" if taken[0] is not None else ""
                raise StoreError(f"there is a firing {name!r} already{gone}; choose another name")
            sha256 = self._keep_schedule(schedule_title, schedule_text)
            self._run(
                "insert into firings(name,kiln,schedule,began_us,ended_us,note)"
                " values (?,?,?,?,?,?)",
                (name, self.kiln_number(kiln), sha256, began_us, ended_us, note),
            )
        return self.firing(name)

    def set_schedule(self, firing_id: int, title: str, text: str) -> None:
        """Give a firing another schedule; the one it had stays in the record."""
        with self.writing():
            sha256 = self._keep_schedule(title, text)
            self._run("update firings set schedule=? where id=?", (sha256, firing_id))

    def close_firing(self, firing_id: int, ended_us: int) -> None:
        """End a running firing; one that has ended stays as it is. Its rows become blocks."""
        with self.writing():
            self._run(
                "update firings set ended_us=max(?, began_us) where id=? and ended_us is null",
                (ended_us, firing_id),
            )
            row = self._one(
                "select k.name, f.ended_us from firings f join kilns k on k.id=f.kiln where f.id=?",
                (firing_id,),
            )
        self.compact([channel.id for channel in self.channels(row[0])], row[1])

    def firings(self, kiln: str | None = None, *, void: bool = False) -> list[Firing]:
        """Return the firings, newest first; with ``void`` those too that were made void."""
        where, values = ("where k.name=?", (kiln,)) if kiln else ("where true", ())
        if not void:
            where += " and f.voided_us is null"
        rows = self._all(f"{_FIRING} {where} order by f.began_us desc, f.id desc", values)
        return [Firing(*row) for row in rows]

    def firing(self, name: str) -> Firing:
        """Return the firing of that name; raises :class:`NotFoundError` naming those there are."""
        row = self._maybe(f"{_FIRING} where f.name=?", (name,))
        if row is None:
            raise not_found(
                "firing", name, str(self.path), [firing.name for firing in self.firings()]
            )
        return Firing(*row)

    def schedule_text(self, firing: Firing) -> str | None:
        """Return the copy of the schedule that was kept with the firing."""
        row = self._maybe("select text from schedules where sha256=?", (firing.schedule_sha256,))
        return None if row is None else str(row[0])

    def firing_channels(self, firing: Firing) -> list[Channel]:
        """Return the channels of the firing's kiln that have readings within it."""
        span = traces.span(firing.began_us, firing.ended_us)
        with driver.speaking(self.path):
            return [
                channel
                for channel in self.channels(firing.kiln)
                if sources.any_between(self.connection, channel.id, span, ("firing", firing.id))
            ]

    # ------------------------------------------------------------ events
    def add_event(
        self,
        t_us: int,
        kind: str,
        text: str = "",
        *,
        who: str = "",
        kiln: str | None = None,
        firing_id: int | None = None,
        channel_id: int | None = None,
    ) -> int:
        """Write an event and return its number."""
        with self.writing():
            kiln_id = None if kiln is None else self.kiln_number(kiln)
            row = self._one(
                "insert into events(t_us,kind,text,who,kiln,firing,channel,entered_us)"
                f" values (?,?,?,?,?,?,?,{migrations.NOW_US}) returning id",
                (t_us, kind, text, who, kiln_id, firing_id, channel_id),
            )
        return int(row[0])

    def correct_event(
        self,
        event_id: int,
        *,
        text: str,
        who: str,
        why: str,
        t_us: int | None = None,
        void: bool = False,
    ) -> int:
        """Enter an event that supersedes another, which stays; return the new one's number.

        With ``void`` nothing takes its place.
        """
        if not why.strip() or not who.strip():
            raise InputError("a correction needs who makes it and why; say both")
        with self.writing():
            row = self._maybe(
                "insert into events(t_us,kind,text,who,kiln,firing,channel,corrects,why,entered_us)"
                " select coalesce(?,t_us),coalesce(?,kind),?,?,kiln,firing,channel,id,?,"
                f"{migrations.NOW_US} from events where id=? returning id",
                (t_us, VOID if void else None, text, who, why, event_id),
            )
        if row is None:
            raise InputError(f"there is no event {event_id} to correct")
        return int(row[0])

    def events(self, firing: Firing, *, superseded: bool = False) -> list[Event]:
        """Return the events of a firing, and of its kiln while it ran, in order of time.

        Events that a correction supersedes are in the record for good, but left out here unless
        ``superseded`` asks for them.
        """
        rows = self._all(
            f"{_EVENT} where e.firing=? or (e.firing is null and (k.name=? or e.kiln is null)"
            " and e.t_us between ? and ?) order by e.t_us, e.id",
            (firing.id, firing.kiln, *traces.span(firing.began_us, firing.ended_us)),
        )
        events = [Event(*row) for row in rows]
        return events if superseded else standing(events)

    def events_after(self, event_id: int) -> list[Event]:
        """Return events that came after an event's number, from whatever kiln, in order."""
        rows = self._all(f"{_EVENT} where e.id > ? order by e.id", (event_id,))
        return [Event(*row) for row in rows]

    # ------------------------------------------------------------ verdicts
    def save_verdict(self, stored: StoredVerdict) -> None:
        """Keep the verdict reached when a firing was closed; earlier ones stay."""
        with self.writing():
            self._run(
                "insert into verdicts(firing,judged_us,version,verdict,judgement)"
                " values (?,?,?,?,?)",
                (
                    stored.firing_id,
                    stored.judged_us,
                    stored.version,
                    stored.verdict,
                    json.dumps(stored.judgement),
                ),
            )

    def verdict(self, firing: Firing) -> StoredVerdict | None:
        """Return the newest kept verdict of a firing, or None."""
        row = self._maybe(
            "select firing,judged_us,version,verdict,judgement from verdicts"
            " where firing=? order by id desc limit 1",
            (firing.id,),
        )
        if row is None:
            return None
        return StoredVerdict(row[0], row[1], row[2], row[3], json.loads(row[4]))

    # ------------------------------------------------------------ helpers
    def _keep_schedule(self, title: str | None, text: str | None) -> str | None:
        if text is None:
            return None
        sha256 = hashlib.sha256(text.encode()).hexdigest()
        self._run("insert or ignore into schedules values (?,?,?)", (sha256, title or "", text))
        return sha256

    def kiln_number(self, name: str) -> int:
        """Return the number of the kiln of that name, made if absent."""
        self._run("insert or ignore into kilns(name) values (?)", (name,))
        return int(self._one("select id from kilns where name=?", (name,))[0])

    def _channel(self, tail: str, values: Sequence[Any]) -> list[Channel]:
        return [
            Channel(r[0], r[1], r[2], Role(r[3]), r[4], r[5], r[6], json.loads(r[7]))
            for r in self._all(f"{_CHANNEL} {tail}", values)
        ]

    def _run(self, sql: str, values: Sequence[Any] = ()) -> None:
        with driver.speaking(self.path):
            self.connection.execute(sql, values)

    def _all(self, sql: str, values: Sequence[Any] = ()) -> list[Any]:
        # fetchall at once: a cursor left open would pin the write-ahead log.
        with driver.speaking(self.path):
            return list(self.connection.execute(sql, values).fetchall())

    def _maybe(self, sql: str, values: Sequence[Any] = ()) -> Any:
        rows = self._all(sql, values)
        return rows[0] if rows else None

    def _one(self, sql: str, values: Sequence[Any] = ()) -> Any:
        return self._all(sql, values)[0]


def standing(events: Sequence[Event]) -> list[Event]:
    """Return the events that no later one supersedes, nor one that only takes another away."""
    gone = {event.corrects for event in events}
    return [event for event in events if event.id not in gone and event.kind != VOID]
