"""A kiln's whole record: every thermocouple, through all its firings and between them.

A year is drawn from the envelopes that the store keeps beside its blocks, so that it costs about
what a day costs; a stretch that is near enough is read reading by reading.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path
from typing import Any

import numpy as np

from firelog.errors import InputError, NotFoundError
from firelog.judge import firing as judging
from firelog.judge import measured, recorded
from firelog.readings import FloatArray, Role, Trace
from firelog.record.overview import Envelope
from firelog.record.rows import Channel, Firing
from firelog.record.store import Store
from firelog.say.reader import Reader, reader_of
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import seconds_since, us_after
from firelog.view.figure.firing import window_lines
from firelog.view.picture import Picture, picture_of
from firelog.view.window import Window

COLUMNS = 600  # of a first sight
NEAR = 400_000  # readings in a stretch that are read one by one; more come as envelopes
BLOCKS = "; one may stand early or late by a block of readings, up to a week: look closer"
_INSTANT_S = 1800.0  # around an instant that is read


@dataclass(frozen=True)
class KilnView:
    """A kiln's record from ``began_us`` to ``ended_us``, its channels and its firings."""

    kiln: str
    channels: tuple[Channel, ...]
    firings: tuple[Firing, ...]
    began_us: int
    ended_us: int
    count: int
    how: Reader

    @property
    def end_s(self) -> float:
        """How long the record is [s]."""
        return seconds_since(self.began_us, self.ended_us)

    @property
    def frame(self) -> Picture:
        """The picture without a reading: the axis that everything of this kiln is drawn on."""
        return picture_of(self.how, self.began_us, (), self.end_s)


def read_kiln(path: Path, name: str, unit: str | None = None) -> KilnView:
    """Return a kiln's record; raises :class:`NotFoundError` where it has no channel or reading."""
    with Store.open(path) as store:
        channels = [c for c in store.channels(name) if c.role not in judging.NOT_JUDGED]
        channels.sort(key=lambda channel: channel.role is not Role.KILN)
        found = [(c, span) for c in channels if (span := store.reading_span(c.id)) is not None]
        spans = [span for _, span in found]
        if not spans:
            raise NotFoundError(f"no kiln {name!r} has readings; `firelog channels` lists them")
        return KilnView(
            name,
            tuple(channel for channel, _ in found),
            tuple(store.firings(name)),
            min(first_us for first_us, _, _ in spans),
            max(last_us for _, last_us, _ in spans),
            sum(count for _, _, count in spans),
            reader_of(store, unit),
        )


# ---------------------------------------------------------------- a stretch
def window_of(
    path: Path, view: KilnView, window: Window
) -> tuple[Picture, list[dict[str, Any]], str]:
    """Return what is drawn of a stretch, its lines by key, and how far they may be off in time.

    The lines are of readings, or of envelopes of them.
    """
    with Store.open(path) as store:
        share = (window.to_s - window.from_s) / max(view.end_s, 1.0)
        if view.count * min(share, 1.0) <= NEAR:
            picture = _read(store, view, window.from_s, window.to_s)
            if sum(len(trace) for trace in picture.traces) <= 4 * NEAR:
                return picture, window_lines(picture.within(window)), ""
        return view.frame, *_envelopes(store, view, window)


def near_picture(path: Path, view: KilnView, from_s: float, to_s: float) -> Picture:
    """Return the readings of a stretch as a picture.

    Raises :class:`InputError` where they are more than a page or a table should hold.
    """
    expected = view.count * (to_s - from_s) / max(view.end_s, 1.0)
    if expected > 10 * NEAR:
        raise InputError(
            f"that stretch holds about {expected / 1e6:.0f} million readings; look closer, or take "
            "them with `firelog export`"
        )
    with Store.open(path) as store:
        return _read(store, view, from_s, to_s)


def instant_picture(path: Path, view: KilnView, at_s: float) -> Picture:
    """Return the readings around an instant."""
    return near_picture(path, view, at_s - _INSTANT_S, at_s + _INSTANT_S)


def _read(store: Store, view: KilnView, from_s: float, to_s: float) -> Picture:
    start_us, end_us = us_after(view.began_us, from_s), us_after(view.began_us, to_s)
    traces: list[ChannelTrace] = []
    for channel in view.channels:
        trace = store.readings(channel.id, start_us, end_us)
        chain = recorded.measurement_chain(store, channel)
        traces.append(measured.corrected(channel, chain, trace, view.began_us))
    return replace(view.frame, traces=tuple(traces))


def _envelopes(store: Store, view: KilnView, window: Window) -> tuple[list[dict[str, Any]], str]:
    start_us, end_us = (us_after(view.began_us, s) for s in (window.from_s, window.to_s))
    found = store.overview([c.id for c in view.channels], start_us, end_us, window.columns)
    lines = []
    for channel in view.channels:
        t_s, temp_c = _strokes(store, view, channel, found[channel.id])
        told = {"key": f"measured {channel.name}", "whole": False}
        frame = view.frame
        lines.append(told | {"x": frame.x(t_s), "y": frame.y(temp_c)})
    exact = all(one.exact for one in found.values())
    return lines, "" if exact else BLOCKS


def _strokes(
    store: Store, view: KilnView, channel: Channel, envelope: Envelope
) -> tuple[FloatArray, FloatArray]:
    """Return an upright stroke from lowest to highest in each step [s, °C], NaN where none is."""
    chain = recorded.measurement_chain(store, channel)
    ends_c = []
    for value in (envelope.low, envelope.high):
        as_trace = Trace(envelope.t_us, value, np.zeros(len(value), np.uint8), envelope.unit)
        ends_c.append(measured.temperatures(chain, as_trace)[0])
    middle_us = envelope.t_us + envelope.step_us // 2
    t_s = np.repeat(seconds_since(view.began_us, middle_us), 2)
    temp_c = np.column_stack([np.minimum(*ends_c), np.maximum(*ends_c)]).ravel()
    known = np.isfinite(temp_c)
    kept = known | np.concatenate([[False], known[:-1]])  # one NaN ends a stretch
    return t_s[kept], temp_c[kept]
