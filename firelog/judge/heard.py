"""Of which source a verdict stands, where a couple was heard twice: sentences and facts."""

from __future__ import annotations

import math
from typing import Any

from firelog.record import heard, traces
from firelog.record.heard import Heard, Source
from firelog.record.rows import Firing
from firelog.record.store import Store
from firelog.units import iso_utc


def of_firing(store: Store, firing: Firing) -> tuple[Heard, ...]:
    """Return the channels of a firing that have more than one source, with what was chosen."""
    span = traces.span(firing.began_us, firing.ended_us)
    return tuple(heard.told(store, firing.kiln, span, ("firing", firing.id)))


def facts(one: Heard) -> dict[str, Any]:
    """Return a channel's sources as a JSON object."""
    chosen = one.choice
    return {
        "channel": one.channel,
        "sources": [_source(source) for source in one.sources],
        "holes_over_s": None if chosen is None else chosen.hole_us / 1e6,
        "by": None if chosen is None else chosen.who,
        "why": None if chosen is None else chosen.why,
    }


def _source(source: Source) -> dict[str, Any]:
    def at(t_us: int | None) -> str | None:
        return None if t_us is None else iso_utc(t_us)

    return {
        "import": source.number or None,
        "words": source.words,
        "part": source.part,
        "readings": source.readings,
        "first": at(source.first_us),
        "last": at(source.last_us),
        "taken": source.taken,
        "holes": [{"from": iso_utc(a), "to": iso_utc(b)} for a, b in source.holes],
        "differs_k": round(source.differs_k, 3) if math.isfinite(source.differs_k) else None,
    }
