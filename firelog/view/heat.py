"""Heats as they are shown: the list, and one heat verified with its last half hour as a picture."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from firelog.errors import FirelogError
from firelog.pouring.verify import HeatAssessment, assess_heat
from firelog.record import heats as record
from firelog.record.heats import Heat
from firelog.record.store import Store
from firelog.say.reader import Reader, reader_of
from firelog.schedule.plan.model import ChannelTrace
from firelog.units import seconds_since
from firelog.view.cache import Cache, file_identity
from firelog.view.picture import Picture, notes_of, picture_of

SHOWN_S = 1800.0  # the last half hour, up to a little after the last pour
_AFTER_S = 60.0
_FRESH_S = 20.0


@dataclass(frozen=True)
class HeatEntry:
    """One heat in the list; ``verdict`` is its word, None where it cannot be verified."""

    heat: Heat
    verdict: str | None
    pours: int


@dataclass(frozen=True)
class HeatView:
    """One heat's page: the assessment, and its last half hour as a picture."""

    assessment: HeatAssessment
    picture: Picture
    from_s: float
    to_s: float

    @property
    def how(self) -> Reader:
        """How this reader wants to see things."""
        return self.picture.how


_views: Cache[HeatView] = Cache(6)
_verdicts: Cache[str] = Cache(200)


def read_heats(path: Path, unit: str | None = None) -> tuple[Reader, list[HeatEntry]]:
    """Return the heats, newest first, with their verdicts."""
    with Store.open(path) as store:
        return reader_of(store, unit), [_entry(store, heat) for heat in record.heats(store)]


def _entry(store: Store, heat: Heat) -> HeatEntry:
    pours = len(record.pours(store, heat))
    try:
        key = (*file_identity(store), heat, pours)
        word = _verdicts.get(key, 300.0, lambda: assess_heat(store, heat).verdict.value)
    except FirelogError:
        return HeatEntry(heat, None, pours)  # its own page tells what is wrong with it
    return HeatEntry(heat, word, pours)


def read_heat(path: Path, name: str, unit: str | None = None) -> HeatView:
    """Return the page of a heat; raises :class:`NotFoundError` when there is none."""
    with Store.open(path) as store:
        heat, how = record.heat(store, name), reader_of(store, unit)
        key = (*file_identity(store), heat, how)
        return _views.get(key, _FRESH_S, lambda: heat_view(assess_heat(store, heat, how.unit), how))


def heat_view(assessment: HeatAssessment, how: Reader) -> HeatView:
    """Return a verified heat with its last half hour as a picture."""
    heat = assessment.heat
    ends = [pour.pour.ended_us or pour.pour.began_us for pour in assessment.pours]
    if not ends:
        ends = [heat.ended_us or heat.lifted_us or heat.began_us]
    to_s = seconds_since(heat.began_us, max(ends)) + _AFTER_S
    from_s = max(0.0, to_s - SHOWN_S)
    traces = (
        _cut(trace, from_s, to_s)
        for trace in assessment.traces
        if trace.role in ("crucible", "lance")
    )
    events = [
        event
        for event in assessment.events
        if from_s <= seconds_since(heat.began_us, event.t_us) <= to_s
    ]
    picture = picture_of(
        how, heat.began_us, [trace for trace in traces if len(trace)], to_s, notes=notes_of(events)
    )
    return HeatView(assessment, picture, from_s, to_s)


def _cut(trace: ChannelTrace, from_s: float, to_s: float) -> ChannelTrace:
    kept = (trace.t_s >= from_s) & (trace.t_s <= to_s)
    return ChannelTrace(
        trace.name,
        trace.role,
        trace.t_s[kept],
        trace.temp_c[kept],
        trace.expanded_k[kept],
        trace.quality[kept],
        trace.assumed,
        None if trace.aside_c is None else trace.aside_c[kept],
    )
