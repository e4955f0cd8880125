"""From the store to facts: what is new since the last look, kept in a buffer per channel.

Reads only. Ages are counted on a clock that nobody can set, from when a reading was first seen
here: a logger's own clock may be hours off, and the computer's may be moved in the night.
"""

from __future__ import annotations

import shutil
from collections.abc import Callable, Iterable
from dataclasses import dataclass, field, replace

import numpy as np

from firelog.intake.clock import ArrivalClock
from firelog.judge import measured, recorded
from firelog.judge.trust.doubt import Doubt
from firelog.physics.thermometry.uncertainty import MeasurementChain
from firelog.readings import IntArray, Role, Trace
from firelog.record.rows import Channel, Event, Firing
from firelog.record.store import Store
from firelog.say.reader import reader_of
from firelog.schedule.plan.model import ChannelTrace, Schedule
from firelog.units import TemperatureUnit, seconds_since
from firelog.watch.facts import Completion, Facts, IdleKiln, KilnNow, Machine, ScheduleProgress
from firelog.watch.run import others
from firelog.watch.run.buffer import ChannelBuffer
from firelog.watch.run.progress import (
    NOTHING,
    KilnPast,
    aim_of,
    channel_now,
    course_of,
    doubts_of,
)

COURSE_S = 60.0
JUDGED_S = 300.0
FIRINGS_S = 2.0
BACK_S = 5.0  # how far before the newest reading a clock must be to have been set back
FORGOTTEN_S = 12 * 3600.0
RECENT_S = 900.0  # how long a step of the clock stays a matter for a person
_UNSEEN = frozenset({Role.AMBIENT, Role.SET_POINT, Role.COLD_JUNCTION})
_SOURCE = ("source lost", "source silent", "source back")


@dataclass(eq=False)
class _Kiln:
    """One running firing: its schedule, its buffers, how far they have been read."""

    firing: Firing
    schedule: Schedule | None
    buffers: dict[int, ChannelBuffer] = field(default_factory=dict)
    read_us: dict[int, int] = field(default_factory=dict)
    known: dict[int, IntArray] = field(default_factory=dict)
    newest_s: float = 0.0
    heard_s: float = 0.0
    past: KilnPast = NOTHING
    pace_s: float = 0.0
    doubts: tuple[Doubt, ...] = ()
    completion: Completion | None = None
    completion_s: float = -1e9
    course: ScheduleProgress | None = None
    course_s: float = -1e9
    followed_s: float = -1.0
    silence: str = ""
    since_s: float = 0.0

    def now_s(self, steady_s: float) -> float:
        """Return seconds since the firing began, by the readings and the steady clock."""
        return self.newest_s + steady_s - self.heard_s


