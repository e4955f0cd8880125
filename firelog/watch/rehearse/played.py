"""A record as it was at an instant of the past: what came later is not there yet."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any

import numpy as np

from firelog.intake.clock import ArrivalClock
from firelog.readings import Trace
from firelog.record.rows import Event, Firing
from firelog.record.store import Store


class PlayedClock:
    """A clock that is set by whoever plays; nothing ever happens to it but time."""

    def __init__(self, at_us: int) -> None:
        self.at_us = at_us

    def clock(self) -> ArrivalClock:
        """Return the watch's clock that shows this time."""
        return ArrivalClock(self._ns, self._ns, self._ns)

    def _ns(self) -> int:
        return self.at_us * 1000


class PlayedStore(Store):
    """A store, opened for reading, that knows nothing later than ``played.at_us``.

    Each channel's readings are read once and then handed out as time reaches them.
    """

    def __init__(self, path: Path, connection: Any, *, write: bool) -> None:
        super().__init__(path, connection, write=write)
        self.played = PlayedClock(2**62)
        self._whole: dict[int, Trace] = {}

    def readings(
        self, channel_id: int, start_us: int | None = None, end_us: int | None = None
    ) -> Trace:
        """Return the readings of a channel that had come by now."""
        if channel_id not in self._whole:
            self._whole[channel_id] = super().readings(channel_id)
        whole = self._whole[channel_id]
        last_us = self.played.at_us if end_us is None else min(end_us, self.played.at_us)
        return _cut(whole, start_us, last_us)

    def firing_readings(
        self,
        firing: Firing,
        channel_id: int,
        start_us: int | None = None,
        end_us: int | None = None,
    ) -> Trace:
        """Return the readings that a firing stands on and that had come by now."""
        trace = super().firing_readings(firing, channel_id, start_us, end_us)
        return _cut(trace, None, self.played.at_us)

    def newest_us(self, kiln: str | None = None) -> int | None:
        """Return the instant of the newest reading that had come by now."""
        found = [self.readings(channel.id) for channel in self.channels(kiln)]
        return max((int(trace.t_us[-1]) for trace in found if len(trace)), default=None)

    def firings(self, kiln: str | None = None, *, void: bool = False) -> list[Firing]:
        """Return the firings that had begun by now; those not ended by now run."""
        return [
            self._as_known(one)
            for one in super().firings(kiln, void=void)
            if one.began_us <= self.played.at_us
        ]

    def firing(self, name: str) -> Firing:
        """Return a firing as it was known by now."""
        return self._as_known(super().firing(name))

    def events_after(self, event_id: int) -> list[Event]:
        """Return nothing: what intake noted is not part of a rehearsal, its silences are."""
        return []

    def _as_known(self, firing: Firing) -> Firing:
        running = firing.ended_us is None or firing.ended_us > self.played.at_us
        return replace(firing, ended_us=None) if running else firing


def _cut(trace: Trace, start_us: int | None, end_us: int) -> Trace:
    lo = 0 if start_us is None else int(np.searchsorted(trace.t_us, start_us, "left"))
    hi = int(np.searchsorted(trace.t_us, end_us, "right"))
    return Trace(trace.t_us[lo:hi], trace.value[lo:hi], trace.quality[lo:hi], trace.unit)