class Observer:
    """Looks at the store round after round; ``free`` returns free bytes and share of the disk."""

    def __init__(
        self,
        store: Store,
        clock: ArrivalClock,
        *,
        free: Callable[[Store], tuple[float, float]] | None = None,
    ) -> None:
        self._store, self._clock, self._free = store, clock, free or disk_free
        self._kilns: dict[str, _Kiln] = {}
        self._channels: dict[str, list[tuple[Channel, MeasurementChain]]] = {}
        self._firings_s = self._near_s = -1e9
        self._near: dict[str, tuple[ChannelTrace, ...]] = {}
        self._near_us = 0
        self._idle: tuple[IdleKiln, ...] = ()
        self._event_id = max((e.id for e in store.events_after(0)), default=0)
        self._refused = ""
        self._clock_at: tuple[float, float, str] = (-1e9, 0.0, "")
        self._slept_at: tuple[float, float] = (-1e9, 0.0)

    def look(self) -> Facts:
        """Return what is the case now."""
        steady_s = self._clock.steady_s()
        for step in self._clock.steps():
            self._time(step.kind, step.seconds, step.text)
        self._hear(self._store.events_after(self._event_id))
        if steady_s - self._firings_s >= FIRINGS_S:
            self._firings_s = steady_s
            self._find_firings()
        self._look_around(steady_s)
        kilns = tuple(self._kiln(kiln) for kiln in self._kilns.values())
        return Facts(kilns, self._machine(steady_s), self._idle, self._unit())

    def _unit(self) -> TemperatureUnit:
        return reader_of(self._store).unit

    def firing(self, kiln: str) -> str | None:
        """Return the name of the firing that runs in a kiln."""
        found = self._kilns.get(kiln)
        return None if found is None else found.firing.name

    def trace(self, kiln: str, channel: str) -> ChannelTrace | None:
        """Return the thin trace of a channel of a running firing, or None."""
        found = self._kilns.get(kiln)
        buffers = [] if found is None else [b for b in found.buffers.values() if b.name == channel]
        return buffers[0].trace() if buffers else None

    # ------------------------------------------------------------ kilns
    def _find_firings(self) -> None:
        running: dict[str, Firing] = {}
        for firing in self._store.firings():  # newest first
            if firing.running:
                running.setdefault(firing.kiln, firing)
        for name in set(self._kilns) - set(running):
            del self._kilns[name]
        for name, firing in running.items():
            kiln = self._kilns.get(name)
            if kiln is None and self._forgotten(firing):
                continue
            same = kiln is not None and kiln.firing.id == firing.id
            if not same or (kiln and kiln.firing.schedule_sha256 != firing.schedule_sha256):
                self._kilns[name] = self._begin(firing)
            self._channels[name] = [
                (channel, recorded.measurement_chain(self._store, channel))
                for channel in self._store.channels(name)
                if channel.role not in _UNSEEN
            ]

    def _forgotten(self, firing: Firing) -> bool:
        """True for a firing that nobody ended: its kiln has said nothing for half a day."""
        newest_us = max(self._store.newest_us(firing.kiln) or 0, firing.began_us)
        return seconds_since(newest_us, self._clock.now_us()) > FORGOTTEN_S

    def _begin(self, firing: Firing) -> _Kiln:
        since_s = seconds_since(firing.began_us, self._clock.now_us())
        schedule = recorded.schedule_of(self._store, firing)
        if schedule is not None:  # what is said of it is said in the foundry's unit
            schedule = replace(schedule, unit=self._unit())
        return _Kiln(
            firing,
            schedule,
            past=others.past_of(self._store, firing),
            pace_s=others.pace_s(self._store, firing.kiln, firing.began_us),
            newest_s=0.0,
            heard_s=self._clock.steady_s() - max(0.0, since_s),
            since_s=self._clock.steady_s(),
        )

    def _kiln(self, kiln: _Kiln) -> KilnNow:
        steady_s = self._clock.steady_s()
        self._read(kiln, steady_s)
        now_s = kiln.now_s(steady_s)
        buffers = [buffer for buffer in kiln.buffers.values() if buffer.newest_s is not None]
        due = steady_s - kiln.course_s >= COURSE_S and kiln.newest_s > kiln.followed_s
        if due and any(b.usable_s is not None for b in buffers):
            # Followed up to the newest reading: what has not come yet is no hole.
            kiln.course_s, kiln.followed_s = steady_s, kiln.newest_s
            self._follow(kiln, buffers)
        return KilnNow(
            kiln.firing.kiln,
            kiln.firing.name,
            now_s,
            kiln.schedule,
            tuple(channel_now(buffer, now_s, kiln.doubts) for buffer in buffers),
            kiln.course,
            kiln.silence or "collector",
            steady_s - kiln.since_s,
            kiln.pace_s,
            kiln.completion,
        )

    def _follow(self, kiln: _Kiln, buffers: list[ChannelBuffer]) -> None:
        """Say anew which couples are believed, where the firing is, and what the judge says."""
        near = {name: traces for name, traces in self._near.items() if name != kiln.firing.kiln}
        offset_s = seconds_since(self._near_us, kiln.firing.began_us)
        neighbours = {
            name: [replace(one, t_s=one.t_s - offset_s) for one in traces]
            for name, traces in near.items()
        }
        kiln.doubts = doubts_of(kiln.schedule, buffers, neighbours, kiln.past, kiln.doubts)
        if kiln.schedule is None:
            return
        aim_c = aim_of(kiln.course, kiln.newest_s)
        kiln.course = course_of(
            kiln.schedule, buffers, kiln.newest_s, kiln.past, doubts=kiln.doubts, aim_c=aim_c
        )
        place = kiln.course.place
        if place is None or not place.complete:
            kiln.completion, kiln.completion_s = None, -1e9
        elif self._clock.steady_s() - kiln.completion_s >= JUDGED_S:
            kiln.completion_s = self._clock.steady_s()
            kiln.completion = others.completion_of(self._store, kiln.firing)

    def _look_around(self, steady_s: float) -> None:
        """Read the last hours of every kiln: those without a firing, and for comparison."""
        if steady_s - self._near_s < COURSE_S:
            return
        now_us = self._clock.now_us()
        self._near_s, self._near_us = steady_s, now_us
        kilns = self._store.kilns()
        if len(kilns) > 1 or not self._kilns:
            self._near = {
                name: others.near_traces(self._store, name, now_us, now_us) for name in kilns
            }
        idle = {name: one for name, one in self._near.items() if name not in self._kilns}
        self._idle = others.idle_kilns(self._store, idle, now_us, now_us)

    def _read(self, kiln: _Kiln, steady_s: float) -> None:
        first = not kiln.buffers
        newest_s = kiln.newest_s
        for channel, chain in self._channels[kiln.firing.kiln]:
            after_us = kiln.read_us.get(channel.id, kiln.firing.began_us - 1)
            new = _without(
                self._store.readings(channel.id, after_us + 1, None), kiln.known.get(channel.id)
            )
            if not len(new):
                continue
            kiln.read_us[channel.id] = int(new.t_us[-1])
            buffer = kiln.buffers.setdefault(
                channel.id, ChannelBuffer(channel.name, channel.role.value)
            )
            trace = measured.corrected(channel, chain, new, kiln.firing.began_us)
            buffer.add_all(trace.t_s, trace.temp_c, trace.quality)
            if trace.expanded_k[-1] == trace.expanded_k[-1]:
                buffer.expanded_k = float(trace.expanded_k[-1])
            newest_s = max(newest_s, float(trace.t_s[-1]))
        if newest_s > kiln.newest_s:
            kiln.newest_s = newest_s
            age_s = seconds_since(kiln.firing.began_us, self._clock.now_us()) - newest_s
            kiln.heard_s = steady_s - (max(0.0, age_s) if first else 0.0)
            kiln.silence = ""
            if first and age_s < -BACK_S:
                self._rewind(kiln, self._clock.now_us())

    def _rewind(self, kiln: _Kiln, at_us: int) -> None:
        """Go on from an instant that lies before the newest reading: the clock was set back.

        What the store has from there on was recorded before that, and is not new.
        """
        at_s = seconds_since(kiln.firing.began_us, at_us)
        for channel, _ in self._channels[kiln.firing.kiln]:
            later = self._store.readings(channel.id, at_us, None)
            kiln.known[channel.id] = later.t_us
            kiln.read_us[channel.id] = at_us - 1
            if channel.id in kiln.buffers:
                kiln.buffers[channel.id].rewind(at_s)
        kiln.newest_s, kiln.heard_s, kiln.followed_s = at_s, self._clock.steady_s(), -1.0

    # ------------------------------------------------------------ the machine
    def _hear(self, events: Iterable[Event]) -> None:
        for event in events:
            self._event_id = max(self._event_id, event.id)
            if event.kind in _SOURCE and event.kiln in self._kilns:
                said = "" if event.kind == "source back" else event.kind
                self._kilns[event.kiln].silence = said
            elif event.kind == "collector started":
                for kiln in self._kilns.values():
                    newest_us = kiln.firing.began_us + kiln.newest_s * 1e6
                    if event.t_us < newest_us - BACK_S * 1e6:
                        self._rewind(kiln, event.t_us)
            elif event.kind == "store refused":
                self._refused = event.text
            elif event.kind == "store back":
                self._refused = ""

    def _time(self, kind: str, seconds: float, text: str) -> None:
        if kind in ("clock stepped", "clock jumped"):
            self._clock_at = (self._clock.steady_s(), seconds, text)
        elif kind == "machine slept":
            self._slept_at = (self._clock.steady_s(), seconds)

    def _machine(self, steady_s: float) -> Machine:
        at_s, off_s, text = self._clock_at
        slept_at_s, asleep_s = self._slept_at
        free_bytes, share = self._free(self._store)
        return Machine(
            free_bytes,
            share,
            self._refused,
            off_s if steady_s - at_s < RECENT_S else 0.0,
            text,
            asleep_s if steady_s - slept_at_s < RECENT_S else 0.0,
        )


def _without(trace: Trace, known: IntArray | None) -> Trace:
    """Return a trace without the instants that are known."""
    if known is None or not len(known) or not len(trace):
        return trace
    new = ~np.isin(trace.t_us, known)
    return Trace(trace.t_us[new], trace.value[new], trace.quality[new], trace.unit)


def disk_free(store: Store) -> tuple[float, float]:
    """Return free bytes and the free share of the disk a store lies on."""
    usage = shutil.disk_usage(store.path.parent)
    return float(usage.free), usage.free / max(usage.total, 1)
